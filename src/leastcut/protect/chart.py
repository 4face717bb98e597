"""The window chart of the day: surface, air and dew point, and when the last layer may go on."""

import math

from leastcut.protect.day import time_of_day
from leastcut.protect.records import DayWindow
from leastcut.safety import svg


def draw_day(day: DayWindow) -> str:
    """Return a day's windows as SVG: margin above the dew point, open spans shaded and named."""
    margins = [window.margin_c for window in day.windows]
    low = min(0.0, math.floor(min(margins)))
    high = max(5.0, math.ceil(max(margins)) + 1.0)
    first, last = day.times_min[0], max(day.times_min[-1], day.times_min[0] + 1.0)
    frame = svg.Frame(
        left=52, right=620, top=40, bottom=220, x_low=first, x_high=last, y_low=low, y_high=high
    )
    body = [svg.text(20, 24, "Surface above the dew point, °C", size=16)]
    for span in day.open_spans:
        left, right = frame.x(span.from_min), frame.x(span.until_min)
        body.append(svg.box(left, frame.top, right - left, 180, fill=svg.PALE))
        body.append(svg.text((left + right) / 2, 54, "open", anchor="middle", fill=svg.BLUE))
    body.append(svg.line([(frame.left, frame.top), (frame.left, 220), (620, 220)]))
    if low < 0.0:
        body.append(
            svg.line([(frame.left, frame.y(0)), (620, frame.y(0))], stroke=svg.QUIET, width=1)
        )
    body.append(
        svg.line([(frame.left, frame.y(3)), (620, frame.y(3))], stroke=svg.ORANGE, dash="7 4")
    )
    places = [(frame.x(t), frame.y(m)) for t, m in zip(day.times_min, margins, strict=True)]
    body.append(svg.line(places, stroke=svg.BLUE, width=2.5))
    body.append(svg.text(616, frame.y(3) - 5, "3 °C, usual least margin", anchor="end", size=12))
    body += [
        svg.text(frame.left - 6, frame.y(v) + 4, f"{v:g}", anchor="end")
        for v in range(int(low), int(high) + 1, max(1, round((high - low) / 6)))
    ]
    body += [
        svg.text(frame.x(t), 238, time_of_day(t), anchor="middle", size=12)
        for t in _hours(first, last)
    ]
    note = "surface taken as warm as the air; " if day.surface_assumed else ""
    body.append(svg.text(20, 262, note + day.why, fill=svg.QUIET, size=12))
    return svg.document(640, 276, body, title="Window of the day", description=day.why)


def _hours(first: float, last: float) -> list[float]:
    """Return full hours between two times, eight at most."""
    step = 60.0 * max(1, math.ceil((last - first) / 60.0 / 8.0))
    at = math.ceil(first / 60.0) * 60.0
    found = []
    while at <= last:
        found.append(at)
        at += step
    return found
