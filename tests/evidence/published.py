"""The published values: rows of CSV files, each with its source and how well the source is known.

A row's status says how it was read: ``seen`` in the source, ``seen-2`` in a reprint of it,
``recomputed`` from the stated formula by other code, ``memory`` recalled and not looked up. Only
the first two count as published; a value from memory is shown and never asserted.
"""

import csv
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

DATA = Path(__file__).parents[1] / "data"
STATUSES = ("seen", "seen-2", "recomputed", "memory")
PUBLISHED = frozenset({"seen", "seen-2"})
BAND = re.compile(r"([\d.]+)-([\d.]+)")


class Quantity(NamedTuple):
    """What a row's inputs are turned into, in which chapter it is explained."""

    chapter: str
    what: str
    compute: Callable[[str], float]


@dataclass(frozen=True)
class Check:
    """One value of a source beside what leastcut computes for the same inputs."""

    quantity: Quantity
    name: str
    inputs: str
    printed: str
    unit: str
    agrees: bool
    source: str
    status: str
    note: str
    within: str = ""

    @cached_property
    def ours(self) -> float:
        """What leastcut computes, now."""
        return self.quantity.compute(self.inputs)

    @property
    def published(self) -> bool:
        """Whether the value was read somewhere, not recomputed or recalled."""
        return self.status in PUBLISHED

    @property
    def met(self) -> bool:
        """Whether ours is the printed value, to the digits as printed or the stated tolerance."""
        if band := BAND.fullmatch(self.printed):
            return float(band[1]) <= self.ours <= float(band[2])
        if self.within:
            return abs(self.ours - float(self.printed)) <= self.tolerance
        return float(self.rounded) == float(self.printed)

    @property
    def tolerance(self) -> float:
        """The stated tolerance, absolute."""
        size, _, relative = self.within.partition(" ")
        return float(size) * (abs(float(self.printed)) if relative else 1.0)

    @property
    def rounded(self) -> str:
        """Ours, rounded as the source printed (half up; a note ``cut`` says that print cuts)."""
        decimals = len(self.printed.partition(".")[2])
        unit = 10.0**-decimals
        if " to " in self.unit:
            unit = float(self.unit.rpartition(" to ")[2])
        steps = self.ours / unit + (0.0 if self.note.startswith("cut") else 0.5)
        return f"{math.floor(steps + 1e-9) * unit:.{decimals}f}"

    @property
    def allowed(self) -> str:
        """The tolerance in words."""
        if BAND.fullmatch(self.printed):
            return "inside the band"
        if self.within:
            return f"± {self.within.replace('rel', 'of it')}"
        return "as printed"

    @property
    def ident(self) -> str:
        """A name for the test's report."""
        return f"{self.name}-{self.inputs}-{self.source[:24]}"


def table(path: Path) -> list[dict[str, str]]:
    """Return the rows of a CSV file whose comment lines name its source."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def checks(file: str, quantities: dict[str, Quantity]) -> Iterator[Check]:
    """Yield the checks of one file of ``tests/data/published``."""
    for row in table(DATA / "published" / file):
        name = row.pop("quantity")
        agrees = row.pop("agrees") == "yes"
        yield Check(quantities[name], name, agrees=agrees, **row)
