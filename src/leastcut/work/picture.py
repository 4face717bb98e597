"""The picture of a take: where the pad went and how fast, what it missed, where it stood."""

import msgspec

from leastcut.car import _svg as svg
from leastcut.car.ramp import CHALK, INK
from leastcut.car.records import Point, Polygon
from leastcut.work.records import Spread, TechniqueFinding

WIDTH = 200.0  # mm on paper
STEPS = 6
STRIDE = 3
BEND_MM = 3.0
WARN = "#9a3412"


class Piece(msgspec.Struct, frozen=True, kw_only=True):
    """A part of the way at about one speed: its points [mm] and the speed's step, 0 to 5."""

    points_mm: tuple[Point, ...]
    step: int


class TakePicture(msgspec.Struct, frozen=True, kw_only=True):
    """What the picture shows, as data."""

    section_mm: Polygon
    pieces: tuple[Piece, ...]
    speeds_mm_s: tuple[float, float]
    missed_mm: tuple[Polygon, ...]
    parked: tuple[tuple[float, float, float], ...]
    pad_mm: float
    advice: tuple[str, ...]


def take_picture(finding: TechniqueFinding) -> TakePicture:
    """Return the picture of a take; without any way when it was refused."""
    speed = finding.arm_speed_mm_s or Spread(median=60, p05=30, p95=90)
    low, high = min(speed.p05, 0.6 * speed.median), max(speed.p95, 1.4 * speed.median)
    return TakePicture(
        section_mm=finding.section_mm,
        pieces=_pieces(finding, low, high),
        speeds_mm_s=(low, high),
        missed_mm=finding.missed_mm,
        parked=tuple((p.x_mm, p.y_mm, p.seconds) for p in finding.parked),
        pad_mm=finding.pad_diameter_mm or 0.0,
        advice=finding.advice,
    )


def _pieces(finding: TechniqueFinding, low: float, high: float) -> tuple[Piece, ...]:
    import numpy as np

    from leastcut.work.strokes import simplified

    if len(finding.path) < 3:
        return ()
    t, x, y = np.array(finding.path).T
    corners = simplified(np.column_stack([x, y]), BEND_MM)
    rows = np.unique([*range(0, len(t), STRIDE), *corners])  # thinned, no corner cut off
    gap = np.diff(t[rows])
    speed = np.hypot(np.diff(x[rows]), np.diff(y[rows])) / np.maximum(gap, 1e-6)
    steps = np.clip(STEPS * (speed - low) / max(high - low, 1e-6), 0, STEPS - 1).astype(int)
    pieces: list[Piece] = []
    points: list[Point] = []
    for k, step in enumerate(steps):
        a, b = ((float(x[i]), float(y[i])) for i in rows[k : k + 2])
        joined = points and k and steps[k - 1] == step and gap[k] < 0.7 and gap[k - 1] < 0.7
        points = [*points, b] if joined else [a, b]
        if joined:
            pieces.pop()
        if gap[k] < 0.7:
            pieces.append(Piece(points_mm=tuple(points), step=int(step)))
    return tuple(pieces)


def draw(picture: TakePicture) -> str:
    """Return the picture as SVG."""
    xs = [p[0] for p in picture.section_mm] or [0.0, 1.0]
    ys = [p[1] for p in picture.section_mm] or [0.0, 1.0]
    margin = 0.12 * (max(xs) - min(xs))
    scale = (WIDTH - 20) / (max(xs) - min(xs) + 2 * margin)
    top = max(ys) + margin

    def put(p: Point) -> Point:
        return (10 + (p[0] - min(xs) + margin) * scale, 8 + (top - p[1]) * scale)

    height = 8 + (max(ys) - min(ys) + 2 * margin) * scale
    body = [_ground(picture, put, scale), *_way(picture, put), *_marks(picture, put)]
    body += [*_key(picture, height), *_said(picture, height + 16)]
    return svg.document(
        (WIDTH, height + 24 + 6 * len(_lines(picture))),
        body,
        title="Where the pad went",
        description=" ".join(picture.advice) or "No way could be measured.",
        ident="take",
    )


def _ground(picture: TakePicture, put: object, scale: float) -> str:
    assert callable(put)
    section = [put(p) for p in picture.section_mm]
    way = [[put(p) for p in piece.points_mm] for piece in picture.pieces]
    wide = svg.tag(
        "path", d=svg.shape_path(way, closed=False), stroke="#e9edf3",
        stroke_width=picture.pad_mm * scale,
    )  # fmt: skip
    return wide + svg.tag("path", d=svg.shape_path([section]), stroke=INK, stroke_width=0.6)


def _way(picture: TakePicture, put: object) -> list[str]:
    assert callable(put)
    colours = CHALK.steps(STEPS + 1)[1:]
    drawn = []
    for step in range(STEPS):
        own = [[put(p) for p in q.points_mm] for q in picture.pieces if q.step == step]
        if own:
            path = svg.shape_path(own, closed=False)
            drawn.append(svg.tag("path", d=path, stroke=colours[step], stroke_width=0.9))
    return drawn


def _marks(picture: TakePicture, put: object) -> list[str]:
    """Draw what was missed, hatched, and where the pad stood, with the seconds."""
    assert callable(put)
    holes = [[put(p) for p in ring] for ring in picture.missed_mm]
    marks = [
        svg.tag(
            "path", d=svg.shape_path([h]), fill="url(#take-keepout)", stroke=WARN, stroke_width=0.5
        )
        for h in holes
    ]
    for x, y, seconds in picture.parked:
        at = put((x, y))
        marks.append(svg.tag("circle", cx=at[0], cy=at[1], r=2.2, stroke=WARN, stroke_width=0.8))
        words = f"stood {seconds:.1f} s"
        marks.append(svg.text((at[0], at[1] - 3.5), words, size=4, fill=WARN, halo=True, bold=True))
    return marks


def _key(picture: TakePicture, height: float) -> list[str]:
    low, high = picture.speeds_mm_s
    drawn = [svg.text((10, height + 4), "arm speed, mm/s", size=4, anchor="start")]
    for step, colour in enumerate(CHALK.steps(STEPS + 1)[1:]):
        x = 50 + 20 * step
        drawn.append(svg.tag("rect", x=x, y=height + 0.5, width=20, height=4, fill=colour))
        drawn.append(
            svg.text((x, height + 9), f"{low + (high - low) * step / STEPS:.0f}", size=3.6)
        )
    drawn.append(svg.text((50 + 20 * STEPS, height + 9), f"{high:.0f}", size=3.6))
    return drawn


def _lines(picture: TakePicture) -> list[str]:
    """Break the advice into lines that fit the sheet."""
    lines: list[str] = []
    for sentence in picture.advice:
        row = ""
        for word in sentence.split():
            if len(row) + len(word) > 76:
                lines.append(row)
                row = "  "
            row = f"{row} {word}" if row.strip() else f"{row}{word}"
        lines.append(row)
    return lines


def _said(picture: TakePicture, top: float) -> list[str]:
    rows = enumerate(_lines(picture))
    return [svg.text((10, top + 6 * k), row, size=4.2, anchor="start") for k, row in rows]
