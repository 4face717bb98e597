"""Cars and their visits as questions to the record, and what a car may be called."""

from collections.abc import Sequence
from typing import Any
from unicodedata import combining, normalize

from sqlalchemy import ColumnElement, Connection, Select, func, select

from leastcut.shop.factrows import plain, possible
from leastcut.shop.tables import cars, visits
from leastcut.shop.trouble import NoRowError, ShopError


class LabelError(ShopError):
    """A car's label or client that cannot be used."""


def folded(words: str) -> str:
    """Return text for the search: case and accents taken away.

    >>> folded("Señor LÓPEZ")
    'senor lopez'
    """
    bare = "".join(letter for letter in normalize("NFKD", words) if not combining(letter))
    return plain(bare.casefold())


def named(label: str, client: str) -> dict[str, str]:
    """Return the columns that a label and a client make.

    Raises
    ------
    LabelError
        If the label is empty or not plain text.
    """
    label, client = " ".join(label.split()), " ".join(client.split())
    for what, words in (("label", label), ("client", client)):
        if not words.isprintable() or len(words) > 200:
            raise LabelError(
                "it holds more than 200 letters or ones that cannot be printed",
                where=what,
                do="Use plain text",
            )
    if not label:
        raise LabelError("it is empty", where="label", do="Name the car as you call it in the shop")
    return {"label": label, "client": client, "words": folded(f"{label} {client}")}


def no_car(car: int) -> NoRowError:
    """Return the error for a car that is not there."""
    return NoRowError("there is no such car", where=f"car {car}", do="Open it from the cars")


def locked(connection: Connection, car: int) -> int | None:
    """Hold a car until the transaction ends; None when there is no such car."""
    row = select(cars.c.id).where(cars.c.id == car).with_for_update()
    return connection.execute(row).scalar() if possible(car) else None


def car_page(match: Sequence[ColumnElement[bool]], page: int, per_page: int) -> Select[Any]:
    """Return the question for a page of cars with their newest visits, the newest first.

    The page is cut out of the cars alone, in the order of their index: to skip thousands of them
    costs no look at their visits.
    """
    newest = (cars.c.opened_s.desc(), cars.c.id.desc())
    cut = select(cars.c.id).where(*match).order_by(*newest)
    here = cut.limit(per_page).offset((page - 1) * per_page).subquery()
    summary = func.coalesce(visits.c.summary, "").label("summary")
    columns = (cars.c.id.label("car"), cars.c.label, cars.c.client, cars.c.visit, cars.c.opened_s)
    both = cars.join(here, here.c.id == cars.c.id).outerjoin(visits, visits.c.id == cars.c.visit)
    return select(*columns, summary).select_from(both).order_by(*newest)


def visit_rows() -> Select[Any]:
    """Return the question for visits with their cars."""
    c = visits.c
    columns = (c.id.label("visit"), c.car, cars.c.label, cars.c.client, c.opened_s, c.head)
    return select(*columns, c.summary).join(cars)
