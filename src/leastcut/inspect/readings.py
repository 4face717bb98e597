"""Gauge readings out of the split rows of a CSV file: the good rows, and one problem per bad row.

Reading the file is the shell's work; here the columns of each row are judged. One bad row never
costs the others.
"""

import math
from collections.abc import Collection, Iterable, Mapping
from typing import get_args

from leastcut.car.records import Material
from leastcut.errors import InputError, Problem
from leastcut.inspect.records import EarlierCut, Layer, Reading

MIL_UM = 25.4
"""One mil in micrometres. Source: exact, a thousandth of the international inch of 25.4 mm."""

MOST_UM = 5000.0
"""No reading above this is believed [µm]: 5 mm of film on a car body is a slip of the unit."""

MOST_CLEAR_UM = 200.0
"""No clear coat is believed to be thicker [µm]: two repaints do not reach it."""

MOST_CUT_UM = 200.0
"""No recorded cut above this is believed [µm]: clear coat is 50 µm when new."""

UNSTATED_CUT_SD = 0.3
"""Relative standard uncertainty of a recorded cut without one. Our assumption: robotic polishing
models reach 20 % (Adv. Mech. Eng. 2016, doi 10.1177/1687814016630518, abstract seen)."""

_MATERIALS: tuple[str, ...] = get_args(Material)
_LAYERS: tuple[str, ...] = get_args(Layer)


class RowError(InputError):
    """One row of a readings file that cannot be used."""


def parse_rows(
    rows: Iterable[tuple[int, Mapping[str, str]]],
    *,
    where: str,
    panels: Collection[str] | None,
) -> tuple[tuple[Reading, ...], tuple[Problem, ...]]:
    """Turn the rows of a readings file into readings.

    Parameters
    ----------
    rows : iterable of (int, mapping)
        Line number in the file, and column name to text. Columns ``panel``, ``spot`` (may be
        empty: then each row is a spot of its own) and ``reading_um`` or ``reading_mil``; optional
        ``x_mm``, ``y_mm``, ``layer``, ``substrate``.
    where : str
        Name of the file, for messages.
    panels : collection of str or None
        The ids that exist on the car; None accepts any.

    Returns
    -------
    tuple of Reading, tuple of Problem
        Good rows in order, and what is wrong with each of the others.

    Examples
    --------
    >>> good, bad = parse_rows(
    ...     [(2, {"panel": "roof", "spot": "a", "reading_mil": "4.0"}),
    ...      (3, {"panel": "roof", "spot": "a", "reading_mil": "-4"})],
    ...     where="film.csv", panels={"roof"})
    >>> good[0].reading_um
    101.6
    >>> print(bad[0])
    film.csv:3 reading_mil: -4 is not a film thickness. Read the gauge again or delete the row
    """
    readings: list[Reading] = []
    problems: list[Problem] = []
    for line, row in rows:
        try:
            readings.append(_reading(row, line, panels))
        except RowError as error:
            problems.append(error.at(f"{where}:{line}").problem())
    return tuple(readings), tuple(problems)


def _reading(row: Mapping[str, str], line: int, panels: Collection[str] | None) -> Reading:
    layer = _choice(row, "layer", _LAYERS, "total")
    thickness = _thickness(row)
    if layer == "clear" and thickness > MOST_CLEAR_UM:
        raise RowError(
            f"{thickness:.0f} µm is more than any clear coat",
            where="layer",
            do="Write total if the gauge read all layers together",
        )
    return Reading(
        panel=panel_in(row, panels),
        spot=text_in(row, "spot") or f"line {line}",
        reading_um=thickness,
        layer=layer,  # type: ignore[arg-type]
        substrate=_choice(row, "substrate", _MATERIALS, "unknown"),  # type: ignore[arg-type]
        x_mm=_place(row, "x_mm"),
        y_mm=_place(row, "y_mm"),
        line=line,
    )


def panel_in(row: Mapping[str, str], panels: Collection[str] | None) -> str:
    """Return the panel that a row names.

    Raises
    ------
    RowError
        If there is none, or the car has no such panel.
    """
    panel = text_in(row, "panel")
    if not panel:
        raise RowError("no panel is named", where="panel", do="Write the panel id in this row")
    if panels is not None and panel not in panels:
        raise RowError(
            f"{panel!r} is not a panel of this car",
            where="panel",
            do=f"Use one of {', '.join(sorted(panels)) or 'the panels of the car'}",
        )
    return panel


