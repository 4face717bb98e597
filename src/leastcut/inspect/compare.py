"""Before against after: how much of the scratches one place lost, and what the work left behind."""

from dataclasses import dataclass

import cv2
import numpy as np

from leastcut.errors import Refusal
from leastcut.inspect import kinds, light, linematch, profile, registration, scratches, traces
from leastcut.inspect.arrays import F32, F64, Bools, Ints, sums
from leastcut.inspect.light import Elements
from leastcut.inspect.records import CompareFinding
from leastcut.inspect.scratches import Evidence
from leastcut.inspect.survey import DARK_ROOT, root_of, visible_rise

LEAST_OVERLAP_CM2 = 2.0
RESAMPLES = 2000
NEAR_SHARE = 0.8  # of the reach within which a scratch is taken to be at its brightest
LEVEL_SD = 0.25  # of the logarithm of the rise from which a scratch counts
EXPOSURE_SD = 0.1  # of the logarithm of the exposure between two photos
PIECE_PX = 12.0
MANY_PIECES = 100
NEW_SHARE = 0.5  # of a line's rise after: if it rose less before, it is new
USUAL_QUANTILE = 0.25  # of the light: ground away from the lamp's halo
CAMERA_SHARE = (
    0.8  # of a line's height that lens and colour mosaic leave; found with rendered photos
)
ALIGNED_P = 0.01
LEAST_BEFORE = 5  # scratches
LEAST_CLEAR = 0.1  # share of places that no other line may be thought to lie on


