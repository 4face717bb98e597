"""Before against after: how much of the scratches one place lost, and what the work left behind."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from leastcut.errors import Refusal
from leastcut.inspect import kinds, light, registration, scratches
from leastcut.inspect.arrays import F32, F64, Bools, Ints, sums
from leastcut.inspect.light import Corrected, Elements
from leastcut.inspect.records import CompareFinding
from leastcut.inspect.scratches import Evidence
from leastcut.inspect.survey import root_of

LEAST_OVERLAP_CM2 = 2.0
RESAMPLES = 2000
LIGHT_SD = 0.02  # what light and camera may differ by between two photos
NEAR_SHARE = 0.3  # of the reach within which a scratch is taken to be at its brightest
BLOCKS_ACROSS = 9
FADING = 0.3  # of the logarithm, at full removal; found with rendered pairs
ALIGNED_P = 0.01
LEAST_BEFORE = 5  # scratches


@dataclass(frozen=True)
class Side:
    """One photo's evidence inside the common area.

    ``near`` is the load [mm/cm2] that each piece near its brightest stands for, ``block`` the
    part of the common area that it lies in.
    """

    elements: Elements
    corrected: Corrected
    load: float
    scratches: int
    area_cm2: float
    near: F64
    block: Ints


def compare(
    before: F32,
    after: F32,
    *,
    um_per_px: float | None = None,
    square_mm: float | None = None,
    rng: np.random.Generator | None = None,
) -> CompareFinding:
    """Compare two photos of one place.

    Parameters
    ----------
    before, after : ndarray (H, W, 3) float32
        Linear light.
    um_per_px : float, optional
        Scale of the before photo [µm per pixel]; that of the after photo follows from the match.
    square_mm : float, optional
        Inner side of the taped square seen in both [mm].
    rng : Generator, optional
        For the bootstrap; a fixed one by default, so that the same photos give the same answer.

    Returns
    -------
    CompareFinding
        ``removed_fraction`` is 1 less the ratio of the corrected loads in the common area.
    """
    first = scratches.gather(before, um_per_px=um_per_px, square_mm=square_mm)
    if isinstance(first, Refusal):
        return _refused(first, "before")
    second = scratches.gather(after, um_per_px=um_per_px, square_mm=square_mm)
    if isinstance(second, Refusal):
        return _refused(second, "after")
    match = _register(first, second)
    if isinstance(match, Refusal):
        return _refused(match, "")
    rng = rng if rng is not None else np.random.default_rng(0)
    return _conclude(first, second, match, rng)


def _refused(why: Refusal, which: str) -> CompareFinding:
    text = f"{which} photo: {why.why}" if which else why.why
    return CompareFinding(
        removed_fraction=None,
        removed_low=None,
        removed_high=None,
        before_load_mm_per_cm2=None,
        after_load_mm_per_cm2=None,
        new_trails=None,
        registration_rms_px=None,
        overlap_cm2=None,
        refused=Refusal(why=text, do=why.do),
    )


def _register(first: Evidence, second: Evidence) -> registration.Registration | Refusal:
    a, b = first.frame.corners_px, second.frame.corners_px
    if a is not None and b is not None:
        return registration.by_square(a, b)
    return registration.by_features(
        root_of(first.grey), root_of(second.grey), first.usable, second.usable
    )


def _common(first: Evidence, second: Evidence, to_before: F64) -> tuple[Bools, Bools]:
    """Return the area measured in both photos, in the frame of each."""
    size = first.grey.shape[::-1], second.grey.shape[::-1]
    there = cv2.warpPerspective(
        second.usable.astype(np.uint8), to_before, size[0], flags=cv2.INTER_NEAREST
    )
    back = cv2.warpPerspective(
        first.usable.astype(np.uint8), np.linalg.inv(to_before), size[1], flags=cv2.INTER_NEAREST
    )
    return first.usable & (there > 0), second.usable & (back > 0)


def _side(evidence: Evidence, common: Bools, um_per_px: float) -> Side:
    """Measure one photo inside the common area; see :func:`_near` for the rest."""
    e = evidence.elements
    inside = common[
        np.clip(np.round(e.y), 0, common.shape[0] - 1).astype(np.intp),
        np.clip(np.round(e.x), 0, common.shape[1] - 1).astype(np.intp),
    ]
    kept = Elements(e.x[inside], e.y[inside], e.theta[inside], e.length[inside], e.owner[inside])
    place = light.field(common)
    corrected = light.correct(kept, place, evidence.lamp)
    return Side(
        elements=kept,
        corrected=corrected,
        load=corrected.per_px * 1e5 / um_per_px,
        scratches=len(np.unique(kept.owner)),
        area_cm2=float(place.area.sum()) * (um_per_px / 1e4) ** 2,
        near=np.zeros(0),
        block=np.zeros(0, np.intp),
    )


def _near(
    side: Side,
    common: Bools,
    lamp: light.Lamp | None,
    window_px: float,
    um_per_px: float,
    to_before: F64,
) -> Side:
    """Keep the pieces that lie near enough to the circle round the lamp to be at their brightest.

    There a scratch is seen or not by its own depth, not by how far it is off the circle, so the
    lengths before and after compare like with like even though a shallower groove, being fainter,
    is seen over a narrower range of directions.
    """
    e, place = side.elements, light.field(common)
    centre = lamp[:2] if lamp else side.corrected.visibility.centre
    keep, area = np.ones(len(e.x), bool), np.full(len(e.x), float(place.area.sum()))
    if centre is not None and np.isfinite(window_px):
        keep = light.deviation(e.x, e.y, e.theta, centre) < window_px
        area = light.window_area(place, centre, window_px, e.theta)
    near = (
        np.where(keep, e.length * light.hidden(e, place) / np.maximum(area, 1.0), 0)
        * 1e5
        / um_per_px
    )
    places = cv2.perspectiveTransform(np.stack([e.x, e.y], 1)[None].astype(np.float64), to_before)
    cell = np.sqrt(side.area_cm2 * 1e8 / um_per_px**2) / BLOCKS_ACROSS
    at = np.floor(places[0] / cell).astype(np.intp) if len(e.x) else np.zeros((0, 2), np.intp)
    return replace(side, near=near, block=(at[:, 1] * 1000 + at[:, 0]))


def _conclude(
    first: Evidence, second: Evidence, match: registration.Registration, rng: np.random.Generator
) -> CompareFinding:
    common, back = _common(first, second, match.to_before)
    um = first.frame.um_per_px
    stretch = float(np.sqrt(abs(np.linalg.det(match.to_before[:2, :2]))))
    one, two = _side(first, common, um), _side(second, back, um * stretch)
    window = NEAR_SHARE * one.corrected.visibility.reach_px
    one = _near(one, common, first.lamp, window, um, np.eye(3))
    two = _near(two, back, second.lamp, window / stretch, um * stretch, match.to_before)
    if one.area_cm2 < LEAST_OVERLAP_CM2:
        return _refused(
            Refusal(
                why=f"the photos share only {one.area_cm2:.1f} cm²",
                do="Take both of the same place; leave a taped square round it",
            ),
            "",
        )
    if one.scratches < LEAST_BEFORE or one.near.sum() <= 0:
        return _refused(
            Refusal(
                why=f"the before photo shows only {one.scratches} scratches: too few to compare",
                do="Choose a place with more scratches, or bring the lamp where they show best",
            ),
            "",
        )
    removed, low, high = _removed(one, two, rng)
    return CompareFinding(
        removed_fraction=removed,
        removed_low=low,
        removed_high=high,
        before_load_mm_per_cm2=one.load,
        after_load_mm_per_cm2=one.load * (1 - removed),
        new_trails=_new_trails(one, two),
        registration_rms_px=match.rms_px,
        overlap_cm2=one.area_cm2,
    )


def _removed(one: Side, two: Side, rng: np.random.Generator) -> tuple[float, float, float]:
    """Return the removed fraction and its 95 % bounds by a bootstrap over parts of the area.

    Both photos are drawn anew by the same parts, so that what stayed the same place by place
    does not widen the interval.
    """
    removed = 1 - float(two.near.sum() / one.near.sum())
    names, index = np.unique(np.concatenate([one.block, two.block]), return_inverse=True)
    before = sums(index[: len(one.block)], one.near, len(names))
    after = sums(index[len(one.block) :], two.near, len(names))
    drawn = rng.poisson(1.0, (RESAMPLES, len(names))).astype(np.float64)
    ratio = (drawn @ after) / np.maximum(drawn @ before, 1e-9)
    ratio *= np.exp(LIGHT_SD * rng.standard_normal(RESAMPLES))
    # What is left is fainter and more of it goes unseen: doubt towards less removed, one-sided.
    ratio *= np.exp(FADING * max(removed, 0.0) * np.abs(rng.standard_normal(RESAMPLES)))
    low, high = (float(v) for v in np.quantile(1 - ratio, [0.025, 0.975]))
    # Where next to nothing is left, up to 3.7 typical pieces may have gone unseen (Garwood 1936).
    typical = float(np.median(before[before > 0])) / float(one.near.sum())
    low = min(low, removed) if two.near.sum() > 0 else 1 - 3.689 * typical
    return removed, min(low, removed), max(min(high, 1.0), removed)


def _new_trails(one: Side, two: Side) -> int:
    """Count trails in the after photo whose direction the before photo did not favour.

    Marks of the work itself share a direction; scratches left over do not. Nothing is counted
    unless the directions are aligned beyond chance (Rayleigh's test at 1 %).
    """
    if two.scratches == 0:
        return 0
    kind_after, theta_after = _kinds(two)
    if kinds.rayleigh(theta_after) > ALIGNED_P:
        return 0
    kind_before, theta_before = _kinds(one)
    trails = theta_after[kind_after == kinds.TRAIL]
    old = theta_before[kind_before == kinds.TRAIL]
    if len(trails) == 0 or len(old) == 0:
        return len(trails)
    gap = np.abs(kinds.turn(trails[:, None] - old[None])).min(1)
    return int((gap > kinds.FAMILY_RAD).sum())


def _kinds(side: Side) -> tuple[Ints, F64]:
    """Return kind and direction of each scratch of one side, every one taken as fine."""
    owner = np.unique(side.elements.owner, return_inverse=True)[1].astype(np.intp)
    size = side.scratches
    doubled = 2 * side.elements.theta
    sin = sums(owner, side.elements.length * np.sin(doubled), size)
    cos = sums(owner, side.elements.length * np.cos(doubled), size)
    theta = (np.arctan2(sin, cos) / 2) % np.pi
    return kinds.sort(theta, sums(owner, side.corrected.shares, size), np.zeros(size)), theta
