"""Measure the scratches in one photo: load with its interval, kinds, direction, width, haze.

>>> import numpy as np
>>> blank = np.full((240, 320, 3), 0.02, np.float32)
>>> find(blank).refused.why
'the photo has no scale'
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv

from leastcut.errors import Refusal
from leastcut.inspect import (
    glint,
    haze,
    kinds,
    light,
    pictures,
    profile,
    quality,
    scale,
    survey,
    target,
)
from leastcut.inspect.arrays import F32, F64, Bools, Ints, sums
from leastcut.inspect.light import Corrected, Elements, Field, Lamp
from leastcut.inspect.records import Direction, LoadByKind, Scratch, ScratchFinding
from leastcut.inspect.scale import Frame
from leastcut.inspect.survey import Lines

SYSTEMATIC_SD = 0.04  # of the load: what the bench shows beyond counting and the light's fit
UNSEEN_LAMP_SD = 0.35  # of the load, the lamp's image out of view; found with rendered photos
LEAST_DARK = 0.05  # share of scratches that no lamp is trusted to show
PIECE_PX = 4.0
POINT_PX = 12.0
MARGIN_PX = 6.0
TYPICAL_LENGTH_MM = 5.0  # glint of one scratch, for the upper bound where none is seen
PSF_FWHM_PX = 2.6  # a phone camera's own width of a fine line, where too few lines tell
PSF_RANGE_PX = (1.8, 3.6)

overlay = pictures.overlay
centrelines = pictures.centrelines


@dataclass(frozen=True)
class Evidence:
    """Everything measured in one photo, as arrays, before it becomes a finding."""

    frame: Frame
    grey: F32
    measured: Bools
    usable: Bools
    lines: Lines
    elements: Elements
    corrected: Corrected
    place: Field
    sharp: bool

    @property
    def lamp(self) -> Lamp | None:
        """The lamp's mirror image, where it is in view."""
        return self.corrected.lamp

    @property
    def lamps(self) -> tuple[Lamp, ...]:
        """The same as a sequence of none or one."""
        return () if self.lamp is None else (self.lamp,)


def find(
    image: F32,
    *,
    um_per_px: float | None = None,
    square_mm: float | None = None,
) -> ScratchFinding:
    """Find and measure the scratches in one photo.

    Parameters
    ----------
    image : ndarray (H, W, 3) or (H, W) float32
        Linear light, 0 to 1, 1 where the camera clipped.
    um_per_px : float, optional
        Scale typed by the user [µm per pixel]; the whole photo is measured.
    square_mm : float, optional
        Inner side of a taped or printed square in the photo [mm]; its inside is measured.

    Returns
    -------
    ScratchFinding
        With ``refused`` filled, and no measure, where the photo cannot carry the answer.
    """
    evidence = gather(image, um_per_px=um_per_px, square_mm=square_mm)
    if isinstance(evidence, Refusal):
        return refusal(evidence)
    return conclude(evidence)


def frame_of(
    root: F32, grey: F32, um_per_px: float | None, square_mm: float | None
) -> Frame | Refusal:
    """Return scale and frame from what the user gave, or why there is none."""
    if um_per_px is not None and square_mm is None:
        return scale.typed(um_per_px)
    side_mm = square_mm or target.SIDE_MM
    found = scale.square(root, side_mm)
    printed = None if isinstance(found, Refusal) else scale.sheet(found, grey, side_mm)
    if printed is not None or square_mm is not None:
        return printed or found
    return Refusal(
        why="the photo has no scale",
        do="Tape a square of known inner side round the place and give --square-mm, lay the printed target beside it, or give --um-per-px",
    )


def gather(
    image: F32, *, um_per_px: float | None = None, square_mm: float | None = None
) -> Evidence | Refusal:
    """Do the measuring of :func:`find` and return it as arrays, or why the photo cannot carry it."""
    grey = survey.grey_of(image)
    if min(grey.shape) < quality.SMALLEST_SIDE_PX:
        return quality.too_small(grey.shape)
    root = survey.root_of(grey)
    frame = frame_of(root, grey, um_per_px, square_mm)
    if isinstance(frame, Refusal):
        return frame
    measured = frame.inside(grey.shape, MARGIN_PX)
    usable = survey.usable_area(grey, measured, frame.um_per_px)
    refused = (
        quality.coarse(frame.um_per_px)
        or quality.exposure(grey, measured)
        or quality.film(image, usable)
    )
    if refused is not None:
        return refused
    lines = survey.find_lines(grey, root, usable, um_per_px=frame.um_per_px)
    refused, sharp = quality.focus(root, usable, lines.profiles.fwhm_px, lines.runs.snr)
    if refused is not None:
        return refused
    cut = profile.pieces(lines.runs, PIECE_PX)
    own = cut.length * light.once(cut.x, cut.y, cut.theta)
    elements = Elements(cut.x, cut.y, cut.theta, own, lines.scratch[cut.run])
    place = light.field(usable)
    shine = glint.measure(grey, usable, lines.runs, cut, place)
    corrected = light.correct(elements, place, light.highlights(grey, measured))
    corrected = glint.refine(corrected, elements, place, shine)
    return Evidence(frame, grey, measured, usable, lines, elements, corrected, place, sharp)


