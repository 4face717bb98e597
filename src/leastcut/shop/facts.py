"""Facts: what a visit is made of. Nothing is ever updated; a new fact is a new record."""

from typing import Any, Literal

import msgspec

Kind = Literal["set", "add", "drop"]


class NewFact(msgspec.Struct, frozen=True, kw_only=True):
    """One fact as its writer made it.

    Attributes
    ----------
    key : str
        Made by the writer, unique in the visit: the same key again is the same fact.
    kind : {"set", "add", "drop"}
        A field is set, an item is added to a list, an item is taken back.
    field : str
        Dotted path of the job file's keys, name of a list, or ``LIST/KEY`` of an item.
    body : object
        The value in job-file form.
    base : int or None
        The last fact on that field that the writer had seen.
    made_s : float or None
        The writer's clock [Unix s].
    """

    key: str
    kind: Kind
    field: str
    body: Any = None
    base: int | None = None
    made_s: float | None = None


class Fact(NewFact, frozen=True, kw_only=True):
    """A fact as the shop took it: its number, when, from which device and person."""

    id: int
    at_s: float
    device: int | None
    person: str
