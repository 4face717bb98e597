"""Backup in use, restore, move, verify, prune: on both databases, in every direction."""

import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import text

import postgres
from leastcut.shop.backup import (
    BackupError,
    backup,
    dated,
    read_manifest,
    thin_out,
    verify_backup,
)
from leastcut.shop.copying import CopyError
from leastcut.shop.facts import NewFact
from leastcut.shop.moving import MoveError, move
from leastcut.shop.overview import look
from leastcut.shop.prune import prune
from leastcut.shop.restore import restore
from leastcut.shop.store import Shop
from leastcut.shop.trouble import NewerShopError, ShopDamagedError, ShopReadOnlyError
from leastcut.shop.verify import verify

Begin = Callable[..., Shop]
Content = tuple[object, ...]


@pytest.fixture
def filled(shop: Shop, visit: int) -> Shop:
    """Hold a visit with facts, two photos, one known only from a fact, and results."""
    for n in range(2):
        digest = shop.put_blob(b"photo %d" % n * 50)
        shop.note_photo(visit, digest, "image/png", 4, 3, 350, 2.0)
    told = shop.put_blob(b"only a fact names it")
    facts = [NewFact(key=f"k{n}", kind="set", field="car.length", body=n / 7) for n in range(30)]
    facts.append(NewFact(key="p", kind="add", field="photo", body={"file": told}))
    shop.append(visit, facts, device=None, person="Ana", now_s=3.25)
    shop.put_finding("f", b"\x00found")
    shop.put_dossier(visit, 3, b"\xffdossier")
    shop.put_picture("drawn", b"picture")
    return shop


def content(shop: Shop) -> Content:
    """Return what a person would find in the shop."""
    (car,) = shop.cars().rows
    assert car.visit is not None
    facts = shop.facts(car.visit)
    digests = [f.body["file"] for f in facts if f.kind == "add"]
    with shop.reading() as connection:
        digests += connection.execute(text("SELECT digest FROM photos ORDER BY 1")).scalars()
    photos = tuple(shop.blob(digest) for digest in digests)
    return car, shop.visits(car.car), facts, photos, shop.dossier(car.visit), shop.finding("f")


def targets(tmp_path: Path, server: postgres.Server) -> list[str]:
    return [str(tmp_path / "elsewhere"), server.database()]


def test_a_backup_is_restored_to_either_database(
    filled: Shop, tmp_path: Path, begin: Begin, postgres_server: postgres.Server
) -> None:
    manifest = backup(filled, tmp_path / "b", now_s=77.0)
    assert (len(manifest.photos), manifest.missing, manifest.made_s) == (3, (), 77.0)
    assert read_manifest(tmp_path / "b") == manifest
    assert verify_backup(tmp_path / "b") == ()
    before = {p: p.read_bytes() for p in (tmp_path / "b").rglob("*") if p.is_file()}
    for n, place in enumerate(targets(tmp_path, postgres_server)):
        there = tmp_path / f"blobs{n}" if "://" in place else None
        assert restore(tmp_path / "b", place, blobs=there) == ()
        again = begin(place, create=False) if there is None else reopened(place, there, begin)
        assert content(again) == content(filled)
        assert verify(again).problems == ()
    assert before == {p: p.read_bytes() for p in (tmp_path / "b").rglob("*") if p.is_file()}


def reopened(place: str, blobs: Path, begin: Begin) -> Shop:
    from leastcut.shop.blobs import open_blobs

    shop = begin(place, create=False)
    return Shop(shop.database, open_blobs(blobs))


def test_a_shop_moves_there_and_back(
    filled: Shop, tmp_path: Path, begin: Begin, postgres_server: postgres.Server
) -> None:
    for n, place in enumerate(targets(tmp_path, postgres_server)):
        there = tmp_path / f"blobs{n}" if "://" in place else None
        moved = move(filled, place, blobs=there)
        assert moved.problems == ()
        assert (moved.tables["facts"].rows, moved.photos) == (31, 3)
        other = reopened(place, there, begin) if there else begin(place, create=False)
        assert content(other) == content(filled)
        back = move(other, str(tmp_path / f"back{n}"))
        assert back.tables == moved.tables
        home = begin(tmp_path / f"back{n}", create=False)
        assert content(home) == content(filled)
        # Numbers go on behind those given: none is used twice.
        assert home.new_car("next", now_s=0.0) == look(filled).cars + 1


