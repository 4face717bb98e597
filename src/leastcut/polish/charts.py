"""Line charts as SVG, and maps as images inside it: drawers only, the numbers come as records."""

import base64
import math
import struct
import zlib
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from leastcut.car._svg import QUIET, document, line, num, shape_path, tag, text
from leastcut.car.ramp import CHALK, INK, Ramp
from leastcut.car.records import Point
from leastcut.polish.speed import Array

DASHES = ("", "2 1.2", "0.6 1", "3 1 0.6 1")  # told apart without colour


@dataclass(frozen=True)
class Series:
    """One line of a chart."""

    name: str
    x: Array
    y: Array


@dataclass(frozen=True)
class Chart:
    """A chart: lines over one pair of axes."""

    title: str
    x_label: str
    y_label: str
    series: tuple[Series, ...]
    from_zero: bool = True
    equal_axes: bool = False


def chart_svg(chart: Chart, *, size_mm: Point = (150.0, 95.0)) -> str:
    """Return a chart as an SVG document.

    Parameters
    ----------
    chart : Chart
        Lines, labels and title.
    size_mm : Point
        Width and height of the drawing [mm].

    Returns
    -------
    str
        The document, with a description in words.
    """
    frame = (18.0, 12.0, size_mm[0] - 24.0, size_mm[1] - 26.0)
    return document(
        size_mm,
        [text((frame[0], 7), chart.title, size=4, anchor="start", bold=True), *plot(chart, frame)],
        title=chart.title,
        description=f"{chart.y_label} over {chart.x_label}: " + "; ".join(map(_said, chart.series)),
        ident="chart",
    )


def _said(series: Series) -> str:
    return f"{series.name} from {series.y[0]:.3g} to {series.y[-1]:.3g}"


def plot(chart: Chart, frame: tuple[float, float, float, float]) -> list[str]:
    """Return the elements of a chart within a frame (x, y, width, height) [mm]."""
    x0, y0, w, h = frame
    lows, highs = _ranges(chart, w / h)

    def at(x: float, y: float) -> Point:
        u, v = (x - lows[0]) / (highs[0] - lows[0]), (y - lows[1]) / (highs[1] - lows[1])
        return (x0 + u * w, y0 + (1.0 - v) * h)

    body = []
    for value in _ticks(lows[0], highs[0]):
        place = at(value, lows[1])
        body.append(line(place, (place[0], y0), width=0.1, stroke="#d9dde3"))
        body.append(text((place[0], place[1] + 4), f"{value:g}", size=2.8, fill=QUIET))
    for value in _ticks(lows[1], highs[1]):
        place = at(lows[0], value)
        body.append(line(place, (x0 + w, place[1]), width=0.1, stroke="#d9dde3"))
        body.append(
            text((place[0] - 1.5, place[1] + 1), f"{value:g}", size=2.8, fill=QUIET, anchor="end")
        )
    colours = CHALK.steps(7)[3:]
    for index, one in enumerate(chart.series):
        points = [at(float(x), float(y)) for x, y in zip(one.x, one.y, strict=True)]
        style = {"stroke_dasharray": DASHES[index % 4]} if index % 4 else {}
        body.append(
            tag(
                "path",
                d=shape_path([points], closed=False),
                stroke=colours[index % 4],
                stroke_width=0.5,
                **style,
            )
        )
        body += _key(one.name, index, (x0 + w, y0), colours[index % 4], style)
    body.append(line((x0, y0 + h), (x0 + w, y0 + h), width=0.3))
    body.append(line((x0, y0), (x0, y0 + h), width=0.3))
    body.append(text((x0 + w / 2, y0 + h + 9), chart.x_label, size=3.2))
    body.append(text((x0 - 12, y0 + h / 2), chart.y_label, size=3.2, turn=-90))
    return body


def _key(name: str, index: int, corner: Point, colour: str, style: dict[str, str]) -> list[str]:
    """Return a line of the key at the top right, nothing for a series without a name."""
    if not name:
        return []
    y = corner[1] + 3.5 + 4.2 * index
    ends = [(corner[0] - 10.0, y), (corner[0] - 2.0, y)]
    return [
        tag("path", d=shape_path([ends], closed=False), stroke=colour, stroke_width=0.5, **style),
        text((corner[0] - 11.5, y + 1), name, size=2.8, anchor="end", halo=True),
    ]


