"""Two hundred taps on the work screen while the server is killed and started by chance.

Once over plain http under a name that is not this machine's own, once in a secure context with
reloads while the server is away. Counts what was lost and what came twice: both must be 0.
"""

import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
for folder in (ROOT / "tests", ROOT / "tests" / "web"):
    sys.path.insert(0, str(folder))

TAPS = 200
PROGRAMS = ("chromium", "chromium-browser", "google-chrome")


def compared(wanted: Sequence[Any], got: Sequence[Any]) -> dict[str, int]:
    """Count what is missing of what was tapped, and what is there beyond it."""
    lost, extra = Counter(wanted) - Counter(got), Counter(got) - Counter(wanted)
    return {
        "lost": lost.total(),
        "twice": extra.total(),
        "in_order": int(list(wanted) == list(got)),
    }


def one(browser: Any, folder: Path, *, host: str, taps: int, seed: int) -> dict[str, Any]:
    """Tap through one context and return what became of it."""
    from playwright.sync_api import expect
    from workserver import PHONE, Bench, free_port, paired, plan, planned_shop
    from worktaps import Thumb, recorded, run

    from leastcut.job.settle import read

    shop, visit = planned_shop(folder / host)
    bench = Bench(folder / host, free_port())
    bench.start()
    bench.answers()
    context = browser.new_context(viewport=PHONE, has_touch=True)
    address = f"http://{host}:{bench.port}"
    context.add_cookies([{"name": "leastcut_device", "value": paired(shop), "url": address}])
    page = context.new_page()
    page.goto(f"{address}/v/{visit}/work")
    secure = page.evaluate("isSecureContext")
    if secure:
        expect(page.locator("#offline")).to_have_attribute("data-kept", "yes", timeout=60_000)
    thumb, begun = Thumb(page, random.Random(seed)), time.monotonic()
    run(thumb, bench, taps=taps, offline_reload=secure)
    names = {panel.id: panel.name for panel in read(plan()).car.panels}
    got = recorded(shop.facts(visit), names)
    found = {"secure": secure, "taps": thumb.taps, "facts": len(got), "kills": bench.kills,
             "reloads_offline": thumb.reloads, **compared(thumb.wanted, got),
             "minutes": round((time.monotonic() - begun) / 60, 1)}  # fmt: skip
    context.close()
    bench.kill()
    shop.close()
    return found


def main(taps: int = TAPS, seed: int = 1) -> dict[str, Any]:
    import shutil

    from playwright.sync_api import sync_playwright
    from workserver import NAME

    program = next(found for name in PROGRAMS if (found := shutil.which(name)))
    flags = ["--no-sandbox", "--disable-gpu", f"--host-resolver-rules=MAP {NAME} 127.0.0.1"]
    with tempfile.TemporaryDirectory() as place, sync_playwright() as driver:
        folder = Path(place)
        browser = driver.chromium.launch(executable_path=program, args=flags)
        found = {}
        for name, host in (("plain http, another name", NAME), ("secure context", "127.0.0.1")):
            found[name] = one(browser, folder, host=host, taps=taps, seed=seed)
            print(name, found[name], flush=True)
        browser.close()
    return found


if __name__ == "__main__":
    main()
