"""The test spot's page after a stop, once accepted, and once work has begun."""

import re
import time
from pathlib import Path

import pytest
from playwright.sync_api import Page

from leastcut.job.carry import into_shop

pytestmark = pytest.mark.browser


def tight_job(demo_file: Path) -> Path:
    """Return the demo's job with so much to stay that nothing proven can be paid."""
    text = demo_file.read_text("utf-8")
    text = re.sub(r'^(run|readings_after) = ".*"\n', "", text, flags=re.MULTILINE)
    text = text[: text.index("[[proof]]")]
    trial = text[text.index("[[trial]]") :].split("\n\n")[0]
    more = "\n\n".join([trial] * 11)
    text = text.replace('finish = "daily"', 'finish = "daily"\nreserve = "26 µm"')
    job = demo_file.with_name("tight.toml")
    job.write_text(f"{text}\n{more}\n", "utf-8")
    return job


@pytest.fixture(scope="module")
def tight(demo, workbench) -> int:  # noqa: ANN001 - shared fixtures
    visit = into_shop(tight_job(demo.job_file), workbench.shop, now_s=time.time()).visit
    workbench.analyst.poke(visit)
    assert workbench.analyst.wait(visit, timeout_s=120)
    return visit


def tap(page: Page, button: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=button, exact=True).tap()


def test_what_the_budget_can_pay_is_accepted_and_taken_back(phone, workbench, tight) -> None:  # noqa: ANN001
    here = f"{workbench.address}/v/{tight}/testspot"
    phone.goto(here)
    piece = phone.locator("#affordable")
    assert phone.locator(".next strong").inner_text() == "Stop"
    assert "Amber foam, middle liquid" in piece.inner_text()
    assert "Scratches that stay" in piece.inner_text()
    tap(phone, "Accept it")
    assert workbench.analyst.wait(tight, timeout_s=60)
    phone.goto(here)
    assert phone.locator(".next strong").inner_text() == "Use"
    assert "You have accepted this" in piece.inner_text()
    phone.goto(f"{workbench.address}/v/{tight}/plan")
    assert "as accepted" in str(phone.locator("main").text_content())
    phone.goto(here)
    tap(phone, "Take it back")
    assert workbench.analyst.wait(tight, timeout_s=60)
    phone.goto(here)
    assert phone.locator(".next strong").inner_text() == "Stop"


def test_it_reads_in_spanish(phone, workbench, tight) -> None:  # noqa: ANN001
    phone.context.add_cookies([{"name": "lang", "value": "es", "url": workbench.address}])
    phone.goto(f"{workbench.address}/v/{tight}/testspot")
    said = phone.locator(".next").inner_text() + phone.locator("#affordable").inner_text()
    assert "Lo mejor que puede pagar" in said
    for english in ("budget", "scratch", "accept", "chance", "Stop"):
        assert english not in said


def test_once_work_has_begun_no_trial_is_asked_for(phone, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.here}/testspot")
    said = phone.locator(".next").inner_text()
    assert said.startswith("In use")
    assert "sections so far" in said
    assert "Try" not in said
    assert phone.locator(".next a.go").get_attribute("href").endswith("/work")
