"""The pages in a real browser at phone size: what they show, where taps lead, nothing from afar."""

import re
from urllib.parse import urlparse

import httpx2
import pytest
from playwright.sync_api import Page, Request

pytestmark = pytest.mark.browser


def test_the_car_page_shows_the_sheet_and_the_next_thing(page: Page, address: str) -> None:
    page.goto(address)
    assert page.locator("h1").inner_text() == "The dark green two-box"
    assert page.locator(".next").inner_text().startswith("Next")
    assert page.locator("figure.paper svg").count() == 1
    assert page.locator("figure.paper svg path").count() > 40
    assert page.locator("ul.panels li").count() == 17


def test_a_tap_leads_to_a_panel_and_back(page: Page, address: str) -> None:
    page.goto(address)
    page.get_by_role("link", name="Bonnet").tap()
    page.wait_for_url("**/panel/bonnet")
    assert page.locator("h1").inner_text() == "Bonnet"
    assert page.locator("ol.sections li").count() >= 6
    picture = page.locator("figure img")
    picture.scroll_into_view_if_needed()
    picture.evaluate("img => img.decode()")
    assert picture.evaluate("img => img.naturalWidth") > 100
    page.locator(".back a").tap()
    page.wait_for_url(address + "/")


@pytest.mark.parametrize("measure", ["load", "clear", "cut"])
def test_the_sheet_wears_another_measure(page: Page, address: str, measure: str) -> None:
    page.goto(address)
    before = page.locator("figure.paper").inner_html()
    page.locator(f"a[href='/?measure={measure}']").tap()
    page.wait_for_url(f"**measure={measure}")
    assert page.locator("figure.paper").inner_html() != before
    assert page.locator(".measures [aria-current=page]").count() == 1


def test_nothing_is_asked_of_the_internet(page: Page, address: str) -> None:
    asked: list[str] = []

    def note(request: Request) -> None:
        asked.append(request.url)

    page.on("request", note)
    for path in ("/", "/panel/bonnet", "/?measure=clear"):
        page.goto(address + path)
    hosts = {urlparse(url).hostname for url in asked}
    assert hosts == {"127.0.0.1"}


def test_phone_size_targets_and_no_sideways_scroll(page: Page, address: str) -> None:
    for path in ("/", "/panel/bonnet"):
        page.goto(address + path)
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= 390
        for link in page.locator("a:visible:not(.skip)").all():
            box = link.bounding_box()
            assert box is not None
            assert box["height"] >= 44, link.inner_text()


def test_all_by_keyboard(page: Page, address: str) -> None:
    page.goto(address)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.getAttribute('href')") == "/panel/bonnet":
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/panel/bonnet")


def test_documents_and_what_is_not_there(address: str) -> None:
    with httpx2.Client(base_url=address) as client:
        assert client.get("/files/plan.pdf").content.startswith(b"%PDF")
        assert client.get("/files/job.json").json()["car"]["body"] == "two-box"
        for path in ("/files/../demo.toml", "/files/%2e%2e/demo.toml", "/panel/x", "/?measure=x"):
            answer = client.get(path)
            assert answer.status_code == 404
            assert "Something is wrong" in answer.text
        headers = client.get("/").headers
        assert "default-src 'none'" in headers["content-security-policy"]


def test_a_spoilt_job_file_is_explained_on_the_page(demo, tmp_path) -> None:  # noqa: ANN001
    from starlette.testclient import TestClient

    from leastcut.web.app import create_app

    job_file = demo.copy(tmp_path / "job")
    job_file.write_text(job_file.read_text().replace('body = "two-box"', 'body = "boat"'))
    with TestClient(create_app(job_file, tmp_path / "out")) as client:
        answer = client.get("/")
    assert answer.status_code == 422
    assert re.search(r"demo\.toml:\d+ car\.body", answer.text)
    assert not (tmp_path / "out").exists()
