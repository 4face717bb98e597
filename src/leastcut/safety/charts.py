"""Pictures of the person's day: a gauge of vibration points, a curve of vapour with its limits.

Each is a plain record and a thin drawer: the record is checked, the picture is looked at.
"""

import math

import msgspec

from leastcut.safety import svg
from leastcut.safety.records import Solvent, VibrationExposure
from leastcut.safety.vapour import (
    DEFAULT_MIXING,
    FIRE_FRACTION_OF_LEL,
    MOLAR_VOLUME_L,
    concentration_mg_m3,
    room,
)


class PointsGauge(msgspec.Struct, frozen=True, kw_only=True):
    """Points of the day against 100 (action) and 400 (limit), as declared and with K."""

    points: float
    points_high: float
    action: float
    limit: float
    scale_end: float
    words: str


class VapourCurve(msgspec.Struct, frozen=True, kw_only=True):
    """Concentration over time [min, ppm], the release's end, and named limits [ppm]."""

    solvent: str
    minutes: tuple[float, ...]
    ppm: tuple[float, ...]
    release_end_min: float
    limits: tuple[tuple[str, float], ...]
    words: str


def points_gauge(day: VibrationExposure) -> PointsGauge:
    """Return the gauge of a day's vibration.

    Examples
    --------
    >>> from leastcut.safety.records import ToolUse
    >>> from leastcut.safety.vibration import exposure
    >>> points_gauge(exposure([ToolUse(magnitude_m_s2=5.0, minutes=180.0)])).scale_end
    500.0
    """
    return PointsGauge(
        points=day.points,
        points_high=day.points_high,
        action=100.0,
        limit=400.0,
        scale_end=max(500.0, 100.0 * math.ceil(day.points_high / 100.0 + 0.2)),
        words=(
            f"{day.points:.0f} points today, up to {day.points_high:.0f} with the uncertainty K: "
            f"{day.band_high}"
        ),
    )


def vapour_curve(
    millilitres: float,
    substance: Solvent,
    *,
    room_m3: float,
    air_changes_per_h: float,
    minutes: float,
    mixing: float = DEFAULT_MIXING,
    steps: int = 120,
) -> VapourCurve:
    """Return how the vapour rises while the cloth is wet, and clears after it.

    Parameters
    ----------
    millilitres, substance, room_m3, air_changes_per_h, minutes, mixing
        As :func:`leastcut.safety.vapour.room`.
    steps : int
        Points on the curve, less one.

    Returns
    -------
    VapourCurve
        Up to three times the release, or until a tenth of the peak, but at most 8 h.

    Raises
    ------
    ExposureError
        As :func:`leastcut.safety.vapour.room`.
    """
    found = room(
        millilitres,
        substance,
        room_m3=room_m3,
        air_changes_per_h=air_changes_per_h,
        minutes=minutes,
        mixing=mixing,
    )
    air = air_changes_per_h * room_m3 / mixing
    fade = math.log(10.0) * room_m3 / air * 60.0 if air > 0.0 else math.inf
    end = min(max(480.0, minutes), minutes + max(2.0 * minutes, min(fade, 480.0)))
    release = millilitres * substance.density_g_ml * 1000.0 / (minutes / 60.0)
    times = tuple(sorted({*(end * n / steps for n in range(steps + 1)), minutes}))
    levels = []
    for time in times:
        up = min(time, minutes) / 60.0
        level = concentration_mg_m3(up, room_m3=room_m3, air_m3_h=air, release_mg_h=release)
        after = max(0.0, time - minutes) / 60.0
        levels.append(level * math.exp(-air / room_m3 * after))
    limits = [
        ("8 h limit", substance.limit_ppm),
        ("15 min limit", substance.short_limit_ppm),
        (
            "a quarter of the lower explosive limit",
            substance.lel_percent * 1e4 * FIRE_FRACTION_OF_LEL,
        ),
    ]
    return VapourCurve(
        solvent=substance.name,
        minutes=times,
        ppm=tuple(level * MOLAR_VOLUME_L / substance.molar_mass_g_mol for level in levels),
        release_end_min=minutes,
        limits=tuple((name, ppm) for name, ppm in limits if ppm is not None),
        words=f"peak {found.peak_ppm:.0f} ppm at {minutes:.0f} min: {found.why}",
    )


