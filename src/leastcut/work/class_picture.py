"""The picture of a class: for each learner how far off the arm's speed was, and what was missed."""

import math
from collections.abc import Sequence
from itertools import pairwise

from leastcut.car import _svg as svg
from leastcut.car.ramp import INK
from leastcut.car.records import Point
from leastcut.work.records import Progress

WIDTH = 200.0  # mm on paper
ROW = 36.0
TOP = 24.0
LEFT, CHART = 12.0, 92.0
HIGH = 20.0
LEAST_SCALE = 0.2
MISSED = "#9a3412"
STEADY = 0.02  # change per week that counts as none


def state(one: Progress) -> str:
    """Say where a learner stands.

    Examples
    --------
    >>> from leastcut.work.records import Progress
    >>> state(Progress(learner="kim", weeks=(1, 2), speed_error=(0.5, 0.2), coverage=(0.9, 0.97),
    ...                per_week=-0.3, refused_takes=0, next=""))
    'arm speed 20% off, 30% nearer each week; 3% missed'
    """
    if not one.weeks:
        return f"no take could be judged ({one.refused_takes} refused)"
    said = f"arm speed {one.speed_error[-1]:.0%} off{_change(one.per_week)}"
    said += f"; {1 - one.coverage[-1]:.0%} missed"
    return f"{said} ({one.refused_takes} takes refused)" if one.refused_takes else said


def _change(per_week: float | None) -> str:
    if per_week is None:
        return ""
    if abs(per_week) < STEADY:
        return ", steady"
    return f", {abs(per_week):.0%} {'nearer' if per_week < 0 else 'further off'} each week"


def draw(found: Sequence[Progress]) -> str:
    """Return the picture as SVG: a row for each learner, all on one scale."""
    weeks = [w for one in found for w in one.weeks] or [1]
    shares = [v for one in found for v in (*one.speed_error, *(1 - c for c in one.coverage))]
    top = math.ceil(10 * max([LEAST_SCALE, *shares])) / 10
    body = _key()
    for k, one in enumerate(found):
        body += _row(one, TOP + ROW * k, (min(weeks), max(weeks)), top)
    said = " ".join(f"{one.learner}: {state(one)}." for one in found)
    size = (WIDTH, TOP + ROW * len(found) + 4)
    return svg.document(
        size, body, title="The class, week by week", description=said, ident="class"
    )


def _key() -> list[str]:
    return [
        svg.text((LEFT, 8), "The class, week by week", size=5.5, anchor="start", bold=True),
        svg.line((LEFT, 15), (LEFT + 9, 15), width=0.9),
        svg.text((LEFT + 11, 16.4), "arm speed off what was asked", size=4, anchor="start"),
        _dashed([(LEFT + 78, 15), (LEFT + 87, 15)]),
        svg.text((LEFT + 89, 16.4), "share of the section missed", size=4, anchor="start"),
    ]


def _row(one: Progress, y: float, weeks: tuple[int, int], top: float) -> list[str]:
    first, last = weeks
    floor = y + 7 + HIGH

    def put(week: float, share: float) -> Point:
        across = (week - first) / max(last - first, 1)
        return LEFT + 10 + (CHART - 10) * across, floor - HIGH * share / top

    drawn = [svg.text((LEFT, y + 3.5), one.learner, size=4.6, anchor="start", bold=True)]
    drawn += _axes(put, weeks, top)
    speed = [put(w, v) for w, v in zip(one.weeks, one.speed_error, strict=True)]
    missed = [put(w, 1 - c) for w, c in zip(one.weeks, one.coverage, strict=True)]
    if len(speed) > 1:
        drawn.append(_dashed(missed))
        drawn += [svg.line(a, b, width=0.9) for a, b in pairwise(speed)]
    drawn += [svg.tag("circle", cx=x, cy=v, r=1.1, fill=MISSED) for x, v in missed]
    drawn += [svg.tag("circle", cx=x, cy=v, r=1.3, fill=INK) for x, v in speed]
    return [*drawn, *_words(one, y)]


def _axes(put: object, weeks: tuple[int, int], top: float) -> list[str]:
    assert callable(put)
    drawn = []
    for share in (0.0, top):
        a, b = put(weeks[0], share), put(weeks[1], share)
        drawn.append(svg.line((LEFT + 10, a[1]), (LEFT + CHART, b[1]), stroke="#c3c8d1"))
        drawn.append(svg.text((LEFT + 8, a[1] + 1.3), f"{share:.0%}", size=3.6, anchor="end"))
    for week in sorted(set(weeks)):
        x, floor = put(week, 0.0)
        drawn.append(svg.text((x, floor + 5.4), f"week {week}", size=3.6))
    return drawn


def _dashed(points: Sequence[Point]) -> str:
    path = svg.shape_path([points], closed=False)
    return svg.tag("path", d=path, stroke=MISSED, stroke_width=0.7, stroke_dasharray="2 1.2")


def _words(one: Progress, y: float) -> list[str]:
    """Say beside the chart where the learner stands and what to drill next."""
    rows: list[str] = []
    for sentence in (f"{state(one)}.", one.next):
        row = ""
        for word in sentence.split():
            if row and len(row) + len(word) > 40:
                rows.append(row)
                row = ""
            row = f"{row} {word}".strip()
        rows.append(row)
    at = LEFT + CHART + 8
    return [
        svg.text((at, y + 6 + 4.6 * k), row, size=3.8, anchor="start")
        for k, row in enumerate(rows[:7])
    ]
