"""Facts into rows and back: what may be written, exactly once, in the order of their numbers."""

import re
from collections.abc import Iterable, Sequence
from typing import Any

import msgspec
from sqlalchemy import Connection, Select, insert, select, update

from leastcut.shop import tables
from leastcut.shop.facts import Fact, NewFact
from leastcut.shop.rows import Appended
from leastcut.shop.trouble import NoRowError, ShopError

KEY = re.compile(r"[A-Za-z0-9_-]{1,40}")
FIELD = re.compile(r"[A-Za-z][A-Za-z0-9_./-]{0,199}")
MAX_BODY = 1 << 18  # [bytes]: a long work event is 2 kB
BIGGEST = 1 << 63  # of a row's number, in both databases
_AT_ONCE = 500  # keys in one question, under the databases' limits on parameters


class FactError(ShopError):
    """A fact that cannot be written down."""


def body_text(fact: NewFact) -> str:
    """Return a fact's body as the JSON text that is kept.

    Raises
    ------
    FactError
        If key, field or body cannot be kept.
    """
    if KEY.fullmatch(fact.key) is None:
        raise _bad(fact, "its key is not 1 to 40 of A-Z, a-z, 0-9, _ and -")
    if FIELD.fullmatch(fact.field) is None:
        raise _bad(fact, "its field is not a dotted path of the job file")
    if fact.base is not None and not 0 <= fact.base < BIGGEST:
        raise _bad(fact, "its base is no number of a fact")
    try:
        body = msgspec.json.encode(fact.body).decode()
    except (TypeError, ValueError, OverflowError, RecursionError):
        raise _bad(fact, "its value is not JSON") from None
    if len(body) > MAX_BODY:
        raise _bad(fact, f"its value is longer than {MAX_BODY // 1024} kB")
    return body


def _bad(fact: NewFact, what: str) -> FactError:
    where = re.sub(r"[^\w./-]", "?", fact.field[:60]) or "fact"
    return FactError(what, where=where, do="Nothing of this entry was kept; correct it")


def keep(
    connection: Connection,
    visit: int,
    facts: Sequence[NewFact],
    *,
    device: int | None,
    person: str,
    now_s: float,
) -> Appended:
    """Write the facts that are not there yet, within the caller's transaction.

    Facts of one visit are numbered under a lock on it: whoever has seen a number has seen every
    smaller one.

    Returns
    -------
    Appended
        The number of every fact handed in, also of those known before.

    Raises
    ------
    NoRowError
        If there is no such visit.
    FactError
        If one cannot be written down; then none is.
    """
    head = lock(connection, visit)
    once = {fact.key: fact for fact in reversed(facts)}
    bodies = {key: body_text(fact) for key, fact in once.items()}
    taken = _known(connection, visit, list(once))
    fresh = [key for key in dict.fromkeys(fact.key for fact in facts) if key not in taken]
    told = {"visit": visit, "at_s": now_s, "device": device, "person": plain(person)}
    rows = [_row(once[key], bodies[key]) | told for key in fresh]
    if rows:
        made = insert(tables.facts).returning(tables.facts.c.id, sort_by_parameter_order=True)
        taken |= dict(zip(fresh, connection.execute(made, rows).scalars(), strict=True))
        head = max(taken.values())
        connection.execute(
            update(tables.visits).where(tables.visits.c.id == visit).values(head=head)
        )
    return Appended(taken=taken, head=head)


def plain(words: str) -> str:
    r"""Return text without what cannot be printed, which one of the databases refuses.

    >>> plain("Ana\0 María")
    'Ana María'
    """
    return "".join(letter for letter in words if letter.isprintable())


def lock(connection: Connection, visit: int) -> int:
    """Hold a visit until the transaction ends and return its newest fact's number.

    Raises
    ------
    NoRowError
        If there is no such visit.
    """
    row = select(tables.visits.c.head).where(tables.visits.c.id == visit).with_for_update()
    head = connection.execute(row).scalar() if possible(visit) else None
    if head is None:
        raise no_visit(visit)
    return int(head)


def possible(number: int) -> bool:
    """Tell whether a row can have this number."""
    return 0 < number < BIGGEST


def no_visit(visit: int) -> NoRowError:
    """Return the error for a visit that is not there."""
    return NoRowError("there is no such visit", where=f"visit {visit}", do="Open it from the cars")


def _known(connection: Connection, visit: int, keys: Sequence[str]) -> dict[str, int]:
    c = tables.facts.c
    found: dict[str, int] = {}
    for start in range(0, len(keys), _AT_ONCE):
        some = keys[start : start + _AT_ONCE]
        query = select(c.key, c.id).where(c.visit == visit, c.key.in_(some))
        found |= {row.key: row.id for row in connection.execute(query)}
    return found


def _row(fact: NewFact, body: str) -> dict[str, Any]:
    return {
        "key": fact.key,
        "kind": fact.kind,
        "field": fact.field,
        "body": body,
        "base": fact.base,
        "made_s": fact.made_s,
    }


def of_visit(visit: int, after: int) -> Select[Any]:
    """Return the question for a visit's facts behind a number, in their order."""
    c = tables.facts.c
    columns = (c.id, c.key, c.kind, c.field, c.body, c.base, c.made_s, c.at_s, c.device, c.person)
    asked = (visit, min(after, BIGGEST - 1)) if possible(visit) else (0, 0)
    return select(*columns).where(c.visit == asked[0], c.id > asked[1]).order_by(c.id)


def read(rows: Iterable[Any]) -> tuple[Fact, ...]:
    """Return the rows that answer :func:`of_visit` as facts."""
    value = msgspec.json.decode
    return tuple(
        Fact(
            id=number,
            key=key,
            kind=kind,
            field=field,
            body=value(body),
            base=base,
            made_s=made_s,
            at_s=at_s,
            device=device,
            person=person,
        )
        for number, key, kind, field, body, base, made_s, at_s, device, person in rows
    )