def draw_points(gauge: PointsGauge) -> str:
    """Return the gauge as SVG: a bar, its uncertainty, and the two marks with their numbers."""
    frame = svg.Frame(
        left=20, right=620, top=52, bottom=88, x_low=0, x_high=gauge.scale_end, y_low=0, y_high=1
    )
    wide = frame.bottom - frame.top
    body = [
        svg.text(20, 24, "Vibration today", size=16),
        svg.text(620, 24, f"{gauge.points:.0f} points", anchor="end", size=16),
        svg.box(frame.left, frame.top, 600, wide, fill="none", stroke=svg.QUIET),
        svg.box(
            frame.left, frame.top + 9, frame.x(gauge.points_high) - 20, wide - 18, fill=svg.PALE
        ),
        svg.box(frame.left, frame.top + 9, frame.x(gauge.points) - 20, wide - 18, fill=svg.BLUE),
        svg.line(
            [(frame.x(gauge.points_high), 58), (frame.x(gauge.points_high), 82)], stroke=svg.BLUE
        ),
    ]
    for name, value in (("action", gauge.action), ("limit", gauge.limit)):
        at = frame.x(value)
        body += [
            svg.line([(at, 46), (at, 94)], width=2),
            svg.text(at, 110, f"{value:.0f} {name}", anchor="middle"),
        ]
    body.append(svg.text(20, 132, gauge.words, fill=svg.QUIET, size=12))
    return svg.document(640, 144, body, title="Vibration points today", description=gauge.words)


def draw_vapour(curve: VapourCurve) -> str:
    """Return the curve as SVG, limits within reach drawn as dashed lines with their names."""
    peak = max(curve.ppm)
    near = [(name, ppm) for name, ppm in curve.limits if ppm <= 3.0 * max(peak, 1.0)]
    least = min((ppm for _, ppm in curve.limits), default=1.0)
    top = 1.15 * max([peak, least, *(ppm for _, ppm in near)])
    end = curve.minutes[-1]
    frame = svg.Frame(
        left=64, right=620, top=40, bottom=240, x_low=0, x_high=end, y_low=0, y_high=top
    )
    body = [
        svg.text(20, 24, f"{curve.solvent} in the air, ppm", size=16),
        svg.box(
            frame.left, frame.top, frame.x(curve.release_end_min) - frame.left, 200, fill=svg.PALE
        ),
        svg.line([(frame.left, frame.top), (frame.left, frame.bottom), (620, frame.bottom)]),
    ]
    for name, ppm in [(n, p) for n, p in curve.limits if p <= top]:
        at = frame.y(ppm)
        body.append(svg.line([(frame.left, at), (620, at)], stroke=svg.ORANGE, dash="7 4"))
        body.append(svg.text(616, at - 5, f"{name}: {ppm:g} ppm", anchor="end", size=12))
    places = [(frame.x(t), frame.y(c)) for t, c in zip(curve.minutes, curve.ppm, strict=True)]
    body.append(svg.line(places, stroke=svg.BLUE, width=2.5))
    body += [svg.text(frame.left - 6, frame.y(v) + 4, f"{v:g}", anchor="end") for v in _ticks(top)]
    body += [svg.text(frame.x(v), 258, f"{v:g}", anchor="middle") for v in _ticks(end)]
    body.append(svg.text(620, 276, "minutes; shaded: the cloth is wet", anchor="end", size=12))
    body.append(svg.text(20, 292, curve.words, fill=svg.QUIET, size=12))
    return svg.document(640, 304, body, title="Vapour over time", description=curve.words)


def _ticks(top: float) -> list[float]:
    """Return about five round numbers from 0 to `top`."""
    raw = top / 5.0
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= raw - 1e-12)
    return [step * n for n in range(int(top / step + 1e-9) + 1)]
