"""Keep a small shop as this version of the tables leaves it, for the upgrade tests of later ones.

Run it once when a version is released, with PostgreSQL's programs at hand; what it wrote is never
changed again.
"""

import re
import sqlite3
import subprocess
import sys
import tempfile
from hashlib import sha256
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import postgres
from leastcut.shop.facts import NewFact
from leastcut.shop.opening import FILE
from leastcut.shop.store import open_shop
from leastcut.shop.tables import VERSION

OUT = Path(__file__).parents[1] / "tests" / "data" / "shop"


def fill(place: str, blobs: str) -> None:
    """Write a row into every table that a visit needs."""
    shop = open_shop(place, blobs=blobs)
    visit = shop.new_visit(shop.new_car("Señor blue estate", client="Ana", now_s=10.0), now_s=11.0)
    told = {"device": None, "person": "Bo", "now_s": 13.0}
    first = NewFact(key="l1", kind="set", field="car.length", body="4500 mm", made_s=12.5)
    note = NewFact(key="n1", kind="add", field="note", body={"panel": "roof", "text": "µm"})
    taken = shop.append(visit, [first, note], **told).taken
    drop = NewFact(key="d1", kind="drop", field="note/n1", base=taken["n1"])
    shop.append(visit, [drop], **told)
    shop.note_photo(visit, shop.put_blob(b"photo"), "image/png", 4, 3, 5, 14.0)
    shop.note_summary(visit, "inspected")
    shop.put_finding(sha256(b"k").hexdigest(), b"\x00found")
    shop.put_dossier(visit, taken["n1"], b"\xffdossier")
    shop.close()


def main() -> None:
    """Write both dumps."""
    OUT.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        fill(f"{scratch}/shop", "memory://frozen")
        file = sqlite3.connect(Path(scratch) / "shop" / FILE)
        file.execute("DELETE FROM about")
        file.commit()
        lines = "\n".join(file.iterdump())
        (OUT / f"tables-{VERSION}.sqlite.sql").write_text(lines + "\n")
    with postgres.running() as server:
        place = server.database()
        fill(place, "memory://frozen")
        url = place.replace("+psycopg", "")
        dump = subprocess.run(
            [server.bin / "pg_dump", "--inserts", "--no-owner", "--exclude-table-data=about", url],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        # Comments name the server; the two settings are not known to every version.
        kept = re.sub(r"(?m)^(--.*|\\(un)?restrict.*|SET transaction_timeout.*)\n", "", dump)
        (OUT / f"tables-{VERSION}.postgresql.sql").write_text(re.sub(r"\n{3,}", "\n\n", kept))


if __name__ == "__main__":
    main()
