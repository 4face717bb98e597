"""Who works when: rests, a second person or a second day, so that nobody passes a day's vibration.

The daily values of Directive 2002/44/EC are doses: a rest eases the hand but takes no points away,
so work beyond them must go to another person or another day. Rests are put in all the same: short
stretches with pauses keep the blood in the fingers (common practice, no source for their length).
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from leastcut.safety.check import within
from leastcut.safety.records import SharePlan, Stretch, Then, ToolUse
from leastcut.safety.vibration import ACTION_M_S2, LIMIT_M_S2, exposure, points, upper

Ceiling = Literal["action", "limit"]
# source: HSE exposure points ready-reckoner; status: seen
CEILING_POINTS: dict[Ceiling, float] = {"action": 100.0, "limit": 400.0}
# source: common practice, no source
STRETCH_MINUTES, REST_MINUTES, DAY_MINUTES = 30.0, 10.0, 480.0
SOURCE = "Directive 2002/44/EC Art. 3 and 5; HSE exposure points; rests: common practice, no source"


def breaks(
    uses: Sequence[ToolUse],
    *,
    ceiling: Ceiling = "limit",
    persons: int = 1,
    stretch_minutes: float = STRETCH_MINUTES,
    rest_minutes: float = REST_MINUTES,
    day_minutes: float = DAY_MINUTES,
) -> SharePlan:
    """Share the polishing of one car among people and days, with rests.

    Parameters
    ----------
    uses : sequence of ToolUse
        All of the car's polishing in the order of work: magnitude [m/s²], minutes, K [m/s²] (40 %
        assumed where missing). The total may be longer than a day.
    ceiling : {"limit", "action"}
        What nobody shall pass in a day, K included: 5 m/s² A(8), or 2.5 m/s² A(8).
    persons : int
        People who can polish on the same day.
    stretch_minutes, rest_minutes : float
        Longest time on the machine without a rest, and the rest [min].
    day_minutes : float
        Longest working day of one person, rests included [min].

    Returns
    -------
    SharePlan
        The stretches in order, what they add up to, why and what to do. Without any work: no
        stretch, one person-day.

    Raises
    ------
    ExposureError
        If a magnitude, a time or a number of people cannot be true.

    Examples
    --------
    >>> car = breaks([ToolUse(magnitude_m_s2=6.0, minutes=540.0)])
    >>> car.share_needed, car.person_days
    (True, 4)
    """
    _check(uses, persons, stretch_minutes, rest_minutes, day_minutes)
    whole = math.fsum(_points(use, use.minutes) for use in uses)
    top = CEILING_POINTS[ceiling]
    day = _Day(stretch_minutes, rest_minutes, day_minutes)
    shares = _shares(uses, top, day)
    stretches = tuple(_numbered(shares, persons, day))
    largest = max((math.fsum(_points(u, u.minutes) for u in share) for share in shares), default=0)
    needed = len(shares) > 1
    days = math.ceil(len(shares) / persons)
    return SharePlan(
        points=math.fsum(2.0 * u.magnitude_m_s2**2 * u.minutes / 60.0 for u in uses),
        points_high=whole,
        ceiling_points=top,
        person_days=len(shares),
        days=days,
        persons=min(persons, len(shares)),
        points_per_share=largest,
        rest_minutes=rest_minutes * sum(s.then == "rest" for s in stretches),
        share_needed=needed,
        above_action=largest >= CEILING_POINTS["action"] - 1e-9,
        stretches=stretches,
        why=_why(uses, whole, top, day),
        do=_do(len(shares), days, min(persons, len(shares)), day, largest),
        source=SOURCE,
    )


def minutes_left(
    used_points: float, magnitude_m_s2: float, *, k_m_s2: float | None = None, ceiling: Ceiling
) -> float:
    """Return how long a person may go on today with this tool, K included [min].

    For the work screen: give the points used so far today, with K.

    Raises
    ------
    ExposureError
        If a quantity is out of range.

    Examples
    --------
    >>> round(minutes_left(150.0, 5.0, k_m_s2=0.0, ceiling="limit"))
    300
    """
    within("points used", used_points, 0.0, 1e6, unit="points")
    use = ToolUse(magnitude_m_s2=magnitude_m_s2, minutes=60.0, k_m_s2=k_m_s2)
    per_hour = exposure([use]).points_high
    return max(0.0, CEILING_POINTS[ceiling] - used_points) / per_hour * 60.0


@dataclass(frozen=True)
class _Day:
    """Lengths of a stretch, a rest and the whole day [min]."""

    stretch: float
    rest: float
    whole: float

    def on_machine(self) -> float:
        """Return the most minutes on the machine that fit a day with its rests."""
        full = math.floor((self.whole + self.rest) / (self.stretch + self.rest))
        left = self.whole - full * (self.stretch + self.rest)
        return full * self.stretch + max(0.0, left)


def _check(
    uses: Sequence[ToolUse], persons: int, stretch: float, rest: float, day_minutes: float
) -> None:
    for use in uses:
        within("minutes", use.minutes, 0.0, 6000.0, unit="min", why="no car is polished longer")
        points(use.magnitude_m_s2, 0.0)
        exposure([ToolUse(magnitude_m_s2=1.0, minutes=0.0, k_m_s2=use.k_m_s2)])
    within("persons", float(persons), 1.0, 50.0, unit="people")
    within("stretch", stretch, 1.0, 480.0, unit="min")
    within("rest", rest, 0.0, 240.0, unit="min")
    within("day", day_minutes, stretch, 960.0, unit="min", why="people sleep")


def _points(use: ToolUse, minutes: float) -> float:
    return 2.0 * upper(use) ** 2 * minutes / 60.0


def _shares(uses: Sequence[ToolUse], top: float, day: _Day) -> list[list[ToolUse]]:
    """Cut the work, in its order, into the fewest shares that keep points and hours, evenly.

    Filling each share up to both caps takes the fewest; the caps are then lowered together as far
    as they go without one more share.
    """
    shares = _filled(uses, top, day.on_machine())
    low, high = 0.0, 1.0
    for _ in range(30):
        middle = 0.5 * (low + high)
        tried = _filled(uses, middle * top, middle * day.on_machine(), most=len(shares))
        if tried:
            shares, high = tried, middle
        else:
            low = middle
    return shares


def _filled(
    uses: Sequence[ToolUse], points_cap: float, minutes_cap: float, *, most: int = 10_000
) -> list[list[ToolUse]]:
    """Fill share after share up to the caps; nothing when that takes more than `most`."""
    shares: list[list[ToolUse]] = [[]]
    room_points, room_min = points_cap, minutes_cap
    for use in uses:
        left = use.minutes
        while left > _TINY:
            taken = min(left, room_points / _points(use, 1.0), room_min)
            if taken > _TINY:
                shares[-1].append(_part(use, taken))
                left -= taken
                room_points -= _points(use, taken)
                room_min -= taken
            elif len(shares) == most:
                return []
            else:
                shares.append([])
                room_points, room_min = points_cap, minutes_cap
    return shares


_TINY = 1e-9  # minutes that are rounding, not work


def _part(use: ToolUse, minutes: float) -> ToolUse:
    return ToolUse(
        magnitude_m_s2=use.magnitude_m_s2, minutes=minutes, k_m_s2=use.k_m_s2, name=use.name
    )


def _numbered(shares: Sequence[Sequence[ToolUse]], persons: int, day: _Day) -> Iterator[Stretch]:
    """Give each share its day and person and break it into stretches."""
    for number, share in enumerate(shares):
        pieces = [piece for use in share for piece in _pieces(use, day.stretch)]
        today, person = number // persons + 1, number % persons + 1
        for place, piece in enumerate(pieces):
            last_piece, last_share = place == len(pieces) - 1, number == len(shares) - 1
            then: Then = "rest"
            if last_piece:
                next_today = person < persons
                then = "done" if last_share else "hand over" if next_today else "stop for the day"
            yield Stretch(
                day=today,
                person=person,
                tool=piece.name,
                minutes=piece.minutes,
                points=_points(piece, piece.minutes),
                then=then,
            )


def _pieces(use: ToolUse, stretch: float) -> list[ToolUse]:
    """Cut one use into equal stretches no longer than allowed."""
    count = max(1, math.ceil(use.minutes / stretch - 1e-9))
    return [_part(use, use.minutes / count)] * count


def _why(uses: Sequence[ToolUse], whole: float, top: float, day: _Day) -> str:
    minutes = math.fsum(use.minutes for use in uses)
    strongest = max(uses, key=upper, default=None)
    if strongest is None:
        return "there is no work on a machine"
    assumed = ", K assumed as 40 %" if strongest.k_m_s2 is None else ""
    compared = "more than" if whole > top * (1.0 + 1e-12) else "within"
    level = LIMIT_M_S2 if top > CEILING_POINTS["action"] else ACTION_M_S2
    hours = ""
    if minutes > day.on_machine():
        hours = f", and with rests it does not fit a day of {day.whole / 60.0:g} h"
    return (
        f"{minutes:.0f} min at up to {strongest.magnitude_m_s2:g} m/s² "
        f"({upper(strongest):.1f} with its uncertainty{assumed}) are {whole:.0f} points, {compared} "
        f"the {top:.0f} points ({level:g} m/s² A(8)) of one person's day{hours}"
    )


def _do(shares: int, days: int, persons: int, day: _Day, largest: float) -> str:
    rests = f"rest {day.rest:.0f} min after every {day.stretch:.0f} min on the machine"
    duty = ""
    if largest >= CEILING_POINTS["action"] - 1e-9:
        duty = (
            f"; each day's {largest:.0f} points reach the action value, so keep hands warm, look "
            "for a machine that shakes less, and ask a doctor about health surveillance"
        )
    if shares == 1:
        return f"One person can do it in a day; {rests}{duty}"
    who = f"{persons} people" if persons > 1 else "one person"
    when = f"{days} days" if days > 1 else "one day"
    return f"Share it in {shares} parts, {who} over {when}; {rests}{duty}"
