"""Bring a backup back to a place where there is no shop: a folder, or a PostgreSQL database."""

import shutil
from contextlib import closing
from pathlib import Path

from leastcut.errors import Problem
from leastcut.shop.backup import (
    BackupError,
    Manifest,
    damaged_database,
    damaged_photo,
    read_manifest,
    same,
    whole,
)
from leastcut.shop.blobs import Blobs, FolderBlobs
from leastcut.shop.copying import Told, copy_blob, copy_rows, silent
from leastcut.shop.opening import FILE, PHOTOS, is_url, open_database, refuse_newer
from leastcut.shop.store import open_shop
from leastcut.shop.trouble import of_system, sorting


def restore(
    folder: Path, place: str | Path, *, blobs: str | Path | None = None, told: Told = silent
) -> tuple[Problem, ...]:
    """Bring a backup back to a place where there is no shop.

    Parameters
    ----------
    folder : Path
        The backup.
    place : str or Path
        A new folder, or the URL of an empty PostgreSQL database.
    blobs : str, Path or None
        Where the photos go, as for :func:`leastcut.shop.store.open_shop`.
    told : callable
        Is told how far it is.

    Returns
    -------
    tuple of Problem
        Photos that could not be brought back; everything else was.

    Raises
    ------
    BackupError
        If there is a shop at `place`, or `folder` is no backup.
    ShopDamagedError
        If the backup's database is not whole; nothing was restored.
    NewerShopError
        If a newer leastcut made it.
    """
    manifest = read_manifest(folder)
    refuse_newer(manifest.tables, str(folder))
    if not same(folder, manifest):
        raise damaged_database(folder)
    if is_url(place):
        return _restore_to_server(folder, manifest, str(place), blobs, told)
    target = Path(place)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise BackupError(
            "there is something at this place already",
            where=str(target),
            do="Name a new folder; move the damaged shop away first, do not delete it",
        )
    with sorting(str(target)):
        if target.is_dir():
            target.rmdir()
    with whole(target) as scratch:
        shutil.copyfile(folder / FILE, scratch / FILE)
        store = FolderBlobs(scratch / PHOTOS, forced=False)
        problems = _bring_photos(folder, manifest, store, told) if blobs is None else ()
    with closing(open_shop(target, create=False, blobs=blobs)) as shop:
        return problems if blobs is None else _bring_photos(folder, manifest, shop.blobs, told)


def _restore_to_server(
    folder: Path, manifest: Manifest, place: str, blobs: str | Path | None, told: Told
) -> tuple[Problem, ...]:
    import tempfile

    with tempfile.TemporaryDirectory() as scratch, closing(open_shop(place, blobs=blobs)) as shop:
        # A copy, for an older backup is brought to our tables first.
        try:
            shutil.copyfile(folder / FILE, Path(scratch) / FILE)
        except OSError as error:
            raise of_system(error, scratch) from error
        with (
            closing(open_database(scratch, create=False)) as source,
            source.reading() as reader,
            shop.writing() as writer,
        ):
            copy_rows(reader, writer, told)
        return _bring_photos(folder, manifest, shop.blobs, told)


def _bring_photos(
    folder: Path, manifest: Manifest, target: Blobs, told: Told
) -> tuple[Problem, ...]:
    source = FolderBlobs(folder / PHOTOS)
    problems = []
    for n, digest in enumerate(manifest.photos, start=1):
        if copy_blob(source, target, digest):
            problems.append(damaged_photo(folder, digest))
        told(PHOTOS, n, len(manifest.photos))
    return tuple(problems)
