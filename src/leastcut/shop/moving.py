"""A shop from one database to another: a folder's SQLite to PostgreSQL, or back.

Nobody can write while the rows go over, the numbers of all rows stay, and count and hash of every
table are compared before the copy counts. The old shop stays as it was.
"""

from contextlib import closing
from pathlib import Path

import msgspec

from leastcut.errors import Problem
from leastcut.shop.blobs import Blobs
from leastcut.shop.copying import Tally, Told, copy_blob, copy_rows, linked, silent
from leastcut.shop.opening import PHOTOS
from leastcut.shop.store import Shop, open_shop
from leastcut.shop.trouble import ShopError


class MoveError(ShopError):
    """A shop cannot move there."""


class Moved(msgspec.Struct, frozen=True, kw_only=True):
    """What went over: every table with its rows and hash, photos copied, what was amiss."""

    tables: dict[str, Tally]
    photos: int
    problems: tuple[Problem, ...] = ()


def move(
    shop: Shop, place: str | Path, *, blobs: str | Path | None = None, told: Told = silent
) -> Moved:
    """Copy a whole shop to an empty place; the old one is left as it is.

    Parameters
    ----------
    shop : Shop
        Where it is now. Nobody can write into it meanwhile.
    place : str or Path
        A new folder, or the URL of an empty PostgreSQL database.
    blobs : str, Path or None
        Where the photos shall be. Without it a database server goes on with the photos where they
        are, and a folder gets them into itself.
    told : callable
        Is told how far it is.

    Returns
    -------
    Moved
        Counts and hashes, the same on both sides.

    Raises
    ------
    MoveError
        If it is the place where the shop is.
    CopyError
        If the place already holds a shop, or the copy differs.
    """
    if str(place) == shop.database.where:
        raise MoveError("the shop is already there", where=str(place), do="Name another place")
    stay = blobs is None and "://" in str(place)
    with closing(open_shop(place, blobs=shop.blobs.where if stay else blobs)) as target:
        with shop.database.held() as reader, target.writing() as writer:
            tables = copy_rows(reader, writer, told)
        if target.blobs.where == shop.blobs.where:
            return Moved(tables=tables, photos=0)
        copied, problems = _photos(shop, target.blobs, told)
    return Moved(tables=tables, photos=copied, problems=tuple(problems))


def _photos(shop: Shop, target: Blobs, told: Told) -> tuple[int, list[Problem]]:
    with shop.database.snapshot() as reader:
        wanted = [digest for digest, _ in linked(reader)]
    problems = []
    for n, digest in enumerate(wanted, start=1):
        if wrong := copy_blob(shop.blobs, target, digest):
            problems.append(
                Problem(
                    where=shop.blobs.where,
                    what=f"the photo {digest[:12]} is {wrong}",
                    do="Take it from a backup with `leastcut shop restore`",
                )
            )
        told(PHOTOS, n, len(wanted))
    return len(wanted) - len(problems), problems
