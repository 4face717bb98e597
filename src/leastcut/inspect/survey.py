"""All line evidence of one photo as arrays; scratches, comparison and pictures read from it."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from leastcut.inspect import following, likeness, linking, profile, ridges
from leastcut.inspect.arrays import F32, F64, U8, Bools, Ints, line_turn, sums
from leastcut.inspect.following import Layer
from leastcut.inspect.linking import Runs
from leastcut.inspect.profile import Profiles

LEVELS = 3
LOW_SNR = 3.0
LEAST_POINTS = 8
VISIBLE_LEVELS = 4.0  # of 255: a line that rises so much counts as visible
GROUND_PX = 8
FLOOR_SHARE = 0.5  # of the response to that rise, beside what noise lifts it by
LIT_SHARE = 0.7  # of it, between two runs of one scratch that another one crosses
LEAST_SCORE = 6.0
SCORE_FROM = 2.7
LEAST_LENGTH_PX = 16.0
LEAST_BALANCE = 0.15  # smaller rise over larger: a line has both, an edge only one
TIGHTEST_BEND_MM = 4.0
LEAST_LIT_PX = 11.0  # length over which a line's light is spread: a speck has one bright spot
WIDEST_UM = 200.0
CAMERA_PX = 3.5
LEAST_ASPECT = 4.0
PATCH_STEP = 4
GAP_STEP_MM = 0.4
GAP_WIDTH_MM = 7.0  # shut lines are 3 to 5 mm wide: common practice, no source
GAP_RIM_MM = 2.0
GAP_DARKER = 3.0
GAP_FLOOR = 0.002  # linear light of a camera's black
GAP_LENGTH = 0.4  # of the photo's shorter side
TWIN_RAD = 0.2
TWIN_PX = 5
BESIDE_PX = 13
BESIDE_SHARE = 0.3
TWIN_SHARE = 0.7
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


def visible_rise(ground: F32) -> F32:
    """Return the rise of the root of light that is 4 of 255 encoded levels, at a ground [linear].

    >>> [round(float(v), 4) for v in visible_rise(np.array([0.01, 0.1, 0.4], np.float32))]
    [0.0118, 0.0147, 0.0165]

    source: sRGB's transfer function, IEC 61966-2-1; status: from memory.
    """
    light = np.clip(ground, 0.0, 1.0).astype(np.float64)
    code = np.where(light > 0.0031308, 1.055 * light ** (1 / 2.4) - 0.055, 12.92 * light)
    more = code + VISIBLE_LEVELS / 255
    raised = np.where(more > 0.04045, ((more + 0.055) / 1.055) ** 2.4, more / 12.92)
    result: F32 = (np.sqrt(raised + DARK_ROOT**2) - np.sqrt(light + DARK_ROOT**2)).astype(
        np.float32
    )
    return result


def _visible_map(grey: F32) -> F32:
    """Return, on a coarse grid, the rise from which a line counts as visible over its ground."""
    size = (max(5, grey.shape[1] // GROUND_PX), max(5, grey.shape[0] // GROUND_PX))
    ground = cv2.medianBlur(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), 5)
    return visible_rise(ground)


def usable_area(grey: F32, measured: Bools, um_per_px: float) -> Bools:
    """Return the measured area less burnt-out patches, shut lines, and a rim round them.

    A burnt-out line is not left out: only what stays burnt out over a patch wider than a scratch.
    """
    small = cv2.resize(
        grey, None, fx=1 / PATCH_STEP, fy=1 / PATCH_STEP, interpolation=cv2.INTER_AREA
    )
    burnt = cv2.morphologyEx(
        (small > 0.93).astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)
    )
    rim = cv2.dilate(burnt, np.ones((5, 5), np.uint8))
    free: Bools = cv2.resize(rim, grey.shape[::-1], interpolation=cv2.INTER_NEAREST) == 0
    gaps = _shut_lines(grey, um_per_px)
    return measured & free if gaps is None else measured & free & ~gaps


def _shut_lines(grey: F32, um_per_px: float) -> Bools | None:
    """Return where the dark gap between two panels is, with its rounded rims; None where none is.

    A gap is far darker than what lies on both sides of it, a few millimetres wide, straight, and
    crosses a good part of the photo. Its rims shine like scratches, and are none.
    """
    step = max(1, round(GAP_STEP_MM * 1000 / um_per_px))
    size = (grey.shape[1] // step, grey.shape[0] // step)
    if min(size) < 2 * GAP_WIDTH_MM / GAP_STEP_MM:
        return None
    small = cv2.medianBlur(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), 3)
    disc = cv2.getStructuringElement(
        cv2.MORPH_ELLIPSE, (round(GAP_WIDTH_MM / GAP_STEP_MM) | 1,) * 2
    )
    beside = cv2.morphologyEx(small, cv2.MORPH_CLOSE, disc)
    dark = (beside > GAP_DARKER * (small + GAP_FLOOR)).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dark)
    keep = np.zeros(count, np.uint8)
    for k in np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] > min(size)) + 1:
        rows, cols = np.nonzero(labels == k)
        _, sides, _ = cv2.minAreaRect(np.column_stack([cols, rows]).astype(np.float32))
        short, long = min(sides) + 1, max(sides) + 1
        keep[k] = long > GAP_LENGTH * min(size) and short < 1.5 * GAP_WIDTH_MM / GAP_STEP_MM
    if not keep.any():
        return None
    rim = 2 * round(GAP_RIM_MM / GAP_STEP_MM) + 1
    wide = cv2.dilate(keep[labels], cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (rim, rim)))
    result: Bools = cv2.resize(wide, grey.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
    return result


def find_lines(
    grey: F32, root: F32, usable: Bools, *, um_per_px: float, only_scratches: bool = True
) -> Lines:
    """Find every line in the usable area.

    Parameters
    ----------
    grey, root : ndarray (H, W) float32
        Linear light, and its square root.
    usable : ndarray (H, W) bool
        Where lines may be looked for.
    um_per_px : float
        Scale, by which marks too wide or too curly for a scratch are told.
    only_scratches : bool
        Leave out lines that look less like a scratch than like a rim, a fibre or rowed-up specks.
    """
    parts: list[Runs] = []
    level_root, level_usable = root, usable
    covered: U8 = np.zeros(root.shape, np.uint8)
    strength: F32 = root
    layers: list[Layer] = []
    coarse = _visible_map(grey)
    for level in range(LEVELS):
        if min(level_root.shape) < 60:
            break
        visible = cv2.resize(coarse, level_root.shape[::-1], interpolation=cv2.INTER_LINEAR)
        runs, layer, best = _level_runs(level_root, level_usable, visible, root.shape, level)
        strength = strength if level else best
        kept = distinct(_acceptable(grey, runs, um_per_px), root.shape)
        layers.append(layer)
        parts.append(kept[~_beside(covered, kept)] if level else kept)
        _cover(covered, parts[-1])
        level_root = ridges.halved(level_root)
        level_usable = cv2.resize(
            level_usable.astype(np.uint8), level_root.shape[::-1], interpolation=cv2.INTER_NEAREST
        ).view(np.bool_)
    scale = um_per_px if only_scratches else None
    lit = LIT_SHARE * ridges.LINE_GAIN * float(np.median(coarse))
    runs = linking.concatenate(parts)
    lines = _scratches(grey, runs, linking.bridge(runs, strength, lit), scale)
    return _followed(grey, lines, layers)


def _followed(grey: F32, lines: Lines, layers: list[Layer]) -> Lines:
    """Add to each scratch what lies beyond the ends of its runs."""
    runs, scratch = [lines.runs], [lines.scratch]
    for layer in layers:
        own = lines.runs.level == layer.level
        more, parent = following.follow(layer, lines.runs[own])
        runs.append(more)
        scratch.append(lines.scratch[own][parent])
    every, names = linking.concatenate(runs), np.concatenate(scratch)
    keep = _own_line(every, grey.shape)
    keep[: len(lines.runs)] = True  # two ends may have followed the same gap; the runs stay
    added = profile.measure(grey, every[keep][len(lines.runs) :])
    return Lines(every[keep], names[keep], profile.concatenate([lines.profiles, added]))


def _level_runs(
    root: F32, usable: Bools, visible: F32, shape: tuple[int, ...], level: int
) -> tuple[Runs, Layer, F32]:
    """Return the runs of one pyramid level, what was known of it, and the response."""
    best, which = ridges.respond(root, usable)
    noise = ridges.local_noise(best, usable)
    lifted = cv2.min(noise, following.MOST_LIFTED)
    share = FLOOR_SHARE * ridges.LINE_GAIN
    floor = cv2.max(LOW_SNR * noise, cv2.addWeighted(visible, share, lifted, following.LIFT, 0.0))
    points = ridges.crest(best, which, noise, usable, floor=floor, level=level)
    labels = linking.join(points, (shape[0], shape[1]))
    runs = linking.fit(points, labels, least_points=LEAST_POINTS)
    return runs, Layer(root, noise, visible, usable, level), best


def _acceptable(grey: F32, runs: Runs, um_per_px: float) -> Runs:
    """Drop runs that are edges of patches, specks, or too wide or too curly for a scratch."""
    bend = 1 / np.maximum(2 * np.abs(runs.c2), 1e-9)
    longer = runs.length > LEAST_LIT_PX * 2.0**runs.level  # what is shorter cannot be lit so far
    runs = runs[longer & (bend > TIGHTEST_BEND_MM * 1000 / um_per_px)]
    shape = profile.measure(grey, runs)
    keep = shape.lesser / np.maximum(shape.larger, 1e-9) > LEAST_BALANCE
    keep &= shape.lit_px > LEAST_LIT_PX * 2.0**runs.level
    keep &= shape.fwhm_px < WIDEST_UM / um_per_px + CAMERA_PX
    keep &= runs.length > LEAST_ASPECT * shape.fwhm_px
    return runs[keep]


def _cover(covered: U8, runs: Runs) -> None:
    """Draw the runs, thick, where coarser levels shall not find them again."""
    cv2.polylines(covered, linking.drawn(runs), False, 1, BESIDE_PX)


def _at_pieces(canvas: npt.NDArray[Any], cut: profile.Pieces) -> npt.NDArray[Any]:
    x = np.clip(np.round(cut.x), 0, canvas.shape[1] - 1).astype(np.intp)
    y = np.clip(np.round(cut.y), 0, canvas.shape[0] - 1).astype(np.intp)
    return canvas[y, x]


def _beside(covered: U8, runs: Runs) -> Bools:
    """Tell which runs lie on or beside lines found at a finer level."""
    cut = profile.pieces(runs, 4.0)
    number = np.maximum(np.bincount(cut.run, minlength=len(runs)), 1)
    result: Bools = sums(cut.run, _at_pieces(covered, cut), len(runs)) / number > BESIDE_SHARE
    return result


def distinct(runs: Runs, shape: tuple[int, ...]) -> Runs:
    """Drop runs that lie along a stronger one: the same line found twice."""
    return runs[_own_line(runs, shape)]


def _own_line(runs: Runs, shape: tuple[int, ...]) -> Bools:
    """Tell which runs do not lie along a stronger one.

    All are drawn in order of strength, each in its own number, the strongest last; a run most of
    whose length has been drawn over by another of its direction is the weaker twin.
    """
    names = np.zeros(shape[:2], np.float32)
    lines = linking.drawn(runs)
    for k in np.argsort(score(runs), kind="stable").tolist():
        cv2.polylines(names, lines[k : k + 1], False, float(k + 1), TWIN_PX)
    cut = profile.pieces(runs, 4.0)
    other = _at_pieces(names, cut).astype(np.intp) - 1
    twin = (
        (other >= 0)
        & (other != cut.run)
        & (np.abs(line_turn(runs.angle[other] - runs.angle[cut.run])) < TWIN_RAD)
    )
    number = np.maximum(np.bincount(cut.run, minlength=len(runs)), 1)
    result: Bools = sums(cut.run, twin, len(runs)) / number < TWIN_SHARE
    return result


def score(runs: Runs) -> F64:
    """Return the evidence for each run: excess over noise times the root of its points."""
    result: F64 = (runs.snr - SCORE_FROM) * np.sqrt(runs.n)
    return result


def _scratches(grey: F32, runs: Runs, label: Ints, um_per_px: float | None) -> Lines:
    """Keep the scratches with enough evidence, each of the runs of one label; without a scale, all."""
    size = int(label.max(initial=-1)) + 1
    n = np.maximum(np.bincount(label, runs.n, minlength=size), 1)
    mean = np.bincount(label, runs.snr * runs.n, minlength=size) / n
    length = np.bincount(label, runs.length, minlength=size)
    good = ((mean - SCORE_FROM) * np.sqrt(n) > LEAST_SCORE) & (length > LEAST_LENGTH_PX)
    runs, names = _of(good, runs, label)
    shape = profile.measure(grey, runs)
    if um_per_px is None:
        return Lines(runs, names, shape)
    odds = likeness.at_own_share(likeness.log_odds(runs, names, shape, um_per_px))
    like = (odds > 0)[names]
    runs, names = _of(odds > 0, runs, names)
    return Lines(runs, names, shape[like])


def _of(kept: Bools, runs: Runs, label: Ints) -> tuple[Runs, Ints]:
    """Return the runs whose label is kept, labels numbered anew without gaps."""
    pick = kept[label]
    return runs[pick], (np.cumsum(kept) - 1)[label[pick]].astype(np.intp)
