"""Backup while people work: one folder with database, photos and a manifest.

A backup of either kind of shop has the same form and can be restored to either kind. The folder
gets its name when everything in it is whole and on the disk; the manifest tells what must be there.
"""

import shutil
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec

from leastcut.errors import Problem
from leastcut.shop.blobs import Blobs, FolderBlobs, digest_of, force_folder, force_tree
from leastcut.shop.copying import Told, copy_blob, copy_rows, linked, silent
from leastcut.shop.files import write_whole
from leastcut.shop.opening import (
    FILE,
    PHOTOS,
    Database,
    open_database,
)
from leastcut.shop.store import Shop
from leastcut.shop.tables import VERSION
from leastcut.shop.trouble import ShopDamagedError, ShopError, sorting

MANIFEST = "manifest.json"


class BackupError(ShopError):
    """A backup that cannot be made there, or is not one."""


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What a backup holds.

    Attributes
    ----------
    tables : str
        Version of the tables.
    made_s : float
        When it was made [Unix s].
    database : str
        SHA-256 of the database file.
    photos : dict of str to int
        Digest and size [bytes] of every photo in it.
    missing : tuple of str
        Photos that the shop speaks of but had lost, or held damaged, when it was made.
    """

    tables: str
    made_s: float
    database: str
    photos: dict[str, int]
    missing: tuple[str, ...] = ()


def backup(
    shop: Shop, folder: Path, *, now_s: float, link: bool = False, told: Told = silent
) -> Manifest:
    """Back the shop up into a new folder, while it is in use.

    Parameters
    ----------
    shop : Shop
        What to back up.
    folder : Path
        Where; it must not be there yet.
    now_s : float
        The time to write into the manifest [Unix s].
    link : bool
        Whether photos may be hard links to those of the shop: quick and small, but on the same
        disk, which is no shelter from that disk's end.
    told : callable
        Is told how far it is.

    Returns
    -------
    Manifest
        What it holds; photos that the shop had lost stand in `missing`.

    Raises
    ------
    BackupError
        If the folder is there already.
    ShopError
        If something cannot be read or written; then no folder is left.
    """
    if folder.exists():
        raise BackupError("it is there already", where=str(folder), do="Name a new folder")
    with whole(folder) as scratch:
        _copy_database(shop.database, scratch / FILE, told)
        blobs = FolderBlobs(scratch / PHOTOS, forced=False)
        sizes, missing = _copy_photos(shop, scratch, blobs, link=link, told=told)
        with (scratch / FILE).open("rb") as file:
            digest = digest_of(file)
        manifest = Manifest(
            tables=VERSION,
            made_s=now_s,
            database=digest,
            photos=sizes,
            missing=tuple(missing),
        )
        write_whole(scratch / MANIFEST, msgspec.json.format(msgspec.json.encode(manifest)))
    return manifest


@contextmanager
def whole(folder: Path) -> Iterator[Path]:
    """Yield a folder beside `folder` that takes its name when all in it is on the disk."""
    scratch = folder.with_name(f".{folder.name}.partial")
    with sorting(str(folder)):
        shutil.rmtree(scratch, ignore_errors=True)
        scratch.mkdir(parents=True)
    try:
        yield scratch
        with sorting(str(folder)):
            force_tree(scratch)
            scratch.rename(folder)
            force_folder(folder.parent)
    except BaseException:
        shutil.rmtree(scratch, ignore_errors=True)
        raise


def _copy_database(database: Database, file: Path, told: Told) -> None:
    if not database.sqlite:
        with (
            closing(open_database(file.parent)) as target,
            target.writing() as writer,
            database.snapshot() as reader,
        ):
            copy_rows(reader, writer, told)
        _one_file(file)
        return
    import sqlite3

    with sorting(database.where), database.reading() as reader:
        raw: Any = reader.connection.driver_connection
        try:
            with closing(sqlite3.connect(file)) as copy:
                # All pages in one step: writers go on in the log, the copy is of one moment.
                raw.backup(copy, pages=-1)
        except sqlite3.Error as error:
            raise _as_known(error) from error
    _one_file(file)


def _as_known(error: Exception) -> Exception:
    from sqlalchemy.exc import OperationalError

    return OperationalError("backup", None, error)


def _one_file(file: Path) -> None:
    """Leave a database that is one file, without pictures, which are blobs of no photo."""
    import sqlite3

    with sorting(str(file)):
        try:
            with closing(sqlite3.connect(file, isolation_level=None)) as copy:
                copy.execute("PRAGMA journal_mode = DELETE")
                copy.execute("DELETE FROM pictures")
                # Where the photos are is told by where the backup is restored to.
                copy.execute("DELETE FROM about WHERE name = 'blobs'")
                copy.execute("VACUUM")
        except sqlite3.Error as error:
            raise _as_known(error) from error


def _copy_photos(
    shop: Shop, scratch: Path, target: FolderBlobs, *, link: bool, told: Told
) -> tuple[dict[str, int], list[str]]:
    sizes: dict[str, int] = {}
    missing: list[str] = []
    with closing(open_database(scratch, as_is=True)) as copy, copy.reading() as reader:
        wanted = [digest for digest, _ in linked(reader)]
    for n, digest in enumerate(wanted, start=1):
        wrong = _link(shop.blobs, target, digest) if link else ""
        if wrong or not link:
            wrong = copy_blob(shop.blobs, target, digest)
        path = target.path(digest)
        if wrong or path is None:
            missing.append(digest)
        else:
            sizes[digest] = path.stat().st_size
        told(PHOTOS, n, len(wanted))
    return sizes, missing


def _link(source: Blobs, target: FolderBlobs, digest: str) -> str:
    """Link a photo; return an empty string when it is there and whole."""
    here, there = source.path(digest), target.path(digest)
    if here is None or there is None or not here.is_file():
        return "no file to link"
    there.parent.mkdir(parents=True, exist_ok=True)
    with suppress(OSError):
        there.hardlink_to(here)
        with there.open("rb") as file:
            if digest_of(file) == digest:
                return ""
        there.unlink()
    return "not linked"


def read_manifest(folder: Path) -> Manifest:
    """Return what a backup holds.

    Raises
    ------
    BackupError
        If the folder is no backup.
    """
    try:
        return msgspec.json.decode((folder / MANIFEST).read_bytes(), type=Manifest)
    except (OSError, msgspec.MsgspecError):
        raise BackupError(
            "this folder is no whole backup: its manifest is missing or damaged",
            where=str(folder),
            do="Give the folder that `leastcut shop backup` made",
        ) from None


def verify_backup(folder: Path, *, told: Told = silent) -> tuple[Problem, ...]:
    """Return what is wrong with a backup: database, then every photo against its digest."""
    manifest = read_manifest(folder)
    problems = [] if same(folder, manifest) else [damaged_database(folder).problem()]
    blobs = FolderBlobs(folder / PHOTOS)
    for n, digest in enumerate(manifest.photos, start=1):
        try:
            with blobs.open(digest) as file:
                whole = digest_of(file) == digest
        except ShopError:
            whole = False
        if not whole:
            problems.append(damaged_photo(folder, digest))
        told(PHOTOS, n, len(manifest.photos))
    return tuple(problems)


def same(folder: Path, manifest: Manifest) -> bool:
    """Tell whether a backup's database is the one that its manifest names."""
    try:
        with (folder / FILE).open("rb") as file:
            return digest_of(file) == manifest.database
    except OSError:
        return False


