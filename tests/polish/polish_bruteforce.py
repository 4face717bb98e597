"""An independent truth for the removal map: points of the pad stepped through orbit and spin.

Nothing of the code under test is used: no elliptic integral, no footprint, no convolution. Each
point of the pad's face carries its share of the force, moves with the arm, the orbit and the spin,
and leaves Preston's k·p·|v|·dt in the cell where it is.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Stroke = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Tool:
    """Machine, pad and paint in SI-like workshop units."""

    pad_diameter_mm: float
    orbit_mm: float
    orbits_per_min: float
    spin_rpm: float
    force_n: float
    preston_um_per_kpa_m: float
    arm_speed_mm_s: float


def pad_points(radius: float, count: int) -> Array:
    """Return points of equal area on a disc: a sunflower."""
    index = np.arange(count) + 0.5
    turn = index * math.pi * (3.0 - math.sqrt(5.0))
    r = radius * np.sqrt(index / count)
    return np.column_stack([r * np.cos(turn), r * np.sin(turn)])


def stepped_removal(
    strokes: Sequence[Stroke],
    tool: Tool,
    *,
    origin: tuple[float, float],
    shape: tuple[int, int],
    cell: float,
    points: int = 900,
    steps_per_orbit: int = 16,
) -> Array:
    """Return the depth [µm] left in each cell by walking every stroke in time."""
    depth = np.zeros(shape[0] * shape[1])
    face = pad_points(tool.pad_diameter_mm / 2, points)
    clock = 0.0
    for stroke in strokes:
        start, end = np.array(stroke[0]), np.array(stroke[1])
        length = float(np.hypot(*(end - start)))
        duration = length / tool.arm_speed_mm_s
        steps = math.ceil(duration * tool.orbits_per_min / 60.0 * steps_per_orbit)
        middle = (np.arange(steps) + 0.5) / steps
        for chunk in np.array_split(middle, max(1, steps // 400)):
            centre = start + chunk[:, None] * (end - start)
            moving = (end - start) / duration
            time = clock + chunk * duration
            _step(depth, shape, origin, cell, tool, face, centre, moving, time, duration / steps)
        clock += duration + 0.3137  # the hand turns; the machine runs on
    return depth.reshape(shape)


def _step(
    depth: Array,
    shape: tuple[int, int],
    origin: tuple[float, float],
    cell: float,
    tool: Tool,
    face: Array,
    centre: Array,
    moving: Array,
    time: Array,
    dt: float,
) -> None:
    orbit, spin = tool.orbits_per_min * math.tau / 60, tool.spin_rpm * math.tau / 60
    e = tool.orbit_mm / 2
    a, b = orbit * time, spin * time
    arm_x, arm_y = e * np.cos(a), e * np.sin(a)
    c, s = np.cos(b)[:, None], np.sin(b)[:, None]
    off_x, off_y = c * face[:, 0] - s * face[:, 1], s * face[:, 0] + c * face[:, 1]
    x = centre[:, :1] + arm_x[:, None] + off_x
    y = centre[:, 1:] + arm_y[:, None] + off_y
    vx = moving[0] - orbit * arm_y[:, None] - spin * off_y
    vy = moving[1] + orbit * arm_x[:, None] + spin * off_x
    speed = np.hypot(vx, vy) * 1e-3  # m/s
    area = math.pi * (tool.pad_diameter_mm / 2) ** 2
    pressure = tool.force_n / area * 1e3  # kPa
    share = area / len(face) / cell**2
    cut = tool.preston_um_per_kpa_m * pressure * speed * dt * share
    j = np.floor((x - origin[0]) / cell + 0.5).astype(np.int64)
    i = np.floor((y - origin[1]) / cell + 0.5).astype(np.int64)
    depth += np.bincount((i * shape[1] + j).ravel(), cut.ravel(), minlength=depth.size)
