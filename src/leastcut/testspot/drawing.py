"""SVG of the test spot's pictures. Every value drawn is printed too; one ink, no traffic lights."""

import math
from collections.abc import Iterable, Sequence
from html import escape

from leastcut.testspot.pictures import Cost, CostPicture, LadderLine, LadderPicture, SurvivalPicture

INK, PALE = "#17324d", "#c9d5e0"
WIDTH, HEIGHT = 640.0, 400.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 24.0, 44.0, 52.0
_DASHES = ("", "7 4", "2 3", "9 3 2 3", "1 4")


class _Axes:
    """Where a value stands on the sheet; cut from zero, or from `x_least` on a logarithmic scale."""

    def __init__(self, x_top: float, x_least: float | None = None) -> None:
        self.x_top, self.x_least = x_top, x_least

    def x(self, value: float) -> float:
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * min(max(self._share(value), 0.0), 1.0)

    def _share(self, value: float) -> float:
        if self.x_least is None:
            return value / self.x_top
        least = self.x_least
        return math.log(max(value, least) / least) / math.log(self.x_top / least)

    def y(self, share: float) -> float:
        return HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * min(max(share, 0.0), 1.0)

    def ticks(self) -> list[float]:
        least = self.x_least
        if least is None:
            return _ticks(self.x_top)
        nice = [d * 10.0**e for e in range(-3, 4) for d in (1, 2, 5)]
        return [value for value in nice if least <= value <= self.x_top]


def survival_svg(picture: SurvivalPicture) -> str:
    """Draw visible share against cut, with the band, the trials and what may be left."""
    axes = _Axes(picture.cut_um[-1])
    band = [
        *zip(picture.cut_um, picture.high, strict=True),
        *reversed(list(zip(picture.cut_um, picture.low, strict=True))),
    ]
    parts = [
        f'<polygon points="{_points(axes, band)}" fill="{PALE}"/>',
        *_frame(axes, "cut [µm]", "visible scratch length left"),
        _polyline(axes, zip(picture.cut_um, picture.visible, strict=True)),
        _level(axes, picture.allowed, f"target: at most {picture.allowed:.0%} left"),
    ]
    for number, point in enumerate(picture.trials):
        x, y = axes.x(point.cut_um.mean), axes.y(point.visible.mean)
        words = f"{point.number}: {point.label}, {point.visible.mean:.0%} left"
        parts += [
            _line(x, axes.y(point.visible.low), x, axes.y(point.visible.high), width=1.5),
            _line(axes.x(point.cut_um.low), y, axes.x(point.cut_um.high), y, width=1.5),
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="{INK}"/>',
            _text(x + 8, y - 7, str(point.number)),
            _text(_LEFT, HEIGHT + 8 + 18.0 * number, words),
        ]
    return _sheet(
        "How deep the scratches are",
        f"Share of scratch length still visible after a cut, 90 % band, {len(picture.trials)} trials",
        parts,
        extra=18.0 * len(picture.trials),
    )


def ladder_svg(picture: LadderPicture) -> str:
    """Draw the chance to meet the target against expected cut, one line for each process."""
    cuts = [point.cut_um.mean for line in picture.lines for point in line.points]
    axes = _Axes(1.15 * max([*cuts, picture.budget_um or 0.0]), 0.85 * min(cuts))
    parts = [
        *_frame(axes, "expected cut on the car [µm], logarithmic", "chance to meet the target"),
        _level(axes, picture.asked, f"asked for: {picture.asked:.0%}"),
    ]
    if picture.budget_um is not None:
        parts += _upright(axes, picture.budget_um, f"budget {picture.budget_um:.1f} µm")
    for number, line in enumerate(picture.lines):
        parts += _rung(axes, line, _DASHES[number % len(_DASHES)], picture.chosen)
    parts += _key(picture.lines)
    return _sheet(
        "The ladder: cut against chance",
        "Numbers are sets; filled: the budget pays; ring: it does not; double ring: the advice",
        parts,
        extra=18.0 * len(picture.lines),
    )


def cost_svg(picture: CostPicture) -> str:
    """Draw the clear coat that the car would cost with each process, against the budget."""
    highs = [cost.cut_um.high for cost in picture.costs]
    axes = _Axes(1.05 * max([*highs, picture.budget_um or 0.0]))
    parts: list[str] = []
    for number, cost in enumerate(picture.costs):
        parts += _bar(axes, cost, _TOP + 42.0 + 76.0 * number)
    bottom = _TOP + 76.0 * len(picture.costs)
    if picture.budget_um is not None:
        x = axes.x(picture.budget_um)
        for number in range(len(picture.costs)):
            y = _TOP + 42.0 + 76.0 * number
            parts.append(_line(x, y - 2, x, y + 26, dash="4 3"))
        parts.append(_text(x, bottom + 16, f"budget {picture.budget_um:.1f} µm", anchor="middle"))
    return _sheet(
        "What the car would cost in clear coat",
        "Expected cut with 95 % bounds, for the fewest sets with the chance asked for",
        parts,
        extra=bottom + 26.0 - HEIGHT,
    )


