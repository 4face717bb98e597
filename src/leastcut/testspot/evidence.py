"""What a trial says: how likely it is under each paint, and which of it cannot be believed."""

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import msgspec
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from leastcut.car.records import Interval
from leastcut.testspot.records import Measured, Process, Trial

if TYPE_CHECKING:
    from leastcut.testspot.paint import PaintDraws

Array = NDArray[np.float64]

# Photo: what two photos of one place cannot settle beyond their stated interval. Ours.
PHOTO_SD = 0.015
LOADS_ONLY_SD = 0.08  # two loads without an interval
SET_SD = 0.08  # one set against the next on the same spot, standard deviation of ln cut; ours
GAUGE_SD_UM = 0.2  # least believable uncertainty of a difference of two gauge means; ours
TAIL = 7.0  # degrees of freedom of every error: one wild trial must not drag the rest

# Verdict words: where the eye under the lamp draws its lines, as removed fraction, and how blurred
# the line is. Ours, no source.
UNCHANGED, UNCHANGED_BLUR = 0.12, 0.06
CLEAN, CLEAN_BLUR = 0.90, 0.04
HAZY, HAZY_BLUR = 0.06, 0.4
VERDICT_SLIP = 0.03

LONG_WIPE_S = 60.0  # common practice, no source: residue of one square should wipe off well within
LONG_WIPE_WIDER = 2.0


class State(msgspec.Struct, frozen=True):
    """One trial's place in its spot's story, per draw: cut and visible share before and after."""

    cut_um: Array
    visible_before: Array
    visible_after: Array
    haze_after: Array


def screen(
    trials: Sequence[Trial], ladder: Sequence[Process]
) -> tuple[tuple[Trial, ...], tuple[str, ...]]:
    """Return the trials with only believable evidence, and a note on each thing left out.

    A trial of an unknown process or of no sets is left out whole; of the others only the evidence
    that cannot be (a removed fraction above 1, bounds the wrong way round, a number that is none).
    A trial without evidence stays: its cut counts for what follows on the same spot.
    """
    labels = {process.label for process in ladder}
    kept: list[Trial] = []
    notes: list[str] = []
    for number, trial in enumerate(trials, start=1):
        if trial.process not in labels:
            notes.append(f"trial {number}: no process {trial.process!r} on the ladder, left out")
        elif trial.sets < 1:
            notes.append(f"trial {number}: {trial.sets} sets, left out")
        else:
            believed, doubts = _believable(trial)
            kept.append(believed)
            notes.extend(f"trial {number}: {doubt}" for doubt in doubts)
    return tuple(kept), tuple(notes)


def says_something(trial: Trial) -> bool:
    """Tell whether a screened trial carries any evidence."""
    return trial.removed is not None or trial.cut_um is not None or trial.verdict is not None


def _believable(trial: Trial) -> tuple[Trial, list[str]]:
    doubts: list[str] = []
    removed = trial.removed if trial.removed is not None else _from_loads(trial)
    if removed is not None and (why := _absurd_removed(removed)):
        doubts.append(f"{why}: the photos are not used")
        removed = None
    cut = trial.cut_um
    if cut is not None and not (math.isfinite(cut.value) and cut.sd >= 0 and math.isfinite(cut.sd)):
        doubts.append("a gauge difference that is no number: not used")
        cut = None
    if cut is not None and cut.value < -3.0 * max(cut.sd, GAUGE_SD_UM):
        doubts.append(f"the gauge shows {-cut.value:g} µm more after the trial: not used")
        cut = None
    if trial.wipe_s is not None and trial.wipe_s > LONG_WIPE_S:
        doubts.append("the residue was slow to wipe off, so photo and verdict count for less")
    return msgspec.structs.replace(trial, removed=removed, cut_um=cut), doubts


def _from_loads(trial: Trial) -> Interval | None:
    before, after = trial.before_load_mm_per_cm2, trial.after_load_mm_per_cm2
    if before is None or after is None or not before > 0 or not after >= 0:
        return None
    removed = 1.0 - after / before
    half = 1.96 * LOADS_ONLY_SD
    return Interval(mean=removed, low=removed - half, high=removed + half)


def _absurd_removed(removed: Interval) -> str:
    numbers = (removed.mean, removed.low, removed.high)
    if not all(math.isfinite(number) for number in numbers):
        return "a removed fraction that is no number"
    if not removed.low <= removed.mean <= removed.high:
        return "a removed fraction outside its own bounds"
    if removed.mean > 1.0:
        return f"{removed.mean:.0%} of the scratches gone"
    if removed.high < 0.0:
        return "more scratches after than before"
    return ""


