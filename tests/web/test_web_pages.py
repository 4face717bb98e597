"""The pages in a real browser at phone size: what they show, where taps lead, nothing from afar."""

import json
import re
import time
from urllib.parse import urlparse

import httpx2
import pytest
from PIL import Image
from playwright.sync_api import Page, Request, Route, expect

from leastcut.job.visit import fold
from leastcut.shop.facts import NewFact
from leastcut.shop.links import Links

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


def test_the_tour_leads_through_the_whole_job(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}?tour=1")
    seen = []
    while phone.get_by_role("link", name="Go on").count():
        seen.append(urlparse(phone.url).path)
        phone.get_by_role("link", name="Go on").tap()
        phone.wait_for_url(f"**tour={len(seen) + 1}")
    assert phone.url.endswith("/handover?tour=7")
    assert len(seen) == len(set(seen)) == 6
    phone.get_by_role("link", name="Leave the tour").tap()
    phone.wait_for_url("**/handover")
    assert not phone.locator(".tour").count()


def test_each_term_is_explained_where_it_stands(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}/panel/bonnet")
    term = phone.locator("details.term", has_text="budget")
    term.locator("summary").tap()
    assert "less the reserve" in term.inner_text()
    phone.goto(f"{workbench.address}/terms")
    assert phone.locator("dl.glossary dt").count() >= 20


def test_two_people_who_disagree_are_asked(phone: Page, workbench) -> None:  # noqa: ANN001
    shop, visit = workbench.shop, workbench.visit
    base = fold(shop.facts(visit)).heads["people.date"]
    for number, (person, day) in enumerate({"Ada": "1 May", "Bo": "2 May"}.items()):
        fact = _set(f"says-{person}", "people.date", day, base)
        shop.append(visit, [fact], device=None, person=person, now_s=float(number))
    phone.goto(f"{workbench.here}/car")
    asked = phone.locator(".warn", has_text="Two people said different things about people.date")
    assert {button.inner_text() for button in asked.get_by_role("button").all()} == {
        "1 May (Ada)",
        "2 May (Bo)",
    }
    with phone.expect_navigation():
        asked.get_by_role("button", name="1 May (Ada)").tap()
    assert not phone.locator(".warn").count()
    assert phone.locator("#people-date").input_value() == "1 May"


def _set(key: str, field: str, body: str, base: int | None) -> NewFact:
    return NewFact(key=key, kind="set", field=field, body=body, base=base)


def test_what_if_is_answered_without_making_the_page_wait(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}/plan")
    expect(phone.locator("#doing")).to_be_empty(timeout=60_000)
    phone.goto(f"{workbench.here}/plan")
    phone.get_by_label("Chance of the finish on each section").fill("70")
    phone.get_by_label("Show car: 95 % gone").check(force=True)
    begun = time.monotonic()
    with phone.expect_navigation():
        phone.get_by_role("button", name="See what it would cost").tap()
    assert time.monotonic() - begun < 5
    table = phone.locator("#what-if table")
    expect(table).to_be_visible(timeout=60_000)
    gone = table.locator("tr", has_text="Scratches gone").locator("td").all_inner_texts()
    assert float(gone[1].split()[0]) >= float(gone[0].split()[0]), "more is asked, more goes"
    before = len(workbench.shop.facts(workbench.visit))
    assert phone.get_by_role("button", name="Plan it so").is_visible()
    assert len(workbench.shop.facts(workbench.visit)) == before, "a question changes nothing"


def test_an_outline_is_traced_in_millimetres(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}/inspect/outline/bonnet")
    phone.wait_for_function("document.querySelector('canvas').width > 300")
    box = phone.locator("canvas").bounding_box()
    assert box is not None
    for x, y in ((0.3, 0.3), (0.7, 0.3), (0.7, 0.7), (0.3, 0.7)):
        phone.touchscreen.tap(box["x"] + x * box["width"], box["y"] + y * box["height"])
    for x, y in ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9)):
        phone.touchscreen.tap(box["x"] + x * box["width"], box["y"] + y * box["height"])
    phone.get_by_label("Known width").fill("40 cm")
    phone.get_by_label("Known height").fill("300 mm")
    points = json.loads(phone.locator("[data-points]").input_value())
    # An affine square: 0.4 of the photo's width are 400 mm, 0.4 of its height 300 mm.
    wanted = [[0, 600], [800, 600], [800, 0], [0, 0]]
    assert all(
        abs(a - b) < 8
        for got, want in zip(points, wanted, strict=True)
        for a, b in zip(got, want, strict=True)
    )