def text_in(row: Mapping[str, str], column: str) -> str:
    """Return a cell without the spaces around it; empty when it is absent."""
    # A short row leaves None in its last columns, a long one a list: both count as absent.
    value = row.get(column)
    return value.strip() if isinstance(value, str) else ""


def number_in(row: Mapping[str, str], column: str, do: str) -> float:
    """Return the finite number in a cell; a comma may stand for the decimal point.

    Raises
    ------
    RowError
        If there is no such number; `do` says what to do about it.
    """
    return _number(text_in(row, column), column, do)


def _number(text: str, column: str, do: str) -> float:
    try:
        value = float(text.replace(",", ".", 1))
    except ValueError:
        raise RowError(f"cannot read {text[:40]!r} as a number", where=column, do=do) from None
    if not math.isfinite(value):
        raise RowError(f"{text} is not a number", where=column, do=do)
    return value


def _thickness(row: Mapping[str, str]) -> float:
    do = "Read the gauge again or delete the row"
    given = [c for c in ("reading_um", "reading_mil") if text_in(row, c)]
    if len(given) != 1:
        what = "there is no reading" if not given else "there are two readings in one row"
        raise RowError(what, where="reading_um", do="Fill reading_um or reading_mil, not both")
    column = given[0]
    shown = number_in(row, column, do)
    value_um = shown * (MIL_UM if column == "reading_mil" else 1.0)
    if value_um <= 0:
        raise RowError(f"{shown:g} is not a film thickness", where=column, do=do)
    if value_um > MOST_UM:
        raise RowError(
            f"{shown:g} is more than {MOST_UM:.0f} µm", where=column, do=f"Check the unit. {do}"
        )
    return value_um


def _choice(row: Mapping[str, str], column: str, known: tuple[str, ...], default: str) -> str:
    text = text_in(row, column).lower() or default
    if text not in known:
        raise RowError(
            f"{text[:40]!r} is not known here", where=column, do=f"Use one of {', '.join(known)}"
        )
    return text


def _place(row: Mapping[str, str], column: str) -> float | None:
    text = text_in(row, column)
    return _number(text, column, "Write millimetres or leave it empty") if text else None


def parse_history(
    rows: Iterable[tuple[int, Mapping[str, str]]],
    *,
    where: str,
    panels: Collection[str] | None,
) -> tuple[tuple[EarlierCut, ...], tuple[Problem, ...]]:
    """Turn the rows of a ledger file into earlier cuts.

    Parameters
    ----------
    rows, where, panels
        As in :func:`parse_rows`, with columns ``panel`` and ``cut_um``; optional ``sd_um`` and
        ``when``. Without ``sd_um`` the cut counts as known to 30 %.

    Returns
    -------
    tuple of EarlierCut, tuple of Problem
        Good rows in order, and what is wrong with each of the others.

    Examples
    --------
    >>> parse_history([(2, {"panel": "roof", "cut_um": "2.0"})], where="h.csv", panels=None)[0][0].sd_um
    0.6
    """
    cuts: list[EarlierCut] = []
    problems: list[Problem] = []
    for line, row in rows:
        try:
            cuts.append(_earlier(row, panels))
        except RowError as error:
            problems.append(error.at(f"{where}:{line}").problem())
    return tuple(cuts), tuple(problems)


def _earlier(row: Mapping[str, str], panels: Collection[str] | None) -> EarlierCut:
    do = "Write what was cut in µm, or delete the row"
    cut = number_in(row, "cut_um", do)
    sd_text = text_in(row, "sd_um")
    sd = _number(sd_text, "sd_um", do) if sd_text else UNSTATED_CUT_SD * cut
    for column, value in (("cut_um", cut), ("sd_um", sd)):
        if not 0 <= value <= MOST_CUT_UM:
            raise RowError(f"{value:g} is not a cut of clear coat", where=column, do=do)
    return EarlierCut(panel=panel_in(row, panels), cut_um=cut, sd_um=sd, when=text_in(row, "when"))
