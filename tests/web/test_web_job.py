"""The whole job by tapping and typing on a phone: from a new car to the report in the client's hands."""

import io
import re
from pathlib import Path

import pypdfium2
import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser

LABEL = "Grey hatchback, bay three"
CLIENT = "Ana Lúcia <Prieto> & Sons"
READ = {"bonnet": (118, 121, 119), "roof": (126, 124, 128), "tailgate": (112, 115, 113)}
PROCESS = "polishing foam + medium liquid"


def keep(page: Page, button: str = "Keep it") -> None:
    """Tap a form's button and wait for the page that answers."""
    with page.expect_navigation():
        page.get_by_role("button", name=button, exact=True).first.tap()
    assert not page.locator(".warn[role=alert]").count(), page.locator("main").inner_text()


def stage(page: Page, word: str) -> None:
    page.locator("nav.stages a", has_text=word).tap()
    expect(page.locator("nav.stages [aria-current=page]")).to_contain_text(word)


def begin(page: Page, address: str) -> str:
    page.goto(address)
    page.get_by_role("link", name="A new car").tap()
    page.get_by_label("What do you call it?").fill(LABEL)
    page.get_by_label("Hatchback", exact=True).tap()
    page.get_by_text("Tape sizes (optional)").tap()
    for name, size in {
        "Length": "4.26 m",
        "Width": "70.5 in",
        "Height": "1460",
        "Wheelbase": "8 ft 7 in",
    }.items():
        page.get_by_label(name, exact=True).fill(size)
    keep(page, "Put it on the bench")
    assert page.locator(".paper svg a").count() == 17
    return page.url


def tell_the_client(page: Page) -> None:
    stage(page, "Car")
    form = page.locator("form", has=page.get_by_label("Client"))
    form.get_by_label("Client").fill(CLIENT)
    with page.expect_navigation():
        form.get_by_role("button").tap()
    assert page.get_by_label("Client").input_value() == CLIENT


def wash(page: Page) -> None:
    stage(page, "Inspect")
    page.get_by_role("link", name="Wash check").first.tap()
    for word in ("Washed by hand", "Smooth as glass", "None seen", "Dry and bare"):
        page.get_by_label(word, exact=True).tap()
    keep(page)
    expect(page.locator("main")).to_contain_text("Clean, smooth, dry")


def read(page: Page, home: str) -> None:
    """Walk three panels with the large keypad."""
    for panel, values in READ.items():
        page.goto(f"{home}/inspect/readings?panel={panel}")
        for number, value in enumerate(values, start=1):
            assert page.get_by_label("Place").input_value() == str(number)
            for digit in str(value):
                page.locator(f".pad [data-digit='{digit}']").tap()
            keep(page, "Keep, next place")
    expect(page.locator(".entry")).to_have_count(3)


def photograph(page: Page, home: str, photos: Path) -> None:
    """Send two photos as the camera would, and wait for what is found in them."""
    for panel in ("bonnet", "roof"):
        page.goto(f"{home}/inspect/photos?panel={panel}")
        page.get_by_label("Inner side of the taped square").fill("60")
        page.get_by_label("Photo under the lamp").set_input_files(photos / f"{panel}.jpg")
        keep(page, "Send the photo")
    expect(page.locator("#found article")).to_have_count(2)
    expect(page.locator("#found")).not_to_contain_text("Being looked at", timeout=60_000)
    first = page.locator("#found article").first
    expect(first.locator(".checks .yes")).to_have_count(4)
    assert re.search(r"\d+ mm/cm²", first.inner_text())
    assert first.locator("figure").evaluate(
        "f => !!(f.compareDocumentPosition(f.parentNode.querySelector('dl')) & 4)"
    ), "the overlay stands before the numbers"


def try_it(page: Page, photos: Path) -> None:
    stage(page, "Test spot")
    page.get_by_label("Process").first.select_option(PROCESS)
    page.get_by_label("Sets").fill("4")
    page.get_by_label("Panel", exact=True).first.select_option("bonnet")
    page.get_by_label("Photo before").set_input_files(photos / "trial-3-before.jpg")
    page.get_by_label("Photo after, wiped bare").set_input_files(photos / "trial-3-after.jpg")
    page.get_by_label("Gauge before").fill("124 125 124 124")
    page.get_by_label("Gauge after").fill("121; 123; 121; 122")
    page.get_by_label("Clean", exact=True).tap()
    keep(page, "Keep the trial")
    expect(page.locator("#trials article")).to_contain_text("Scratches gone", timeout=60_000)
    slider = page.locator(".slide input")
    slider.fill("80")
    assert "80%" in (page.locator(".both").get_attribute("style") or "")


