"""Everybody can use every page: machine-checked rules, large targets, keyboard alone, both themes."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page
from test_web_pages import paths

pytestmark = pytest.mark.browser

# WCAG 2.2 A and AA, and the rules' authors' good practice. source: axe-core's rule tags; status: seen
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],
}
LEAST_PX = 48


def test_no_rule_is_broken_on_any_page_in_either_theme(page: Page, workbench) -> None:  # noqa: ANN001
    axe, broken = Axe(), {}
    for path in paths(workbench.visit):
        page.goto(workbench.address + path)
        page.evaluate("document.querySelectorAll('details').forEach((d) => (d.open = true))")
        answer = axe.run(page, options=RULES).response
        assert len(answer["passes"]) > 15, path
        if found := answer["violations"]:
            broken[path] = [(v["id"], v["nodes"][0]["html"][:120]) for v in found]
    assert not broken


def test_the_rules_can_be_broken(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(workbench.here)
    phone.evaluate("document.querySelector('main').insertAdjacentHTML('beforeend', '<img src=x>')")
    broken = Axe().run(phone, options=RULES).response["violations"]
    assert [one["id"] for one in broken] == ["image-alt"]
    assert phone.evaluate(_SMALL, 500), "the measure of targets finds small ones"


def test_targets_are_large_and_nothing_scrolls_sideways(phone: Page, workbench) -> None:  # noqa: ANN001
    small = []
    for path in paths(workbench.visit):
        phone.goto(workbench.address + path)
        assert phone.evaluate("document.documentElement.scrollWidth") <= 390, path
        small += [(path, *one) for one in phone.evaluate(_SMALL, LEAST_PX)]
    assert not small


# Pieces on the sheet are drawn to scale; each has a row of full size in the list beside it. A target
# that is hidden under its label is as large as the label.
_SMALL = """(least) => [...document.querySelectorAll('a, button, summary, select, input, textarea')]
  .filter((e) => !e.closest('svg') && !e.matches('.skip, [type=hidden]') && e.checkVisibility())
  .map((e) => [e, (e.matches('[type=radio]') ? e.closest('label') : e).getBoundingClientRect()])
  .filter(([e, box]) => box.width && (box.height < least - 0.5 || box.width < least - 0.5))
  .map(([e, box]) => [e.outerHTML.slice(0, 90), box.width, box.height])"""


def test_each_piece_of_the_sheet_has_a_row_of_full_size(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(workbench.here)
    rows = phone.evaluate(
        "[...document.querySelectorAll('.paper svg a')].map((piece) => {"
        " const row = document.querySelector(`ul.rows a[href='${piece.getAttribute('href')}']`);"
        " return row.getBoundingClientRect().height; })"
    )
    assert len(rows) == 17
    assert min(rows) >= LEAST_PX


def test_a_form_is_filled_and_sent_by_keyboard_alone(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.address}/new")
    phone.keyboard.press("Tab")
    assert phone.evaluate("document.activeElement.className") == "skip"
    phone.keyboard.press("Enter")
    _until(phone, "document.activeElement.id === 'label'")
    phone.keyboard.type("typed without a mouse")
    phone.keyboard.press("Tab")
    assert phone.evaluate("document.activeElement.value") == "two-box"
    phone.keyboard.press("ArrowRight")
    assert phone.evaluate("document.activeElement.value") == "three-box"
    _until(phone, "document.activeElement.matches('button.main')")
    with phone.expect_navigation():
        phone.keyboard.press("Enter")
    assert re.search(r"/v/\d+$", phone.url)
    _until(phone, "document.activeElement.getAttribute('href')?.endsWith('/panel/roof')")
    with phone.expect_navigation():
        phone.keyboard.press("Enter")
    assert phone.locator("h1").inner_text() == "Roof"


def _until(page: Page, reached: str, most: int = 60) -> None:
    """Press Tab until the focus is where it should be; it is always to be seen."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate(reached):
            return
    raise AssertionError(f"never reached: {reached}")


def test_focus_is_seen_wherever_it_goes(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}/inspect/readings")
    for _ in range(25):
        phone.keyboard.press("Tab")
        outline = phone.evaluate(
            "(() => { const e = document.activeElement, s = getComputedStyle(e),"
            " n = e.nextElementSibling && getComputedStyle(e.nextElementSibling);"
            " return [s.outlineStyle, n && n.outlineStyle]; })()"
        )
        assert "solid" in outline


def test_a_fault_in_a_form_is_told_beside_its_field_and_aloud(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}/car")
    phone.locator("#car-width").fill("<b>wide</b>")
    with phone.expect_navigation():
        phone.locator("form:has(#car-width) button").tap()
    again = phone.locator("#car-width")
    assert again.input_value() == "<b>wide</b>", "what was typed is not lost"
    assert again.get_attribute("aria-invalid") == "true"
    told = phone.locator(f"#{again.get_attribute('aria-describedby')}")
    assert "<b>wide</b>" in told.inner_text()
    assert phone.locator("[role=alert]").count() == 1


def test_without_script_every_form_is_still_there(browser, workbench) -> None:  # noqa: ANN001
    context = browser.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    context.add_cookies([workbench.cookie])
    page = context.new_page()
    page.goto(
        f"{workbench.here}/inspect/readings?panel=left-sill".replace("left-sill", "sill-left")
    )
    page.get_by_label("Reading").fill("4.6 mil")
    page.get_by_role("button", name="Keep, next place").click()
    assert "4.6 mil" in page.locator(".entry").first.inner_text()
    page.locator(".entry").first.get_by_role("button", name="Undo").click()
    assert not page.locator(".entry").count()
    context.close()


def test_on_paper_there_are_no_buttons(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}/panel/bonnet")
    phone.emulate_media(media="print")
    for gone in ("nav.stages", "form", ".links", ".settings"):
        assert not phone.locator(gone).first.is_visible(), gone
    for stays in ("h1", ".paper svg", "dl.figures", "details.how p"):
        assert phone.locator(stays).first.is_visible(), stays