def test_a_client_sees_the_report_behind_a_link_and_nothing_else(
    browser,  # noqa: ANN001
    workbench,  # noqa: ANN001
) -> None:
    token = Links(workbench.shop.database).new(workbench.visit, by=None, now_s=time.time())
    context = browser.new_context(viewport={"width": 390, "height": 844}, locale="es-ES")
    page = context.new_page()
    page.goto(f"{workbench.address}/see/{token}")
    assert page.locator("h1").inner_text() == "The dark green two-box"
    assert page.locator(".paper svg").count() == 3
    assert not page.locator("nav.stages, form").count()
    assert page.locator("html").get_attribute("lang") == "es"
    answer = page.request.get(f"{workbench.address}/see/{token}/report.pdf")
    assert answer.body().startswith(b"%PDF")
    assert page.request.get(workbench.here).status == 401
    context.close()


def test_every_page_is_light(phone: Page, workbench) -> None:  # noqa: ANN001
    """Nothing cached, photos left out: at most 150 kB a page."""
    tools = phone.context.new_cdp_session(phone)
    kinds: dict[str, str] = {}
    sizes: dict[str, float] = {}
    tools.on("Network.responseReceived", lambda e: kinds.update({e["requestId"]: e["type"]}))
    tools.on(
        "Network.loadingFinished", lambda e: sizes.update({e["requestId"]: e["encodedDataLength"]})
    )
    tools.send("Network.enable")
    tools.send("Network.setCacheDisabled", {"cacheDisabled": True})
    for path in ("", "/car", "/testspot", "/plan", "/panel/bonnet", "/handover"):
        sizes.clear()
        phone.goto(workbench.here + path)
        phone.wait_for_load_state("networkidle")
        weight = sum(size for name, size in sizes.items() if kinds.get(name) != "Image")
        assert 20_000 < weight <= 150_000, (path, weight)


def test_a_photo_survives_a_connection_that_drops(phone: Page, workbench, demo) -> None:  # noqa: ANN001
    photo = demo.folder / "photos" / "roof.jpg"
    dropped: list[str] = []

    def drop(route: Route) -> None:
        if len(dropped) < 3:
            dropped.append(route.request.url)
            route.abort()
        else:
            route.continue_()

    phone.route("**/api/uploads/*?at=*", drop)
    phone.goto(f"{workbench.here}/inspect/photos?panel=tailgate")
    phone.get_by_label("Photo under the lamp").set_input_files(photo)
    with phone.expect_navigation(timeout=60_000):
        phone.get_by_role("button", name="Send the photo").tap()
    assert len(dropped) == 3
    known = fold(workbench.shop.facts(workbench.visit)).items["photo"]
    (item,) = [one for one in known.values() if one["panel"] == "tailgate"]
    row = workbench.shop.photo(item["file"])
    assert row is not None
    assert workbench.visit in row.visits
    with Image.open(photo) as sent:
        assert (row.width, row.height) == sent.size


def test_a_page_never_renews_itself_under_somebodys_hands(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}/inspect/photos?panel=sill-left")
    phone.evaluate(
        "(() => { const s = document.getElementById('doing'); s.dataset.renew = '0.2'; })()"
    )
    phone.get_by_label("Inner side of the taped square").fill("61 mm")
    phone.add_script_tag(url="/static/pages/bench.js?again", type="module")
    phone.get_by_label("Inner side of the taped square").press("1")
    phone.wait_for_timeout(1500)
    assert phone.get_by_label("Inner side of the taped square").input_value() == "61 mm1"


def test_the_invented_car_is_a_tap_away(phone: Page, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.address}/demo")
    with phone.expect_navigation():
        phone.get_by_role("button", name="Try it on the invented car").tap()
    phone.wait_for_url("**?tour=1", timeout=120_000)
    assert phone.locator(".tour").count() == 1
    assert phone.locator("h1").inner_text() == "The dark green two-box"
