"""Is everything there and whole: the database's own checks, what points where, every photo's hash."""

from collections.abc import Iterator
from itertools import chain
from typing import Any

import msgspec
from sqlalchemy import Connection, Select, and_, func, select, text

from leastcut.errors import Problem
from leastcut.shop.blobs import digest_of
from leastcut.shop.copying import Told, linked, rows_of, silent, streaming
from leastcut.shop.factrows import KEY
from leastcut.shop.store import Shop
from leastcut.shop.tables import KEPT, cars, facts, metadata, photos, visits
from leastcut.shop.trouble import NoRowError

_RESTORE = "Restore the last backup beside it with `leastcut shop restore`, and compare"
_ENOUGH = 100  # of one kind of fault: what follows is told as a number


class Verified(msgspec.Struct, frozen=True, kw_only=True):
    """What was looked at and what is wrong.

    Attributes
    ----------
    rows : dict of str to int
        Rows of every table.
    photos, photo_bytes : int
        Photos looked at, and their size.
    unlinked : int
        Blobs that nothing points at: uploads begun, pictures to be pruned. No fault.
    problems : tuple of Problem
        What is wrong; empty when everything is whole.
    """

    rows: dict[str, int]
    photos: int
    photo_bytes: int
    unlinked: int
    problems: tuple[Problem, ...]


def verify(shop: Shop, *, deep: bool = True, told: Told = silent) -> Verified:
    """Look at everything the shop keeps, while it is in use.

    Parameters
    ----------
    shop : Shop
        What to look at.
    deep : bool
        Whether every photo is read and its hash computed; else only its size is compared.
    told : callable
        Is told how far it is.

    Returns
    -------
    Verified
        Counts and faults.

    Raises
    ------
    ShopError
        If the database cannot be read at all.
    """
    with shop.database.snapshot() as reader:
        problems = list(_database(reader))
        rows = {t.name: _count(reader, t) for t in metadata.sorted_tables}
        # Reading every row touches every page of the tables.
        for table in KEPT:
            problems += _readable(reader, table)
        wanted = dict(linked(reader))
    n_bytes = 0
    for n, (digest, size) in enumerate(wanted.items(), start=1):
        found, wrong = _photo(shop, digest, size, deep=deep)
        n_bytes += found
        if wrong:
            problems.append(_fault(f"photo {digest[:12]}", wrong, "Restore it, or take it again"))
        told("photos", n, len(wanted))
    unlinked = sum(digest not in wanted for digest, _, _ in shop.blobs.all())
    return Verified(
        rows=rows,
        photos=len(wanted),
        photo_bytes=n_bytes,
        unlinked=unlinked,
        problems=tuple(problems),
    )


def _fault(where: str, what: str, do: str = _RESTORE) -> Problem:
    return Problem(where=where, what=what, do=do)


def _count(reader: Connection, table: Any) -> int:
    return int(reader.execute(select(func.count()).select_from(table)).scalar_one())


def _database(reader: Connection) -> Iterator[Problem]:
    if reader.dialect.name == "sqlite":
        for (line,) in reader.execute(text("PRAGMA integrity_check(100)")):
            if line != "ok":
                yield _fault("database", str(line))
    yield from _pointing(reader)
    for what, query in _QUESTIONS.items():
        if n := int(
            reader.execute(select(func.count()).select_from(query.subquery())).scalar_one()
        ):
            yield _fault("database", f"{n} {what}")


def _pointing(reader: Connection) -> Iterator[Problem]:
    """Yield rows that point at nothing, found by the question and not by trust in a rule."""
    for table in metadata.sorted_tables:
        for key in table.foreign_keys:
            there = key.column.table.alias()
            lost = (
                select(func.count())
                .select_from(table.outerjoin(there, key.parent == there.c[key.column.name]))
                .where(key.parent.is_not(None), there.c[key.column.name].is_(None))
            )
            if n := int(reader.execute(lost).scalar_one()):
                yield _fault(table.name, f"{n} rows whose {key.parent.name} is not there")


def _heads() -> Select[Any]:
    newest = select(facts.c.visit, func.max(facts.c.id).label("head")).group_by(facts.c.visit)
    found = newest.subquery()
    both = visits.outerjoin(found, found.c.visit == visits.c.id)
    return (
        select(visits.c.id).select_from(both).where(visits.c.head != func.coalesce(found.c.head, 0))
    )


def _newest_visits() -> Select[Any]:
    newest = select(visits.c.car, func.max(visits.c.id).label("visit")).group_by(visits.c.car)
    found = newest.subquery()
    both = cars.outerjoin(found, found.c.car == cars.c.id)
    return (
        select(cars.c.id)
        .select_from(both)
        .where(func.coalesce(cars.c.visit, 0) != func.coalesce(found.c.visit, 0))
    )


_QUESTIONS: dict[str, Select[Any]] = {
    "facts that stand twice under one key": select(facts.c.visit, facts.c.key)
    .group_by(facts.c.visit, facts.c.key)
    .having(func.count() > 1),
    "visits whose newest fact is not the one they name": _heads(),
    "cars whose newest visit is not the one they name": _newest_visits(),
    "photos without a size": select(photos.c.digest).where(
        and_(photos.c.bytes <= 0) | (photos.c.width <= 0) | (photos.c.height <= 0)
    ),
}


def _readable(reader: Connection, table: Any) -> Iterator[Problem]:
    n = 0
    with streaming(reader, rows_of(table)) as parts:
        for row in chain.from_iterable(parts):
            if table is facts and (what := _fact_fault(row)):
                n += 1
                if n <= _ENOUGH:
                    yield _fault(f"fact {row.id}", what)
    if n > _ENOUGH:
        yield _fault("facts", f"{n - _ENOUGH} more like these")


def _fact_fault(row: Any) -> str:
    if KEY.fullmatch(row.key) is None:
        return "its key is none"
    try:
        msgspec.json.decode(row.body)
    except msgspec.DecodeError:
        return "its value cannot be read"
    return ""


def _photo(shop: Shop, digest: str, size: int | None, *, deep: bool) -> tuple[int, str]:
    """Return a photo's size and what is wrong with it."""
    try:
        with shop.open_blob(digest) as stream:
            whole = not deep or digest_of(stream) == digest
            found = stream.seek(0, 2)
    except NoRowError:
        return 0, "it is missing"
    if not whole:
        return found, "it is damaged: what it holds is not what was kept"
    return found, "" if size in {None, found} else f"it has {found} bytes, not {size}"
