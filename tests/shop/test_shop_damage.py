"""Disk full, read-only, locked, damaged, server away: one line that says what to do, data safe."""

import os
import resource
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

import postgres
from leastcut.shop import opening
from leastcut.shop.facts import NewFact
from leastcut.shop.opening import FILE
from leastcut.shop.prune import prune
from leastcut.shop.store import Shop, open_shop
from leastcut.shop.trouble import (
    NoShopError,
    ShopBusyError,
    ShopDamagedError,
    ShopError,
    ShopFullError,
    ShopReadOnlyError,
)
from leastcut.shop.verify import verify

Begin = Callable[..., Shop]
Cli = Callable[..., "subprocess.CompletedProcess[str]"]


def mount(*arguments: str | Path) -> bool:
    if os.geteuid() != 0 or not sys.platform.startswith("linux"):
        return False
    command = ["mount", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 4 MB of its own; skipped, and said so, where none may be mounted."""
    folder = tmp_path / "disk"
    folder.mkdir()
    if not mount("-t", "tmpfs", "-o", "size=4m", "none", folder):
        pytest.skip("NO SMALL DISK: mounting one is not allowed here; see the limit on file size")
    yield folder
    subprocess.run(["umount", folder], check=True)


def fill(shop: Shop, visit: int, acknowledged: dict[str, str], content: bytes) -> None:
    """Write facts and photos until something gives."""
    for n in range(len(acknowledged), 10_000):
        fact = NewFact(key=f"k{n}", kind="set", field="car.length", body="x" * 20_000)
        shop.append(visit, [fact], device=None, person="", now_s=1.0)
        acknowledged[fact.key] = "fact"
        digest = shop.put_blob(content + b"%d" % n)
        shop.note_photo(visit, digest, "image/png", 1, 1, len(content) + len(str(n)), 1.0)
        acknowledged[digest] = "photo"


def check(shop: Shop, visit: int, acknowledged: dict[str, str]) -> None:
    keys = {fact.key for fact in shop.facts(visit)}
    assert {k for k, what in acknowledged.items() if what == "fact"} <= keys
    for digest in (k for k, what in acknowledged.items() if what == "photo"):
        assert shop.photo(digest) is not None
    assert verify(shop).problems == ()


@pytest.mark.parametrize("photo_bytes", [1, 200_000])
def test_a_full_disk_keeps_what_was_acknowledged(
    small_disk: Path, begin: Begin, photo_bytes: int
) -> None:
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(2_500_000))
    shop = begin(small_disk / "shop")
    visit = shop.new_visit(shop.new_car("a", now_s=0.0), now_s=0.0)
    acknowledged: dict[str, str] = {}
    for _ in range(3):  # again and again, not only once
        with pytest.raises(ShopFullError, match=r"no room left .*everything before it is safe"):
            fill(shop, visit, acknowledged, bytes(photo_bytes))
    assert len(acknowledged) > 8
    ballast.unlink()
    check(shop, visit, acknowledged)
    shop.close()
    again = begin(small_disk / "shop", create=False)
    check(again, visit, acknowledged)
    again.append(
        visit,
        [NewFact(key="after", kind="set", field="x", body=1)],
        device=None,
        person="",
        now_s=2.0,
    )


def test_pruning_makes_room_on_a_full_disk(small_disk: Path, begin: Begin) -> None:
    shop = begin(small_disk / "shop")
    visit = shop.new_visit(shop.new_car("a", now_s=0.0), now_s=0.0)
    shop.put_blob(bytes(2_000_000))  # nobody links it
    acknowledged: dict[str, str] = {}
    with pytest.raises(ShopFullError):
        fill(shop, visit, acknowledged, b"small")
    gone = prune(shop, now_s=time.time() + 1.0, grace_s=0.0)
    assert gone.bytes >= 2_000_000
    shop.put_blob(bytes(range(256)) * 2_000)
    check(shop, visit, acknowledged)


def test_a_limit_on_file_size_keeps_what_was_acknowledged(tmp_path: Path, begin: Begin) -> None:
    shop = begin(tmp_path / "shop")
    visit = shop.new_visit(shop.new_car("a", now_s=0.0), now_s=0.0)
    acknowledged: dict[str, str] = {}
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_500_000, hard))
    try:
        with pytest.raises(ShopFullError):
            fill(shop, visit, acknowledged, b"small")
        with pytest.raises(ShopFullError):
            shop.put_blob(bytes(2_000_000))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert len(acknowledged) > 8
    assert list((tmp_path / "shop" / "photos" / "incoming").iterdir()) == []
    check(shop, visit, acknowledged)


def test_a_read_only_disk_is_told(small_disk: Path, begin: Begin, run: Cli) -> None:
    shop = begin(small_disk / "shop")
    visit = shop.new_visit(shop.new_car("a", now_s=0.0), now_s=0.0)
    shop.close()
    assert mount("-o", "remount,ro", small_disk)
    with pytest.raises(ShopReadOnlyError, match="may not be written: nothing was changed"):
        begin(small_disk / "shop")
    done = run("shop", "verify", "--shop", small_disk / "shop")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert mount("-o", "remount,rw", small_disk)
    assert begin(small_disk / "shop").head(visit) == 0


def test_a_disk_that_turns_read_only_is_told(
    tmp_path: Path, begin: Begin, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = begin(tmp_path / "shop")
    visit = shop.new_visit(shop.new_car("a", now_s=0.0), now_s=0.0)
    with shop.database.outside() as ask:
        ask("PRAGMA query_only = ON")
    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(ShopReadOnlyError):
        shop.new_car("b", now_s=0.0)
    with pytest.raises(ShopReadOnlyError):
        shop.put_blob(b"photo")
    assert shop.visit(visit) is not None


def refuse(*_: object, **__: object) -> None:
    raise PermissionError(13, "Permission denied")


def test_a_held_record_is_told_and_left(
    tmp_path: Path, begin: Begin, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "BUSY_S", 0.2)
    shop = begin(tmp_path / "shop")
    other = sqlite3.connect(tmp_path / "shop" / FILE, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(ShopBusyError, match="another program holds the record"):
        shop.new_car("a", now_s=0.0)
    assert shop.cars().total == 0  # reading goes on
    other.execute("ROLLBACK")
    other.close()
    assert shop.new_car("a", now_s=0.0) == 1


def test_a_row_held_on_a_server_is_told(
    begin: Begin, postgres_server: postgres.Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "BUSY_S", 0.6)
    shop = begin(postgres_server.database())
    visit = shop.new_visit(shop.new_car("a", now_s=0.0), now_s=0.0)
    fact = NewFact(key="a", kind="set", field="x", body=1)
    with shop.writing() as connection:
        connection.execute(text("SELECT * FROM visits FOR UPDATE"))
        with pytest.raises(ShopBusyError):
            shop.append(visit, [fact], device=None, person="", now_s=0.0)
    assert shop.append(visit, [fact], device=None, person="", now_s=0.0).head > 0


def damaged(folder: Path, at: int, length: int) -> None:
    with (folder / FILE).open("r+b") as file:
        file.seek(at)
        file.write(b"\xa5" * length)


@pytest.mark.parametrize("how", ["head", "text", "cut", "middle", "empty_page"])
def test_a_damaged_file_is_told(tmp_path: Path, begin: Begin, run: Cli, how: str) -> None:
    shop = begin(tmp_path / "shop")
    visit = shop.new_visit(shop.new_car("a", now_s=0.0), now_s=0.0)
    facts = [NewFact(key=f"k{n}", kind="set", field="x", body="y" * 900) for n in range(200)]
    shop.append(visit, facts, device=None, person="", now_s=1.0)
    shop.close()
    file = tmp_path / "shop" / FILE
    size = file.stat().st_size
    if how == "head":
        damaged(tmp_path / "shop", 0, 200)
    elif how == "text":
        file.write_text("this is my shopping list\n" * 200)
    elif how == "cut":
        os.truncate(file, size // 2)
    elif how == "middle":
        damaged(tmp_path / "shop", size // 2, 3 * 4096)
    else:
        damaged(tmp_path / "shop", size - 4096, 4096)
    try:
        told = " ".join(map(str, verify(begin(tmp_path / "shop", create=False)).problems))
    except ShopDamagedError as error:
        told = str(error)
    assert "restore" in told.lower()
    done = run("shop", "verify", "--shop", tmp_path / "shop")
    assert done.returncode == 2
    assert "restore" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_server_that_goes_away_and_comes_back(
    tmp_path: Path, postgres_server: postgres.Server
) -> None:
    del postgres_server  # skips, or fails, where there is none
    with postgres.running() as server:
        shop = open_shop(server.database(), blobs=tmp_path)
        shop.new_car("a", now_s=0.0)
        server.stop("fast")
        for _ in range(2):
            with pytest.raises(NoShopError, match="does not answer"):
                shop.cars()
        server.start()
        assert shop.cars().total == 1
        shop.close()


def test_a_server_that_only_reads_is_told(begin: Begin, postgres_server: postgres.Server) -> None:
    place = postgres_server.database()
    shop = begin(place)
    name = place.rsplit("/", 1)[1]
    with shop.writing() as connection:
        connection.execute(text(f"ALTER DATABASE {name} SET default_transaction_read_only = on"))
    shop.database.engine.dispose()
    with pytest.raises(ShopReadOnlyError):
        shop.new_car("a", now_s=0.0)
    assert shop.cars().total == 0


def test_a_fault_of_our_own_is_not_dressed_up(shop: Shop) -> None:
    from sqlalchemy.exc import DBAPIError

    def ask() -> None:
        with shop.reading() as connection:
            connection.execute(text("SELECT * FROM no_such_table"))

    with pytest.raises(DBAPIError) as told:
        ask()
    assert not isinstance(told.value, ShopError)


def test_a_missing_server_is_told_or_demanded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LEASTCUT_POSTGRES_BIN", raising=False)
    monkeypatch.setattr(postgres, "_PLACES", ())
    monkeypatch.setenv("PATH", "")
    monkeypatch.setenv("LEASTCUT_NEED_POSTGRES", "0")
    with pytest.raises(pytest.skip.Exception, match="NOT TESTED ON POSTGRESQL"):
        next(postgres.for_tests())
    monkeypatch.setenv("LEASTCUT_NEED_POSTGRES", "1")
    with pytest.raises(pytest.fail.Exception, match="need_postgres"):
        next(postgres.for_tests())
