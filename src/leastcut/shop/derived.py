"""What was worked out from facts and photos and can be worked out again.

Findings of single photos, pictures drawn, the result of a visit. Nothing here is evidence: pruning
may empty all of it.
"""

import time
from typing import Any

from sqlalchemy import Connection, Table, select, text
from sqlalchemy.dialects import postgresql, sqlite

from leastcut.shop.blobs import Blobs
from leastcut.shop.opening import Database
from leastcut.shop.tables import dossiers, findings, pictures
from leastcut.shop.trouble import NoRowError

# Whoever links a photo holds this lock shared, whoever removes unlinked ones alone.
LINK_LOCK = 0x1EA57C08


class Derived:
    """The derived part of a shop's record."""

    def __init__(self, database: Database, blobs: Blobs) -> None:
        self._database = database
        self._blobs = blobs

    def finding(self, key: str) -> bytes | None:
        """Return what was worked out under a key, None when it is not there."""
        query = select(findings.c.body).where(findings.c.key == key)
        with self._database.reading() as connection:
            found = connection.execute(query).scalar()
        return None if found is None else bytes(found)

    def put_finding(self, key: str, body: bytes) -> None:
        """Keep what was worked out under a key."""
        with self._database.writing() as connection:
            put(connection, findings, {"key": key}, {"body": body, "made": time.time()})

    def picture(self, key: str) -> bytes | None:
        """Return a picture that was drawn under a key, None when it is not there."""
        query = select(pictures.c.digest).where(pictures.c.key == key)
        with self._database.reading() as connection:
            digest = connection.execute(query).scalar()
        try:
            return None if digest is None else self._blobs.get(digest)
        except NoRowError:
            return None

    def put_picture(self, key: str, body: bytes) -> None:
        """Keep a picture under a key."""
        digest = self._blobs.put(body)
        with self._database.writing() as connection:
            put(connection, pictures, {"key": key}, {"digest": digest, "made": time.time()})

    def dossier(self, visit: int) -> tuple[int, bytes] | None:
        """Return the fact up to which a visit was worked out, and the result."""
        query = select(dossiers.c.head, dossiers.c.body).where(dossiers.c.visit == visit)
        with self._database.reading() as connection:
            row = connection.execute(query).one_or_none()
        return None if row is None else (int(row[0]), bytes(row[1]))

    def put_dossier(self, visit: int, head: int, body: bytes) -> bool:
        """Keep a visit's result unless a newer one is there; tell whether it was kept."""
        values = {"head": head, "body": body}
        with self._database.writing() as connection:
            return put(connection, dossiers, {"visit": visit}, values, unless_above="head")


def hold(database: Database, connection: Connection, *, alone: bool = False) -> None:
    """Keep photos from being removed (or, `alone`, from being linked) until the transaction ends."""
    if not database.sqlite:  # there a writer is alone anyway
        name = "pg_advisory_xact_lock" if alone else "pg_advisory_xact_lock_shared"
        connection.execute(text(f"SELECT {name}({LINK_LOCK})"))


def put(
    connection: Connection,
    table: Table,
    key: dict[str, Any],
    values: dict[str, Any],
    *,
    unless_above: str = "",
) -> bool:
    """Write a row, over the one with the same key; tell whether it was written.

    With `unless_above` a row whose column of that name is larger stays.
    """
    kind = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    row = kind(table).values(**key, **values)
    old, new = table.c.get(unless_above), row.excluded.get(unless_above)
    whole = row.on_conflict_do_update(
        index_elements=list(key),
        set_={name: row.excluded[name] for name in values},
        where=None if old is None else old <= new,
    )
    done = connection.execute(whole.returning(*(table.c[name] for name in key)))
    return done.one_or_none() is not None
