"""How long the pad is on the paint: strokes over arm speed, plus turning."""

import itertools
import math

from leastcut.plan.records import Section
from leastcut.testspot.records import Process

TURN_S = 0.5  # lifting nothing, only turning the arm round; common practice, no source


def set_seconds(section: Section, process: Process) -> float:
    """Return how long one set takes on a section [s].

    Parameters
    ----------
    section : Section
        Its strokes, as walked; without strokes they are estimated as two directions of
        parallel strokes over the area.
    process : Process
        Arm speed and stroke spacing.

    Returns
    -------
    float
        Walking length over arm speed, plus a turn between strokes [s].
    """
    if section.strokes_mm:
        walked = _walked_mm(section)
        turns = len(section.strokes_mm) - 1
    else:
        walked = 2.0 * section.area_mm2 / process.stroke_spacing_mm
        turns = round((section.width_mm + section.height_mm) / process.stroke_spacing_mm)
    return walked / process.arm_speed_mm_s + TURN_S * turns


def _walked_mm(section: Section) -> float:
    corners = [point for stroke in section.strokes_mm for point in stroke]
    return math.fsum(math.dist(a, b) for a, b in itertools.pairwise(corners))
