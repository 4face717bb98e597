"""The work screen itself: what it shows and asks, for everybody, in both themes."""

import json
import re
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect
from test_web_axe import LEAST_PX, RULES
from workserver import PHONE, Bench, free_port, paired, planned_shop

from leastcut.job.settle import read
from leastcut.shop.facts import NewFact
from leastcut.shop.store import Shop
from leastcut.web.workscreen import script_texts, script_words

pytestmark = pytest.mark.browser

SMALL = """(least) => [...document.querySelectorAll('#work a, #work button, #work summary, #work input')]
  .filter((e) => e.checkVisibility())
  .map((e) => [e.outerHTML, (e.matches('[type=radio]') ? e.closest('label') : e).getBoundingClientRect()])
  .filter(([, box]) => box.width && (box.height < least - 0.5 || box.width < least - 0.5))
  .map(([html]) => html.slice(0, 90))"""


class Floor:
    """A shop with one planned car, served; pages to its work screen."""

    def __init__(self, shop: Shop, visit: int, bench: Bench) -> None:
        self.shop, self.visit, self.bench = shop, visit, bench
        self.address = f"http://127.0.0.1:{bench.port}"
        stored = shop.dossier(visit)
        assert stored is not None
        self.dossier = read(stored[1])

    def page(self, context: BrowserContext, **chosen: str) -> Page:
        made = context.new_page()
        cookies = {"leastcut_device": paired(self.shop), **chosen}
        context.add_cookies(
            [{"name": n, "value": v, "url": self.address} for n, v in cookies.items()]
        )
        made.goto(f"{self.address}/v/{self.visit}/work")
        expect(made.locator("#net")).to_have_attribute("data-state", "here")
        return made

    def kinds(self) -> list[str]:
        return [f.body["kind"] for f in self.shop.facts(self.visit) if f.field == "event"]


@pytest.fixture(scope="module")
def floor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Floor]:
    folder = tmp_path_factory.mktemp("floor")
    shop, visit = planned_shop(folder)
    bench = Bench(folder, free_port())
    bench.start()
    bench.answers()
    yield Floor(shop, visit, bench)
    bench.kill()
    shop.close()


@pytest.fixture
def bare(browser: Browser) -> Iterator[BrowserContext]:
    made = browser.new_context(viewport=PHONE, has_touch=True)
    yield made
    made.close()


def begin(page: Page) -> None:
    page.locator("#start").tap()
    if page.locator("[data-answer=read]").is_visible():
        page.locator("[data-answer=read]").tap()
    page.locator("[data-answer=yes]").tap()
    expect(page.locator("#stop")).to_be_visible()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_no_rule_is_broken_in_any_state(floor: Floor, browser: Browser, theme: str) -> None:
    context = browser.new_context(viewport=PHONE, color_scheme=theme, has_touch=True)  # type: ignore[arg-type]
    page, axe = floor.page(context), Axe()
    broken, small = [], []

    def look(state: str) -> None:
        found = axe.run(page, options=RULES).response["violations"]
        broken.extend((state, v["id"], v["nodes"][0]["html"][:120]) for v in found)
        small.extend((state, html) for html in page.evaluate(SMALL, LEAST_PX))
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, state

    for details in page.locator("details").all():
        details.evaluate("d => d.open = true")
    expect(page.locator("#list button")).to_have_count(
        len([s for s in floor.dossier.plan.sections if s.steps])
    )
    look("waiting")
    page.locator("#start").tap()
    expect(page.locator("#ask")).to_be_visible()
    look("cautions of the day")
    page.locator("[data-answer=read]").tap()
    expect(page.locator("[data-answer=yes]")).to_be_visible()
    look("pad on the paint?")
    page.locator("[data-answer=yes]").tap()
    page.locator("#set").tap()
    expect(page.locator("#count")).to_contain_text("Set 2 of")
    look("working")
    page.locator("#stop").tap()
    expect(page.locator(".prompt").first).to_be_visible()
    look("to be wiped")
    page.locator("#skip").tap()
    look("why leave it out?")
    page.keyboard.press("Escape")
    for _ in range(3):
        page.wait_for_timeout(400)
        page.locator("#undo").tap()
    expect(page.locator("#undo")).to_be_hidden()
    expect(page.locator("#net")).to_have_text("All sent.")
    context.close()
    assert not broken
    assert not small


