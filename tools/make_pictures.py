"""Make the pictures of docs/ from the demo: the plan's first page, a photo found, the pages."""

import shutil
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import pypdfium2
import uvicorn
from PIL import Image
from playwright.sync_api import sync_playwright

from leastcut.demo.scenario import run_demo
from leastcut.web.app import create_app

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


def screenshots(job_file: Path, out: Path) -> None:
    """Take the workbench's pages at phone and desktop size."""
    app = create_app(job_file, out)
    app.state.bench.outcome(NOW)
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=PORT, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=program, args=["--no-sandbox", "--disable-gpu"]
        )
        for name, width, height in (("phone", 390, 844), ("desk", 1280, 900)):
            page = browser.new_page(viewport={"width": width, "height": height})
            for path, what in (("/", "car"), ("/panel/bonnet", "panel")):
                page.goto(f"http://127.0.0.1:{PORT}{path}")
                page.screenshot(path=PICTURES / f"page-{what}-{name}.png")
        browser.close()
    server.should_exit = True
    thread.join()


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
        screenshots(Path(folder) / "demo.toml", Path(folder) / "served")


if __name__ == "__main__":
    main()
