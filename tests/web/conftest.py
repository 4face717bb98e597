"""The workbench served on loopback over a shop with the demo in it, and one browser for all."""

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

import postgres
from leastcut.job.analyst import Analyst
from leastcut.job.carry import into_shop
from leastcut.shop.access import Access
from leastcut.shop.store import Shop, open_shop
from leastcut.web.app import create_app
from leastcut.web.server import server
from leastcut.web.settings import Settings

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # A name that is not this machine's own: browsers then trust plain http no more than in the bay.
    "--host-resolver-rules=MAP bench.test 127.0.0.1",
]
PROGRAMS = ("chromium", "chromium-browser", "google-chrome")
MAC = "/Applications/Chromium.app/Contents/MacOS/Chromium"
PHONE = {"width": 390, "height": 844}


@dataclass(frozen=True)
class Workbench:
    """A running workbench: its address, its record, a paired device's key, the demo's visit."""

    address: str
    shop: Shop
    analyst: Analyst
    key: str
    visit: int

    @property
    def cookie(self) -> dict[str, str]:
        return {"name": "leastcut_device", "value": self.key, "url": self.address}

    @property
    def here(self) -> str:
        return f"{self.address}/v/{self.visit}"


def paired(shop: Shop) -> str:
    """Return the key of a new device of the owner."""
    access, now_s = Access(shop.database), time.time()
    owner = access.owner(now_s=now_s)
    return access.redeem(access.new_code(owner, now_s=now_s), "test", now_s=now_s)


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture(scope="session")
def workbench(demo, tmp_path_factory) -> Iterator[Workbench]:  # noqa: ANN001 - shared fixtures
    folder: Path = tmp_path_factory.mktemp("shop")
    place, blobs = postgres.fresh(folder)
    shop = open_shop(place, blobs=blobs)
    analyst = Analyst(shop)
    visit = into_shop(demo.job_file, shop, now_s=time.time()).visit
    analyst.poke(visit)
    port = free_port()
    settings = Settings(address=f"http://127.0.0.1:{port}", uploads=folder / "uploads")
    served = server(create_app(shop, analyst, settings), settings, host="127.0.0.1", port=port)
    thread = threading.Thread(target=served.run, daemon=True)
    thread.start()
    while not served.started:
        time.sleep(0.01)
    assert analyst.wait(visit, timeout_s=120)
    yield Workbench(settings.address, shop, analyst, paired(shop), visit)
    served.should_exit = True
    thread.join()
    analyst.close()
    shop.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    program = next((found for name in PROGRAMS if (found := shutil.which(name))), MAC)
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=program, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(params=["light", "dark"])
def context(
    browser: Browser, workbench: Workbench, request: pytest.FixtureRequest
) -> Iterator[BrowserContext]:
    """A paired phone, in both themes."""
    made = browser.new_context(viewport=PHONE, color_scheme=request.param, has_touch=True)
    made.add_cookies([workbench.cookie])
    yield made
    made.close()


@pytest.fixture
def page(context: BrowserContext) -> Page:
    return context.new_page()


@pytest.fixture
def phone(browser: Browser, workbench: Workbench) -> Iterator[Page]:
    """A paired phone in the light theme."""
    made = browser.new_context(viewport=PHONE, color_scheme="light", has_touch=True)
    made.add_cookies([workbench.cookie])
    yield made.new_page()
    made.close()