def plan(page: Page) -> str:
    """Plan with prices; return the price."""
    stage(page, "Plan")
    page.get_by_label("Currency").select_option("EUR")
    page.get_by_label("One hour of work").fill("46,50")
    page.get_by_label("Tax, %").fill("20")
    form = page.locator("#prices form")
    with page.expect_navigation():
        form.get_by_role("button").tap()
    expect(page.locator("#doing")).to_be_empty(timeout=90_000)
    page.reload()
    expect(page.locator("main")).to_contain_text("Safe to promise")
    found = re.search(r"\d+\.\d\d EUR", page.locator("main").inner_text())
    assert found
    return found[0]


def work(page: Page) -> list[str]:
    """Work three sections while the shop's computer cannot be reached; return where that was."""
    stage(page, "Work")
    expect(page.locator("#start")).to_be_visible()
    page.context.set_offline(True)
    places = []
    for number in range(3):
        places.append(page.locator("#where").inner_text())
        page.locator("#start").tap()
        if not number:
            page.locator("[data-answer=read]").tap()
        page.locator("[data-answer=yes]").tap()
        expect(page.locator("#set")).to_be_visible()
        while page.locator("#set").is_visible():
            page.locator("#set").tap()
            page.wait_for_timeout(400)  # less is a bounce of the same thumb
        page.locator("#wiped").tap()
        page.locator("#next").tap()
    expect(page.locator("#net")).to_contain_text("not yet sent")
    page.context.set_offline(False)
    expect(page.locator("#net")).to_have_text("All sent.", timeout=30_000)
    return places


def prove(page: Page, home: str, photos: Path) -> str:
    """Prove one place; return the share of scratches gone as the page says it."""
    page.goto(f"{home}/work/prove")
    page.get_by_label("Panel", exact=True).first.select_option("bonnet")
    page.get_by_label("Photo before", exact=True).select_option("")
    page.get_by_label("or another photo from before").set_input_files(photos / "trial-3-before.jpg")
    page.get_by_label("Photo after, wiped bare").set_input_files(photos / "trial-3-after.jpg")
    keep(page, "Keep the proof")
    expect(page.locator("#proofs article")).to_contain_text("Scratches gone", timeout=60_000)
    found = re.search(r"\d+ %", page.locator("#proofs dd").first.inner_text())
    assert found
    return found[0]


def handed_over(page: Page) -> str:
    """Return the words of the report that the handover page gives."""
    stage(page, "Hand over")
    expect(page.locator("#doing")).to_be_empty(timeout=90_000)
    page.reload()
    link = page.get_by_role("link", name="The report (PDF)").get_attribute("href")
    answer = page.request.get(re.match(r"https?://[^/]+", page.url)[0] + str(link))
    assert answer.headers["content-type"] == "application/pdf"
    document = pypdfium2.PdfDocument(io.BytesIO(answer.body()))
    return "\n".join(leaf.get_textpage().get_text_range() for leaf in document)


def test_the_whole_job_by_tapping_and_typing(phone: Page, workbench, demo) -> None:  # noqa: ANN001
    photos = demo.folder / "photos"
    home = begin(phone, workbench.address)
    tell_the_client(phone)
    wash(phone)
    read(phone, home)
    photograph(phone, home, photos)
    try_it(phone, photos)
    price = plan(phone)
    places = work(phone)
    assert len(set(places)) == 3
    visit = int(home.rsplit("/", 1)[1])
    events = [fact.body for fact in workbench.shop.facts(visit) if fact.field == "event"]
    assert [event["kind"] for event in events].count("started") == 3
    gone = prove(phone, home, photos)
    words = handed_over(phone).replace("\xa0", " ")
    for right in (LABEL, CLIENT, price, f"{gone} (", "The work is under way", "mm/cm²"):
        assert right in words