def test_a_section_by_keyboard_alone(floor: Floor, bare: BrowserContext) -> None:
    page, before = floor.page(bare), len(floor.kinds())
    page.locator("#start").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.locator("[data-answer=yes]")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#set")).to_be_visible()
    expect(page.locator("#said")).to_contain_text("Started")
    page.locator("#set").focus()
    page.keyboard.press("Space")
    expect(page.locator("#said")).to_contain_text(re.compile(r"Set 1 of \d done"))
    page.locator("#undo").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("Taken back: set done")
    expect(page.locator("#count")).to_contain_text("Set 1 of")
    page.locator("#stop").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#start")).to_be_visible()
    expect(page.locator("#net")).to_have_text("All sent.")
    assert floor.kinds()[before:] == ["started", "set-done", "stopped"]


def test_the_dot_walks_at_the_planned_arm_speed(floor: Floor, bare: BrowserContext) -> None:
    page = floor.page(bare)
    speed = {p.label: p.arm_speed_mm_s for p in floor.dossier.ladder}
    process = page.locator("#step-list input:checked").input_value()
    page.locator("#show-pace").tap()
    expect(page.locator("#stroke")).to_contain_text("Stroke 1 of")
    ways = page.evaluate("""() => new Promise((done) => {
      const seen = [], from = performance.now();
      const step = () => {
        const at = document.querySelector(".dot").transform.baseVal.consolidate().matrix;
        seen.push([performance.now() / 1000, at.e, at.f]);
        if (performance.now() - from < 1500) requestAnimationFrame(step); else done(seen);
      };
      requestAnimationFrame(step);
    })""")
    walked = sum(
        ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5 for (_, x0, y0), (_, x1, y1) in pairwise(ways)
    )
    assert walked / (ways[-1][0] - ways[0][0]) == pytest.approx(speed[process], rel=0.1)


def test_with_less_motion_the_dot_stands_back(floor: Floor, browser: Browser) -> None:
    context = browser.new_context(viewport=PHONE, has_touch=True, reduced_motion="reduce")
    page = floor.page(context)
    page.locator("#show-pace").tap()
    expect(page.locator(".in-turn")).to_have_count(1)
    assert page.locator(".dot").get_attribute("visibility") == "hidden"
    context.close()


def test_the_tick_sounds_only_when_asked(floor: Floor, bare: BrowserContext) -> None:
    bare.add_init_script(
        "window.tones = 0; const start = OscillatorNode.prototype.start;"
        "OscillatorNode.prototype.start = function (...a) { window.tones += 1; return start.apply(this, a); };"
    )
    page = floor.page(bare)
    page.locator("#show-pace").tap()
    page.wait_for_timeout(1300)
    assert page.evaluate("tones") == 0
    page.locator("#tick").tap()
    page.wait_for_function("() => window.tones > 0", timeout=5000)
    page.locator("#tick").tap()
    page.wait_for_timeout(200)
    tones = page.evaluate("tones")
    page.wait_for_timeout(1300)
    assert page.evaluate("tones") == tones


def test_a_double_tap_of_a_wet_glove_counts_once(floor: Floor, bare: BrowserContext) -> None:
    page, before = floor.page(bare), len(floor.kinds())
    page.locator("#fresh").dblclick()
    page.wait_for_timeout(600)
    expect(page.locator("#net")).to_have_text("All sent.")
    assert floor.kinds()[before:] == ["pad-changed"]


