"""The clear-coat ledger: every cut and reading of a car over its life, and what is left.

Model (linear and Gaussian, so the answer is exact for it). A panel starts with clear coat X₀; cut i
takes Cᵢ. A ``clear`` entry at some date observes X₀ − ΣC (all cuts before it); a ``cut`` entry
observes its own Cᵢ. Each observation has an independent error (``sd``) and, where named, an error
that it shares with other entries (``shared_sd``, ``shared_with``): one gauge reads high every time,
one assumed split of total into layers is wrong in the same direction at every visit, one guess of
the paint's softness is off for every process. Shared errors cancel in differences and do not
shrink by repetition; without them the interval would promise too much. Estimates follow from
generalised least squares (source: Gauss–Markov theorem in Aitken's form, A. C. Aitken 1935, "On
least squares and linear combination of observations"; status: memory).
"""

import hashlib
from collections.abc import Iterable
from typing import Literal

import msgspec

from leastcut.errors import InputError

Kind = Literal["clear", "cut", "load", "gloss"]
How = Literal["measured", "estimated", "stated"]
UNITS: dict[Kind, str] = {"clear": "µm", "cut": "µm", "load": "mm/cm²", "gloss": "GU"}
_ORDER: dict[Kind, int] = {"clear": 0, "load": 1, "gloss": 2, "cut": 3}
_Z95 = 1.959963984540054


class LedgerError(InputError):
    """A ledger or an entry that cannot be used."""


class LedgerEntry(msgspec.Struct, frozen=True, kw_only=True):
    """One fact about one panel.

    Attributes
    ----------
    car, panel : str
        The car's label and the panel's id.
    when : str
        ISO 8601 date, or date and time. On one date, readings stand before cuts unless the times
        say otherwise.
    kind : {"clear", "cut", "load", "gloss"}
        Clear coat there is [µm], clear coat taken where the panel lost most [µm], scratch load
        [mm/cm²], gloss at 60 degrees [GU].
    value, sd : float
        Best estimate and the standard uncertainty of its own error.
    shared_sd, shared_with : float, str
        Standard uncertainty of an error in common with every entry that names the same source.
    how : {"measured", "estimated", "stated"}
        By an instrument, from the process, or somebody's word.
    after_work : bool
        For ``load`` and ``gloss``: seen after the work of that visit, not before.
    """

    car: str
    panel: str
    when: str
    kind: Kind
    value: float
    sd: float
    how: How
    process: str = ""
    shop: str = ""
    shared_sd: float = 0.0
    shared_with: str = ""
    after_work: bool = False
    note: str = ""

    @property
    def id(self) -> str:
        """The first 16 hex digits of the SHA-256 of the entry's content."""
        return hashlib.sha256(msgspec.json.encode(self, order="sorted")).hexdigest()[:16]


class Ledger(msgspec.Struct, frozen=True, kw_only=True):
    """All entries of one car, in order of time and kind."""

    car: str
    entries: tuple[LedgerEntry, ...] = ()


def add(ledger: Ledger, entries: Iterable[LedgerEntry]) -> Ledger:
    """Return the ledger with `entries` in their places; an entry already there is not doubled.

    Raises
    ------
    LedgerError
        If an entry is of another car, has no usable date, or a value or uncertainty that no
        measurement can have.
    """
    known = {entry.id: entry for entry in ledger.entries}
    for entry in entries:
        _check(entry, ledger.car)
        known[entry.id] = entry
    return Ledger(car=ledger.car, entries=tuple(sorted(known.values(), key=_place)))


def merge(one: Ledger, other: Ledger) -> Ledger:
    """Return the union of two ledgers of one car: what both shops know, each fact once.

    The order of merging does not matter, and merging twice changes nothing.

    Raises
    ------
    LedgerError
        If they are of different cars.
    """
    return add(one, other.entries)


def _place(entry: LedgerEntry) -> tuple[str, int, str, str]:
    return (entry.when, _ORDER[entry.kind], entry.panel, entry.id)


def _check(entry: LedgerEntry, car: str) -> None:
    where = f"entry {entry.panel} {entry.when} {entry.kind}"
    if entry.car != car:
        raise LedgerError(
            f"it belongs to the car {entry.car!r}, this ledger to {car!r}",
            where=where,
            do="Keep one ledger for each car",
        )
    months(entry.when, where=where)
    finite = all(-1e6 < x < 1e6 for x in (entry.value, entry.sd, entry.shared_sd))
    if not finite or entry.sd < 0 or entry.shared_sd < 0 or (entry.sd == 0 == entry.shared_sd):
        raise LedgerError(
            f"value {entry.value:g} with uncertainty {entry.sd:g} is not a measurement",
            where=where,
            do="Give a finite value and an uncertainty above zero",
        )
    if entry.value < 0 and entry.kind != "cut":
        raise LedgerError(
            f"a {entry.kind} of {entry.value:g} {UNITS[entry.kind]} is impossible",
            where=where,
            do="Check the sign and the unit",
        )


def months(when: str, *, where: str = "date") -> float:
    """Return an ISO 8601 date as months since the year 0 (a month is 1/12 of a mean year).

    Raises
    ------
    LedgerError
        If `when` is not an ISO date.

    Examples
    --------
    >>> round(months("2026-09-14") - months("2026-03-14"), 1)
    6.0
    """
    from datetime import date, datetime

    try:
        day = date.fromisoformat(when) if len(when) == 10 else datetime.fromisoformat(when).date()
    except ValueError:
        raise LedgerError(
            f"{when!r} is not a date", where=where, do="Write dates as 2026-03-14"
        ) from None
    return day.toordinal() / 365.2425 * 12


def of_panel(ledger: Ledger, panel: str, *kinds: Kind) -> tuple[LedgerEntry, ...]:
    """Return a panel's entries of the given kinds in order of time."""
    return tuple(e for e in ledger.entries if e.panel == panel and e.kind in kinds)


def panels(ledger: Ledger) -> tuple[str, ...]:
    """Return the ids of all panels that the ledger knows, in order of first mention."""
    return tuple(dict.fromkeys(entry.panel for entry in ledger.entries))
