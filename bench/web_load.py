"""A hundred people at once, for two minutes: how long they wait, what fails, what memory does.

The workbench runs as its own process over a shop of 1,000 cars and 50,000 photo rows. Each person
has a device of their own and works as people do: looks at a page, reads for a few seconds, looks at
the next, now and then taps a fact in. Times are whole answers as the person's side sees them.
"""

import asyncio
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import httpx2
import numpy as np

from leastcut.job.analyst import Analyst
from leastcut.shop.access import Access
from leastcut.shop.store import Shop, open_shop
from leastcut.web.who import COOKIE, CSRF_HEADER, csrf_of
from web_pages import demo_visit, fill

USERS, SECONDS = 100, 120.0
# Time to read a page, mean 6 s: about 16 requests a second from all together, half of them the first
# look at a drawing. source: our own choice; a person with a machine in hand is slower
LEAST_THINK_S, MOST_THINK_S = 2.0, 10.0
LOOKS = (
    "/", "/?page=3", "/?search=car+01", "/v/V", "/v/V", "/v/V?measure=clear", "/v/V/panel/bonnet",
    "/v/V/car", "/v/V/inspect", "/v/V/inspect/photos", "/v/V/inspect/readings", "/v/V/testspot",
    "/v/V/plan", "/v/V/protect", "/v/V/handover", "/api/visits/V/facts?after=0",
    "/api/visits/V/progress", "/static/bench.css", "TAP", "TAP", "TAP",
)  # fmt: skip


def people(shop: Shop) -> list[str]:
    """Return the keys of as many devices as there are users."""
    access, now_s = Access(shop.database), time.time()
    owner = access.owner(now_s=now_s)
    return [
        access.redeem(access.new_code(owner, now_s=now_s), f"load {n}", now_s=now_s)
        for n in range(USERS)
    ]


async def person(
    client: httpx2.AsyncClient,
    key: str,
    visits: list[int],
    end_s: float,
    rng: np.random.Generator,
    seen: list[tuple[str, int, float]],
) -> None:
    """Work until the time is up; note what was asked, its status and how long it took [ms]."""
    headers = {"cookie": f"{COOKIE}={key}", CSRF_HEADER: csrf_of(key)}
    await asyncio.sleep(rng.uniform(0, MOST_THINK_S))
    number = 0
    while time.monotonic() < end_s:
        look, visit = LOOKS[rng.integers(len(LOOKS))], int(rng.choice(visits))
        path = look.replace("V", str(visit))
        begun = time.perf_counter()
        try:
            if look == "TAP":
                number += 1
                fact = {
                    "key": f"{key[:20]}-{number}",
                    "kind": "add",
                    "field": "note",
                    "body": {"text": "load"},
                }
                answer = await client.post(
                    f"/api/visits/{visit}/facts", json=[fact], headers=headers
                )
            else:
                answer = await client.get(path, headers=headers)
            status = answer.status_code
        except httpx2.HTTPError as error:
            status = -1
            print(type(error).__name__, look)
        seen.append((look, status, 1000 * (time.perf_counter() - begun)))
        await asyncio.sleep(rng.uniform(LEAST_THINK_S, MOST_THINK_S))


async def watch(client: httpx2.AsyncClient, key: str, end_s: float) -> list[float]:
    """Return the server's memory [MB] every five seconds, as it tells itself."""
    found = []
    while time.monotonic() < end_s:
        text = (await client.get("/metrics", headers={"cookie": f"{COOKIE}={key}"})).text
        told = re.search(r"^leastcut_memory_bytes (\d+)", text, re.MULTILINE)
        assert told is not None
        found.append(int(told[1]) / 1e6)
        await asyncio.sleep(5)
    return found


async def load(
    address: str, keys: list[str], visits: list[int], seconds: float
) -> dict[str, object]:
    seen: list[tuple[str, int, float]] = []
    end_s = time.monotonic() + seconds
    limits = httpx2.Limits(max_connections=USERS + 4, max_keepalive_connections=USERS + 4)
    async with httpx2.AsyncClient(base_url=address, limits=limits, timeout=30) as client:
        seeds = np.random.SeedSequence(12).spawn(len(keys))
        work = [
            person(client, key, visits, end_s, np.random.default_rng(seed), seen)
            for key, seed in zip(keys, seeds, strict=True)
        ]
        memory, *_ = await asyncio.gather(watch(client, keys[0], end_s), *work)
    return figures(seen, memory, seconds)


def figures(
    seen: list[tuple[str, int, float]], memory: list[float], seconds: float
) -> dict[str, object]:
    taken = np.array([took for _, _, took in seen])
    slowest = {
        look: float(np.percentile([t for one, _, t in seen if one == look], 95))
        for look in sorted({look for look, _, _ in seen})
    }
    settled = memory[len(memory) // 3 :]
    return {
        "users": USERS,
        "seconds": seconds,
        "requests": len(seen),
        "requests_per_s": len(seen) / seconds,
        "errors": sum(status != 200 for _, status, _ in seen),
        "statuses": dict(Counter(status for _, status, _ in seen)),
        "p50_ms": float(np.percentile(taken, 50)),
        "p95_ms": float(np.percentile(taken, 95)),
        "p99_ms": float(np.percentile(taken, 99)),
        "most_ms": float(taken.max()),
        "p95_by_look_ms": slowest,
        "memory_mb": {
            "start": memory[0],
            "settled": settled[0],
            "end": memory[-1],
            "most": max(memory),
        },
    }


def serve(folder: Path) -> tuple[subprocess.Popen[str], str]:
    """Start the workbench as its own process; return it and its address."""
    command = [
        sys.executable,
        "-m",
        "leastcut",
        "serve",
        "--no-open",
        "--shop",
        str(folder),
        "--port",
        "8191",
    ]
    environment = {**os.environ, "LEASTCUT_CONFIG": os.devnull, "OMP_NUM_THREADS": "1"}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
    assert process.stdout is not None
    for line in process.stdout:
        if line.startswith("Stop with"):
            break
    return process, "http://127.0.0.1:8191"


def cpu_ms(process: subprocess.Popen[str]) -> float:
    """Return the processor time that the workbench itself has used [ms]; 0 where /proc is not."""
    try:
        told = Path(f"/proc/{process.pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return 0.0
    return 1000 * (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def main(seconds: float = SECONDS) -> dict[str, object]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shop = open_shop(folder / "shop")
        analyst = Analyst(shop)
        begun = time.perf_counter()
        visits = fill(shop, demo_visit(shop, analyst, folder / "demo"))
        analyst.close()
        print(f"filled in {time.perf_counter() - begun:.0f} s")
        keys = people(shop)
        process, address = serve(folder / "shop")
        try:
            before = cpu_ms(process)
            found = asyncio.run(load(address, keys, visits, seconds))
            found["cpu_ms_per_request"] = (cpu_ms(process) - before) / int(str(found["requests"]))
            found["load_average"] = os.getloadavg()[0]
        finally:
            process.terminate()
            process.wait(timeout=30)
            shop.close()
    print(json.dumps(found, indent=1))
    return found


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS)
