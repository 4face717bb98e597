"""Mean cut of a set in closed form: what goes into the plan before any map is drawn.

Each direction of a crosshatch sweeps the section once with strokes a distance s apart at speed u,
so the mean depth is the volume rate over u·s; both directions give twice that (the volume identity
of Preston's law). It holds away from the border of the section, whatever the pad's size.
"""

import math
from collections.abc import Sequence

from leastcut.polish.footprint import volume_rate_mm3_s
from leastcut.polish.grid import stroke_lengths_mm, time_to_s
from leastcut.polish.records import PadMotion, Stroke

TURN_S = 0.6  # easing off, shifting over and pressing again; common practice, no source
REFERENCE_RATE = 2e-3  # µm/(kPa·m): the middle of a wide prior; no measured value is published


def mean_cut_um(
    settings: PadMotion,
    *,
    preston_um_per_kpa_m: float,
    arm_speed_mm_s: float,
    spacing_mm: float,
    sets: int = 1,
) -> float:
    """Return the mean cut inside a section [µm].

    Parameters
    ----------
    settings : PadMotion
        Machine, pad and force.
    preston_um_per_kpa_m : float
        Preston rate [µm/(kPa·m)].
    arm_speed_mm_s, spacing_mm : float
        Speed along the strokes [mm/s] and their distance [mm].
    sets : int
        How often the section is covered in both directions.

    Returns
    -------
    float
        2·sets·k·F·v̄/(u·s) [µm].

    Examples
    --------
    One direction at k = 10⁻¹² /Pa, 50 N, 70 mm apart at 30 mm/s cuts 0.09364 µm.

    >>> from leastcut.polish.records import PadSettings
    >>> pad = PadSettings(pad_diameter_mm=140, force_n=50)
    >>> one = mean_cut_um(pad, preston_um_per_kpa_m=1e-3, arm_speed_mm_s=30, spacing_mm=70) / 2
    >>> round(one, 7)
    0.0936357
    """
    rate = volume_rate_mm3_s(settings, preston_um_per_kpa_m=preston_um_per_kpa_m)
    return 2.0 * sets * rate * 1e3 / (arm_speed_mm_s * spacing_mm)


def relative_cut(
    settings: PadMotion,
    reference: PadMotion,
    *,
    arm_speed_mm_s: tuple[float, float] = (40.0, 40.0),
    spacing_mm: tuple[float, float] = (40.0, 40.0),
) -> float:
    """Return how many times the cut per set is that of `reference` on the same paint and liquid.

    Parameters
    ----------
    settings, reference : PadMotion
        The two ways of working.
    arm_speed_mm_s, spacing_mm : pair of float
        Arm speed [mm/s] and stroke spacing [mm] of the one and of the reference.

    Returns
    -------
    float
        Ratio of the mean cuts; the unknown Preston rate drops out.
    """
    own = mean_cut_um(
        settings,
        preston_um_per_kpa_m=1.0,
        arm_speed_mm_s=arm_speed_mm_s[0],
        spacing_mm=spacing_mm[0],
    )
    other = mean_cut_um(
        reference,
        preston_um_per_kpa_m=1.0,
        arm_speed_mm_s=arm_speed_mm_s[1],
        spacing_mm=spacing_mm[1],
    )
    return own / other


def set_seconds(
    strokes: Sequence[Stroke] | float,
    *,
    arm_speed_mm_s: float,
    spacing_mm: float = 40.0,
    ramp_mm: float = 0.0,
    turn_s: float = TURN_S,
) -> float:
    """Return the time of one set over a section, turns included [s].

    Parameters
    ----------
    strokes : sequence of Stroke, or float
        The section's strokes, or its area [mm²] when no strokes are laid yet; the area is taken
        as a square.
    arm_speed_mm_s : float
        Speed along the strokes [mm/s].
    spacing_mm : float
        Distance of the strokes [mm], used with an area only.
    ramp_mm : float
        Length over which the arm gathers and loses speed [mm].
    turn_s : float
        Time from the end of a stroke to the start of the next [s].

    Returns
    -------
    float
        Time [s].

    Examples
    --------
    >>> round(set_seconds([((0, 0), (400, 0)), ((400, 40), (0, 40))], arm_speed_mm_s=40), 1)
    20.6
    """
    if isinstance(strokes, int | float):
        side = math.sqrt(strokes)
        count = 2 * max(1, round(side / spacing_mm))
        return 2.0 * float(strokes) / (spacing_mm * arm_speed_mm_s) + (count - 1) * turn_s
    lengths = stroke_lengths_mm(strokes)
    moving = float(time_to_s(lengths, lengths, arm_speed_mm_s, ramp_mm).sum())
    return moving + max(0, len(strokes) - 1) * turn_s
