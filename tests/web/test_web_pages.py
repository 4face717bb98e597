"""The pages in a real browser at phone size: what they show, where taps lead, nothing from afar."""

import re
from urllib.parse import urlparse

import httpx2
import pytest
from playwright.sync_api import Page, Request

pytestmark = pytest.mark.browser

# Every page of a car, and of the shop.
ON_CAR = (
    "", "car", "inspect", "inspect/wash", "inspect/photos", "inspect/readings",
    "inspect/gauge", "inspect/outline/bonnet", "testspot", "plan", "work/prove", "protect",
    "handover", "handover/ledger", "panel/bonnet", "panel/bonnet/1",
)  # fmt: skip
IN_SHOP = ("/", "/new", "/terms", "/settings", "/demo")


def paths(visit: int) -> list[str]:
    return [*IN_SHOP, *(f"/v/{visit}/{path}".rstrip("/") for path in ON_CAR)]


def test_the_sheet_is_the_home_of_a_car(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(workbench.here)
    assert phone.locator("h1").inner_text() == "The dark green two-box"
    assert phone.locator(".next p").first.inner_text()
    assert phone.locator(".paper svg a").count() == 17
    assert phone.locator("ul.rows a[href*='/panel/']").count() == 17


def test_a_tap_on_a_piece_leads_to_the_panel_and_on_to_a_section(
    phone: Page,
    workbench,  # noqa: ANN001
) -> None:
    phone.goto(workbench.here)
    phone.locator(".paper a[href$='/panel/bonnet'] path").first.tap()
    phone.wait_for_url("**/panel/bonnet")
    assert phone.locator("h1").inner_text() == "Bonnet"
    picture = phone.locator("figure img")
    picture.scroll_into_view_if_needed()
    picture.evaluate("img => img.decode()")
    assert picture.evaluate("img => img.naturalWidth") > 100
    phone.locator(".paper a[href$='/panel/bonnet/1'] path").first.tap()
    phone.wait_for_url("**/panel/bonnet/1")
    assert "mm/s" in phone.locator("dl.facts").inner_text()
    phone.locator(".back a").tap()
    phone.wait_for_url("**/panel/bonnet")


@pytest.mark.parametrize("measure", ["load", "clear", "cut", "done"])
def test_the_sheet_wears_another_measure(phone: Page, workbench, measure: str) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}?measure=budget")
    before = phone.locator(".paper").inner_html()
    phone.locator(f"a[href$='?measure={measure}']").tap()
    phone.wait_for_url(f"**measure={measure}")
    assert phone.locator(".paper").inner_html() != before
    assert phone.locator(".chips [aria-current=page]").count() == 1


def test_every_page_opens_asks_only_here_and_raises_nothing(phone: Page, workbench) -> None:  # noqa: ANN001
    asked: list[str] = []
    faults: list[str] = []

    def note(request: Request) -> None:
        asked.append(request.url)

    phone.on("request", note)
    phone.on("pageerror", lambda error: faults.append(str(error)))
    phone.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
    for path in paths(workbench.visit):
        answer = phone.goto(workbench.address + path)
        assert answer is not None
        assert answer.status == 200, path
        assert phone.locator("h1").count() == 1, path
    assert {urlparse(url).hostname for url in asked if not url.startswith("data:")} == {"127.0.0.1"}
    assert not faults


def test_every_figure_says_how_it_is_known(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}/panel/bonnet")
    assert phone.locator("dl.figures").count() == phone.locator("details.how").count() == 4
    first = phone.locator("details.how").first
    first.locator("summary").tap()
    assert re.search(r"\d+ scratches in the photo, scale from the square", first.inner_text())


def test_the_stages_are_a_tap_away_and_say_where_one_is(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(workbench.here)
    for word in ("Car", "Inspect", "Test spot", "Plan", "Protect", "Hand over"):
        phone.locator("nav.stages a", has_text=word).tap()
        assert phone.locator("nav.stages [aria-current=page]").inner_text().endswith(word)


def test_what_is_not_there_is_said_plainly(workbench) -> None:  # noqa: ANN001
    with httpx2.Client(base_url=workbench.address, cookies={"leastcut_device": workbench.key}) as c:
        visit = workbench.visit
        for path in (
            "/v/999",
            f"/v/{visit}/panel/x",
            f"/v/{visit}/panel/bonnet/x",
            f"/v/{visit}?measure=x",
            f"/v/{visit}/pictures/x",
            f"/v/{visit}/inspect/photos?panel=x",
            "/nothing",
        ):
            answer = c.get(path)
            assert answer.status_code == 404, path
            assert "Something is wrong" in answer.text
        headers = c.get("/").headers
        assert "default-src 'none'" in headers["content-security-policy"]


def test_documents_are_pdf(workbench) -> None:  # noqa: ANN001
    with httpx2.Client(base_url=workbench.address, cookies={"leastcut_device": workbench.key}) as c:
        for name in ("plan.pdf", "handover.pdf", "quote.pdf"):
            answer = c.get(f"/v/{workbench.visit}/{name}", timeout=60)
            assert answer.status_code == 200, name
            assert answer.content.startswith(b"%PDF")