def refusal(why: Refusal, frame: Frame | None = None) -> ScratchFinding:
    """Return a finding that only refuses."""
    return ScratchFinding(
        um_per_px=frame.um_per_px if frame else None,
        scale_from=frame.scale_from if frame else None,
        area_cm2=None,
        load_mm_per_cm2=None,
        load_low=None,
        load_high=None,
        load_seen_mm_per_cm2=None,
        by_kind=None,
        haze=None,
        direction=None,
        light_px=None,
        refused=why,
    )


def conclude(evidence: Evidence) -> ScratchFinding:
    """Turn the evidence of one photo into a finding."""
    e = evidence
    mm_per_px = e.frame.um_per_px / 1000
    local = _local_scale(e)
    to_load = 100.0 / mm_per_px  # px per px2 -> mm per cm2
    per_scratch = sums(e.elements.owner, e.corrected.shares, e.lines.count)
    load = float(per_scratch.sum()) * to_load
    low, high = interval(
        per_scratch * to_load, _relative_sd(e), _least_visible(e), lit=_lit_share(e)
    )
    area_cm2 = float(
        (e.measured.sum() if e.frame.corners_px is None else _inner_area(e)) * mm_per_px**2 / 100
    )
    usable_cm2 = float(e.place.area.sum()) * mm_per_px**2 / 100
    table = _table(e, local)
    kind = kinds.sort(table.theta, per_scratch, table.depth)
    by_kind = [float(per_scratch[kind == k].sum()) * to_load for k in range(3)]
    seen = float((e.elements.length * local).sum()) / max(usable_cm2, 1e-9)
    return ScratchFinding(
        um_per_px=e.frame.um_per_px,
        scale_from=e.frame.scale_from,
        area_cm2=area_cm2,
        load_mm_per_cm2=load,
        load_low=low,
        load_high=high,
        load_seen_mm_per_cm2=seen,
        by_kind=LoadByKind(swirl=by_kind[0], trail=by_kind[1], deep=by_kind[2]),
        haze=haze.halo(e.grey, e.usable, e.lamp),
        direction=_direction(e),
        light_px=(e.lamp[0], e.lamp[1]) if e.lamp else None,
        square_px=_corners(e.frame),
        scratches=_records(e, table, kind),
        flags=_flags(e),
    )


def _corners(frame: Frame) -> tuple[tuple[float, float], ...]:
    corners = np.zeros((0, 2)) if frame.corners_px is None else frame.corners_px
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in corners)


def _local_scale(e: Evidence) -> F64:
    """Millimetres per pixel at each element."""
    result: F64 = np.sqrt(e.frame.area_scale(e.elements.x, e.elements.y))
    return result


def _inner_area(e: Evidence) -> float:
    """Area of the square in pixels of the middle scale."""
    assert e.frame.corners_px is not None
    x, y = e.frame.millimetres(e.frame.corners_px[:, 0], e.frame.corners_px[:, 1])
    area_mm2 = 0.5 * abs(float(x @ np.roll(y, 1) - y @ np.roll(x, 1)))
    return area_mm2 / (e.frame.um_per_px / 1000) ** 2


def _relative_sd(e: Evidence) -> float:
    guessed = 0.0 if e.lamp else UNSEEN_LAMP_SD
    parts = (e.corrected.relative_sd, e.frame.relative_sd, SYSTEMATIC_SD, guessed)
    return float(np.sqrt(np.square(parts).sum()))


def _lit_share(e: Evidence) -> float:
    """Return the share of the place's scratches that this lamp shows; 0 where the light is unknown."""
    seen = e.corrected.visibility
    return seen.lit_fraction if seen.centre is not None else 0.0


def _least_visible(e: Evidence) -> float:
    """Load that one typical scratch would stand for [mm/cm2]."""
    area_cm2 = float(e.place.area.sum()) * (e.frame.um_per_px / 1e4) ** 2
    share = e.corrected.visibility.lit_fraction if len(e.elements.x) else 0.1
    return TYPICAL_LENGTH_MM / max(area_cm2 * max(share, 0.02), 1e-6)


def interval(
    per_scratch: F64, relative_sd: float, one: float, *, lit: float = 0.0
) -> tuple[float, float]:
    """Return the 95 % bounds of a load that is a sum over scratches counted by chance.

    Parameters
    ----------
    per_scratch : ndarray (n,)
        What each scratch adds to the load.
    relative_sd : float
        Relative standard uncertainty of everything but the counting.
    one : float
        What one typical scratch would add, for the bound when few or none are seen.
    lit : float
        Share of the place's scratches that could be seen. Those are not in doubt: only the part
        that stayed dark is (the finite population correction of sampling theory; Cochran,
        Sampling Techniques; from memory).

    Notes
    -----
    The count behind a weighted sum of independent scratches is (sum w)^2 / sum w^2; its Poisson
    bounds are the gamma quantiles of Garwood, Biometrika 28, 437 (1936); from memory.
    """
    load = float(per_scratch.sum())
    if load <= 0:
        return 0.0, 3.689 * one  # Garwood's upper bound for a count of zero
    count = load**2 / float((per_scratch**2).sum()) / max(1 - lit, LEAST_DARK)
    fewer = np.log(gammaincinv(count, 0.025) / count)
    more = np.log(gammaincinv(count + 1, 0.975) / count)
    other = 1.96 * relative_sd
    return load * float(np.exp(-np.hypot(fewer, other))), load * float(
        np.exp(np.hypot(more, other))
    )


