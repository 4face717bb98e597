"""Plots as plain records, and thin drawers that turn them into SVG.

Every value that is drawn is printed beside it. Ink is one dark blue and greys that keep their
order in a black-and-white print; an assumed value is an open ring, a measured one a filled dot.
Lengths in the drawings are millimetres on paper.
"""

import math
from collections.abc import Iterable
from html import escape

import msgspec

from leastcut.car.records import Interval
from leastcut.handover.glyphs import printable, short

INK = "#17324d"
PALE = "#b9c6d3"
LABEL_MM = 46.0
VALUE_MM = 40.0
ROW_MM = 6.2
PLOT_MM = 88.0
FACE = "Atkinson Hyperlegible, Noto Sans, Noto Sans Hebrew, Noto Sans Arabic, sans-serif"


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a plot: its name, its interval, the value in words; `true` where it is known."""

    label: str
    value: Interval
    words: str
    assumed: bool = False
    after: Interval | None = None
    limit: float | None = None
    true: float | None = None


class Plot(msgspec.Struct, frozen=True, kw_only=True):
    """Rows over one axis from zero; `reference` is a value drawn across all rows."""

    rows: tuple[Row, ...]
    axis: str
    top: float
    ticks: tuple[float, ...]
    reference: float | None = None
    reference_words: str = ""


def plot(
    rows: Iterable[Row], *, axis: str, reference: float | None = None, reference_words: str = ""
) -> Plot:
    """Gather rows into a plot with an axis that holds every bound.

    Examples
    --------
    >>> row = Row(label="Roof", value=Interval(mean=43, low=36, high=49), words="43")
    >>> plot([row], axis="µm", reference=35.6).ticks
    (0.0, 10.0, 20.0, 30.0, 40.0, 50.0)
    """
    made = tuple(rows)
    highest = max((_highest(row) for row in made), default=0.0)
    highest = max(highest, reference or 0.0)
    highest = highest if highest > 1e-6 else 1.0  # nothing to show still needs an axis
    step = _step(highest)
    count = math.ceil(highest / step - 1e-9)
    ticks = tuple(round(i * step, 9) for i in range(count + 1))
    return Plot(
        rows=made,
        axis=axis,
        top=ticks[-1],
        ticks=ticks,
        reference=reference,
        reference_words=reference_words,
    )


def _highest(row: Row) -> float:
    after = row.after.high if row.after else 0.0
    return max(row.value.high, after, row.limit or 0.0, row.true or 0.0)


def _step(highest: float, parts: int = 6) -> float:
    """Return a round tick distance (1, 2 or 5 times a power of ten) for about `parts` ticks."""
    rough = highest / parts
    power = 10.0 ** math.floor(math.log10(rough))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough * (1 - 1e-9))


def in_words(chart: Plot) -> str:
    """Return what the plot shows as a sentence, for those who cannot see it."""
    rows = "; ".join(f"{row.label} {row.words}" for row in chart.rows)
    reference = f" The line across is {chart.reference_words}." if chart.reference_words else ""
    return f"{chart.axis}: {rows}.{reference}"


def draw_intervals(chart: Plot, *, width_mm: float = 182.0) -> str:
    """Draw every row as a dot on the line between its bounds; a dark pair below is after work."""
    frame = _Frame(chart, width_mm)
    body = [
        *frame.grid(),
        *(part for i, row in enumerate(chart.rows) for part in _dot(frame, i, row)),
    ]
    return frame.svg([*body, *frame.reference()])


def draw_bars(chart: Plot, *, width_mm: float = 182.0) -> str:
    """Draw every row as a bar from zero with its bounds; a second bar is the value after."""
    frame = _Frame(chart, width_mm)
    body = [
        *frame.grid(),
        *(part for i, row in enumerate(chart.rows) for part in _bar(frame, i, row)),
    ]
    return frame.svg([*body, *frame.reference()])


class _Frame:
    """Places on paper for a plot's values."""

    def __init__(self, chart: Plot, width_mm: float) -> None:
        self.chart = chart
        self.width = width_mm
        self.head = 7.0 if chart.reference_words else 2.0
        self.row = min(ROW_MM, PLOT_MM / max(len(chart.rows), 1))
        self.bottom = self.head + self.row * len(chart.rows)

    def x(self, value: float) -> float:
        room = self.width - LABEL_MM - VALUE_MM
        return LABEL_MM + room * min(max(value / self.chart.top, 0.0), 1.0)

    def y(self, index: int) -> float:
        return self.head + self.row * (index + 0.5)

    def grid(self) -> list[str]:
        lines = [
            _line(self.x(t), self.head, self.x(t), self.bottom, PALE, 0.12)
            for t in self.chart.ticks
        ]
        numbers = [
            _text(self.x(t), self.bottom + 3.6, f"{t:g}", size=2.7, anchor="middle")
            for t in self.chart.ticks
        ]
        return [
            *lines,
            *numbers,
            _text(LABEL_MM - 3, self.bottom + 3.6, self.chart.axis, size=2.7, anchor="end"),
        ]

    def reference(self) -> list[str]:
        if self.chart.reference is None:
            return []
        x = self.x(self.chart.reference)
        line = _line(x, self.head - 1.5, x, self.bottom, "#000", 0.45)
        return [
            line,
            _text(x, self.head - 2.6, self.chart.reference_words, size=2.9, anchor="middle"),
        ]

    def row_words(self, index: int, row: Row) -> list[str]:
        y = self.y(index) + 1.1
        name = _text(LABEL_MM - 3, y, short(row.label, 26), size=3.2, anchor="end")
        return [name, _text(self.width, y, row.words, size=3.1, anchor="end")]

    def svg(self, parts: Iterable[str]) -> str:
        height = self.bottom + 5.5
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width:g}mm" '
            f'height="{height:g}mm" viewBox="0 0 {self.width:g} {height:g}" '
            f'role="img" aria-label="{escape(in_words(self.chart), quote=True)}">'
        )
        return f"{head}{''.join(parts)}</svg>\n"


