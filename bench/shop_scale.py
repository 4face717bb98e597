"""Does a page of a visit stay quick when the record is large? On SQLite and on PostgreSQL.

``python bench/shop_scale.py [small|usual|full] [sqlite|postgresql]``: usual is 1,000 cars with
50,000 photos and 1 M facts; full is 40,000 cars, 10 M facts and 1 M photos. Rows are put in by the
bulk ways of each database; what is measured are the calls that pages make.
"""

import json
import shutil
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import postgres
from leastcut.shop.facts import NewFact
from leastcut.shop.opening import FILE
from leastcut.shop.store import Shop, open_shop
from leastcut.shop.tables import cars, dossiers, facts, photos, visits

LIMIT_MS = 150.0
FACTS_EACH, PHOTOS_EACH, AT_WORK = 250, 25, 8
SAFE = {"fsync": "on", "full_page_writes": "on", "synchronous_commit": "on"}
LOAD = {"shared_buffers": "512MB", "maintenance_work_mem": "256MB", "max_wal_size": "4GB"}


@dataclass(frozen=True)
class Size:
    cars: int
    visits: int
    facts: int
    photos: int


SIZES = {
    "small": Size(cars=100, visits=100, facts=25_000, photos=2_500),
    "usual": Size(cars=1_000, visits=2_000, facts=1_000_000, photos=50_000),
    "full": Size(cars=40_000, visits=40_000, facts=10_000_000, photos=1_000_000),
}
Rows = Iterator[tuple[object, ...]]
WORDS = ("blue", "red", "grey", "white", "estate", "coupe", "saloon", "van", "señora", "garage")