@dataclass(frozen=True)
class Followed:
    """The before photo's scratches inside the common area, and how bright they are in both photos.

    Per scratch: ``weight``, the load [mm/cm2] it stands for; ``before`` and ``after``, its rise at
    its brightest, both as the before photo's exposure and scale would show it [linear light].
    ``aside`` (moves, n) is what the after photo shows when each is moved aside: light of other
    lines. ``told`` is the rise from which a scratch counts: visible, and told from noise in both.
    """

    weight: F64
    before: F64
    after: F64
    aside: F64
    told: float


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
        ``removed_fraction`` is the share of the before photo's load whose lines the after photo
        no longer shows at the same places.
    """
    return placed(before, after, um_per_px=um_per_px, square_mm=square_mm, rng=rng)[0]


def placed(
    before: F32,
    after: F32,
    *,
    um_per_px: float | None = None,
    square_mm: float | None = None,
    rng: np.random.Generator | None = None,
) -> tuple[CompareFinding, F64 | None]:
    """Compare two photos as :func:`compare` does, and return also how the second lies on the first.

    Returns
    -------
    CompareFinding
        As from :func:`compare`.
    ndarray (3, 3) or None
        From after pixels to before pixels; None where the photos could not be laid over each other.
    """
    first = scratches.gather(before, um_per_px=um_per_px, square_mm=square_mm)
    if isinstance(first, Refusal):
        return _refused(first, "before"), None
    second = scratches.gather(after, um_per_px=um_per_px, square_mm=square_mm)
    return measured(first, second, rng=rng)


def measured(
    first: Evidence | Refusal,
    second: Evidence | Refusal,
    *,
    rng: np.random.Generator | None = None,
) -> tuple[CompareFinding, F64 | None]:
    """Compare two photos as :func:`placed` does, from what was measured in each already.

    Parameters
    ----------
    first, second : Evidence or Refusal
        Before and after, as from :func:`leastcut.inspect.scratches.gather`.
    rng : Generator, optional
        For the bootstrap, as in :func:`compare`.

    Returns
    -------
    CompareFinding, ndarray or None
        As from :func:`placed`.
    """
    if isinstance(first, Refusal):
        return _refused(first, "before"), None
    if isinstance(second, Refusal):
        return _refused(second, "after"), None
    match = _register(first, second)
    if isinstance(match, Refusal):
        return _refused(match, ""), None
    rng = rng if rng is not None else np.random.default_rng(0)
    return _conclude(first, second, match, rng), match.to_before


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
    """Lay the photos over each other by the square, by lines, or by other detail; then by lines."""
    one, two = (_line_pieces(e) for e in (first, second))
    shape = first.grey.shape
    a, b = first.frame.corners_px, second.frame.corners_px
    rough: registration.Registration | Refusal
    if a is not None and b is not None:
        rough = registration.by_square(a, b)
    else:
        laid = linematch.lay(one, two, shape, second.grey.shape)
        if laid is not None:
            return registration.Registration(laid.to_before, laid.rms_px, int(laid.met))
        rough = registration.by_features(
            root_of(first.grey), root_of(second.grey), first.usable, second.usable
        )
    if isinstance(rough, Refusal):
        return rough
    laid = linematch.refine(one, two, rough.to_before, shape, near=True)
    if laid is None and len(two.x) > MANY_PIECES:  # a corner of the square may be out of its place
        laid = linematch.lay(one, two, shape, second.grey.shape)
    if laid is None:
        return rough
    return registration.Registration(laid.to_before, laid.rms_px, int(laid.met))


def _line_pieces(evidence: Evidence) -> linematch.Pieces:
    cut, shape = profile.pieces(evidence.lines.runs, PIECE_PX), evidence.lines.profiles
    brightness = (shape.lesser * shape.fwhm_px)[cut.run]
    return linematch.Pieces(cut.x, cut.y, cut.theta, cut.length, brightness)


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


def _inside(elements: Elements, common: Bools) -> Elements:
    """Return the pieces that lie inside the common area."""
    e = elements
    inside = common[
        np.clip(np.round(e.y), 0, common.shape[0] - 1).astype(np.intp),
        np.clip(np.round(e.x), 0, common.shape[1] - 1).astype(np.intp),
    ]
    return Elements(e.x[inside], e.y[inside], e.theta[inside], e.length[inside], e.owner[inside])


def _weights(evidence: Evidence, kept: Elements, seen: light.Corrected, place: light.Field) -> F64:
    """Return the load [mm/cm2] that each scratch stands for, by its length near its brightest.

    Near the circle round the lamp a scratch is seen or not by its own depth, not by how far it is
    off the circle; further out deep ones would count for more than their share.
    """
    centre = seen.visibility.centre
    window = NEAR_SHARE * seen.visibility.reach_px
    keep, area = np.ones(len(kept.x), bool), np.full(len(kept.x), float(place.area.sum()))
    if centre is not None and np.isfinite(window):
        keep = light.deviation(kept.x, kept.y, kept.theta, centre) < window
        area = light.window_area(place, centre, window, kept.theta)
    share = np.where(keep, kept.length * light.hidden(kept, place) / np.maximum(area, 1.0), 0)
    return sums(kept.owner, share, evidence.lines.count) * 1e5 / evidence.frame.um_per_px


def _follow(
    first: Evidence, second: Evidence, to_before: F64, to_first: float, weight: F64
) -> Followed:
    """Measure every scratch of the before photo in both photos."""
    back = np.linalg.inv(to_before).astype(np.float64)
    runs, owner = first.lines.runs, first.lines.scratch
    here, there = traces.along(runs, owner), traces.along(runs, owner, to_photo=back)
    rise = traces.brightest(traces.rises(first.grey, here, first.usable)[0], here)
    left = traces.brightest(traces.rises(second.grey, there, second.usable)[0], there)
    moved = to_first * traces.aside(second.grey, second.usable, runs, owner, back)
    still = traces.aside(first.grey, first.usable, runs, owner)
    floor = max(traces.chance(still), traces.chance(moved))
    ground = float(np.quantile(first.grey[first.measured][::7], USUAL_QUANTILE))
    usual, rise_told = ground + DARK_ROOT**2, float(visible_rise(np.array(ground, np.float32)))
    visible = CAMERA_SHARE * ((np.sqrt(usual) + rise_told) ** 2 - usual)
    return Followed(weight, rise, left * to_first, moved, max(visible, floor))


def _to_first(
    first: Evidence, second: Evidence, to_before: F64, areas: tuple[Bools, Bools]
) -> float:
    """Return by what a line's rise in the after photo must be multiplied to be that of the before.

    All light follows the exposure, and a line's light falls on fewer pixels of a coarser photo.
    """
    ground = [
        float(np.median(e.grey[area])) for e, area in zip((first, second), areas, strict=True)
    ]
    stretch = float(np.sqrt(abs(np.linalg.det(to_before[:2, :2]))))
    return ground[0] / max(ground[1], 1e-6) * stretch


def _conclude(
    first: Evidence, second: Evidence, match: registration.Registration, rng: np.random.Generator
) -> CompareFinding:
    areas = _common(first, second, match.to_before)
    um = first.frame.um_per_px
    kept, place = _inside(first.elements, areas[0]), light.field(areas[0])
    seen = light.correct(kept, place, first.lamps)
    overlap_cm2 = float(place.area.sum()) * (um / 1e4) ** 2
    scratches_kept = len(np.unique(kept.owner))
    if overlap_cm2 < LEAST_OVERLAP_CM2:
        return _refused(
            Refusal(
                why=f"the photos share only {overlap_cm2:.1f} cm²",
                do="Take both of the same place; leave a taped square round it",
            ),
            "",
        )
    weight = _weights(first, kept, seen, place)
    to_first = _to_first(first, second, match.to_before, areas)
    followed = _follow(first, second, match.to_before, to_first, weight)
    counted = (weight > 0) & (followed.before >= followed.told)
    if scratches_kept < LEAST_BEFORE or counted.sum() < LEAST_BEFORE:
        return _refused(
            Refusal(
                why=f"the before photo shows only {int(counted.sum())} scratches clearly: too few to compare",
                do="Choose a place with more scratches, or bring the lamp where they show best",
            ),
            "",
        )
    removed, low, high = _removed(followed, rng)
    load = seen.per_px * first.corrected.gain * 1e5 / um
    return CompareFinding(
        removed_fraction=removed,
        removed_low=low,
        removed_high=high,
        before_load_mm_per_cm2=load,
        after_load_mm_per_cm2=load * (1 - removed),
        new_trails=_new_trails(first, second, match.to_before, to_first, areas[1]),
        registration_rms_px=match.rms_px,
        overlap_cm2=overlap_cm2,
    )


def _removed(followed: Followed, rng: np.random.Generator) -> tuple[float, float, float]:
    """Return the removed fraction and its 95 % bounds by a bootstrap over scratches.

    Each draw also moves the level from which a scratch counts, since exposure and the kinds of
    light are known only in part. One scratch more is added to every draw, left for the lower and
    gone for the upper bound, so that all gone or all left does not look certain.
    """
    f = followed
    bears = f.weight > 0
    weight, before, after, aside = (
        f.weight[bears], f.before[bears], f.after[bears], f.aside[:, bears],
    )  # fmt: skip
    counts = weight * (before >= f.told)
    share = counts / counts.sum()
    left, by_chance = (share @ v for v in (after >= f.told, (aside >= f.told).mean(0)))
    removed = 1 - float(_left(left, by_chance))
    level = f.told * np.exp(LEVEL_SD * rng.standard_normal((RESAMPLES, 1)))
    seen = level * np.exp(EXPOSURE_SD * rng.standard_normal((RESAMPLES, 1)))
    drawn = rng.poisson(1.0, (RESAMPLES, len(weight))) * weight * (before >= level)
    left = (drawn * (after >= seen)).sum(1)
    by_chance = np.mean([(drawn * (moved >= seen)).sum(1) for moved in aside], axis=0)
    typical = float((weight**2).sum() / weight.sum())
    whole = drawn.sum(1) + typical
    low = 1 - _left((left + typical) / whole, by_chance / whole)
    high = 1 - _left(left / whole, by_chance / whole)
    return (
        removed,
        min(float(np.quantile(low, 0.025)), removed),
        max(float(np.quantile(high, 0.975)), removed),
    )


def _left(shown: F64, chance: F64) -> F64:
    """Return the share left, of which and of the light of other lines `shown` is the sum.

    A scratch that is gone still shows light at its place with this `chance`.
    """
    result: F64 = np.clip((shown - chance) / np.maximum(1 - chance, LEAST_CLEAR), 0.0, 1.0)
    return result


def _new_trails(
    first: Evidence, second: Evidence, to_before: F64, to_first: float, common: Bools
) -> int:
    """Count trails in the after photo that the before photo does not show.

    Marks of the work itself share a direction; scratches left over do not, and lie where the
    before photo shows them too. Nothing is counted unless the directions of the new lines are
    aligned beyond chance (Rayleigh's test at 1 %).
    """
    kept = _inside(second.elements, common)
    if len(kept.x) == 0:
        return 0
    corrected = light.correct(kept, light.field(common), second.lamps)
    runs, owner = second.lines.runs, second.lines.scratch
    here, there = traces.along(runs, owner), traces.along(runs, owner, to_photo=to_before)
    now = traces.brightest(traces.rises(second.grey, here, second.usable)[0], here)
    shown = traces.brightest(traces.rises(first.grey, there, first.usable)[0], there)
    # Work makes a scratch fainter, never brighter: what was much fainter before is new.
    fresh = shown < NEW_SHARE * now * to_first
    names = np.unique(kept.owner)
    kind, theta = _kinds(kept, corrected)
    fresh = fresh[names]
    if fresh.sum() < kinds.LEAST_MEMBERS or kinds.rayleigh(theta[fresh]) > ALIGNED_P:
        return 0
    return int((fresh & (kind == kinds.TRAIL)).sum())


def _kinds(kept: Elements, corrected: light.Corrected) -> tuple[Ints, F64]:
    """Return kind and direction of each scratch, every one taken as fine."""
    owner = np.unique(kept.owner, return_inverse=True)[1].astype(np.intp)
    size = int(owner.max()) + 1
    doubled = 2 * kept.theta
    sin = sums(owner, kept.length * np.sin(doubled), size)
    cos = sums(owner, kept.length * np.cos(doubled), size)
    theta = (np.arctan2(sin, cos) / 2) % np.pi
    return kinds.sort(theta, sums(owner, corrected.shares, size), np.zeros(size)), theta
