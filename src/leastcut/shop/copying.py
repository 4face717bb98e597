"""Rows from one database to another, with the count and hash of every table on both sides."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from itertools import chain
from typing import Any

import msgspec
from sqlalchemy import Connection, Select, Table, func, insert, select, text

from leastcut.shop.blobs import Blobs
from leastcut.shop.tables import KEPT, about, dossiers, facts, findings, photos
from leastcut.shop.trouble import NoRowError, ShopError

# Pictures are drawn again where they are wanted.
COPIED = (*KEPT, findings, dossiers)
AT_ONCE = 2_000
_STREAMED = {"stream_results": True, "yield_per": AT_ONCE}

Told = Callable[[str, int, int], None]


class CopyError(ShopError):
    """A copy that is not what it was copied from."""


class Tally(msgspec.Struct, frozen=True, kw_only=True):
    """How many rows a table holds, and the SHA-256 over all of them in the order of their keys."""

    rows: int
    hash: str


def silent(what: str, done: int, total: int) -> None:
    """Tell nobody how far it is."""
    del what, done, total


def rows_of(table: Table) -> Select[Any]:
    """Return the question for a table's rows in the order of their keys."""
    query = select(table).order_by(*table.primary_key.columns)
    # Where the photos are is each database's own affair.
    return query.where(about.c.name != "blobs") if table is about else query


@contextmanager
def streaming(connection: Connection, query: Select[Any]) -> Iterator[Iterator[list[Any]]]:
    """Yield the rows of a long answer, some at a time; the database's cursor ends with the block."""
    with connection.execute(query, execution_options=_STREAMED) as result:
        yield (list(rows) for rows in result.partitions(AT_ONCE))


def tally(connection: Connection, table: Table) -> Tally:
    """Return count and hash of a table."""
    n, found = 0, sha256()
    with streaming(connection, rows_of(table)) as parts:
        for rows in parts:
            n += len(rows)
            found.update(_canonical(rows))
    return Tally(rows=n, hash=found.hexdigest())


def _canonical(rows: list[Any]) -> bytes:
    return b"".join(msgspec.msgpack.encode([_plain(value) for value in row]) for row in rows)


def _plain(value: Any) -> Any:
    return bytes(value) if isinstance(value, memoryview) else value


def copy_rows(source: Connection, target: Connection, told: Told = silent) -> dict[str, Tally]:
    """Copy every row into empty tables and compare both sides.

    Parameters
    ----------
    source, target : Connection
        Each within a transaction that sees one state throughout.
    told : callable
        Is told the table, rows done, rows in all.

    Returns
    -------
    dict of str to Tally
        Count and hash of each table, the same on both sides.

    Raises
    ------
    CopyError
        If a table of the target is not empty, or holds something else afterwards.
    """
    tallies = {}
    for table in COPIED:
        tallies[table.name] = _copy_table(source, target, table, told)
    for table in COPIED:
        if (found := tally(target, table)) != tallies[table.name]:
            raise CopyError(
                f"the copy differs: {found.rows} rows of {tallies[table.name].rows}",
                where=table.name,
                do="Nothing was kept; run `leastcut shop verify` on both, then try again",
            )
    _number_on(source, target)
    return tallies


def _copy_table(source: Connection, target: Connection, table: Table, told: Told) -> Tally:
    if target.execute(rows_of(table).limit(1)).first() is not None:
        raise CopyError("it already holds a shop", where=table.name, do="Choose an empty place")
    total = source.execute(select(func.count()).select_from(table)).scalar_one()
    n, found = 0, sha256()
    with streaming(source, rows_of(table)) as parts:
        for rows in parts:
            target.execute(insert(table), [dict(row._mapping) for row in rows])  # noqa: SLF001
            found.update(_canonical(rows))
            n += len(rows)
            told(table.name, n, total)
    return Tally(rows=n, hash=found.hexdigest())


def _number_on(source: Connection, target: Connection) -> None:
    """Have the target number its next rows behind every number that the source ever gave."""
    for table in COPIED:
        if "id" in table.c and (last := max(_last(source, table), _last(target, table))):
            if target.dialect.name == "sqlite":
                names = {"name": table.name, "last": last}
                target.execute(text("DELETE FROM sqlite_sequence WHERE name = :name"), names)
                target.execute(text("INSERT INTO sqlite_sequence VALUES (:name, :last)"), names)
            else:
                sequence = func.pg_get_serial_sequence(table.name, "id")
                target.execute(select(func.setval(sequence, last)))


def _last(connection: Connection, table: Table) -> int:
    if connection.dialect.name == "sqlite":
        query = text("SELECT seq FROM sqlite_sequence WHERE name = :name")
        return int(connection.execute(query, {"name": table.name}).scalar() or 0)
    sequence = connection.execute(
        select(func.pg_get_serial_sequence(table.name, "id"))
    ).scalar_one()
    row = connection.execute(text(f"SELECT last_value, is_called FROM {sequence}")).one()  # noqa: S608
    return int(row[0]) if row[1] else 0


def linked(connection: Connection) -> Iterator[tuple[str, int | None]]:
    """Yield digest and size [bytes] of every photo that the record holds; size None if untold.

    Photos that visits hold, and those that only a fact names: nothing that a fact speaks of is
    ever left behind.
    """
    held: set[str] = set()
    size = func.max(photos.c.bytes)
    each = select(photos.c.digest, size).group_by(photos.c.digest)
    with streaming(connection, each) as parts:
        for digest, n in chain.from_iterable(parts):
            held.add(digest)
            yield digest, int(n)
    long_ones = select(facts.c.body).where(func.length(facts.c.body) >= 66)
    with streaming(connection, long_ones) as parts:
        for (body,) in chain.from_iterable(parts):
            for digest in _named(body) - held:
                held.add(digest)
                yield digest, None


def _named(body: str) -> set[str]:
    return set(re.findall(r'"([0-9a-f]{64})"', body))


def copy_blob(source: Blobs, target: Blobs, digest: str) -> str:
    """Copy a blob; return what is wrong with it, an empty string when nothing is."""
    try:
        with source.open(digest) as stream:
            found = target.put(stream)
    except NoRowError:
        return "missing"
    if found != digest:
        target.drop(found)
        return "damaged"
    return ""
