"""Pictures of the plan: the day as a strip, the frontier, and what the price is made of.

Each picture is a plain record of what is drawn, plus a thin drawer that writes SVG. Lengths are
pixels. Colours are an even ramp of blue to yellow that stays ordered without colour sight, and the
value is always printed too.
"""

import itertools
from collections.abc import Sequence
from decimal import Decimal
from xml.sax.saxutils import escape

import msgspec

from leastcut.plan.records import FrontierPoint, Operation, Plan, Price

RAMP = ("#00204d", "#31446b", "#666870", "#958f78", "#cab969", "#ffea46")
INK, PAPER = "#1a1a1a", "#ffffff"
BEFORE = ("car", "inspect", "testspot")
STAGES = ("car", "inspect", "testspot", "work", "protect", "handover")
WIDTH = 860
ROW = 26
LABEL = 240


class Bar(msgspec.Struct, frozen=True, kw_only=True):
    """One operation in the strip of the day [min]."""

    stage: str
    name: str
    start: float
    minutes: float
    low: float
    high: float
    attended: bool


class Share(msgspec.Struct, frozen=True, kw_only=True):
    """One part of the price; ``fraction`` is of the total with tax."""

    what: str
    amount: Decimal
    fraction: float


def day_bars(plan: Plan) -> tuple[Bar, ...]:
    """Return the day's operations one after the other, the sets among them.

    Operations follow each other by their means. What goes on between the sets (wiping, pads,
    breaks) is drawn in one piece after them.
    """
    first = [_bar(o) for o in plan.operations if o.stage in BEFORE or o.name == "tape"]
    rest = [_bar(o) for o in plan.operations if o.stage not in BEFORE and o.name != "tape"]
    rows = [*first, *_sets(plan), *rest]
    starts = itertools.accumulate((row.minutes for row in rows), initial=0.0)
    return tuple(
        msgspec.structs.replace(row, start=start) for row, start in zip(rows, starts, strict=False)
    )


def _bar(operation: Operation) -> Bar:
    minutes = operation.minutes
    return Bar(
        stage=operation.stage,
        name=operation.name,
        start=0.0,
        minutes=minutes.mean,
        low=minutes.low,
        high=minutes.high,
        attended=operation.attended,
    )


def _sets(plan: Plan) -> list[Bar]:
    minutes = plan.section_minutes
    if minutes <= 0:
        return []
    return [
        Bar(
            stage="work",
            name="sets on the paint",
            start=0.0,
            minutes=minutes,
            low=minutes,
            high=minutes,
            attended=True,
        )
    ]


def price_shares(price: Price) -> tuple[Share, ...]:
    """Return what the total is made of, tax last; the amounts add up to the total."""
    parts = [*((line.what, line.amount) for line in price.lines), ("Tax", price.tax)]
    whole = price.total or Decimal(1)
    return tuple(
        Share(what=what, amount=amount, fraction=float(amount / whole))
        for what, amount in parts
        if amount
    )


def draw_day(bars: Sequence[Bar]) -> str:
    """Draw the day as a strip, one row per operation, as SVG."""
    end = max((bar.start + max(bar.minutes, bar.high) for bar in bars), default=1.0)
    scale = (WIDTH - LABEL - 80) / end
    height = ROW * (len(bars) + 2)
    parts = []
    for i, bar in enumerate(bars):
        y = ROW * (i + 1)
        x = LABEL + bar.start * scale
        look = "" if bar.attended else ' fill-opacity="0.45"'
        parts += [
            _text(LABEL - 8, y + 15, bar.name, anchor="end"),
            _rect(x, y, bar.minutes * scale, f'fill="{_stage_colour(bar.stage)}"{look}'),
            _whisker(
                LABEL + (bar.start + bar.low) * scale, LABEL + (bar.start + bar.high) * scale, y
            ),
            _text(
                LABEL + (bar.start + max(bar.minutes, bar.high)) * scale + 6,
                y + 15,
                f"{bar.minutes:.0f} min",
            ),
        ]
    title = f"The day: {_hours(bars)} on the mean; thin lines hold 95 %"
    return _svg(height, title, [_text(8, 17, title, weight="bold"), *parts])


def _hours(bars: Sequence[Bar]) -> str:
    hours, minutes = divmod(round(sum(bar.minutes for bar in bars)), 60)
    return f"{hours} h {minutes:02d} min"


