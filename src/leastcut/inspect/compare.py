"""Before against after: how much of the scratches one place lost, and what the work left behind."""

from dataclasses import dataclass

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
LIGHT_SD = 0.05  # what the light's correction may differ by between two photos
LEAST_BEFORE = 5  # scratches


@dataclass(frozen=True)
class Side:
    """One photo's evidence inside the common area."""

    elements: Elements
    corrected: Corrected
    per_scratch: F64  # load of each scratch [mm/cm2]
    area_cm2: float


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
    """Measure one photo inside the common area."""
    e = evidence.elements
    inside = common[
        np.clip(np.round(e.y), 0, common.shape[0] - 1).astype(np.intp),
        np.clip(np.round(e.x), 0, common.shape[1] - 1).astype(np.intp),
    ]
    kept = Elements(e.x[inside], e.y[inside], e.theta[inside], e.length[inside], e.owner[inside])
    place = light.field(common)
    corrected = light.correct(kept, place, evidence.lamp)
    per = sums(kept.owner, corrected.shares, evidence.lines.count)
    area_cm2 = float(place.area.sum()) * (um_per_px / 1e4) ** 2
    return Side(kept, corrected, per[per > 0] * 1e5 / um_per_px, area_cm2)


def _conclude(
    first: Evidence, second: Evidence, match: registration.Registration, rng: np.random.Generator
) -> CompareFinding:
    common, back = _common(first, second, match.to_before)
    um = first.frame.um_per_px
    stretch = float(np.sqrt(abs(np.linalg.det(match.to_before[:2, :2]))))
    one, two = _side(first, common, um), _side(second, back, um * stretch)
    if one.area_cm2 < LEAST_OVERLAP_CM2:
        return _refused(
            Refusal(
                why=f"the photos share only {one.area_cm2:.1f} cm²",
                do="Take both of the same place; leave a taped square round it",
            ),
            "",
        )
    if len(one.per_scratch) < LEAST_BEFORE:
        return _refused(
            Refusal(
                why=f"the before photo shows only {len(one.per_scratch)} scratches: nothing to compare",
                do="Choose a place with more scratches, or bring the lamp where they show best",
            ),
            "",
        )
    removed, low, high = _removed(one, two, rng)
    return CompareFinding(
        removed_fraction=removed,
        removed_low=low,
        removed_high=high,
        before_load_mm_per_cm2=float(one.per_scratch.sum()),
        after_load_mm_per_cm2=float(two.per_scratch.sum()),
        new_trails=_new_trails(one, two),
        registration_rms_px=match.rms_px,
        overlap_cm2=one.area_cm2,
    )


def _removed(one: Side, two: Side, rng: np.random.Generator) -> tuple[float, float, float]:
    """Return the removed fraction and its 95 % bounds by a Poisson bootstrap over scratches."""
    removed = 1 - float(two.per_scratch.sum() / one.per_scratch.sum())
    first = _resampled(one.per_scratch, rng)
    second = _resampled(two.per_scratch, rng)
    spread = np.sqrt(one.corrected.relative_sd**2 + two.corrected.relative_sd**2 + LIGHT_SD**2)
    ratio = second / np.maximum(first, 1e-9) * np.exp(spread * rng.standard_normal(RESAMPLES))
    low, high = np.quantile(1 - ratio, [0.025, 0.975])
    if len(two.per_scratch) == 0:  # none seen: up to 3.7 typical ones may be there (Garwood 1936)
        low = 1 - 3.689 * float(np.median(one.per_scratch)) / float(one.per_scratch.sum())
    return removed, min(float(low), removed), max(min(float(high), 1.0), removed)


def _resampled(per_scratch: F64, rng: np.random.Generator) -> F64:
    if len(per_scratch) == 0:
        return np.zeros(RESAMPLES)
    result: F64 = rng.poisson(1.0, (RESAMPLES, len(per_scratch))) @ per_scratch
    return result


def _new_trails(one: Side, two: Side) -> int:
    """Count trails in the after photo whose direction the before photo did not favour."""
    if len(two.per_scratch) == 0:
        return 0
    kind_after, theta_after = _kinds(two)
    kind_before, theta_before = _kinds(one)
    trails = theta_after[kind_after == kinds.TRAIL]
    old = theta_before[kind_before == kinds.TRAIL]
    if len(trails) == 0 or len(old) == 0:
        return len(trails)
    gap = np.abs(kinds.turn(trails[:, None] - old[None])).min(1)
    return int((gap > kinds.FAMILY_RAD).sum())


def _kinds(side: Side) -> tuple[Ints, F64]:
    """Return kind and direction of each scratch of one side, every width taken as fine."""
    owner = np.unique(side.elements.owner, return_inverse=True)[1]
    doubled = 2 * side.elements.theta
    sin = np.bincount(owner, side.elements.length * np.sin(doubled))
    cos = np.bincount(owner, side.elements.length * np.cos(doubled))
    theta = (np.arctan2(sin, cos) / 2) % np.pi
    load = sums(owner, side.corrected.shares, int(owner.max()) + 1)
    return kinds.sort(theta, load, np.zeros(len(theta))), theta
