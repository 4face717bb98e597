"""Kill a writing process again and again, and look whether everything acknowledged is there."""

import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from leastcut.shop.blobs import digest_of
from leastcut.shop.store import Shop, open_shop
from leastcut.shop.trouble import NoRowError
from leastcut.shop.verify import verify

WRITER = Path(__file__).with_name("shop_writer.py")


@dataclass
class Found:
    """What was acknowledged over all rounds, and how long the shop took to open after each."""

    rounds: int = 0
    facts: int = 0
    photos: int = 0
    visits: int = 0
    open_s: list[float] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)


def run_and_kill(place: str, blobs: str, seed: str, wait_s: float, *, from_start: bool) -> str:
    """Return what a writer acknowledged until it was killed, `wait_s` after start or first word."""
    command = [sys.executable, str(WRITER), place, blobs, seed]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as writer:
        assert writer.stdout is not None
        assert writer.stderr is not None
        first = b"" if from_start else writer.stdout.readline()
        time.sleep(wait_s)
        writer.send_signal(signal.SIGKILL)
        told = first + writer.stdout.read()
        wrong = writer.stderr.read().decode()
        assert writer.wait() == -signal.SIGKILL, wrong
        assert "Error" not in wrong, wrong
    return told.decode()


def check_acknowledged(shop: Shop, lines: list[str], found: Found) -> None:
    """Look for every acknowledged fact, photo and visit in the shop; count, and note the lost."""
    seen: dict[int, dict[str, int]] = {}
    for line in lines:
        what, number, *rest = line.split()
        visit = int(number)
        if what == "fact":
            found.facts += 1
            if visit not in seen:
                seen[visit] = {fact.key: fact.id for fact in shop.facts(visit)}
            there = seen[visit].get(rest[0]) == int(rest[1])
        elif what == "photo":
            found.photos += 1
            there = _photo_there(shop, visit, rest[0])
        else:
            found.visits += 1
            there = shop.visit(visit) is not None
        if not there:
            found.lost.append(line)


def _photo_there(shop: Shop, visit: int, digest: str) -> bool:
    row = shop.photo(digest)
    if row is None or visit not in row.visits:
        return False
    try:
        with shop.open_blob(digest) as stream:
            return digest_of(stream) == digest
    except NoRowError:
        return False


def rounds(
    place: str,
    blobs: str,
    n: int,
    *,
    seed: int,
    between: Callable[[], None] = lambda: None,
    whole_every: int = 5,
) -> Found:
    """Write, kill, open, look: `n` times into the same shop; all photos' hashes now and then."""
    rng, found = Random(seed), Found()
    for n_round in range(n):
        # Now and then the kill comes while the shop is only being opened or begun.
        from_start = rng.random() < 0.1
        wait_s = rng.uniform(0.0, 0.5 if from_start else 0.25)
        lines = run_and_kill(place, blobs, f"{seed}-{n_round}", wait_s, from_start=from_start)
        between()
        start = time.perf_counter()
        shop = open_shop(place, blobs=blobs or None)
        shop.cars()
        found.open_s.append(time.perf_counter() - start)
        check_acknowledged(shop, lines.splitlines(), found)
        deep = n_round == n - 1 or n_round % whole_every == 0
        found.faults += map(str, verify(shop, deep=deep).problems)
        shop.close()
        found.rounds += 1
    return found


def torn(file: Path, rng: Random, *, back: int) -> None:
    """Overwrite some of the last bytes of a file, as a page that was written only in part."""
    with suppress(FileNotFoundError):
        size = file.stat().st_size
        length = min(size, rng.randint(1, back))
        with file.open("r+b") as stream:
            stream.seek(size - length)
            stream.write(rng.randbytes(length))
