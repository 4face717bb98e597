"""Two people on one car: their devices come to the same; what contradicts is shown and decided."""

import json
import time
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Browser, Page, expect
from workserver import PHONE, Bench, free_port, planned_shop

from leastcut.job.settle import read
from leastcut.job.visit import fold
from leastcut.shop.access import Access
from leastcut.shop.store import Shop
from leastcut.work import runs

pytestmark = pytest.mark.browser

# What a device has on its disk, folded by its own script.
STATE = """async (visit) => {
  const { eventsOf, fold } = await import("/static/work/fold.js");
  const { Log } = await import("/static/work/log.js");
  const log = new Log(visit);
  await log.open([]);
  const plan = JSON.parse(document.getElementById("carried").textContent).bundle.sections;
  const { stretches, skips, ...state } = fold(eventsOf(log.facts.values(), log.outbox.map((row) => row.fact)), plan);
  log.db.close();
  return state;
}"""


class Two:
    """Two paired phones of two people in front of one car."""

    def __init__(self, browser: Browser, shop: Shop, visit: int, bench: Bench) -> None:
        self.shop, self.visit, self.bench = shop, visit, bench
        access, now_s = Access(shop.database), time.time()
        owner = access.owner(now_s=now_s)
        other = access.new_person("Ben", "detailer", by=owner, now_s=now_s)
        self.address = f"http://127.0.0.1:{bench.port}"
        self.pages: list[Page] = []
        for person in (owner, other):
            key = access.redeem(access.new_code(person, now_s=now_s), "phone", now_s=now_s)
            context = browser.new_context(viewport=PHONE, has_touch=True)
            context.add_cookies([{"name": "leastcut_device", "value": key, "url": self.address}])
            self.pages.append(context.new_page())
            self.pages[-1].goto(f"{self.address}/v/{visit}/work")
            expect(self.pages[-1].locator("#net")).to_have_text("All sent.", timeout=20_000)

    def core(self) -> dict[str, Any]:
        """Return what the core makes of the shop's record."""
        stored = self.shop.dossier(self.visit)
        assert stored is not None
        events = fold(self.shop.facts(self.visit)).events
        state = runs.fold(events, read(stored[1]).plan.sections)
        found: dict[str, Any] = json.loads(msgspec.json.encode(state))
        return found


@pytest.fixture
def two(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Two]:
    folder = tmp_path_factory.mktemp("two")
    shop, visit = planned_shop(folder)
    bench = Bench(folder, free_port())
    bench.start()
    bench.answers()
    made = Two(browser, shop, visit, bench)
    yield made
    for page in made.pages:
        page.context.close()
    bench.kill()
    shop.close()


def start(page: Page) -> None:
    page.locator("#start").tap()
    read_, yes = page.locator("[data-answer=read]"), page.locator("[data-answer=yes]")
    expect(read_.or_(yes)).to_be_visible()
    if read_.is_visible():
        read_.tap()
    yes.tap()
    expect(page.locator("#stop")).to_be_visible()


def leave_out(page: Page, reason: str, button: str = "#skip") -> None:
    page.locator(button).tap()
    page.locator(f"[data-answer={reason}]").tap()


def again(page: Page) -> None:
    """Have a page ask the shop now rather than in its own time."""
    page.evaluate("dispatchEvent(new Event('online'))")


def test_both_on_one_section_are_shown_it_and_one_stays(two: Two) -> None:
    mine, bens = two.pages
    where = mine.locator("#where").inner_text()
    assert bens.locator("#where").inner_text() == where
    two.bench.kill()  # neither knows of the other
    start(mine)
    start(bens)
    two.bench.start()
    two.bench.answers()
    for page in two.pages:
        again(page)
        expect(page.locator("#net")).to_have_text("All sent.", timeout=40_000)
        again(page)
    for page, other in ((mine, "Ben"), (bens, "Owner")):
        card = page.locator(".settle", has_text="Two people are on section")
        expect(card).to_contain_text(f"{other}, since", timeout=20_000)
        expect(card).to_contain_text("You, since")
    bens.get_by_role("button", name="Owner stays").tap()
    for page in two.pages:
        again(page)
        expect(page.locator(".settle")).to_have_count(0, timeout=20_000)
    expect(bens.locator("#start")).to_be_visible()
    expect(mine.locator("#stop")).to_be_visible()
    assert [work["by"] for work in two.core()["at_work"]] == ["d1"]


def test_two_opinions_are_shown_with_both_values_and_decided(two: Two) -> None:
    mine, bens = two.pages
    where = mine.locator("#where").inner_text()
    leave_out(mine, "hot")
    expect(mine.locator("#where")).not_to_have_text(where)
    for page in two.pages:
        again(page)
        expect(page.locator("#net")).to_have_text("All sent.")
        page.locator("#all summary").tap()
        page.locator("#list button", has_text="left out").tap()
        expect(page.locator("#where")).to_have_text(where)
    two.bench.kill()
    leave_out(mine, "edge", "[data-do='[\"reason\"]']")
    leave_out(bens, "damage", "[data-do='[\"reason\"]']")
    two.bench.start()
    two.bench.answers()
    for page in two.pages:
        again(page)
        expect(page.locator("#net")).to_have_text("All sent.", timeout=40_000)
    for page in two.pages:
        again(page)
        card = page.locator(".settle", has_text="why section")
        expect(card).to_contain_text("Too near an edge", timeout=20_000)
        expect(card).to_contain_text("Damage found")
    bens.locator(".settle").get_by_role("button", name="Too near an edge").tap()
    for page in two.pages:
        again(page)
        expect(page.locator(".settle")).to_have_count(0, timeout=20_000)
        expect(page.locator(".prompt.skipped")).to_contain_text("Too near an edge")
    assert not fold(two.shop.facts(two.visit)).conflicts


def test_devices_that_worked_apart_come_to_the_same(two: Two) -> None:
    mine, bens = two.pages
    bens.locator("#next").tap()
    two.bench.kill()
    for page, sets in ((mine, 2), (bens, 1)):
        start(page)
        for _ in range(sets):
            page.locator("#set").tap()
            page.wait_for_timeout(400)
        page.locator("#cleaned").tap()
    mine.locator("#undo").tap()
    two.bench.start()
    two.bench.answers()
    for page in (*two.pages, *two.pages):
        again(page)
        expect(page.locator("#net")).to_have_text("All sent.", timeout=40_000)
        page.wait_for_timeout(500)
    core = two.core()
    for problem in core["problems"]:
        del problem["do"]
    states = [page.evaluate(STATE, two.visit) for page in two.pages]
    assert states[0] == states[1] == core
    assert sum(sum(s["done"].values()) for s in core["sections"]) == 3
