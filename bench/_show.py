"""The quick benches' table and picture, and what got slower since last time."""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

Row = Mapping[str, Any]
SLOWER = 2 / 3  # a ratio below this share of the last one is told
INK, QUIET, BAR, OTHER = "#1c2230", "#5c6472", "#31446b", "#958f78"
FONT = "'Atkinson Hyperlegible', 'Liberation Sans', sans-serif"


def took(seconds: float) -> str:
    """Return a time that is easy to read."""
    for size, unit in ((1.0, "s"), (1e-3, "ms")):
        if seconds >= size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds * 1e6:.3g} µs"


def ratio(row: Row) -> str:
    """Return how many times faster, with the spread over the pairs."""
    if "ratio" not in row:
        return ""
    return f"{times(row['ratio'])}× ({times(row['low'])} to {times(row['high'])})"


def times(value: float) -> str:
    """Return a ratio with as many figures as it is worth."""
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"


HEAD = ("what", "ours", "peer", "times faster (spread)", "accuracy", "peak memory")


def cells(row: Row) -> tuple[str, ...]:
    """Return one line of the table."""
    memory = f"{row['peak_mib']:.0f} MiB" if "peak_mib" in row else ""
    return row["what"], took(row["ours_s"]), row["peer"], ratio(row), row["accuracy"], memory


def table(rows: Sequence[Row]) -> str:
    """Return the table for a terminal."""
    lines = [HEAD, *(cells(row) for row in rows)]
    wide = [max(len(line[i]) for line in lines) for i in range(len(HEAD))]
    return "\n".join("  ".join(c.ljust(w) for c, w in zip(line, wide, strict=True)).rstrip() for line in lines)  # fmt: skip


def markdown(rows: Sequence[Row]) -> str:
    """Return the table for a page."""
    lines = [HEAD, tuple("---" for _ in HEAD), *(cells(row) for row in rows)]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def slower(rows: Sequence[Row], last: Mapping[str, float]) -> list[str]:
    """Return a sentence for every ratio that fell below two thirds of what it was."""
    return [
        f"{row['what']} against {row['peer']}: {times(row['ratio'])}×, was {times(last[key])}×"
        for row in rows
        if "ratio" in row and (key := key_of(row)) in last and row["high"] < SLOWER * last[key]
    ]


def key_of(row: Row) -> str:
    """Return the name under which a ratio is kept."""
    return f"{row['what']} | {row['peer']}"


def picture(rows: Sequence[Row]) -> str:
    """Return ratios as bars with their spread, and the scaling curves, as SVG."""
    from math import log10

    ratios = [row for row in rows if "ratio" in row]
    left, wide, step = 330, 420, 34
    top = max(4.0, *(row["high"] for row in ratios), 10.0) if ratios else 10.0

    def x(value: float) -> float:
        return left + wide * (log10(max(value, 0.1)) + 1) / (log10(top) + 1)

    parts = ['<text x="20" y="28" font-size="15">Times faster than a general-purpose peer in the same run (line: spread)</text>']  # fmt: skip
    for i, row in enumerate(ratios):
        y = 50 + step * i
        parts += [
            f'<text x="{left - 10}" y="{y + 11}" text-anchor="end" font-size="11">{escape(row["what"])}</text>',
            f'<text x="{left - 10}" y="{y + 23}" text-anchor="end" font-size="9" fill="{QUIET}">{escape(row["peer"])}</text>',
            f'<rect x="{min(x(1), x(row["ratio"])):.1f}" y="{y + 3}" width="{abs(x(row["ratio"]) - x(1)):.1f}" height="14" fill="{BAR if row["ratio"] >= 1 else OTHER}"/>',
            f'<path d="M{x(row["low"]):.1f} {y + 20}H{x(row["high"]):.1f}" stroke="{INK}" stroke-width="2"/>',
            f'<text x="{x(max(row["ratio"], 1)) + 6:.1f}" y="{y + 14}" font-size="11">{times(row["ratio"])}×</text>',
        ]
    height = 60 + step * len(ratios)
    parts.append(
        f'<path d="M{x(1):.1f} 44V{height - 10}" stroke="{QUIET}" stroke-dasharray="3 3"/>'
    )
    curves = [row for row in rows if row.get("scaling")]
    for row in curves:
        parts.append(scaling(row, height))
        height += 230
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 860 {height}" font-family="{FONT}" fill="{INK}">'
        f'<rect width="100%" height="100%" fill="#ffffff"/>\n' + "\n".join(parts) + "\n</svg>\n"
    )


def scaling(row: Row, top: float) -> str:
    """Return time against size for ours and the peer, both axes in decades."""
    from math import log10

    points = [[log10(v) for v in point] for point in row["scaling"]]
    x0, x1 = points[0][0], points[-1][0]
    low = min(min(p[1:]) for p in points)
    high = max(max(p[1:]) for p in points)

    def at(size: float, value: float) -> str:
        return f"{80 + 600 * (size - x0) / (x1 - x0):.1f} {top + 190 - 150 * (value - low) / (high - low):.1f}"

    parts = [f'<text x="20" y="{top + 22:g}" font-size="13">Time by number of readings: {escape(row["what"].split(",")[0])}</text>']  # fmt: skip
    for column, name, colour in ((1, "ours", BAR), (2, row["peer"], OTHER)):
        way = "L".join(at(p[0], p[column]) for p in points)
        end = at(points[-1][0], points[-1][column]).split()
        last = took(10 ** points[-1][column])
        parts += [
            f'<path d="M{way}" fill="none" stroke="{colour}" stroke-width="2.5"/>',
            f'<text x="{float(end[0]) + 8:g}" y="{end[1]}" font-size="11">{escape(name)} {last}</text>',
        ]
    for point, plain in zip(points, row["scaling"], strict=True):
        parts.append(f'<text x="{at(point[0], low).split()[0]}" y="{top + 208:g}" text-anchor="middle" font-size="11" fill="{QUIET}">{plain[0]}</text>')  # fmt: skip
    return "\n".join(parts)
