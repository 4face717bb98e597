"""How long the pad is on the paint: a section's strokes at a process's spacing and arm speed."""

import math

from leastcut.plan.records import Section
from leastcut.polish.cut import set_seconds as stroke_seconds
from leastcut.testspot.records import Process

SAME = 0.02  # spacings this close count as the same strokes


def set_seconds(section: Section, process: Process) -> float:
    """Return how long one set takes on a section [s].

    A set gives every place the same exposure, so that its cut is the process's own. Where the
    strokes are short for the area (a strip narrower than the pad, a small corner), they are walked
    again until the time is what the area asks: twice the area over spacing times arm speed.

    Parameters
    ----------
    section : Section
        Its strokes, as walked; without strokes they are estimated from the area.
    process : Process
        Arm speed and stroke spacing. Where the strokes were laid at another spacing, their time
        is scaled to the process's own: half the spacing is twice the strokes.

    Returns
    -------
    float
        Walking length over arm speed, plus the turns between strokes [s]; at least the area's.
    """
    by_area = 2 * section.area_mm2 / (process.stroke_spacing_mm * process.arm_speed_mm_s)
    laid = laid_spacing_mm(section)
    strokes = section.strokes_mm if laid else section.area_mm2
    seconds = stroke_seconds(
        strokes, arm_speed_mm_s=process.arm_speed_mm_s, spacing_mm=process.stroke_spacing_mm
    )
    scale = laid / process.stroke_spacing_mm if laid else 1.0
    return max(by_area, seconds if abs(scale - 1) < SAME else seconds * scale)


def laid_spacing_mm(section: Section) -> float:
    """Return how far apart the first two strokes lie, square to the first [mm]; 0 without two."""
    if len(section.strokes_mm) < 2:
        return 0.0
    (x0, y0), (x1, y1) = section.strokes_mm[0]
    (u0, v0), (u1, v1) = section.strokes_mm[1]
    length = math.hypot(x1 - x0, y1 - y0)
    across = (x1 - x0) * ((v0 + v1) / 2 - y0) - (y1 - y0) * ((u0 + u1) / 2 - x0)
    return abs(across) / length if length else 0.0
