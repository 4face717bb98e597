"""Found against true: for a job whose hidden truth is known, such as the demonstration. Pure."""

from collections.abc import Iterator, Mapping
from typing import Any

import msgspec

from leastcut.car.records import Interval
from leastcut.car.units import UnitSystem
from leastcut.handover import words
from leastcut.handover.records import Dossier
from leastcut.handover.wall import panel_names

PAINT = "paint"


class Known(msgspec.Struct, frozen=True, kw_only=True):
    """What is true of one panel or, under ``"paint"``, of the paint; only what is known is compared."""

    clear_um: float | None = None
    load_mm_per_cm2: float | None = None
    softness: float | None = None


Truth = Mapping[str, Known]


def read_truth(truth: Mapping[str, object]) -> Truth:
    """Return a hidden truth from plain mappings, by panel id; other quantities are passed over.

    Examples
    --------
    >>> read_truth({"paint": {"softness": 1.2, "seed": 7}})["paint"].softness
    1.2
    """
    return msgspec.convert(truth, dict[str, Known])


def true_clear(truth: Truth) -> dict[str, float]:
    """Return the true clear coat by panel, where known [µm]."""
    return {panel: one.clear_um for panel, one in truth.items() if one.clear_um is not None}


def found_against_true(dossier: Dossier, truth: Truth) -> dict[str, Any]:
    """Return every found interval beside the true value, and how many hold it."""
    rows = list(_rows(dossier, truth))
    held = sum(row[-1] == "yes" for row in rows)
    return {
        "rows": rows,
        "words": f"{held} of {len(rows)} intervals hold the true value; 95 % of them should.",
    }


def _rows(dossier: Dossier, truth: Truth) -> Iterator[list[str]]:
    names = panel_names(dossier)
    for state in dossier.panels:
        true = truth.get(state.panel, Known())
        if true.clear_um is not None:
            yield _film_row(names[state.panel], state.film.clear_um, true.clear_um, dossier.units)
        if true.load_mm_per_cm2 is not None:
            yield _load_row(names[state.panel], state.load_mm_per_cm2, true.load_mm_per_cm2)
    paint = truth.get(PAINT, Known())
    if paint.softness is not None:
        soft = dossier.testspot.softness
        said = f"{soft.mean:.2f} ({soft.low:.2f}–{soft.high:.2f})"
        held = _holds(soft, paint.softness)
        yield ["Paint", "softness", said, f"{paint.softness:.2f}", held]


def _load_row(name: str, found: Interval, true: float) -> list[str]:
    said = f"{words.load(found.mean)} ({words.load_between(found)})"
    return [name, "scratch load", said, words.load(true), _holds(found, true)]


def _film_row(name: str, found: Interval, true: float, units: UnitSystem) -> list[str]:
    said = f"{words.thickness(found.mean, units)} ({words.thickness_between(found, units)})"
    return [name, "clear coat", said, words.thickness(true, units), _holds(found, true)]


def _holds(found: Interval, true: float) -> str:
    return "yes" if found.low <= true <= found.high else "no"
