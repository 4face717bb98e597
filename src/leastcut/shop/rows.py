"""What the shop's record answers with: rows as records, pages of them."""

from typing import Generic, TypeVar

import msgspec

R = TypeVar("R")


class Page(msgspec.Struct, Generic[R], frozen=True, kw_only=True):
    """One page of a longer list.

    Attributes
    ----------
    rows : tuple
        The rows on this page; empty when nothing matches.
    page, pages : int
        Which page this is, from 1, and how many there are (at least 1).
    total : int
        Rows on all pages.
    """

    rows: tuple[R, ...]
    page: int
    pages: int
    total: int


class CarRow(msgspec.Struct, frozen=True, kw_only=True):
    """A car with its newest visit: the line in the list of cars."""

    car: int
    label: str
    client: str
    visit: int | None
    opened_s: float
    summary: str


class VisitRow(msgspec.Struct, frozen=True, kw_only=True):
    """A visit with its car; `head` is the newest fact, 0 when there is none yet."""

    visit: int
    car: int
    label: str
    client: str
    opened_s: float
    head: int
    summary: str


class PhotoRow(msgspec.Struct, frozen=True, kw_only=True):
    """A photo by its content, and the visits that hold it."""

    digest: str
    media: str
    width: int
    height: int
    bytes: int
    visits: tuple[int, ...]


class Appended(msgspec.Struct, frozen=True, kw_only=True):
    """What became of the facts handed in: the number of each by its key, the newest of all."""

    taken: dict[str, int]
    head: int