def _dot(frame: _Frame, index: int, row: Row) -> list[str]:
    y = frame.y(index)
    true = [] if row.true is None else _cross(frame.x(row.true), y)
    if row.after is None:
        marks = _mark(frame, y, row.value, INK, hollow=row.assumed)
    else:
        marks = [
            *_mark(frame, y - 1.2, row.value, PALE, hollow=row.assumed),
            *_mark(frame, y + 1.2, row.after, INK, hollow=False),
        ]
    return [*marks, *true, *frame.row_words(index, row)]


def _mark(frame: _Frame, y: float, value: Interval, ink: str, *, hollow: bool) -> list[str]:
    fill = "#fff" if hollow else ink
    dot = (
        f'<circle cx="{frame.x(value.mean):.2f}" cy="{y:.2f}" r="1.35" fill="{fill}" '
        f'stroke="{ink}" stroke-width="0.5"/>'
    )
    return [_line(frame.x(value.low), y, frame.x(value.high), y, ink, 0.7, dashed=hollow), dot]


def _cross(x: float, y: float) -> list[str]:
    return [
        _line(x - 1.6, y - 1.6 * sign, x + 1.6, y + 1.6 * sign, "#000", 0.6) for sign in (-1, 1)
    ]


def _bar(frame: _Frame, index: int, row: Row) -> list[str]:
    y = frame.y(index)
    pair = row.after is not None
    top, height = (y - 2.2, 2.0) if pair else (y - 1.7, 3.4)
    parts = [*_one_bar(frame, top, height, row.value, PALE, dashed=row.assumed)]
    if row.after is not None:
        parts += _one_bar(frame, y + 0.2, 2.0, row.after, INK, dashed=False)
    if row.limit is not None:
        parts.append(_line(frame.x(row.limit), y - 2.6, frame.x(row.limit), y + 2.6, "#000", 0.7))
    return [*parts, *frame.row_words(index, row)]


def _one_bar(
    frame: _Frame, top: float, height: float, value: Interval, ink: str, *, dashed: bool
) -> list[str]:
    x0, x1, middle = frame.x(0.0), frame.x(value.mean), top + height / 2
    outline = f' stroke="{INK}" stroke-width="0.25" stroke-dasharray="0.8 0.8"' if dashed else ""
    bar = f'<rect x="{x0:.2f}" y="{top:.2f}" width="{x1 - x0:.2f}" height="{height:g}" fill="{"#fff" if dashed else ink}"{outline}/>'
    return [bar, _line(frame.x(value.low), middle, frame.x(value.high), middle, "#555", 0.35)]


def _line(
    x0: float, y0: float, x1: float, y1: float, ink: str, width: float, *, dashed: bool = False
) -> str:
    dash = ' stroke-dasharray="1.4 1"' if dashed else ""
    return (
        f'<line x1="{x0:.2f}" y1="{y0:.2f}" x2="{x1:.2f}" y2="{y1:.2f}" '
        f'stroke="{ink}" stroke-width="{width:g}"{dash}/>'
    )


def _text(x: float, y: float, words: str, *, size: float, anchor: str) -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-family="{FACE}" font-size="{size:g}" '
        f'text-anchor="{anchor}" fill="#000">{escape(printable(words))}</text>'
    )
