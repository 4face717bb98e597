"""The humidity window through the day: when the last layer may go on, and how long it stays so."""

import itertools
import math
from bisect import bisect_right
from collections.abc import Sequence

from leastcut.errors import InputError
from leastcut.protect.records import DayWindow, Limits, Span, Weather, Window
from leastcut.protect.window import MAGNUS_A, MAGNUS_B_C, dew_point_c, window
from leastcut.safety.check import within

STEP_MIN = 10.0


class DayError(InputError):
    """A day that cannot be judged: no weather, or weather out of order."""


def day_window(
    weather: Sequence[Weather],
    *,
    limits: Limits | None = None,
    needs_min: float = 60.0,
    step_min: float = STEP_MIN,
) -> DayWindow:
    """Return when in the day the last layer may go on.

    Parameters
    ----------
    weather : sequence of Weather
        In order of time; between two rows temperature and dew point run straight.
    limits : Limits or None
        From the product's data sheet; None takes the general ones.
    needs_min : float
        Application and flash: how long it must stay allowed from the beginning [min].
    step_min : float
        How finely the day is looked at [min].

    Returns
    -------
    DayWindow
        Verdicts through the day, open spans, and when to begin; spans are empty when there is none.

    Raises
    ------
    DayError
        If there is no weather or two rows have the same or a falling time.
    ExposureError
        If a quantity is out of range.

    Examples
    --------
    >>> rows = [Weather(at_min=m, air_c=18.0, rh_percent=h) for m, h in ((480, 95), (720, 60))]
    >>> day = day_window(rows, needs_min=30.0)
    >>> day.open_spans[0].from_min, day.open_spans[0].until_min
    (560.0, 720.0)
    """
    _check(weather, needs_min, step_min)
    first, last = weather[0].at_min, weather[-1].at_min
    count = math.floor((last - first) / step_min + 1e-9)
    times = [first + step_min * number for number in range(count + 1)]
    if last - times[-1] > 1e-9:
        times.append(last)
    windows = [_at(weather, time, limits) for time in times]
    spans = _spans(times, [found.ok for found in windows])
    starts = tuple(
        Span(from_min=span.from_min, until_min=span.until_min - needs_min)
        for span in spans
        if span.until_min - span.from_min >= needs_min - 1e-9
    )
    return DayWindow(
        times_min=tuple(times),
        windows=tuple(windows),
        open_spans=spans,
        start_spans=starts,
        needs_min=needs_min,
        surface_assumed=any(row.surface_c is None for row in weather),
        why=_why(starts, spans, windows, needs_min),
    )


def time_of_day(minutes: float) -> str:
    """Return minutes since midnight as a time of day, later days counted.

    Examples
    --------
    >>> time_of_day(545.0), time_of_day(1500.0)
    ('09:05', '01:00 (+1 d)')
    """
    whole = round(minutes)
    days, rest = divmod(whole, 1440)
    return f"{rest // 60:02d}:{rest % 60:02d}" + (f" (+{days} d)" if days else "")


def _check(weather: Sequence[Weather], needs_min: float, step_min: float) -> None:
    within("needs", needs_min, 0.0, 2880.0, unit="min")
    within("step", step_min, 1.0, 240.0, unit="min")
    if not weather:
        raise DayError("no weather", do="Give at least one row of air temperature and humidity")
    for before, after in itertools.pairwise(weather):
        if not before.at_min < after.at_min:
            raise DayError(
                f"{time_of_day(after.at_min)} does not come after {time_of_day(before.at_min)}",
                do="Sort the rows by time, one for each",
            )


def _at(weather: Sequence[Weather], time: float, limits: Limits | None) -> Window:
    """Return the verdict at one time, dew point and temperatures straight between the rows."""
    place = min(max(1, bisect_right([row.at_min for row in weather], time)), len(weather) - 1)
    if len(weather) == 1:
        return _judge(weather[0], limits)
    a, b = weather[place - 1], weather[place]
    share = (time - a.at_min) / (b.at_min - a.at_min)
    air = a.air_c + share * (b.air_c - a.air_c)
    dews = dew_point_c(a.air_c, a.rh_percent), dew_point_c(b.air_c, b.rh_percent)
    surfaces = _surface(a), _surface(b)
    row = Weather(
        at_min=time,
        air_c=air,
        rh_percent=_humidity(air, dews[0] + share * (dews[1] - dews[0])),
        surface_c=surfaces[0] + share * (surfaces[1] - surfaces[0]),
    )
    return _judge(row, limits)


def _judge(row: Weather, limits: Limits | None) -> Window:
    return window(row.air_c, row.rh_percent, _surface(row), limits=limits)


def _surface(row: Weather) -> float:
    return row.air_c if row.surface_c is None else row.surface_c


def _humidity(air_c: float, dew_c: float) -> float:
    """Return the relative humidity of air with this dew point [%] (Alduchov & Eskridge 1996)."""
    exponent = MAGNUS_A * (dew_c / (MAGNUS_B_C + dew_c) - air_c / (MAGNUS_B_C + air_c))
    return min(100.0, 100.0 * math.exp(exponent))


def _spans(times: Sequence[float], ok: Sequence[bool]) -> tuple[Span, ...]:
    """Return the runs of times that are all right, from the first to the last of each run."""
    spans: list[Span] = []
    begun: float | None = None
    for number, fine in enumerate(ok):
        if fine and begun is None:
            begun = times[number]
        if begun is not None and (not fine or number == len(ok) - 1):
            end = times[number] if fine else times[number - 1]
            spans.append(Span(from_min=begun, until_min=end))
            begun = None
    return tuple(spans)


def _why(
    starts: Sequence[Span], spans: Sequence[Span], windows: Sequence[Window], needs_min: float
) -> str:
    if starts:
        when = ", ".join(
            f"{time_of_day(span.from_min)} to {time_of_day(span.until_min)}" for span in starts
        )
        return f"begin from {when}: it then stays allowed for {needs_min:g} min"
    if spans:
        return f"allowed at times, but never for {needs_min:g} min on end"
    return f"not allowed at any time: {windows[0].why}"
