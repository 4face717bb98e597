"""A small workbench without a browser: the whole application, asked in this process."""

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx2
from starlette.testclient import TestClient

import postgres
from leastcut.job.analyst import Progress
from leastcut.shop.access import Access
from leastcut.shop.facts import NewFact
from leastcut.shop.store import Shop, open_shop
from leastcut.web.app import create_app
from leastcut.web.gate import Gate
from leastcut.web.settings import Limits, Settings
from leastcut.web.who import COOKIE, CSRF_HEADER, csrf_of

BASE = "http://127.0.0.1:8136"
# Tests ask more often than people do.
PATIENT = Limits(
    device_per_s=1e6,
    device_burst=1e6,
    stranger_per_s=1e6,
    stranger_burst=1e6,
    tries_per_s=1e6,
    tries_burst=1e6,
    all_tries_per_s=1e6,
    all_tries_burst=1e6,
)


class Still:
    """An analyst who works nothing out: these tests are about the door."""

    def __init__(self) -> None:
        self.poked: list[int] = []

    def poke(self, visit: int) -> None:
        self.poked.append(visit)

    def progress(self, visit: int) -> Progress:
        return Progress(doing="", done=0, total=0, head=None, wanted_head=visit)


@dataclass
class Desk:
    """An application, its shop with one visit of a car, and its owner."""

    app: Any
    shop: Shop
    access: Access
    owner: int
    visit: int

    def client(self, key: str = "", **more: Any) -> TestClient:
        """Return a browser, with a device's key when one is given."""
        made = TestClient(
            self.app, base_url=BASE, follow_redirects=False, raise_server_exceptions=False, **more
        )
        if key:
            made.cookies.set(COOKIE, key)
        return made

    def key(self, person: int | None = None, label: str = "test") -> str:
        """Return the key of a new device."""
        now_s = time.time()
        code = self.access.new_code(person or self.owner, now_s=now_s)
        return self.access.redeem(code, label, now_s=now_s)

    def person(self, name: str, role: str) -> tuple[int, str]:
        """Return a new person and the key of their device."""
        number = self.access.new_person(name, role, by=self.owner, now_s=time.time())
        return number, self.key(number)

    def paired(self, key: str = "") -> TestClient:
        """Return a browser of the owner's, or of whoever the key belongs to."""
        key = key or self.key()
        made = self.client(key)
        made.headers[CSRF_HEADER] = csrf_of(key)
        return made


@contextmanager
def desk(folder: Path, *, limits: Limits = PATIENT, **more: Any) -> Iterator[Desk]:
    """Yield a workbench of its own over a fresh shop."""
    place, blobs = postgres.fresh(folder / "shop")
    shop = open_shop(place, blobs=blobs)
    access = Access(shop.database)
    now_s = time.time()
    visit = shop.new_visit(shop.new_car("blue estate", client="Ana", now_s=now_s), now_s=now_s)
    begun = (("car.label", "blue estate"), ("car.body", "estate"))
    facts = [NewFact(key=f"k{n}", kind="set", field=f, body=b) for n, (f, b) in enumerate(begun)]
    shop.append(visit, facts, device=None, person="test", now_s=now_s)
    settings = Settings(limits=limits, uploads=folder / "uploads", **more)
    app = create_app(shop, Still(), settings)
    yield Desk(app, shop, access, access.owner(now_s=now_s), visit)
    app.state.wonderer.close()
    written_down(app)
    shop.close()


def written_down(app: Any) -> None:
    """Have the audit written that is still on its way, so that no connection is in use at the end."""
    layer = app.middleware_stack
    while layer is not None and not isinstance(layer, Gate):
        layer = getattr(layer, "app", None)
    if layer is not None:
        layer.audit.flush()


def words(answer: httpx2.Response) -> str:
    """Return a page's text without its tags, as a reader sees it."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", answer.text))


def token_in(answer: httpx2.Response) -> str:
    """Return the token in a page's first form, read out of the page as a browser does."""
    found = re.search(r'name="csrf" value="([0-9a-f]{64})"', answer.text)
    assert found is not None
    return found[1]
