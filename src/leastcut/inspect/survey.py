"""All line evidence of one photo as arrays; scratches, comparison and pictures read from it."""

from dataclasses import dataclass

import cv2
import numpy as np

from leastcut.inspect import linking, profile, ridges
from leastcut.inspect.arrays import F32, F64, U8, Bools, Ints
from leastcut.inspect.linking import Runs
from leastcut.inspect.profile import Profiles

LEVELS = 3
LOW_SNR = 3.2
LEAST_POINTS = 8
LEAST_RISE = 0.0137  # of the root of light: about 4 of 255 encoded levels
LEAST_SCORE = 6.0
SCORE_FROM = 2.7
LEAST_LENGTH_PX = 16.0
LEAST_BALANCE = 0.3  # smaller rise over larger: a line has both, an edge only one
TIGHTEST_BEND_PX = 60.0
DARK_ROOT = 0.03  # evens the noise of near-black pixels under the square root


@dataclass(frozen=True)
class Lines:
    """Runs kept as scratches, which scratch each belongs to, and their profiles."""

    runs: Runs
    scratch: Ints
    profiles: Profiles

    @property
    def count(self) -> int:
        """Number of scratches."""
        return int(self.scratch.max()) + 1 if len(self.scratch) else 0


def grey_of(image: F32) -> F32:
    """Return the mean of the colours: a lamp's glint is nearly white on any paint."""
    if image.ndim == 2:
        return image
    result: F32 = cv2.transform(image, np.full((1, 3), 1 / 3, np.float32))
    return result


def root_of(grey: F32) -> F32:
    """Return light with its noise made even: shot noise grows as the root of light."""
    result: F32 = cv2.sqrt(cv2.max(grey, 0.0) + DARK_ROOT**2)
    return result


def usable_area(grey: F32, measured: Bools) -> Bools:
    """Return the measured area less what is burnt out and a rim round it."""
    burnt = (grey > 0.97).astype(np.uint8)
    rim = cv2.dilate(burnt, np.ones((9, 9), np.uint8))
    free: Bools = rim == 0
    return measured & free


def find_lines(grey: F32, root: F32, usable: Bools) -> Lines:
    """Find every line in the usable area.

    Parameters
    ----------
    grey, root : ndarray (H, W) float32
        Linear light, and its square root.
    usable : ndarray (H, W) bool
        Where lines may be looked for.
    """
    parts: list[Runs] = []
    level_root, level_usable = root, usable
    covered = np.zeros(root.shape, np.uint8)
    for level in range(LEVELS):
        if min(level_root.shape) < 60:
            break
        runs = _level_runs(level_root, level_usable, root.shape, level)
        runs = runs[~_already(covered, runs)] if level else runs
        kept = _acceptable(grey, runs)
        parts.append(kept)
        _cover(covered, kept)
        level_root = cv2.pyrDown(level_root)
        level_usable = cv2.resize(
            level_usable.astype(np.uint8), level_root.shape[::-1], interpolation=cv2.INTER_NEAREST
        ).view(np.bool_)
    return _scratches(grey, linking.concatenate(parts))


def _level_runs(root: F32, usable: Bools, shape: tuple[int, ...], level: int) -> Runs:
    best, which = ridges.respond(root)
    noise = ridges.local_noise(best, usable)
    floor = cv2.max(LOW_SNR * noise, ridges.LINE_GAIN * LEAST_RISE)
    points = ridges.crest(best, which, noise, usable, floor=floor, level=level)
    labels = linking.join(points, (shape[0], shape[1]))
    return linking.fit(points, labels, least_points=LEAST_POINTS)


def _acceptable(grey: F32, runs: Runs) -> Runs:
    """Drop runs that are edges of patches or bent too sharply for a scratch."""
    shape = profile.measure(grey, runs)
    balance = shape.lesser / np.maximum(shape.larger, 1e-9)
    bend = 1 / np.maximum(2 * np.abs(runs.c2), 1e-9)
    keep = (balance > LEAST_BALANCE) & (bend > TIGHTEST_BEND_PX * 2.0 ** (runs.level / 2))
    return runs[keep]


def _already(covered: U8, runs: Runs) -> Bools:
    """Tell which runs lie on lines already found at a finer level."""
    cut = profile.pieces(runs, 4.0)
    x = np.clip(np.round(cut.x), 0, covered.shape[1] - 1).astype(np.intp)
    y = np.clip(np.round(cut.y), 0, covered.shape[0] - 1).astype(np.intp)
    hit = np.bincount(cut.run, covered[y, x] > 0, minlength=len(runs))
    result: Bools = hit > 0.3 * np.bincount(cut.run, minlength=len(runs))
    return result


def _cover(covered: U8, runs: Runs) -> None:
    """Draw the runs, thick, where coarser levels shall not find them again."""
    long = runs[score(runs) > LEAST_SCORE / 2]
    x0, y0 = long.at(long.t0)
    xm, ym = long.at((long.t0 + long.t1) / 2)
    x1, y1 = long.at(long.t1)
    lines = np.stack([x0, y0, xm, ym, x1, y1], 1).reshape(-1, 3, 2)
    cv2.polylines(covered, list(np.round(lines).astype(np.int32)), False, 1, 9)


def score(runs: Runs) -> F64:
    """Return the evidence for each run: excess over noise times the root of its points."""
    result: F64 = (runs.snr - SCORE_FROM) * np.sqrt(runs.n)
    return result


def _scratches(grey: F32, runs: Runs) -> Lines:
    """Join runs to scratches and keep those with enough evidence."""
    label = linking.bridge(runs)
    size = int(label.max()) + 1 if len(label) else 0
    n = np.bincount(label, runs.n, minlength=size)
    mean = np.bincount(label, runs.snr * runs.n, minlength=size) / np.maximum(n, 1)
    length = np.bincount(label, runs.length, minlength=size)
    good = ((mean - SCORE_FROM) * np.sqrt(n) > LEAST_SCORE) & (length > LEAST_LENGTH_PX)
    kept = runs[good[label]]
    names = np.unique(label[good[label]], return_inverse=True)[1].astype(np.intp)
    return Lines(kept, names, profile.measure(grey, kept))
