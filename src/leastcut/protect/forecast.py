"""Rows of a forecast or a logger's file as weather: what is unusable is told, the rest kept."""

import re
from collections.abc import Mapping, Sequence

from leastcut.errors import InputError, Problem
from leastcut.protect.records import Weather
from leastcut.protect.window import dew_point_c
from leastcut.safety.check import within

_CLOCK = re.compile(r"(?:^|[T ])(\d{1,2}):(\d{2})(?::\d{2}(?:\.\d+)?)?(?:Z|[+-]\d{2}:?\d{2})?$")
_DO = "Give columns time (HH:MM), air_c (or air_f), rh_percent, and surface_c if measured"


class ForecastError(InputError):
    """A forecast that cannot be used: a column is missing, or no row is usable."""


def parse_rows(
    rows: Sequence[tuple[int, Mapping[str, str]]], *, where: str = "forecast"
) -> tuple[tuple[Weather, ...], tuple[Problem, ...]]:
    """Read weather from the rows of a table.

    Parameters
    ----------
    rows : sequence of (int, mapping)
        Line in the file, and text by column: ``time``, ``air_c`` or ``air_f``, ``rh_percent``, and
        maybe ``surface_c`` or ``surface_f``. Times are HH:MM, alone or at the end of a date; an
        earlier one than the row before it is of the next day.
    where : str
        Name of the file, for messages.

    Returns
    -------
    weather : tuple of Weather
        The usable rows in order of time.
    problems : tuple of Problem
        The others, with line, reason and remedy.

    Raises
    ------
    ForecastError
        If a column is missing or no row is usable.

    Examples
    --------
    >>> rows = [(2, {"time": "09:00", "air_c": "15", "rh_percent": "60"})]
    >>> parse_rows(rows)[0][0].at_min
    540.0
    """
    _check_columns(rows, where)
    found: list[Weather] = []
    problems: list[Problem] = []
    for line, row in rows:
        try:
            found.append(_weather(row, after=found[-1].at_min if found else 0.0))
        except InputError as error:
            problems.append(error.at(f"{where}:{line}").problem())
    if not found:
        raise ForecastError("no usable row", where=where, do=_DO)
    return tuple(found), tuple(problems)


def _check_columns(rows: Sequence[tuple[int, Mapping[str, str]]], where: str) -> None:
    columns = set(rows[0][1]) if rows else set()
    missing = {"time", "rh_percent"} - columns
    if not columns & {"air_c", "air_f"}:
        missing.add("air_c")
    if missing:
        raise ForecastError(f"no column {', '.join(sorted(missing))}", where=where, do=_DO)


def _weather(row: Mapping[str, str], *, after: float) -> Weather:
    air = _celsius(row, "air")
    assert air is not None
    humidity = _number("rh_percent", row["rh_percent"])
    dew_point_c(air, humidity)
    surface = _celsius(row, "surface")
    if surface is not None:
        within("surface temperature", surface, -40.0, 150.0, unit="°C")
    at = minutes_of(row["time"])
    while at < after:
        at += 1440.0
    return Weather(at_min=at, air_c=air, rh_percent=humidity, surface_c=surface)


def _celsius(row: Mapping[str, str], name: str) -> float | None:
    """Return a temperature from its column in either unit; None where an optional one is empty."""
    celsius, fahrenheit = row.get(f"{name}_c", ""), row.get(f"{name}_f", "")
    if celsius.strip():
        return _number(f"{name}_c", celsius)
    if fahrenheit.strip():
        return (_number(f"{name}_f", fahrenheit) - 32.0) / 1.8
    if name == "air":
        raise ForecastError("the air temperature is empty", do=_DO)
    return None


def _number(name: str, text: str) -> float:
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise ForecastError(f"{text!r} is not a number", where=name, do=_DO) from None


def minutes_of(text: str) -> float:
    """Return a time of day in minutes since midnight; a date before it is passed over.

    Raises
    ------
    ForecastError
        If it is not a time of day.

    Examples
    --------
    >>> minutes_of("2026-03-12T09:30:00Z")
    570.0
    """
    match = _CLOCK.search(text.strip())
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        raise ForecastError(f"{text!r} is not a time of day", where="time", do="Write HH:MM")
    return int(match[1]) * 60.0 + int(match[2])
