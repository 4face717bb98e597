"""Across each line: how bright, how wide, and whether it is a line at all or the edge of a patch."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from leastcut.inspect.arrays import F32, F64, Ints, bilinear, sums
from leastcut.inspect.linking import Runs

HALF_PX = 7
SPACING_PX = 2.0


@dataclass(frozen=True)
class Pieces:
    """Points every few pixels along runs: place, direction [rad], length each stands for [px]."""

    x: F64
    y: F64
    theta: F64
    length: F64
    run: Ints


@dataclass(frozen=True)
class Profiles:
    """Per run: rise over both sides, the smaller and the larger [linear], ground, width [px].

    ``fwhm_px`` is the full width at half maximum as seen, the camera's blur included.
    ``lit_px`` is the length over which its light is spread: a speck's is short [px].
    """

    lesser: F64
    larger: F64
    ground: F64
    fwhm_px: F64
    lit_px: F64

    def __getitem__(self, pick: Any) -> "Profiles":
        return Profiles(*(getattr(self, f.name)[pick] for f in fields(self)))


def pieces(runs: Runs, spacing: float = SPACING_PX) -> Pieces:
    """Cut each run into pieces of about `spacing` pixels."""
    count = np.maximum((runs.length / spacing).astype(np.intp), 1)
    run = np.repeat(np.arange(len(runs)), count)
    k = np.arange(len(run)) - (np.cumsum(count) - count)[run]
    all_runs = runs[run]
    t = runs.t0[run] + (k + 0.5) / count[run] * (runs.t1 - runs.t0)[run]
    x, y = all_runs.at(t)
    theta = (all_runs.angle + np.arctan(all_runs.slope(t))) % np.pi
    return Pieces(x, y, theta, (runs.length / count)[run], run)


def concatenate(parts: Sequence[Profiles]) -> Profiles:
    """Return several sets of profiles as one."""
    return Profiles(
        *(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Profiles))
    )


def measure(grey: F32, runs: Runs) -> Profiles:
    """Measure the mean profile across each run in linear light."""
    cut = pieces(runs)
    size = len(runs)
    number = np.maximum(np.bincount(cut.run, minlength=size), 1)
    scale = 2.0 ** runs.level[cut.run]
    nx, ny = -np.sin(cut.theta) * scale, np.cos(cut.theta) * scale
    columns: list[F64] = []
    crest = np.zeros(len(cut.x))
    far = np.full(len(cut.x), np.inf)
    for k in range(-HALF_PX, HALF_PX + 1):
        value = bilinear(grey, cut.x + k * nx, cut.y + k * ny)
        columns.append(sums(cut.run, value, size) / number)
        crest = np.maximum(crest, value) if abs(k) <= 1 else crest
        far = np.minimum(far, value) if abs(k) >= 3 else far
    profile: F64 = np.stack(columns, axis=1)
    scale_of: F64 = 2.0 ** runs.level.astype(np.float64)
    height = np.clip(crest - far, 0, None)
    squares = np.maximum(sums(cut.run, height**2, size), 1e-12)
    lit = sums(cut.run, height, size) ** 2 / squares * (runs.length / number)
    return _summary(profile, scale_of, lit)


def _summary(profile: F64, scale: F64, lit: F64) -> Profiles:
    middle = HALF_PX
    top = profile[:, middle - 1 : middle + 2].max(1)
    left = profile[:, 1:4].mean(1)
    right = profile[:, -4:-1].mean(1)
    near = np.minimum(profile[:, 2:5].min(1), left), np.minimum(profile[:, -5:-2].min(1), right)
    rise = np.stack([top - near[0], top - near[1]])
    ground = (left + right) / 2
    height = np.maximum(top - ground, 1e-9)
    above = np.clip(profile - ground[:, None] - 0.08 * height[:, None], 0, None)
    area = above[:, middle - 5 : middle + 6].sum(1)
    fwhm = area / (0.92 * height) / 1.0645 * 1.06  # of a Gaussian: area / height / 1.0645
    return Profiles(rise.min(0), rise.max(0), ground, fwhm * scale, lit)