@dataclass(frozen=True)
class _Table:
    """One row per scratch."""

    theta: F64
    length_mm: F64
    width_um: F64
    contrast: F64
    depth: F64  # see kinds.deepness


def _table(e: Evidence, local: F64) -> _Table:
    size = e.lines.count
    length = sums(e.elements.owner, e.elements.length * local, size)
    doubled = 2 * e.elements.theta
    sin = sums(e.elements.owner, e.elements.length * np.sin(doubled), size)
    cos = sums(e.elements.owner, e.elements.length * np.cos(doubled), size)
    weight = e.lines.runs.length
    total = np.maximum(sums(e.lines.scratch, weight, size), 1e-9)

    def mean(v: F64) -> F64:
        return sums(e.lines.scratch, weight * v, size) / total

    shape = e.lines.profiles
    fwhm = mean(shape.fwhm_px)
    own = np.sqrt(np.maximum(fwhm**2 - _camera_fwhm(fwhm) ** 2, 0.05))
    strength = np.zeros(size)
    rise = (shape.lesser + shape.larger) / 2
    np.maximum.at(strength, e.lines.scratch, rise * shape.fwhm_px)
    contrast = mean(rise / np.maximum(shape.ground, 0.002))
    depth = kinds.deepness(fwhm, strength, sums(e.elements.owner, e.elements.length, size))
    return _Table(
        (np.arctan2(sin, cos) / 2) % np.pi, length, own * e.frame.um_per_px, contrast, depth
    )


def _camera_fwhm(fwhm_px: F64) -> float:
    """Return the camera's own width of a line: that of the finest lines, within what cameras do."""
    if len(fwhm_px) < 8:
        return PSF_FWHM_PX
    return float(np.clip(np.quantile(fwhm_px, 0.25), *PSF_RANGE_PX))


def _direction(e: Evidence) -> Direction | None:
    """Mean direction of what the panel bears, each piece at its corrected share."""
    if len(e.elements.x) == 0:
        return None
    doubled = 2 * e.elements.theta
    weight = e.corrected.shares / e.corrected.shares.sum()
    x, y = float(weight @ np.cos(doubled)), float(weight @ np.sin(doubled))
    up = np.degrees(np.arctan2(-y, x) / 2) % 180  # image y points down
    return Direction(resultant=float(np.hypot(x, y)), degrees=float(up))


def _records(e: Evidence, table: _Table, kind: Ints) -> tuple[Scratch, ...]:
    points = polylines(e.lines)
    return tuple(
        Scratch(
            kind=kinds.NAMES[kind[k]],
            length_mm=float(table.length_mm[k]),
            width_um=float(table.width_um[k]),
            contrast=float(table.contrast[k]),
            points_px=points[k],
        )
        for k in range(e.lines.count)
    )


def polylines(lines: Lines) -> list[tuple[tuple[float, float], ...]]:
    """Return each scratch as points along it, its runs put in order along its main direction."""
    cut = profile.pieces(lines.runs, POINT_PX)
    ends_x, ends_y = zip(lines.runs.at(lines.runs.t0), lines.runs.at(lines.runs.t1), strict=True)
    x = np.concatenate([cut.x, *ends_x])
    y = np.concatenate([cut.y, *ends_y])
    owner = np.concatenate([lines.scratch[cut.run], lines.scratch, lines.scratch])
    n = np.maximum(np.bincount(owner, minlength=lines.count), 1)
    dx = x - (np.bincount(owner, x, minlength=lines.count) / n)[owner]
    dy = y - (np.bincount(owner, y, minlength=lines.count) / n)[owner]

    def total(v: F64) -> F64:
        return sums(owner, v, lines.count)

    axis = 0.5 * np.arctan2(2 * total(dx * dy), total(dx * dx) - total(dy * dy))[owner]
    order = np.lexsort((dx * np.cos(axis) + dy * np.sin(axis), owner))
    pairs = np.round(np.column_stack([x[order], y[order]]), 2).tolist()
    stops = np.cumsum(np.bincount(owner, minlength=lines.count)).tolist()
    starts = [0, *stops][: len(stops)]
    return [tuple((p[0], p[1]) for p in pairs[a:b]) for a, b in zip(starts, stops, strict=True)]


def _flags(e: Evidence) -> tuple[str, ...]:
    flags = []
    if not e.sharp:
        flags.append("focus-unproven")
    if e.lamp is None:
        flags.append("no-highlight")
    if not np.isfinite(e.corrected.visibility.reach_px) and e.lines.count:
        flags.append("light-not-modelled")
    if e.lines.count < 20:
        flags.append("few-scratches")
    return tuple(flags)
