"""Pictures of the film: plain records, and thin drawers that turn them into SVG.

Lengths in the drawings are paper millimetres. Every value that is drawn is printed too.
"""

from collections.abc import Sequence

import msgspec
import numpy as np

from leastcut.car._svg import QUIET, document, line, num, tag, text
from leastcut.car.ramp import CHALK, INK, PAPER
from leastcut.car.records import Interval
from leastcut.car.units import UnitSystem, convert, show, symbol
from leastcut.inspect.film import budget_um
from leastcut.inspect.records import FilmFinding
from leastcut.inspect.study import Study

_WORDS = {"factory": "", "unmeasured": "assumed", "unreadable": "assumed"}
_SPENT = CHALK.colour(0.85)
_KEPT = CHALK.colour(0.35)
_GONE = "#c3c8d1"


class IntervalRow(msgspec.Struct, frozen=True, kw_only=True):
    """One panel: clear coat with 95 % bounds, the bound that the budget uses, the budget [µm]."""

    name: str
    clear_um: Interval
    low_um: float
    budget_um: float
    assumed: bool
    word: str


class IntervalPlot(msgspec.Struct, frozen=True, kw_only=True):
    """Clear coat of all panels over one axis, with the reserve as a line [µm]."""

    rows: tuple[IntervalRow, ...]
    reserve_um: float
    top_um: float


def interval_plot(findings: Sequence[FilmFinding], *, names: Sequence[str] = ()) -> IntervalPlot:
    """Gather findings into a plot; `names` are shown instead of the panels' ids.

    Examples
    --------
    >>> interval_plot([]).rows
    ()
    """
    shown = names or [f.panel for f in findings]
    rows = tuple(
        IntervalRow(
            name=name,
            clear_um=f.clear_um,
            low_um=max(0.0, f.low_um if f.low_um is not None else f.clear_um.low),
            budget_um=f.budget_um,
            assumed=f.assumed,
            word=_WORDS.get(f.finding, f.finding),
        )
        for name, f in zip(shown, findings, strict=True)
    )
    highest = max((row.clear_um.high for row in rows), default=50.0)
    reserve = findings[0].reserve_um if findings else 0.0
    return IntervalPlot(rows=rows, reserve_um=reserve, top_um=float(np.ceil(highest / 10) * 10))


_NAME_MM, _PLOT_MM, _VALUE_MM, _ROW_MM, _HEAD_MM = 44.0, 100.0, 46.0, 7.0, 20.0


def draw_intervals(plot: IntervalPlot, *, units: UnitSystem = "metric") -> str:
    """Return an interval plot as an SVG document.

    The thick bar is what the budget may take, hanging from the best estimate; the thin line holds
    95 %; the tick is the lower bound of the thinnest place; an open ring is an assumption.
    """
    width = _NAME_MM + _PLOT_MM + _VALUE_MM
    height = _HEAD_MM + _ROW_MM * len(plot.rows) + 14.0
    body = [
        text(
            (4, 7),
            "Clear coat left, and what may be cut today",
            size=4.2,
            anchor="start",
            bold=True,
        ),
        *_axis(plot, height - 12.0, units),
    ]
    for i, row in enumerate(plot.rows):
        body += _interval_row(row, _HEAD_MM + _ROW_MM * (i + 0.5), plot.top_um, units)
    told = "; ".join(
        f"{row.name}: {show(row.clear_um.mean, 'micrometer', units)}, may cut "
        f"{show(row.budget_um, 'micrometer', units)}"
        for row in plot.rows
    )
    return document(
        (width, height),
        body,
        title="Clear coat per panel",
        description=told,
        ident="film-intervals",
    )


def _x(value_um: float, top_um: float) -> float:
    return _NAME_MM + _PLOT_MM * min(max(value_um / top_um, 0.0), 1.0)


def _axis(plot: IntervalPlot, base: float, units: UnitSystem) -> list[str]:
    """Draw ticks in round numbers of the reader's unit, and the reserve."""
    top = convert(plot.top_um, "micrometer", "thou" if units == "us" else "micrometer")
    step = 0.5 if units == "us" else 10.0
    marks = []
    for value in np.arange(0.0, top + step / 2, step).tolist():
        x = _NAME_MM + _PLOT_MM * value / top
        marks.append(line((x, _HEAD_MM - 2), (x, base), width=0.15, stroke="#dfe2e8"))
        marks.append(text((x, base + 4), f"{value:g}", size=2.8, fill=QUIET))
    unit = symbol("micrometer", units)
    x = _x(plot.reserve_um, plot.top_um)
    reserve = f"must stay {show(plot.reserve_um, 'micrometer', units)}"
    return [
        *marks,
        text((_NAME_MM + _PLOT_MM / 2, base + 9), f"clear coat [{unit}]", size=2.8, fill=QUIET),
        line((x, _HEAD_MM - 4), (x, base), width=0.5),
        text((x, _HEAD_MM - 5), reserve, size=2.8),
        text((_NAME_MM + _PLOT_MM + 24, _HEAD_MM - 5), "may be cut", size=2.8, anchor="end"),
    ]


