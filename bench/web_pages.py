"""The workbench's pages with a large shop behind them: server time, weight, first paint on a phone.

The shop holds 1,000 cars and 50,000 photo rows; every tenth car has been worked out like the demo.
Times are whole answers on loopback over one kept connection, so a little more than the server's own.
"""

import json
import shutil
import socket
import statistics
import tempfile
import threading
import time
from pathlib import Path

import httpx2
import numpy as np
from sqlalchemy import insert

from leastcut.demo.scenario import write_evidence
from leastcut.job.analyst import Analyst
from leastcut.job.carry import into_shop
from leastcut.shop.access import Access
from leastcut.shop.facts import NewFact
from leastcut.shop.store import Shop, open_shop
from leastcut.shop.tables import photos
from leastcut.web.app import create_app
from leastcut.web.server import server
from leastcut.web.settings import Limits, Settings

CARS, PHOTOS_A_CAR, WORKED_OUT_EVERY, SAMPLE = 1000, 50, 10, 30
# A middling phone on the bay's wifi. source: our own choice; slower than any phone sold since 2020
CPU_SLOWER, LATENCY_MS, BYTES_S = 4, 20, 1_250_000
PAGES = (
    "", "/car", "/inspect", "/inspect/photos", "/inspect/readings", "/testspot", "/plan",
    "/protect", "/handover", "/panel/bonnet",
)  # fmt: skip


def demo_visit(shop: Shop, analyst: Analyst, folder: Path) -> int:
    write_evidence(folder)
    visit = into_shop(folder / "demo.toml", shop, now_s=time.time()).visit
    analyst.poke(visit)
    assert analyst.wait(visit, timeout_s=300)
    return visit


def fill(shop: Shop, like: int) -> list[int]:
    """Make the cars; return the visits that were worked out."""
    facts = [
        NewFact(key=fact.key, kind=fact.kind, field=fact.field, body=fact.body)
        for fact in shop.facts(like)
    ]
    stored = shop.dossier(like)
    assert stored is not None
    worked = []
    for number in range(CARS):
        car = shop.new_car(f"Car {number:04d}", client=f"Client {number % 300}", now_s=number)
        visit = shop.new_visit(car, now_s=number)
        full = number % WORKED_OUT_EVERY == 0
        head = shop.append(
            visit, facts if full else facts[:12], device=None, person="", now_s=number
        ).head
        if full:
            shop.put_dossier(visit, head, stored[1])
            worked.append(visit)
        rows = [
            {
                "visit": visit,
                "digest": f"{number * PHOTOS_A_CAR + k:064x}",
                "media": "image/jpeg",
                "width": 4000,
                "height": 3000,
                "bytes": 3_000_000,
                "at_s": float(number),
            }
            for k in range(PHOTOS_A_CAR)
        ]
        with shop.writing() as connection:
            connection.execute(insert(photos), rows)
    return worked


def times(client: httpx2.Client, visits: list[int], rng: np.random.Generator) -> dict[str, float]:
    """Return p50 and p95 of the server's answers [ms], the first look at each drawing apart."""
    first, later = [], []
    for path in (*PAGES, "list", "search"):
        for visit in rng.choice(visits, SAMPLE, replace=False).tolist():
            other = {"list": f"/?page={visit % 50 + 1}", "search": f"/?search=car+{visit:03d}"}
            for taken in (first, later):
                begun = time.perf_counter()
                answer = client.get(other.get(path, f"/v/{visit}{path}"))
                taken.append(1000 * (time.perf_counter() - begun))
                assert answer.status_code == 200, answer.url
    return {
        "p50_ms": statistics.median(later),
        "p95_ms": float(np.percentile(later, 95)),
        "first_look_p50_ms": statistics.median(first),
        "first_look_p95_ms": float(np.percentile(first, 95)),
    }


def painted(address: str, key: str, visit: int) -> dict[str, float]:
    """Return the worst weight without photos [kB] and first paint [ms] over the pages."""
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium") or shutil.which("chromium-browser")
    weights, paints = [], []
    with sync_playwright() as driver:
        opened = driver.chromium.launch(
            executable_path=program, args=["--no-sandbox", "--disable-gpu"]
        )
        for path in PAGES:
            tries = [_load(opened, address, key, f"/v/{visit}{path}") for _ in range(3)]
            weights.append(tries[0][0])
            paints.append(min(paint for _, paint in tries))
        opened.close()
    return {"weight_kb": max(weights) / 1000, "first_paint_ms": max(paints)}


def _load(opened, address: str, key: str, path: str) -> tuple[float, float]:  # noqa: ANN001
    context = opened.new_context(viewport={"width": 390, "height": 844})
    context.add_cookies([{"name": "leastcut_device", "value": key, "url": address}])
    page = context.new_page()
    tools = context.new_cdp_session(page)
    kinds: dict[str, str] = {}
    sizes: dict[str, float] = {}
    tools.on("Network.responseReceived", lambda e: kinds.update({e["requestId"]: e["type"]}))
    tools.on(
        "Network.loadingFinished", lambda e: sizes.update({e["requestId"]: e["encodedDataLength"]})
    )
    tools.send("Network.enable")
    tools.send("Emulation.setCPUThrottlingRate", {"rate": CPU_SLOWER})
    tools.send(
        "Network.emulateNetworkConditions",
        {
            "offline": False,
            "latency": LATENCY_MS,
            "downloadThroughput": BYTES_S,
            "uploadThroughput": BYTES_S,
        },
    )
    page.goto(address + path)
    page.wait_for_load_state("networkidle")
    paint = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    context.close()
    return sum(size for k, size in sizes.items() if kinds.get(k) != "Image"), paint


def main() -> dict[str, float]:
    with tempfile.TemporaryDirectory() as name:
        shop = open_shop(Path(name) / "shop")
        analyst = Analyst(shop)
        demo = demo_visit(shop, analyst, Path(name) / "demo")
        worked = fill(shop, demo)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = int(free.getsockname()[1])
        settings = Settings(
            address=f"http://127.0.0.1:{port}",
            limits=Limits(
                device_per_s=1e5, device_burst=1e5, stranger_per_s=1e5, stranger_burst=1e5
            ),
        )
        served = server(create_app(shop, analyst, settings), settings, host="127.0.0.1", port=port)
        threading.Thread(target=served.run, daemon=True).start()
        while not served.started:
            time.sleep(0.01)
        access, now_s = Access(shop.database), time.time()
        code = access.new_code(access.owner(now_s=now_s), now_s=now_s)
        key = access.redeem(code, "bench", now_s=now_s)
        client = httpx2.Client(base_url=settings.address, cookies={"leastcut_device": key})
        found = {"cars": CARS, "photos": CARS * PHOTOS_A_CAR}
        found |= times(client, worked, np.random.default_rng(3))
        found |= painted(settings.address, key, demo)
        served.should_exit = True
        analyst.close()
    print(json.dumps(found, indent=1))
    return found


if __name__ == "__main__":
    main()