def _bar(axes: _Axes, cost: Cost, y: float) -> list[str]:
    x = axes.x(cost.cut_um.mean)
    words = f"{cost.cut_um.mean:.1f} µm ({cost.cut_um.low:.1f} to {cost.cut_um.high:.1f}),"
    chance = f"chance of target {cost.p_target:.0%}, of budget {cost.p_within_budget:.0%}"
    state = "the advice" if cost.chosen else "enough" if cost.enough else "not enough"
    fill = INK if cost.chosen else PALE
    bar = (
        f'<rect x="{_LEFT:.1f}" y="{y:.1f}" width="{x - _LEFT:.1f}" height="16" fill="{fill}"'
        f' stroke="{INK}"/>'
    )
    return [
        _text(_LEFT, y - 21, f"{cost.label}: {state}"),
        _text(_LEFT, y - 5, f"{words} {chance}"),
        bar,
        _line(axes.x(cost.cut_um.low), y + 21, axes.x(cost.cut_um.high), y + 21, width=2.0),
    ]


def _rung(axes: _Axes, line: LadderLine, dash: str, chosen: tuple[str, int] | None) -> list[str]:
    parts = [_polyline(axes, ((p.cut_um.mean, p.p_target) for p in line.points), dash=dash)]
    for point in line.points:
        x, y = axes.x(point.cut_um.mean), axes.y(point.p_target)
        fill = INK if point.payable else "white"
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{fill}" stroke="{INK}"/>')
        parts.append(_text(x, y - 9, str(point.sets), anchor="middle"))
        if chosen == (line.process, point.sets):
            parts.append(
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="9" fill="none" stroke="{INK}"'
                ' stroke-width="2"/>'
            )
    return parts


def _key(lines: Sequence[LadderLine]) -> list[str]:
    parts: list[str] = []
    for number, line in enumerate(lines):
        y = HEIGHT + 4.0 + 18.0 * number
        parts.append(_line(_LEFT, y, _LEFT + 44, y, dash=_DASHES[number % len(_DASHES)], width=2.0))
        parts.append(_text(_LEFT + 54, y + 4, line.process + (" (tried)" if line.tried else "")))
    return parts


def _frame(axes: _Axes, x_words: str, y_words: str) -> list[str]:
    parts = [
        _line(_LEFT, HEIGHT - _BOTTOM, WIDTH - _RIGHT, HEIGHT - _BOTTOM),
        _line(_LEFT, _TOP, _LEFT, HEIGHT - _BOTTOM),
        _text((WIDTH + _LEFT - _RIGHT) / 2, HEIGHT - 14, x_words, anchor="middle"),
        _text(_LEFT, _TOP - 8, y_words),
    ]
    parts += [
        _text(axes.x(tick), HEIGHT - _BOTTOM + 18, f"{tick:g}", anchor="middle")
        for tick in axes.ticks()
    ]
    for step in range(5):
        share = step / 4
        parts.append(_text(_LEFT - 8, axes.y(share) + 4, f"{share:.0%}", anchor="end"))
    return parts


def _ticks(top: float) -> list[float]:
    raw = top / 5
    scale = 10.0 ** math.floor(math.log10(raw))
    step = next(scale * nice for nice in (1.0, 2.0, 5.0, 10.0) if scale * nice >= raw)
    return [round(step * number, 10) for number in range(int(top / step) + 1)]


def _level(axes: _Axes, share: float, words: str) -> str:
    y = axes.y(share)
    return _line(_LEFT, y, WIDTH - _RIGHT, y, dash="4 4") + _text(
        WIDTH - _RIGHT, y - 5, words, anchor="end"
    )


def _upright(axes: _Axes, value: float, words: str) -> list[str]:
    x = axes.x(value)
    return [
        _line(x, _TOP, x, HEIGHT - _BOTTOM, dash="4 4"),
        _text(x - 5, HEIGHT - _BOTTOM - 8, words, anchor="end"),
    ]


def _points(axes: _Axes, pairs: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{axes.x(x):.1f},{axes.y(y):.1f}" for x, y in pairs)


def _polyline(axes: _Axes, pairs: Iterable[tuple[float, float]], *, dash: str = "") -> str:
    drawn = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<polyline points="{_points(axes, pairs)}" fill="none" stroke="{INK}"'
        f' stroke-width="2"{drawn}/>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, *, dash: str = "", width: float = 1.0) -> str:
    drawn = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{INK}"'
        f' stroke-width="{width:g}"{drawn}/>'
    )


def _text(x: float, y: float, words: str, *, anchor: str = "start") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{INK}">{escape(words)}</text>'
    )


def _sheet(title: str, description: str, parts: Sequence[str], *, extra: float = 0.0) -> str:
    height = HEIGHT + extra
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" role="img"'
        ' font-family="Atkinson Hyperlegible, Noto Sans, sans-serif" font-size="12.5">'
        f"<title>{escape(title)}</title><desc>{escape(description)}</desc>"
        f'<rect width="{WIDTH:g}" height="{height:g}" fill="white"/>'
    )
    heading = (
        f'<text x="{_LEFT:g}" y="20" font-size="15" font-weight="bold" fill="{INK}">'
        f"{escape(title)}</text>"
    )
    return "\n".join([head, heading, *parts, "</svg>"])