def _interval_row(row: IntervalRow, y: float, top: float, units: UnitSystem) -> list[str]:
    low, high, mid = (_x(v, top) for v in (row.clear_um.low, row.clear_um.high, row.clear_um.mean))
    spend = _x(row.clear_um.mean - row.budget_um, top)
    bound = _x(row.low_um, top)
    dot = PAPER if row.assumed else INK
    right = _NAME_MM + _PLOT_MM
    parts = [
        text((_NAME_MM - 3, y + 1.1), row.name, size=3.2, anchor="end"),
        line((low, y), (high, y), width=0.35),
        line((bound, y - 1.6), (bound, y + 1.6), width=0.35),
    ]
    if row.budget_um > 0:
        bar = tag("rect", x=spend, y=y - 1.5, width=mid - spend, height=3.0, fill=_SPENT)
        parts.append(bar)
    return [
        *parts,
        tag("circle", cx=mid, cy=y, r=1.3, fill=dot, stroke=INK, stroke_width=0.4),
        text(
            (right + 24, y + 1.1),
            show(row.budget_um, "micrometer", units),
            size=3.2,
            anchor="end",
            bold=True,
        ),
        text((right + 26, y + 1.1), row.word, size=2.8, anchor="start", fill=QUIET),
    ]


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One bar of a waterfall: what is taken away or left [µm], from where to where."""

    words: str
    kind: str
    start_um: float
    end_um: float


class Waterfall(msgspec.Struct, frozen=True, kw_only=True):
    """From what was measured to what may be spent on one panel [µm]."""

    panel: str
    steps: tuple[Step, ...]
    spendable_um: float
    limit: str


def waterfall(known: Study, panel_id: str) -> Waterfall:
    """Return how the budget of a panel comes about, step by step.

    Parameters
    ----------
    known : Study
        From :func:`leastcut.inspect.study.study`.
    panel_id : str
        Which panel.

    Returns
    -------
    Waterfall
        Steps that add up: each begins where the one before ends. Without a reading the first bar is
        the clear coat that is assumed.
    """
    i = [panel.id for panel in known.panels].index(panel_id)
    mean, _, _, low, thin = (max(0.0, float(v)) for v in known.numbers[i])
    total = known.summaries[i].total
    steps = []
    if total is not None and total.mean_um > mean:
        steps.append(_step("measured: all layers", "left", 0.0, total.mean_um))
        steps.append(_step("layers below the clear coat", "gone", total.mean_um, mean))
    word = "clear coat, best estimate" if known.summaries[i].shown else "clear coat, assumed"
    spend = budget_um(known, i)
    steps += [
        _step(word, "left", 0.0, mean),
        _step(f"doubt, to {known.rule.confidence:.0%} sure", "gone", mean, low),
        _step("thinnest places", "gone", low, thin),
        _step("must stay", "kept", 0.0, min(thin, known.rule.floor_um)),
        _step(
            "may be cut today",
            "spent",
            min(thin, known.rule.floor_um),
            min(thin, known.rule.floor_um) + spend,
        ),
    ]
    return Waterfall(
        panel=panel_id, steps=tuple(steps), spendable_um=spend, limit=limit_words(known, i)
    )


def _step(words: str, kind: str, start: float, end: float) -> Step:
    return Step(words=words, kind=kind, start_um=start, end_um=end)


def limit_words(known: Study, i: int) -> str:
    """Say which limit sets the budget of panel i."""
    rule, removed = known.rule, float(known.removed_um[i])
    mean, thin = float(known.numbers[i, 0]), float(known.numbers[i, 4])
    if known.paint.system == "matt":
        return "matt paint is not polished"
    limits = {
        "the most that may go at one time": rule.once_um - removed,
        "the most that may go in the paint's life": rule.life_um - removed,
        "what the best estimate must keep": mean - rule.aim_um,
        "what the thinnest place must keep": thin - rule.floor_um,
    }
    return "limited by " + min(limits, key=lambda words: limits[words])


_BAR_MM, _LABEL_MM = 7.0, 58.0


def draw_waterfall(made: Waterfall, *, name: str = "", units: UnitSystem = "metric") -> str:
    """Return a waterfall as an SVG document; `name` is the panel as a person calls it."""
    top = max(1.0, *(max(step.start_um, step.end_um) for step in made.steps))
    height = 16.0 + _BAR_MM * len(made.steps) + 12.0
    fills = {"left": _KEPT, "gone": _GONE, "kept": INK, "spent": _SPENT}
    body = [text((4, 7), f"Budget of {name or made.panel}", size=4.2, anchor="start", bold=True)]
    for i, step in enumerate(made.steps):
        y = 14.0 + _BAR_MM * i
        ends = [_LABEL_MM + 100 * v / top for v in sorted((step.start_um, step.end_um))]
        size = abs(step.end_um - step.start_um)
        sign = "−" if step.kind == "gone" else ""
        body += [
            text((_LABEL_MM - 3, y + 4.2), step.words, size=3.2, anchor="end"),
            tag(
                "rect",
                x=ends[0],
                y=y + 0.8,
                width=max(0.3, ends[1] - ends[0]),
                height=_BAR_MM - 1.6,
                fill=fills[step.kind],
            ),
            text(
                (ends[1] + 2, y + 4.2),
                sign + show(size, "micrometer", units),
                size=3.2,
                anchor="start",
            ),
        ]
    body.append(text((4, height - 4), made.limit, size=3.2, anchor="start", fill=QUIET))
    told = ", ".join(f"{s.words} {num(abs(s.end_um - s.start_um))} µm" for s in made.steps)
    return document(
        (_LABEL_MM + 124, height),
        body,
        title=f"Budget of {made.panel}",
        description=told,
        ident="film-waterfall",
    )