def _rect(x: float, y: float, width: float, look: str) -> str:
    size = f'width="{max(1.0, width):.1f}" height="{ROW - 10}"'
    return f'<rect x="{x:.1f}" y="{y + 4}" {size} {look}/>'


def _whisker(x0: float, x1: float, y: float) -> str:
    mid = y + ROW / 2 - 1
    return (
        f'<line x1="{x0:.1f}" y1="{mid}" x2="{x1:.1f}" y2="{mid}" stroke="{INK}" stroke-width="1"/>'
    )


def _stage_colour(stage: str) -> str:
    return RAMP[STAGES.index(stage)] if stage in STAGES else RAMP[2]


def draw_frontier(points: Sequence[FrontierPoint]) -> str:
    """Draw minutes against clear coat, the share of scratches gone beside each point, as SVG."""
    title = "Hours on the sections against clear coat; beside each point the scratches gone"
    height = 420
    if not points:
        return _svg(height, title, [_text(8, 17, "No section needs anything", weight="bold")])
    hours = [point.work_minutes / 60 for point in points]
    cuts = [point.cut_um for point in points]
    gone = [point.removed_percent for point in points]
    top_h, top_c = 1.08 * max(*hours, 0.1), 1.15 * max(*cuts, 0.1)
    parts = [_text(8, 17, title, weight="bold"), *_axes(height, top_h, top_c)]
    for hour, cut, share in zip(hours, cuts, gone, strict=True):
        x = 70 + hour / top_h * (WIDTH - 110)
        y = height - 50 - cut / top_c * (height - 110)
        parts += [
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6" fill="{_ramp(share, gone)}" stroke="{INK}"/>',
            _text(x + 9, y + 4, f"{share:.0f} %"),
        ]
    return _svg(height, title, parts)


def _ramp(value: float, values: Sequence[float]) -> str:
    low, high = min(values), max(values)
    place = (value - low) / (high - low) if high > low else 0.5
    return RAMP[min(int(place * len(RAMP)), len(RAMP) - 1)]


def _axes(height: int, top_h: float, top_c: float) -> list[str]:
    bottom, right = height - 50, WIDTH - 40
    parts = [
        f'<path d="M70 60 V{bottom} H{right}" fill="none" stroke="{INK}"/>',
        _text(right, height - 12, "hours on the sections", anchor="end"),
        _text(8, 42, "clear coat cut on the mean, µm"),
    ]
    for k in range(5):
        x = 70 + k / 4 * (WIDTH - 110)
        y = bottom - k / 4 * (height - 110)
        parts += [
            _text(x, bottom + 18, f"{top_h * k / 4:.1f}", anchor="middle"),
            _text(64, y + 4, f"{top_c * k / 4:.1f}", anchor="end"),
        ]
    return parts


def draw_price(shares: Sequence[Share], *, currency: str) -> str:
    """Draw what the price is made of, one bar per part, as SVG."""
    total = sum((share.amount for share in shares), Decimal(0))
    title = f"What the price is made of: {total} {currency}"
    most = max((abs(share.fraction) for share in shares), default=1.0)
    scale = (WIDTH - LABEL - 190) / most
    parts = [_text(8, 17, title, weight="bold")]
    for i, share in enumerate(shares):
        y = ROW * (i + 1)
        width = max(1.0, abs(share.fraction) * scale)
        look = f'fill="{RAMP[1]}"' if share.amount >= 0 else f'fill="none" stroke="{RAMP[1]}"'
        parts += [
            _text(LABEL - 8, y + 15, _short(share.what), anchor="end"),
            _rect(LABEL, y, width, look),
            _text(LABEL + width + 6, y + 15, f"{share.amount} ({share.fraction:.0%})"),
        ]
    return _svg(ROW * (len(shares) + 2), title, parts)


def _short(words: str, most: int = 34) -> str:
    return words if len(words) <= most else words[: most - 1] + "…"


def _text(x: float, y: float, words: str, *, anchor: str = "start", weight: str = "normal") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-weight="{weight}" '
        f'fill="{INK}">{escape(words)}</text>'
    )


def _svg(height: float, title: str, parts: Sequence[str]) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height:.0f}" '
        f'width="{WIDTH}" height="{height:.0f}" role="img" aria-label="{escape(title)}" '
        f'font-family="sans-serif" font-size="13">'
    )
    paper = f'<rect width="{WIDTH}" height="{height:.0f}" fill="{PAPER}"/>'
    return "\n".join([head, f"<title>{escape(title)}</title>", paper, *parts, "</svg>"])
