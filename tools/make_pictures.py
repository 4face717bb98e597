"""Make the pictures of docs/ from the demo: the plan's first page, a photo found, the pages."""

import io
import shutil
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import Page, sync_playwright

from leastcut.demo.scenario import run_demo
from leastcut.job.analyst import Analyst
from leastcut.job.carry import into_shop
from leastcut.job.settle import read
from leastcut.job.visit import fold
from leastcut.shop.access import Access
from leastcut.shop.facts import NewFact
from leastcut.shop.links import Links
from leastcut.shop.store import Shop, open_shop
from leastcut.web.app import create_app
from leastcut.web.server import server
from leastcut.web.settings import Settings

PICTURES = Path(__file__).parent.parent / "docs" / "pictures"
PORT = 8137
# A fixed day, so that a picture changes only when what it shows changes.
NOW = datetime(2026, 3, 12, 9, 0, tzinfo=UTC)


def page_of(pdf: Path, number: int, to: str, *, width_px: int = 1000) -> None:
    """Render one page of a PDF to a small grey-free PNG."""
    document = pypdfium2.PdfDocument(pdf)
    page = document[number]
    image = page.render(scale=width_px / page.get_width()).to_pil()
    image.convert("P", palette=Image.Palette.ADAPTIVE, colors=64).save(PICTURES / to, optimize=True)
    document.close()


# Each page of the workbench with the name of its picture; the address is within the visit.
PAGES = {
    "sheet": "?measure=budget",
    "sheet-done": "?measure=done",
    "car": "car",
    "inspect": "inspect",
    "wash": "inspect/wash",
    "photos": "inspect/photos",
    "readings": "inspect/readings?panel=sill-left",
    "gauge": "inspect/gauge",
    "outline": "inspect/outline/bonnet",
    "testspot": "testspot",
    "plan": "plan",
    "panel": "panel/bonnet",
    "section": "panel/bonnet/1",
    "work": "work",
    "prove": "work/prove",
    "protect": "protect?applied=10:00",
    "handover": "handover",
    "ledger": "handover/ledger",
}
SHOP_PAGES = {"cars": "/", "new": "/new", "terms": "/terms", "settings": "/settings"}
SIZES = {"phone": (390, 844), "desk": (1280, 900)}


def worked(shop: Shop, visit: int) -> None:
    """Add what the invented job has not: some work done, and a proof from a trial's photos."""
    known = fold(shop.facts(visit))
    trial = list(known.items["trial"].values())[-1]
    stored = shop.dossier(visit)
    assert stored is not None
    facts = [
        NewFact(
            key="proof",
            kind="add",
            field="proof",
            body={
                "panel": "bonnet",
                "before": trial["before"],
                "after": trial["after"],
                "square": trial["square"],
            },
        )
    ]
    at_s = NOW.timestamp()
    plans = [section for section in read(stored[1]).plan.sections if section.steps]
    for number, plan in enumerate(plans[:9]):
        for at, kind in enumerate(["started", *["set-done"] * plan.steps[0].sets, "stopped"]):
            place = {"panel": plan.panel, "section": plan.id, "process": plan.steps[0].process}
            body = {"kind": kind, "at_s": at_s + 600 * number + 100 * at, "by": "d1"}
            facts.append(
                NewFact(
                    key=f"work-{number}-{at}",
                    kind="add",
                    field="event",
                    body=body if kind == "stopped" else body | place,
                )
            )
    shop.append(visit, facts, device=None, person="Owner", now_s=at_s)


def screenshots(job_file: Path, folder: Path) -> None:
    """Take every page of the workbench at phone and desktop size."""
    shop = open_shop(folder)
    analyst = Analyst(shop)
    visit = into_shop(job_file, shop, now_s=NOW.timestamp()).visit
    settle(analyst, visit)
    worked(shop, visit)
    settle(analyst, visit)
    settings = Settings(address=f"http://127.0.0.1:{PORT}")
    served = server(create_app(shop, analyst, settings), settings, host="127.0.0.1", port=PORT)
    thread = threading.Thread(target=served.run, daemon=True)
    thread.start()
    while not served.started:
        time.sleep(0.02)
    access = Access(shop.database)
    code = access.new_code(access.owner(now_s=time.time()), now_s=time.time())
    key = access.redeem(code, "pictures", now_s=time.time())
    paths = {**SHOP_PAGES, **{name: _here(visit, path) for name, path in PAGES.items()}}
    paths["see"] = f"/see/{Links(shop.database).new(visit, by=None, now_s=time.time())}"
    (PICTURES / "workbench").mkdir(exist_ok=True)
    with sync_playwright() as driver:
        program = shutil.which("chromium") or shutil.which("chromium-browser")
        browser = driver.chromium.launch(
            executable_path=program, args=["--no-sandbox", "--disable-gpu"]
        )
        for size, (width, height) in SIZES.items():
            for theme in ("light", "dark"):
                context = browser.new_context(
                    viewport={"width": width, "height": height}, color_scheme=theme
                )
                context.add_cookies(
                    [{"name": "leastcut_device", "value": key, "url": settings.address}]
                )
                shown = paths if theme == "light" else {k: paths[k] for k in DARK}
                for name, path in shown.items():
                    shoot(context.new_page(), settings.address + path, f"{name}-{size}", theme)
                context.close()
        browser.close()
    served.should_exit = True
    thread.join()
    analyst.close()
    shop.close()


# Pages shown in the dark theme too.
DARK = ("sheet", "readings", "work")


def _here(visit: int, path: str) -> str:
    """Return a page's address within a visit."""
    return f"/v/{visit}{path if path.startswith('?') else '/' + path}".rstrip("/")


def settle(analyst: Analyst, visit: int) -> None:
    """Wait until a visit has been worked out."""
    analyst.poke(visit)
    assert analyst.wait(visit, timeout_s=300)


def shoot(page: Page, address: str, name: str, theme: str) -> None:
    """Keep what a page shows first as a small picture."""
    page.goto(address)
    page.wait_for_load_state("networkidle")
    taken = Image.open(io.BytesIO(page.screenshot()))
    mark = "" if theme == "light" else "-dark"
    taken.save(PICTURES / "workbench" / f"{name}{mark}.webp", quality=72, method=6)
    page.close()


def main() -> None:
    """Run the demo once and make every picture from it."""
    with tempfile.TemporaryDirectory() as folder:
        run_demo(Path(folder), now=NOW)
        results = Path(folder) / "results"
        page_of(results / "plan.pdf", 0, "plan.png")
        page_of(results / "handover.pdf", 0, "report.png")
        found = Image.open(results / "pictures" / "bonnet-1.jpg")
        found.thumbnail((900, 900))
        found.save(PICTURES / "scratches-found.jpg", quality=80)
        screenshots(Path(folder) / "demo.toml", Path(folder) / "shop")


if __name__ == "__main__":
    main()