def test_numbers_of_what_was_deleted_are_not_given_again(
    filled: Shop, tmp_path: Path, begin: Begin
) -> None:
    gone = filled.new_car("gone", now_s=0.0)
    with filled.writing() as connection:
        connection.execute(text("DELETE FROM cars WHERE id = :id"), {"id": gone})
    move(filled, tmp_path / "there")
    assert begin(tmp_path / "there").new_car("new", now_s=0.0) == gone + 1


def test_nothing_is_written_over(filled: Shop, place: str, tmp_path: Path, begin: Begin) -> None:
    backup(filled, tmp_path / "b", now_s=1.0)
    with pytest.raises(BackupError, match="there already"):
        backup(filled, tmp_path / "b", now_s=2.0)
    with pytest.raises((BackupError, CopyError), match="already"):
        restore(tmp_path / "b", place)
    with pytest.raises(MoveError):
        move(filled, filled.database.where)
    begin(tmp_path / "taken").new_car("other", now_s=0.0)
    with pytest.raises(CopyError, match="already holds a shop"):
        move(filled, tmp_path / "taken")
    assert begin(tmp_path / "taken").cars().total == 1
    assert verify(filled).problems == ()


def test_a_backup_while_people_write_is_of_one_moment(
    filled: Shop, visit: int, tmp_path: Path, begin: Begin
) -> None:
    done = threading.Event()
    written: list[int] = []

    def write() -> None:
        while not done.is_set():
            n = len(written)
            digest = filled.put_blob(b"new %d" % n)
            filled.note_photo(visit, digest, "image/png", 1, 1, len(b"new %d" % n), 5.0)
            facts = [NewFact(key=f"w{n}-{i}", kind="set", field="x", body=i) for i in (1, 2)]
            written.append(filled.append(visit, facts, device=None, person="", now_s=5.0).head)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for n in range(3):
            start = len(written)
            while len(written) < start + 3:
                time.sleep(0.01)
            assert backup(filled, tmp_path / f"b{n}", now_s=1.0, link=True).missing == ()
    finally:
        done.set()
        writer.join()
    for n in range(3):
        assert verify_backup(tmp_path / f"b{n}") == ()
        restore(tmp_path / f"b{n}", tmp_path / f"r{n}")
        again = begin(tmp_path / f"r{n}", create=False)
        assert verify(again).problems == ()
        pairs = [f.key[:-2] for f in again.facts(visit) if f.key.startswith("w")]
        assert pairs == [key for key in dict.fromkeys(pairs) for _ in (1, 2)]  # both or none
        assert again.head(visit) in written


def test_photos_in_a_store_by_url_are_kept_like_others(
    filled: Shop, tmp_path: Path, begin: Begin
) -> None:
    store = f"memory://{tmp_path.name}"
    assert move(filled, tmp_path / "far", blobs=store).photos == 3
    far = begin(tmp_path / "far", create=False)
    assert far.blobs.where == store
    assert content(far) == content(filled)
    digest = next(iter(backup(far, tmp_path / "b", now_s=1.0, link=True).photos))
    assert verify_backup(tmp_path / "b") == ()
    with far.blob_file(digest) as path:
        assert path.read_bytes() == far.blob(digest)
    far.blobs.drop(digest)
    assert [digest[:12] in fault.where for fault in verify(far).problems] == [True]
    assert restore(tmp_path / "b", tmp_path / "r", blobs=f"{store}-2") == ()
    again = begin(tmp_path / "r", create=False)
    assert verify(again).problems == ()
    idle = again.put_blob(b"idle")
    assert prune(again, now_s=time.time() + 1e6).blobs == 1
    assert not again.blobs.has(idle)


