"""Nothing acknowledged is lost: the writer is killed, the server falls over, a page is torn."""

import struct
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from random import Random

import pytest
from shop_killing import Found, check_acknowledged, rounds, run_and_kill, torn

import postgres
from leastcut.shop.opening import FILE
from leastcut.shop.store import Shop, open_shop
from leastcut.shop.verify import verify

pytestmark = pytest.mark.process


def test_a_killed_writer_loses_nothing_acknowledged(tmp_path: Path) -> None:
    found = rounds(str(tmp_path / "shop"), "", 25, seed=11, whole_every=6)
    assert (found.rounds, found.lost, found.faults) == (25, [], [])
    assert found.facts > 100
    assert found.photos > 25
    assert max(found.open_s) <= 2.0


def test_two_processes_write_into_one_folder(tmp_path: Path) -> None:
    place = str(tmp_path / "shop")
    open_shop(place).close()
    with ThreadPoolExecutor(2) as pool:
        told = list(
            pool.map(lambda n: run_and_kill(place, "", f"p{n}", 0.5, from_start=False), range(2))
        )
    found = Found()
    with closing(open_shop(place, create=False)) as shop:
        for words in told:
            before = found.facts
            check_acknowledged(shop, words.splitlines(), found)
            assert found.facts > before
        assert (found.lost, verify(shop).problems) == ([], ())


def test_a_killed_writer_on_a_server(tmp_path: Path, postgres_server: postgres.Server) -> None:
    place = postgres_server.database()
    found = rounds(place, str(tmp_path / "blobs"), 4, seed=12)
    assert (found.lost, found.faults) == ([], [])
    assert found.facts > 10
    assert found.photos > 3
    postgres_server.drop(place)


def test_a_server_that_falls_over_loses_nothing_acknowledged(
    tmp_path: Path, postgres_server: postgres.Server
) -> None:
    del postgres_server  # skips where there is none
    safe = {"fsync": "on", "full_page_writes": "on", "synchronous_commit": "on"}
    with postgres.running(settings=safe) as server:

        def fall_over() -> None:
            server.stop("immediate")
            server.start()

        found = rounds(server.database(), str(tmp_path / "blobs"), 3, seed=13, between=fall_over)
    assert (found.lost, found.faults) == ([], [])
    assert found.facts > 5


def acknowledged(told: str) -> list[int]:
    return [int(line.split()[3]) for line in told.splitlines() if line.startswith("fact")]


def numbers_of(shop: Shop, told: str) -> set[int]:
    visit = int(told.split("\n", 1)[0].split()[1])
    return {fact.id for fact in shop.facts(visit)}


def pages_in_log(log: Path, page_bytes: int) -> set[int]:
    """Return the pages that the write-ahead log holds."""
    # source: the database's file format, section 4.1: 32 bytes, then frames of 24 bytes and a
    # page, the page's number first, big-endian; status: memory
    frames = log.read_bytes()[32:]
    step = 24 + page_bytes
    heads = range(0, len(frames) - step + 1, step)
    return {struct.unpack(">I", frames[at : at + 4])[0] for at in heads}


def test_pages_torn_while_the_log_is_written_back_cost_nothing(tmp_path: Path) -> None:
    place = tmp_path / "shop"
    open_shop(place).close()
    told = run_and_kill(str(place), "", "c", 0.25, from_start=False)
    file, page = place / FILE, 4096
    pages = pages_in_log(place / f"{FILE}-wal", page)
    n_there = file.stat().st_size // page
    torn_pages = [n for n in pages if 1 < n <= n_there]
    with file.open("r+b") as stream:
        for n in torn_pages:
            stream.seek((n - 1) * page + page // 2)
            stream.write(b"\xa5" * (page // 2))
    assert torn_pages
    again = open_shop(place, create=False)
    assert verify(again).problems == ()
    assert set(acknowledged(told)) <= numbers_of(again, told)
    again.close()


@pytest.mark.parametrize("seed", range(6))
def test_a_torn_end_of_the_log_costs_only_what_was_last(tmp_path: Path, seed: int) -> None:
    """What lies beyond the tear may go (the disk broke its word), never what was before it."""
    place, rng = tmp_path / "shop", Random(seed)
    shop = open_shop(place)
    visit = shop.new_visit(shop.new_car("kept", now_s=0.0), now_s=0.0)
    shop.close()
    told = run_and_kill(str(place), "", f"t{seed}", 0.15, from_start=False)
    log = place / f"{FILE}-wal"
    assert log.stat().st_size > 0
    torn(log, rng, back=log.stat().st_size)
    again = open_shop(place, create=False)
    assert verify(again).problems == ()
    assert again.visit(visit) is not None
    numbers = numbers_of(again, told)
    # The log is read up to the first frame that is not whole: what is there has no hole.
    assert sorted(numbers) == list(range(1, len(numbers) + 1))
    assert all(n in numbers for n in acknowledged(told) if n <= len(numbers))
    again.close()
