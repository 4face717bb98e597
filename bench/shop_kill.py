"""500 kills of a writing process, then torn pages: is everything acknowledged there, how fast.

``python bench/shop_kill.py [KILLS]``; the rounds are those of the tests.
"""

import json
import shutil
import sys
import tempfile
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "shop"))

from shop_killing import rounds, run_and_kill, torn

from leastcut.shop.opening import FILE
from leastcut.shop.store import open_shop
from leastcut.shop.verify import verify


def torn_logs(n: int, seed: int) -> dict[str, int]:
    """Tear the end of the log `n` times; count acknowledged facts before and beyond the tear."""
    rng, kept, beyond, holes, faults = Random(seed), 0, 0, 0, 0
    for n_round in range(n):
        folder = Path(tempfile.mkdtemp(prefix="leastcut-torn-"))
        try:
            told = run_and_kill(str(folder), "", f"{seed}-{n_round}", 0.12, from_start=False)
            torn(folder / f"{FILE}-wal", rng, back=400_000)
            shop = open_shop(folder)
            faults += len(verify(shop).problems)
            visit = int(told.split("\n", 1)[0].split()[1])
            there = {fact.id for fact in shop.facts(visit)}
            shop.close()
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        said = {int(line.split()[3]) for line in told.splitlines() if line.startswith("fact")}
        last = max(there, default=0)
        kept += len(said & there)
        beyond += len({number for number in said if number > last})
        holes += len({number for number in said if number <= last} - there)
    return {"rounds": n, "kept": kept, "beyond_the_tear": beyond, "holes": holes, "faults": faults}


def main(kills: int = 500) -> dict[str, object]:
    """Print and return what was acknowledged and found again, and the time to open."""
    folder = Path(tempfile.mkdtemp(prefix="leastcut-kill-"))
    try:
        found = rounds(str(folder / "shop"), "", kills, seed=2026, whole_every=50)
        size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    opened = sorted(found.open_s)
    told = {
        "kills": found.rounds,
        "acknowledged": {"facts": found.facts, "photos": found.photos, "visits": found.visits},
        "lost": len(found.lost),
        "faults": len(found.faults),
        "shop_mb": round(size / 1e6, 1),
        "open_s": {
            "median": round(opened[len(opened) // 2], 4),
            "p95": round(opened[int(0.95 * len(opened))], 4),
            "max": round(opened[-1], 4),
        },
        "torn_log": torn_logs(max(5, kills // 10), 7),
    }
    print(json.dumps(told, indent=1))
    return told


if __name__ == "__main__":
    main(*(int(n) for n in sys.argv[1:2]))
