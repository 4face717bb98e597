"""The pages at the door in a real browser: rules for everybody, large targets, both themes; a phone pairs."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page
from test_web_axe import _SMALL, LEAST_PX, RULES

pytestmark = pytest.mark.browser


def looked_at(page: Page) -> list[str]:
    """Return what is wrong with the page that is open: broken rules, small targets, a wide page."""
    for details in page.locator("details").all():
        details.evaluate("d => d.open = true")
    answer = Axe().run(page, options=RULES).response
    assert len(answer["passes"]) > 12
    broken = [f"{v['id']}: {v['nodes'][0]['html'][:100]}" for v in answer["violations"]]
    broken += [str(one) for one in page.evaluate(_SMALL, LEAST_PX)]
    if page.evaluate("document.documentElement.scrollWidth") > 390:
        broken.append("scrolls sideways")
    return broken


def test_the_owners_pages(page: Page, workbench) -> None:  # noqa: ANN001
    wrong = {}
    for path in ("/people", "/people/audit"):
        page.goto(workbench.address + path)
        wrong[path] = looked_at(page)
    page.goto(workbench.address + "/people")
    page.locator("form[action$='/code'] button").first.tap()
    page.wait_for_selector(".code")
    wrong["code"] = looked_at(page)
    page.goto(workbench.here + "/handover")
    page.locator("form[action$='/links'] button").tap()
    page.wait_for_selector("input[readonly]")
    wrong["link"] = looked_at(page)
    assert not any(wrong.values()), wrong


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_strangers_pages(browser: Browser, workbench, scheme: str) -> None:  # noqa: ANN001
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, color_scheme=scheme, has_touch=True
    )
    page, wrong = context.new_page(), {}
    for path in ("/", "/pair", "/sign-in", "/enter?key=WRONG"):
        page.goto(workbench.address + path)
        wrong[path] = looked_at(page)
    context.close()
    assert not any(wrong.values()), wrong


def test_a_phone_pairs_by_the_code_on_the_owners_screen(
    phone: Page,
    browser: Browser,
    workbench,  # noqa: ANN001
) -> None:
    phone.goto(workbench.address + "/people")
    phone.get_by_text("Somebody new").tap()
    phone.get_by_label("Name").fill("Cora")
    phone.get_by_role("button", name="Add, and pair a device").tap()
    code = phone.locator(".code").inner_text()
    assert re.fullmatch(r"[2-9A-Z]{5}-[2-9A-Z]{5}", code)
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    hers = context.new_page()
    hers.goto(workbench.address)
    hers.get_by_label("Code").fill(code.lower())
    hers.get_by_label("What is this device called?").fill("Cora's phone")
    hers.get_by_role("button", name="Pair this device").tap()
    hers.get_by_text(workbench.shop.cars().rows[0].label).first.wait_for()
    assert hers.evaluate("document.cookie") == ""  # no script reads the key
    hers.goto(workbench.address + "/people")
    assert "does not allow" in hers.locator("main").inner_text()
    phone.goto(workbench.address + "/people")
    row = phone.locator("li", has_text="Cora's phone")
    row.get_by_role("button").tap()
    row.wait_for(state="detached")
    hers.goto(workbench.address)
    assert hers.get_by_label("Code").count() == 1
    context.close()


def test_no_script_runs_that_is_not_ours(phone: Page, workbench) -> None:  # noqa: ANN001
    refused: list[str] = []
    phone.on("console", lambda message: refused.append(message.text))
    phone.goto(workbench.address + "/terms")
    phone.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.ran = 1';"
        " document.body.append(s); }"
    )
    phone.evaluate(
        "document.body.insertAdjacentHTML('beforeend', '<img src=x onerror=\"window.ran=2\">')"
    )
    phone.wait_for_timeout(200)
    assert phone.evaluate("window.ran") is None
    assert any("Content Security Policy" in text for text in refused)


def test_another_site_neither_frames_nor_acts(browser: Browser, workbench) -> None:  # noqa: ANN001
    context = browser.new_context()
    context.add_cookies([workbench.cookie])
    page = context.new_page()
    before = workbench.shop.cars().total
    page.route(
        "http://evil.example/*",
        lambda route: route.fulfill(
            content_type="text/html",
            body=f"<iframe src='{workbench.address}/'></iframe>"
            f"<form method=post action='{workbench.address}/new'><input name=label value=Evil>"
            "<input name=body value=van><input name=key value=k1></form>",
        ),
    )
    page.goto("http://evil.example/")
    page.wait_for_timeout(300)
    frame = page.frames[1]
    assert "leastcut" not in (frame.content() if frame.url.startswith("http") else "")
    with page.expect_navigation():
        page.evaluate("document.forms[0].submit()")
    assert (
        "another site asked for this change" in page.content().lower() or "pair" in page.content()
    )
    assert workbench.shop.cars().total == before
    context.close()