def car_rows(size: Size) -> Rows:
    for n in range(1, size.cars + 1):
        label = f"{WORDS[n % 4]} {WORDS[4 + n % 6]} {n}"
        newest = n + (size.visits // size.cars - 1) * size.cars
        yield n, label, f"client {n % 700}", f"{label} client {n % 700}", newest, float(newest)


def visit_rows(size: Size) -> Rows:
    for n in range(1, size.visits + 1):
        yield n, (n - 1) % size.cars + 1, float(n), size.facts, "inspected, plan ready"


def fact_rows(size: Size) -> Rows:
    """Facts as they come: several visits are being written at a time."""
    each = size.facts // size.visits
    number = 0
    for first in range(1, size.visits + 1, AT_WORK):
        group = range(first, min(first + AT_WORK, size.visits + 1))
        for n in range(each):
            for visit in group:
                number += 1
                body = f'{{"panel":"roof","spot":"s{n}","reading_um":{100 + n % 40}.25,"x_mm":{n}}}'
                key = f"{visit:x}-{n:x}-k3h9a7"
                at = number / 7
                yield number, visit, key, "add", "reading", body, None, at, at, None, "Ana"


def photo_rows(size: Size) -> Rows:
    each = size.photos // size.visits
    for visit in range(1, size.visits + 1):
        for n in range(each):
            digest = sha256(b"%d %d" % (visit, n)).hexdigest()
            yield digest, visit, "image/jpeg", 4000, 3000, 3_000_000 + n, float(visit)


def dossier_rows(size: Size) -> Rows:
    body = bytes(range(256)) * 160  # 40 kB, a worked-out visit
    for visit in range(1, size.visits + 1):
        yield visit, size.facts, body


def tables(size: Size) -> list[tuple[str, tuple[str, ...], Rows]]:
    made = (
        (cars, car_rows(size)),
        (visits, visit_rows(size)),
        (facts, fact_rows(size)),
        (photos, photo_rows(size)),
        (dossiers, dossier_rows(size)),
    )
    return [(table.name, tuple(c.name for c in table.columns), rows) for table, rows in made]


def fill_sqlite(folder: Path, size: Size) -> None:
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as file:
        file.execute("PRAGMA synchronous = OFF")
        file.execute("PRAGMA cache_size = -400000")
        file.execute("BEGIN")
        for name, columns, rows in tables(size):
            marks = ",".join("?" * len(columns))
            file.executemany(f"INSERT INTO {name} ({','.join(columns)}) VALUES ({marks})", rows)
        file.execute("UPDATE visits SET head = (SELECT max(id) FROM facts WHERE visit = visits.id)")
        file.execute("COMMIT")
        file.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def fill_postgres(place: str, size: Size) -> None:
    import psycopg

    with psycopg.connect(place.replace("+psycopg", ""), autocommit=True) as server:
        for name, columns, rows in tables(size):
            with server.cursor().copy(f"COPY {name} ({','.join(columns)}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
            if "id" in columns:
                server.execute(
                    f"SELECT setval(pg_get_serial_sequence('{name}','id'), max(id)) FROM {name}"
                )
        server.execute(
            "UPDATE visits v SET head = f.head FROM "
            "(SELECT visit, max(id) AS head FROM facts GROUP BY visit) f WHERE f.visit = v.id"
        )
        server.execute("VACUUM ANALYZE")


def p95_ms(calls: list[Callable[[], object]]) -> dict[str, float]:
    took = []
    for call in calls:
        start = time.perf_counter()
        call()
        took.append(1000 * (time.perf_counter() - start))
    took.sort()
    at = {"median": len(took) // 2, "p95": int(0.95 * len(took)), "max": -1}
    return {name: round(took[n], 2) for name, n in at.items()}


def visit_page(shop: Shop, visit: int) -> None:
    """Ask what a visit's page asks: the visit, its facts, the result."""
    assert shop.visit(visit) is not None
    assert len(shop.facts(visit)) >= FACTS_EACH
    assert shop.dossier(visit) is not None


def append(shop: Shop, visit: int, n: int) -> None:
    new = [NewFact(key=f"bench-{n}-{i}", kind="set", field="car.length", body=n) for i in (1, 2)]
    assert len(shop.append(visit, new, device=None, person="Ana", now_s=1.0).taken) == 2


def measure(shop: Shop, size: Size) -> dict[str, dict[str, float]]:
    rng = Random(5)
    some = [rng.randint(1, size.visits) for _ in range(300)]
    each = size.photos // size.visits
    digest = [sha256(b"%d %d" % (v, rng.randrange(each))).hexdigest() for v in some]
    pages = [rng.randint(1, max(1, size.cars // 50)) for _ in some[:60]]
    words = [f"{rng.choice(WORDS[:4])} {rng.randint(1, 700)}" for _ in some[:60]]
    return {
        "visit_page": p95_ms([lambda v=v: visit_page(shop, v) for v in some]),
        "facts_after": p95_ms([lambda v=v: shop.facts(v, after=shop.head(v) - 5) for v in some]),
        "photo": p95_ms([lambda d=d: shop.photo(d) for d in digest]),
        "cars_page": p95_ms([lambda p=p: shop.cars(page=p) for p in pages]),
        "cars_search": p95_ms([lambda w=w: shop.cars(search=w) for w in words]),
        "append": p95_ms([lambda v=v, n=n: append(shop, v, n) for n, v in enumerate(some)]),
    }


def on_sqlite(size: Size) -> dict[str, object]:
    folder = Path(tempfile.mkdtemp(prefix="leastcut-scale-"))
    try:
        open_shop(folder).close()
        start = time.perf_counter()
        fill_sqlite(folder, size)
        filled_s = time.perf_counter() - start
        with closing(open_shop(folder, create=False)) as shop:
            found = measure(shop, size)
        mb = (folder / FILE).stat().st_size / 1e6
        return {"fill_s": round(filled_s, 1), "mb": round(mb, 1), "ms": found}
    finally:
        shutil.rmtree(folder)


def on_postgres(size: Size) -> dict[str, object]:
    with postgres.running(settings=SAFE | LOAD, on_disk=True) as server:
        place = server.database()
        open_shop(place, blobs="memory://scale").close()
        start = time.perf_counter()
        fill_postgres(place, size)
        filled_s = time.perf_counter() - start
        with closing(open_shop(place, create=False)) as shop:
            found = measure(shop, size)
        return {"fill_s": round(filled_s, 1), "ms": found}


def main(which: str = "usual", *databases: str) -> dict[str, object]:
    size = SIZES[which]
    ways = {"sqlite": on_sqlite, "postgresql": on_postgres}
    told: dict[str, object] = {"size": vars(size), "limit_ms": LIMIT_MS}
    for name in databases or ways:
        told[name] = found = ways[name](size)
        worst = max(times["p95"] for times in found["ms"].values())  # type: ignore[attr-defined]
        told[f"{name}_held"] = worst <= LIMIT_MS
        print(json.dumps({name: found}, indent=1), flush=True)
    return told


if __name__ == "__main__":
    main(*sys.argv[1:])