def _ranges(chart: Chart, aspect: float) -> tuple[Point, Point]:
    """Return the low and high corners of the axes; with equal axes, a millimetre is a millimetre."""
    xs = np.concatenate([one.x for one in chart.series])
    ys = np.concatenate([one.y for one in chart.series])
    x0, x1, y0, y1 = (float(v) for v in (xs.min(), xs.max(), ys.min(), ys.max()))
    if chart.equal_axes:
        half = 0.53 * max((x1 - x0) / aspect, y1 - y0)
        cx, cy = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
        return (cx - half * aspect, cy - half), (cx + half * aspect, cy + half)
    y0 = min(0.0, y0) if chart.from_zero else y0
    named = sum(1 for one in chart.series if one.name)  # the key stands in the room at the top
    spare = (0.06 + 0.08 * named) * ((y1 - y0) or abs(y1) or 1.0)
    return (x0, y0 if chart.from_zero else y0 - spare), (x1 if x1 > x0 else x0 + 1, y1 + spare)


def _ticks(low: float, high: float) -> list[float]:
    """Return round numbers between two ends, four to nine of them."""
    rough = (high - low) / 6
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(k * step, 12) for k in range(first, last + 1)]


def image(values: Array, *, low: float, high: float, ramp: Ramp = CHALK) -> bytes:
    """Return an array as a PNG with a colour ramp, its first row at the bottom.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
        Numbers; those that are not finite are left clear.
    low, high : float
        What the ends of the ramp stand for.
    ramp : Ramp
        Colours.

    Returns
    -------
    bytes
        An indexed PNG (ISO/IEC 15948) with 200 colours.
    """
    span = high - low if high > low else 1.0
    level = np.clip(np.nan_to_num((values - low) / span), 0.0, 1.0)
    index = np.where(np.isfinite(values), np.round(level * 199) + 1, 0).astype(np.uint8)[::-1]
    palette = b"\xff\xff\xff" + b"".join(bytes.fromhex(c[1:]) for c in ramp.steps(200))
    return _png(index, palette)


def _png(index: npt.NDArray[np.uint8], palette: bytes) -> bytes:
    rows, columns = index.shape
    lines = np.concatenate([np.zeros((rows, 1), np.uint8), index], axis=1).tobytes()

    def chunk(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0))
        + chunk(b"PLTE", palette)
        + chunk(b"tRNS", b"\x00")
        + chunk(b"IDAT", zlib.compress(lines, 6))
        + chunk(b"IEND", b"")
    )


def embedded(png: bytes, *, at: Point, size: Point) -> str:
    """Return an image element that carries its own PNG, scaled without smoothing."""
    return tag(
        "image",
        x=at[0],
        y=at[1],
        width=size[0],
        height=size[1],
        href="data:image/png;base64," + base64.b64encode(png).decode(),
        preserveAspectRatio="none",
        style="image-rendering:pixelated",
    )


def ramp_key(
    at: Point, width: float, *, low: float, high: float, unit: str, ramp: Ramp = CHALK
) -> list[str]:
    """Return a bar of the ramp's colours with the numbers at its ends and middle."""
    colours = ramp.steps(40)
    step = width / 40
    bar = [
        tag("rect", x=at[0] + i * step, y=at[1], width=step + 0.05, height=3.0, fill=colour)
        for i, colour in enumerate(colours)
    ]
    ends = ((0.0, low, "start"), (0.5, 0.5 * (low + high), "middle"), (1.0, high, "end"))
    words = [
        text((at[0] + share * width, at[1] + 6.5), f"{value:.3g} {unit}", size=2.8, anchor=anchor)
        for share, value, anchor in ends
    ]
    outline = f"M{num(at[0])} {num(at[1])}h{num(width)}v3h{num(-width)}Z"
    return [*bar, tag("path", d=outline, stroke=INK, stroke_width=0.15), *words]