def test_an_interrupted_backup_leaves_none(
    filled: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def told(what: str, done: int, total: int) -> None:
        if (what, done) == ("photos", 2):
            raise KeyboardInterrupt(total)

    (tmp_path / ".b.partial").mkdir()  # what a killed one left
    (tmp_path / ".b.partial" / "half").write_bytes(b"x")
    with pytest.raises(KeyboardInterrupt):
        backup(filled, tmp_path / "b", now_s=1.0, told=told)
    assert not list(tmp_path.glob("*b*/manifest.json"))
    assert not (tmp_path / ".b.partial").exists()
    assert len(backup(filled, tmp_path / "b", now_s=1.0).photos) == 3
    monkeypatch.setattr(Path, "rename", refused)
    with pytest.raises(ShopReadOnlyError):
        backup(filled, tmp_path / "c", now_s=1.0)


def refused(*_: object) -> None:
    raise PermissionError(13, "Permission denied")


def test_a_link_shares_the_file_and_a_copy_does_not(filled: Shop, tmp_path: Path) -> None:
    for link in (True, False):
        manifest = backup(filled, tmp_path / f"b{link}", now_s=1.0, link=link)
        digest = next(iter(manifest.photos))
        own = filled.blob_path(digest)
        assert own is not None
        copy = tmp_path / f"b{link}" / "photos" / digest[:2] / digest[2:]
        assert own.samefile(copy) == link


def test_a_damaged_photo_does_not_pass_for_whole(
    filled: Shop, tmp_path: Path, begin: Begin
) -> None:
    backup(filled, tmp_path / "good", now_s=1.0)
    first, second, third = sorted(read_manifest(tmp_path / "good").photos)
    path, other = filled.blob_path(first), filled.blob_path(second)
    assert path is not None
    assert other is not None
    path.write_bytes(bytes(path.stat().st_size))
    other.unlink()
    faults = {fault.where: fault.what for fault in verify(filled).problems}
    assert "damaged" in faults[f"photo {first[:12]}"]
    assert "missing" in faults[f"photo {second[:12]}"]
    assert len(faults) == 2
    assert len(verify(filled, deep=False).problems) == 1
    for link in (True, False):
        manifest = backup(filled, tmp_path / f"bad{link}", now_s=2.0, link=link)
        assert set(manifest.missing) == {first, second}
        assert list(manifest.photos) == [third]
        assert verify_backup(tmp_path / f"bad{link}") == ()
    moved = move(filled, tmp_path / "moved")
    assert (moved.photos, len(moved.problems)) == (1, 2)
    restore(tmp_path / "good", tmp_path / "again")
    assert verify(begin(tmp_path / "again")).problems == ()


def test_a_damaged_backup_is_told(filled: Shop, tmp_path: Path) -> None:
    manifest = backup(filled, tmp_path / "b", now_s=1.0)
    digest = next(iter(manifest.photos))
    (tmp_path / "b" / "photos" / digest[:2] / digest[2:]).write_bytes(b"rot")
    assert [digest[:12] in fault.what for fault in verify_backup(tmp_path / "b")] == [True]
    (problem,) = restore(tmp_path / "b", tmp_path / "r")
    assert digest[:12] in problem.what
    with (tmp_path / "b" / "shop.sqlite").open("r+b") as file:
        file.seek(5_000)
        file.write(b"rot")
    assert len(verify_backup(tmp_path / "b")) == 2
    with pytest.raises(ShopDamagedError, match="not the one that was backed up"):
        restore(tmp_path / "b", tmp_path / "r2")
    assert not (tmp_path / "r2").exists()
    (tmp_path / "b" / "manifest.json").write_text("{")
    with pytest.raises(BackupError, match="no whole backup"):
        verify_backup(tmp_path / "b")


def test_a_newer_backup_is_refused(filled: Shop, tmp_path: Path) -> None:
    backup(filled, tmp_path / "b", now_s=1.0)
    told = (tmp_path / "b" / "manifest.json").read_text()
    (tmp_path / "b" / "manifest.json").write_text(told.replace('"0001"', '"9999"'))
    with pytest.raises(NewerShopError):
        restore(tmp_path / "b", tmp_path / "r")


def test_only_old_whole_backups_are_thinned_out(filled: Shop, tmp_path: Path) -> None:
    (tmp_path / "backups" / "notes").mkdir(parents=True)
    made = []
    for n in range(4):
        made.append(dated(tmp_path / "backups", 1e9 + n))
        backup(filled, made[-1], now_s=1e9 + n, link=True)
    (made[0] / "manifest.json").write_text("half")
    assert thin_out(tmp_path / "backups", 2) == (made[1],)
    assert sorted(tmp_path.glob("backups/*")) == [tmp_path / "backups/notes", made[0], *made[2:]]


@pytest.mark.parametrize(
    ("harm", "told"),
    [
        ("UPDATE visits SET head = 1", "newest fact"),
        ("UPDATE cars SET visit = NULL", "newest visit"),
        ("UPDATE photos SET bytes = 5", "not 5"),
        ("UPDATE photos SET width = 0", "without a size"),
        ("UPDATE facts SET key = 'a b' WHERE key = 'k1'", "its key is none"),
        ("UPDATE facts SET body = '{' WHERE key = 'k1'", "cannot be read"),
    ],
)
def test_what_does_not_fit_together_is_told(filled: Shop, harm: str, told: str) -> None:
    assert verify(filled).problems == ()
    with filled.writing() as connection:
        connection.execute(text(harm))
    assert any(told in fault.what for fault in verify(filled).problems)


def test_rows_that_point_at_nothing_are_told(filled: Shop) -> None:
    if not filled.database.sqlite:
        with filled.writing() as connection:
            connection.execute(text("ALTER TABLE facts DROP CONSTRAINT fk_facts_visit"))
            connection.execute(text("UPDATE facts SET visit = 99"))
    else:
        with filled.database.outside() as ask:
            ask("PRAGMA foreign_keys = OFF")
            ask("UPDATE facts SET visit = 99")
            ask("PRAGMA foreign_keys = ON")
    told = [fault.what for fault in verify(filled).problems]
    assert any("31 rows whose visit is not there" in what for what in told)


def test_pruning_leaves_evidence_and_what_is_young(filled: Shop, visit: int) -> None:
    idle = filled.put_blob(b"never linked" * 10)
    now_s = time.time()
    assert prune(filled, now_s=now_s).blobs == 0
    later = now_s + 2 * 86_400
    would = prune(filled, now_s=later, dry=True)
    assert (would.blobs, would.bytes) == (1, 120)
    assert filled.blobs.has(idle)
    before = content(filled)
    gone = prune(filled, now_s=later)
    assert (gone.blobs, gone.bytes, gone.derived) == (1, 120, 0)
    assert not filled.blobs.has(idle)
    assert filled.picture("drawn") == b"picture"
    gone = prune(filled, now_s=later, derived=True)
    assert (gone.blobs, gone.derived) == (1, 3)
    assert filled.picture("drawn") is filled.dossier(visit) is filled.finding("f") is None
    assert content(filled)[:4] == before[:4]
    assert verify(filled).problems == ()


def test_a_photo_linked_while_pruning_stays(
    filled: Shop, visit: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    late = filled.put_blob(b"late")
    module = prune.__globals__
    drop = module["_drop_blobs"]

    def link_first(shop: Shop, idle: list[tuple[str, int]]) -> list[tuple[str, int]]:
        assert late in dict(idle)
        shop.note_photo(visit, late, "image/png", 1, 1, 4, 6.0)
        found: list[tuple[str, int]] = drop(shop, idle)
        return found

    monkeypatch.setitem(module, "_drop_blobs", link_first)
    assert prune(filled, now_s=time.time() + 1e6).blobs == 0
    assert filled.blob(late) == b"late"