def damaged_database(folder: Path) -> ShopDamagedError:
    """Return the error for a backup whose database is not whole."""
    return ShopDamagedError(
        "the database is not the one that was backed up",
        where=str(folder / FILE),
        do="Use an earlier backup",
    )


def damaged_photo(folder: Path, digest: str) -> Problem:
    """Return the fault of a photo that a backup no longer holds."""
    return Problem(
        where=str(folder),
        what=f"the photo {digest[:12]} is missing or damaged",
        do="Take it from an earlier backup",
    )


def thin_out(folder: Path, keep: int) -> tuple[Path, ...]:
    """Remove all but the newest whole backups in a folder of backups; return what went.

    Only folders with a manifest are touched: nothing that is not a backup of ours.
    """
    made = {}
    for path in folder.glob(f"*/{MANIFEST}"):
        with suppress(BackupError):
            made[path.parent] = read_manifest(path.parent).made_s
    old = sorted(made, key=made.__getitem__, reverse=True)[max(1, keep) :]
    for path in old:
        with sorting(str(path)):
            shutil.rmtree(path)
    return tuple(old)


def dated(folder: Path, now_s: float) -> Path:
    """Return the place of a new backup in a folder of backups, named by its time (UTC).

    >>> dated(Path("backups"), 1_000_000_000.0).name
    'shop-20010909T014640Z'
    """
    return folder / f"shop-{datetime.fromtimestamp(now_s, UTC):%Y%m%dT%H%M%SZ}"
