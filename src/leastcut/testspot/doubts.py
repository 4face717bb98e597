"""Trials that contradict each other or everything else known: named, and how little they count.

Two looks, one with the model and one without. With: every error has Student's tails, so evidence
far from what the paints still likely would show has less pull; its weight is the one of iteratively
re-weighted least squares, (ν+1)/(ν+r²), averaged over the paints (Lange, Little and Taylor, J. Am.
Stat. Assoc. 84, 881, 1989; from memory). Without: more cut never leaves more scratches, so the removed
fractions in order of expected cut are compared with their monotone fit.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Interval
from leastcut.testspot import evidence
from leastcut.testspot.ladder import relative_cut
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Process, Trial

Array = NDArray[np.float64]

_LITTLE = 0.6  # evidence that counts for less than this is named
_RARE = 0.12  # a verdict less likely than this under everything else is named
_TURNED = 2.0  # standard uncertainties off the monotone fit


def isotonic(values: Sequence[float], weights: Sequence[float]) -> Array:
    """Return the non-decreasing fit of least squares: pool adjacent violators.

    Parameters
    ----------
    values, weights : sequence of float
        In order; weights above zero.

    Returns
    -------
    array, shape (n,)

    Examples
    --------
    The example of a statistics package's page on isotonic regression (data from memory).

    >>> isotonic([1, 0, 4, 3, 3, 5, 4, 2, 0], [1] * 9).tolist()
    [0.5, 0.5, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0]
    """
    blocks: list[tuple[float, float, int]] = []
    for value, weight in zip(values, weights, strict=True):
        block = (float(value), float(weight), 1)
        while blocks and blocks[-1][0] > block[0]:
            block = _pooled(blocks.pop(), block)
        blocks.append(block)
    return np.repeat([value for value, _, _ in blocks], [count for _, _, count in blocks])


def _pooled(
    left: tuple[float, float, int], right: tuple[float, float, int]
) -> tuple[float, float, int]:
    weight = left[1] + right[1]
    mean = (left[0] * left[1] + right[0] * right[1]) / weight
    return mean, weight, left[2] + right[2]


def notes(trials: Sequence[Trial], ladder: Sequence[Process], draws: PaintDraws) -> tuple[str, ...]:
    """Name the screened trials that do not fit, with the reason and what they still count for.

    Parameters
    ----------
    trials : sequence of Trial
        All trials, in order; those that cannot be used are passed over.
    ladder : sequence of Process
        The processes at hand.
    draws : PaintDraws
        What was learnt from the trials.
    """
    numbered = [
        (number, believed)
        for number, trial in enumerate(trials, start=1)
        for believed in evidence.screen([trial], ladder)[0]
    ]
    states = evidence.story([trial for _, trial in numbered], draws)
    found = [
        f"trial {number}: {doubt}"
        for (number, _), (trial, state) in zip(numbered, states, strict=True)
        for doubt in _odd(trial, state, draws)
    ]
    return (*found, *_out_of_order(numbered, ladder))


def _odd(trial: Trial, state: evidence.State, draws: PaintDraws) -> list[str]:
    said: list[str] = []
    if trial.removed is not None:
        residual, shown = evidence.photo_residual(trial, trial.removed, state, draws)
        low, high = np.quantile(shown, [0.05, 0.95])
        said += _faint(
            residual,
            f"the photos show {trial.removed.mean:.0%} gone, all else known says"
            f" {low:.0%} to {high:.0%}",
            "look at the light, the wipe and the place",
        )
    if trial.cut_um is not None:
        residual = evidence.gauge_residual(trial.cut_um, state)
        low, high = np.quantile(state.cut_um, [0.05, 0.95])
        said += _faint(
            residual,
            f"the gauge lost {trial.cut_um.value:.1f} µm, all else known says"
            f" {low:.1f} to {high:.1f} µm",
            "measure again at marked places",
        )
    if trial.verdict is not None:
        chance = float(np.mean(evidence.verdict_chance(trial.verdict, state)))
        if chance < _RARE:
            said.append(
                f"the verdict '{trial.verdict}' has a chance of {chance:.0%} beside all else known,"
                " so it hardly counts; look again under the lamp"
            )
    return said


def _faint(residual: Array, what: str, do: str) -> list[str]:
    weight = float(np.mean(np.minimum((evidence.TAIL + 1.0) / (evidence.TAIL + residual**2), 1.0)))
    return [] if weight >= _LITTLE else [f"{what}; it counts for {weight:.0%} only: {do}"]


def _out_of_order(numbered: Sequence[tuple[int, Trial]], ladder: Sequence[Process]) -> list[str]:
    """Compare the removed fractions of untouched spots with their monotone fit."""
    cut = {process.label: relative_cut(process) for process in ladder}
    first = [
        (cut[trial.process] * trial.sets, removed.mean, _photo_sd(removed), number)
        for number, trial, removed in _first_looks(numbered)
    ]
    first.sort()  # equal cuts by removed fraction: they contradict nothing in order
    values = [mean for _, mean, _, _ in first]
    fit = isotonic(values, [sd**-2 for _, _, sd, _ in first])
    odd = sorted(
        number
        for (_, mean, sd, number), level in zip(first, fit, strict=True)
        if abs(mean - level) > _TURNED * sd
    )
    if not odd:
        return []
    named = " and ".join(str(number) for number in odd)
    what = f"trial {named}: out of order, for a stronger cut left more scratches than a milder one"
    return [f"{what}; both pull less until one is done again"]


def _photo_sd(removed: Interval) -> float:
    return float(np.mean(evidence.photo_sd(removed, np.array([-np.inf, np.inf]))))


def _first_looks(
    numbered: Sequence[tuple[int, Trial]],
) -> Iterator[tuple[int, Trial, Interval]]:
    """Yield the trials that began on an untouched spot and have photos."""
    seen: set[tuple[str | None, str]] = set()
    for number, trial in numbered:
        place = (trial.panel, trial.spot)
        if place not in seen and trial.removed is not None:
            yield number, trial, trial.removed
        seen.add(place)
