"""Set a finding beside the truth of its take: errors as plain numbers, by raster and interpolation."""

from itertools import pairwise

import cv2
import numpy as np
from scipy.interpolate import RegularGridInterpolator
from takes import Take, truth, way

from leastcut.polish.records import PadSettings
from leastcut.polish.removal import removal_map
from leastcut.work.records import TechniqueFinding
from leastcut.work.technique import Technique


def path_error_mm(finding: TechniqueFinding, take: Take) -> float:
    """Return the rms distance of the path from where the pad was [mm]."""
    true = truth(take)
    t, x, y = np.array(finding.path).T
    at = [np.interp(t, true.t_s, true.xy_mm[:, k]) for k in (0, 1)]
    return float(np.sqrt(((x - at[0]) ** 2 + (y - at[1]) ** 2).mean()))


def covered(take: Take) -> np.ndarray:
    """Return which square millimetres of the section the pad went over, stamped disc by disc."""
    n = round(take.square_mm)
    mask = np.zeros((n, n), np.uint8)
    true = truth(take)
    shift = 4
    for (x, y), down in zip(true.xy_mm, true.down, strict=True):
        if down:
            centre = (round((x - 0.5) * 16), round((y - 0.5) * 16))
            cv2.circle(mask, centre, round(take.pad_mm / 2 * 16), 1, -1, cv2.LINE_8, shift)
    return mask > 0


def coverage_iou(finding: TechniqueFinding, take: Take) -> float:
    """Return the overlap of the covered area found with the true one: intersection over union."""
    n = round(take.square_mm)
    found = np.ones((n, n), np.uint8)
    for ring in finding.missed_mm:
        points = np.round((np.array(ring) - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(found, [points], 0, cv2.LINE_8, 4)
    true = covered(take)
    return float((true & (found > 0)).sum() / (true | (found > 0)).sum())


def cut_ratio(result: Technique, take: Take, settings: PadSettings, rate: float) -> float:
    """Return mean cut found over mean cut of the planned way, on the same cells of the section."""
    planned = removal_map(
        planned_strokes(take),
        settings,
        preston_um_per_kpa_m=rate,
        arm_speed_mm_s=take.speed_mm_s,
        grid_mm=2.0,
    )
    assert result.cut is not None
    axes = (planned.grid.ys_mm(), planned.grid.xs_mm())
    at = RegularGridInterpolator(axes, planned.depth_um, bounds_error=False, fill_value=0.0)
    x, y = np.meshgrid(result.cut.grid.xs_mm(), result.cut.grid.ys_mm())
    within = (x > 0) & (y > 0) & (x < take.square_mm) & (y < take.square_mm)
    theirs = at(np.column_stack([y[within], x[within]]))
    return float(result.cut.depth_um[within].mean() / theirs.mean())


def planned_strokes(take: Take) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Return the way of a take as strokes from way point to way point."""
    points = [tuple(p) for p in way(take)]
    return [(a, b) for a, b in pairwise(points) if a != b]


def planned_lines(take: Take) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Return the strokes alone, without the steps from line to line."""
    points = [tuple(p) for p in way(take)]
    return list(zip(points[::2], points[1::2], strict=True))
