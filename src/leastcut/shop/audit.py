"""The shop's record of who did what: every sign-in, every change, never a secret.

What happens within a transaction of its own (people, devices, links) notes itself in it. The rows
of ordinary writes are handed over and kept a moment later in one go: the facts themselves already
name their device and person, so nothing hangs on that moment.
"""

from collections import deque
from threading import Lock
from typing import Any

import msgspec
from sqlalchemy import Connection, func, insert, select

from leastcut.shop.opening import Database
from leastcut.shop.rows import Page
from leastcut.shop.tables import audit, devices, people

LONGEST = 400
MOST_WAITING = 20_000


class AuditRow(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that was done.

    Attributes
    ----------
    at_s : float
        When [Unix s].
    person, device : str
        Who, from which device, as they are called now; empty for a stranger.
    what, where, detail : str
        The deed, its place (a visit, a device, an address), anything else worth knowing.
    """

    at_s: float
    person: str
    device: str
    what: str
    where: str
    detail: str


def plain(text: str) -> str:
    r"""Return text fit for a row: one line, printable, not endless.

    >>> plain("a\nb\x1b[2J")
    'a b [2J'
    """
    kept = "".join(letter if letter.isprintable() else " " for letter in text[:LONGEST])
    return " ".join(kept.split())


def row(
    what: str,
    *,
    at_s: float,
    where: str = "",
    detail: str = "",
    person: int | None = None,
    device: int | None = None,
) -> dict[str, Any]:
    """Return a row as the table takes it."""
    return {
        "at": at_s,
        "person": person,
        "device": device,
        "what": plain(what),
        "where": plain(where),
        "detail": plain(detail),
    }


def note(connection: Connection, what: str, **told: Any) -> None:
    """Write a row within a transaction; the arguments are those of :func:`row`."""
    connection.execute(insert(audit).values(**row(what, **told)))


class Audit:
    """Rows on their way into the record, and a look at those that are there.

    Parameters
    ----------
    database : Database
        The shop's.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._waiting: deque[dict[str, Any]] = deque(maxlen=MOST_WAITING)
        self._turn = Lock()

    def later(self, what: str, **told: Any) -> None:
        """Hand a row over without waiting for the disk; the arguments are those of :func:`row`."""
        self._waiting.append(row(what, **told))

    def flush(self) -> int:
        """Write what is waiting and return how much it was; on failure it goes on waiting."""
        with self._turn:
            rows = [self._waiting.popleft() for _ in range(len(self._waiting))]
            if not rows:
                return 0
            try:
                with self._database.writing() as connection:
                    connection.execute(insert(audit), rows)
            except BaseException:
                self._waiting.extendleft(reversed(rows))
                raise
        return len(rows)

    def page(self, *, page: int = 1, per_page: int = 50) -> Page[AuditRow]:
        """Return a page of what was done, the newest first."""
        c = audit.c
        query = (
            select(
                c.at.label("at_s"),
                func.coalesce(people.c.name, "").label("person"),
                func.coalesce(devices.c.label, "").label("device"),
                c.what,
                c.where,
                c.detail,
            )
            .select_from(
                audit.outerjoin(people, c.person == people.c.id).outerjoin(
                    devices, c.device == devices.c.id
                )
            )
            .order_by(c.id.desc())
        )
        with self._database.reading() as connection:
            total = int(connection.execute(select(func.count()).select_from(audit)).scalar_one())
            pages = max(1, -(-total // per_page))
            page = min(max(1, page), pages)
            asked = connection.execute(query.limit(per_page).offset((page - 1) * per_page))
            found = tuple(AuditRow(**line) for line in asked.mappings())
        return Page(rows=found, page=page, pages=pages, total=total)