def story(trials: Sequence[Trial], draws: "PaintDraws") -> Iterator[tuple[Trial, State]]:
    """Yield each trial with its state: trials in a row on one spot stack, another spot is fresh."""
    from leastcut.testspot import paint

    fresh = np.zeros(len(draws.softness))
    spots: dict[tuple[str | None, str], tuple[Array, Array]] = {}
    for trial in trials:
        total, haze = spots.get((trial.panel, trial.spot), (fresh, fresh))
        before = 1.0 - paint.removed_fraction(draws, total, haze=haze)
        cut = paint.cut_draws(draws, trial.process, trial.sets)
        total, haze = total + cut, paint.haze_after(draws, trial.process, cut, haze)
        after = 1.0 - paint.removed_fraction(draws, total, haze=haze)
        spots[trial.panel, trial.spot] = (total, haze)
        yield trial, State(cut, before, after, haze)


def log_likelihood(trials: Sequence[Trial], draws: "PaintDraws") -> Array:
    """Return the log likelihood of screened trials under each paint, shape (n,)."""
    total = np.zeros(len(draws.softness))
    for trial, state in story(trials, draws):
        if trial.removed is not None:
            total += _photo(trial, trial.removed, state, draws)
        if trial.cut_um is not None:
            total += _student(gauge_residual(trial.cut_um, state))
        if trial.verdict is not None:
            slow = (trial.wipe_s or 0.0) > LONG_WIPE_S
            total += np.log(verdict_chance(trial.verdict, state)) / (LONG_WIPE_WIDER if slow else 1)
    return total


def removed_in(trial: Trial, state: State) -> Array:
    """Return the removed fraction that the trial's two photos would show, shape (n,)."""
    if trial.since == "spot":
        return 1.0 - state.visible_after
    return np.asarray(1.0 - state.visible_after / np.maximum(state.visible_before, 0.01))


def photo_sd(removed: Interval, predicted: Array) -> Array:
    """Return the standard uncertainty of a removed fraction on the side of `predicted`, (n,)."""
    low = (removed.mean - removed.low) / 1.96
    high = (removed.high - removed.mean) / 1.96
    return np.hypot(np.where(predicted < removed.mean, low, high), PHOTO_SD)


def photo_residual(
    trial: Trial, removed: Interval, state: State, draws: "PaintDraws"
) -> tuple[Array, Array]:
    """Return the residual in standard uncertainties and the removed fraction foreseen, (n,) each."""
    predicted, sd = _photo_terms(trial, removed, state, draws)
    return (removed.mean - predicted) / sd, predicted


def gauge_residual(cut: Measured, state: State) -> Array:
    """Return the gauge difference's residual in standard uncertainties, shape (n,)."""
    return np.asarray((cut.value - state.cut_um) / max(cut.sd, GAUGE_SD_UM))


def _photo_terms(
    trial: Trial, removed: Interval, state: State, draws: "PaintDraws"
) -> tuple[Array, Array]:
    predicted = removed_in(trial, state)
    # One set against the next: dS/dln h · SET_SD, over the visible share the trial began with.
    share = 1.0 if trial.since == "spot" else np.maximum(state.visible_before, 0.01)
    slope = _survival_slope(state, draws) / share
    wider = LONG_WIPE_WIDER if (trial.wipe_s or 0.0) > LONG_WIPE_S else 1.0
    return predicted, wider * np.hypot(photo_sd(removed, predicted), SET_SD * slope)


def _photo(trial: Trial, removed: Interval, state: State, draws: "PaintDraws") -> Array:
    predicted, sd = _photo_terms(trial, removed, state, draws)
    return np.asarray(_student((removed.mean - predicted) / sd) - np.log(sd))


def _survival_slope(state: State, draws: "PaintDraws") -> Array:
    """Return the change of the visible share per ln of the trial's own cut, at its end, (n,)."""
    gone = np.clip(1.0 - state.visible_after, 1e-6, 1.0 - 1e-6)
    height = np.exp(-0.5 * ndtri(gone) ** 2) / math.sqrt(2.0 * math.pi)
    return np.asarray(height / draws.sigma)


def _student(residual: Array) -> Array:
    return -0.5 * (TAIL + 1.0) * np.log1p(residual**2 / TAIL)


def verdict_chance(verdict: str, state: State) -> Array:
    """Return the chance of the inspector's word under each paint, shape (n,).

    "unchanged" is judged against the trial's own start, "clean" and "hazy" against the bare eye.
    """
    change = 1.0 - state.visible_after / np.maximum(state.visible_before, 0.01)
    scratched = 1.0 - (1.0 - state.visible_after) / np.maximum(1.0 - state.haze_after, 0.01)
    changed = ndtr((change - UNCHANGED) / UNCHANGED_BLUR)
    clear = ndtr((1.0 - scratched - CLEAN) / CLEAN_BLUR)
    hazy = ndtr(np.log(np.maximum(state.haze_after, 1e-9) / HAZY) / HAZY_BLUR)
    chances = {
        "unchanged": 1.0 - changed,
        "some-left": changed * (1.0 - clear),
        "clean": changed * clear * (1.0 - hazy),
        "hazy": changed * clear * hazy,
    }
    return np.asarray(VERDICT_SLIP / 4.0 + (1.0 - VERDICT_SLIP) * chances[verdict])
