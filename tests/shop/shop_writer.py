"""A process that writes into a shop and acknowledges each write on standard output.

Run as ``shop_writer.py PLACE BLOBS SEED``: several threads append facts and send photos until the
process is killed. A line is written only after the call has returned: what it says must be there.
"""

import os
import random
import sys
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256

from leastcut.shop.facts import NewFact
from leastcut.shop.store import Shop, open_shop


def say(*words: object) -> None:
    """Acknowledge in one write: a killed process leaves no half line behind another's."""
    os.write(1, (" ".join(map(str, words)) + "\n").encode())


def append(shop: Shop, visit: int, rng: random.Random, name: str) -> None:
    facts = [
        NewFact(key=f"{name}-{i}", kind="set", field="car.length", body=f"{name} {i}")
        for i in range(rng.randint(1, 4))
    ]
    taken = shop.append(visit, facts, device=None, person="Ana", now_s=1.0).taken
    for key, number in taken.items():
        say("fact", visit, key, number)


def photo(shop: Shop, visit: int, rng: random.Random) -> None:
    content = rng.randbytes(rng.randint(1, 300_000))
    digest = shop.put_blob(content)
    assert digest == sha256(content).hexdigest()
    shop.note_photo(visit, digest, "image/png", 4, 3, len(content), 2.0)
    say("photo", visit, digest, len(content))


def stream(shop: Shop, visit: int, seed: str) -> None:
    rng = random.Random(seed)
    n = 0
    while True:
        n += 1
        if rng.random() < 0.6:
            append(shop, visit, rng, f"{seed}-{n}")
        else:
            photo(shop, visit, rng)


def main() -> None:
    place, blobs, seed = sys.argv[1:]
    shop = open_shop(place, blobs=blobs or None)
    visit = shop.new_visit(shop.new_car(f"car {seed}", now_s=0.0), now_s=0.0)
    say("visit", visit)
    with ThreadPoolExecutor(3) as pool:
        list(pool.map(lambda n: stream(shop, visit, f"{seed}-{n}"), range(3)))


if __name__ == "__main__":
    main()