def test_vibration_is_told_before_its_limit(floor: Floor, bare: BrowserContext) -> None:
    page = floor.page(bare)
    by = json.loads(page.locator("#carried").text_content() or "")["bundle"]["me"]["by"]
    now_s = time.time()
    # source: 5 m/s² with K assumed 40 % is 7 m/s²: 480 min × (2.5/7)² = 61 min; status: recomputed
    place = {"panel": "roof", "section": "1"}
    start = NewFact(key="shake1", kind="add", field="event",
                    body={"kind": "started", **place, "process": "x", "at_s": now_s - 50 * 60, "by": by})  # fmt: skip
    stop = NewFact(key="shake2", kind="add", field="event",
                   body={"kind": "stopped", "at_s": now_s - 1, "by": by})  # fmt: skip
    midnight_s = now_s - page.evaluate("(new Date() - new Date().setHours(0, 0, 0, 0)) / 1000")
    left = 480 * (2.5 / 7) ** 2 - (now_s - 1 - max(now_s - 3000, midnight_s)) / 60
    floor.shop.append(floor.visit, [start, stop], device=None, person="", now_s=now_s)
    page.evaluate("dispatchEvent(new Event('online'))")
    words = page.locator(".prompt.shake")
    if left < 0.25 * 480 * (2.5 / 7) ** 2:
        expect(words).to_contain_text(f"{left:.0f} min with the machine are left", timeout=15_000)
    drops = [NewFact(key=f"d{k}", kind="drop", field=f"event/{k}") for k in ("shake1", "shake2")]
    floor.shop.append(floor.visit, drops, device=None, person="", now_s=now_s)


def test_another_language_and_other_units(floor: Floor, bare: BrowserContext) -> None:
    page = floor.page(bare, lang="es", units="us")
    assert page.locator("#next").inner_text() == "Siguiente sección"
    assert page.locator("#net").inner_text() == "Todo enviado."
    assert "lbf" in page.locator("#settings").inner_text()
    assert "mil" in page.locator("#costs").inner_text()
    assert set(script_words("es")) == set(script_texts())


def test_a_changed_plan_is_offered_and_taken(floor: Floor, bare: BrowserContext) -> None:
    page = floor.page(bare)
    stored = floor.shop.dossier(floor.visit)
    assert stored is not None
    count = page.locator("#which").inner_text()
    told = floor.shop.append(
        floor.visit,
        [NewFact(key="later", kind="set", field="people.shop", body="x")],
        device=None,
        person="",
        now_s=time.time(),
    )
    changed = json.loads(stored[1])
    worked = [s for s in changed["plan"]["sections"] if s["steps"]]
    worked[-1]["steps"] = []
    floor.shop.put_dossier(floor.visit, told.head, json.dumps(changed).encode())
    page.evaluate("dispatchEvent(new Event('online'))")
    page.get_by_role("button", name="Take the new plan").tap(timeout=20_000)
    expect(page.locator("#which")).not_to_have_text(count)
    expect(page.locator("#alerts button")).to_have_count(0)


def test_the_run_sheet_needs_nothing_else(
    floor: Floor, bare: BrowserContext, tmp_path: Path
) -> None:
    page = floor.page(bare)
    with page.expect_download() as got:
        page.get_by_role("link", name="Run sheet to keep").tap()
    file = tmp_path / "run.html"
    got.value.save_as(file)
    asked: list[str] = []
    alone = bare.new_page()
    alone.on("request", lambda request: asked.append(request.url))
    alone.goto(file.as_uri())
    assert asked == [file.as_uri()]
    worked = [s for s in floor.dossier.plan.sections if s.steps]
    sets = sum(step.sets for s in worked for step in s.steps)
    boxes = alone.locator("input[type=checkbox]")
    assert boxes.count() in range(sets, sets + len(worked) + 1)
    assert not Axe().run(alone, options=RULES).response["violations"]
