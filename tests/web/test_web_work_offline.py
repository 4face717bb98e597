"""The work screen while the server comes and goes: no tap lost, none twice.

Once over plain http under a name that is not this machine's own, as a phone in the bay has it, where
browsers give no service worker; once in a secure context, with reloads while the server is away.
"""

import random
import time
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect
from workserver import NAME, PHONE, Bench, free_port, paired, plan, planned_shop
from worktaps import Thumb, recorded, run

from leastcut.job.settle import read
from leastcut.shop.store import Shop

pytestmark = pytest.mark.browser

TAPS = 30  # each; two hundred each: bench/web_offline.py


class Bay:
    """A server process over a shop with one planned car, and a paired phone."""

    def __init__(self, shop: Shop, visit: int, bench: Bench, names: dict[str, str]) -> None:
        self.shop, self.visit, self.bench, self.names = shop, visit, bench, names

    def open(self, page: Page, host: str) -> None:
        address = f"http://{host}:{self.bench.port}"
        key = paired(self.shop)
        page.context.add_cookies([{"name": "leastcut_device", "value": key, "url": address}])
        page.goto(f"{address}/v/{self.visit}/work")
        expect(page.locator("#net")).to_have_attribute("data-state", "here")

    def work(self) -> list[tuple[str, str]]:
        return recorded(self.shop.facts(self.visit), self.names)


@pytest.fixture(scope="module")
def bay(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bay]:
    folder = tmp_path_factory.mktemp("bay")
    shop, visit = planned_shop(folder)
    bench = Bench(folder, free_port())
    bench.start()
    bench.answers()
    names = {panel.id: panel.name for panel in read(plan()).car.panels}
    yield Bay(shop, visit, bench, names)
    bench.kill()
    shop.close()


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    made = browser.new_context(viewport=PHONE, has_touch=True)
    yield made.new_page()
    made.close()


@pytest.mark.parametrize(("host", "secure"), [(NAME, False), ("127.0.0.1", True)])
def test_no_tap_is_lost_and_none_counts_twice(
    bay: Bay, phone: Page, host: str, *, secure: bool
) -> None:
    before = len(bay.work())
    bay.open(phone, host)
    assert phone.evaluate("isSecureContext") is secure
    if secure:
        expect(phone.locator("#offline")).to_have_attribute("data-kept", "yes", timeout=20_000)
    thumb = Thumb(phone, random.Random(7))
    run(thumb, bay.bench, taps=TAPS, offline_reload=secure, kill=0.2)
    assert bay.bench.kills > 1
    assert bay.work()[before:] == thumb.wanted
    keys = [fact.key for fact in bay.shop.facts(bay.visit)]
    assert len(keys) == len(set(keys))


def test_a_reload_without_the_server_brings_everything_back(bay: Bay, phone: Page) -> None:
    bay.open(phone, "127.0.0.1")
    expect(phone.locator("#offline")).to_have_attribute("data-kept", "yes", timeout=20_000)
    bay.bench.kill()
    phone.locator("#fresh").tap()
    expect(phone.locator("#net")).to_contain_text("1 tap kept here, not yet sent.")
    where = phone.locator("#where").inner_text()
    phone.reload()
    expect(phone.locator("#where")).to_have_text(where)
    expect(phone.locator("#net")).to_contain_text("1 tap kept here, not yet sent.")
    phone.wait_for_timeout(400)
    phone.locator("#cleaned").tap()
    expect(phone.locator("#net")).to_contain_text("2 taps kept here, not yet sent.")
    bay.bench.start()
    bay.bench.answers()
    expect(phone.locator("#net")).to_have_text("All sent.", timeout=40_000)
    assert [kind for kind, _ in bay.work()[-2:]] == ["pad-changed", "pad-cleaned"]


def test_without_a_secure_context_it_is_said_what_not_to_do(bay: Bay, phone: Page) -> None:
    bay.open(phone, NAME)
    assert "do not close or reload it" in phone.locator("#offline").inner_text()
    assert "choose the longest time" in phone.locator("#awake").inner_text()
    phone.locator("#fresh").tap()
    expect(phone.locator("#net")).to_have_text("All sent.")
    bay.bench.kill()
    expect(phone.locator("#net")).to_contain_text("does not answer", timeout=15_000)
    asked: list[str] = []
    phone.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    phone.evaluate("setTimeout(() => location.reload(), 0)")
    end = time.monotonic() + 5
    while not asked and time.monotonic() < end:
        phone.wait_for_timeout(50)
    assert asked == ["beforeunload"]
    assert phone.locator("#where").is_visible()
    bay.bench.start()
    bay.bench.answers()
