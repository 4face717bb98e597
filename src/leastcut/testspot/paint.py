"""What the trials teach about one paint: equally likely paints, and what a process would do to each.

Scratch depths of a panel are lognormal; a cut of h leaves the share S(h) = P(D > h) of the visible
length, plus the haze that pad and liquid leave of their own. The cut per set is the paint's softness
times the process's relative cut. Everything is positive, so everything is normal in its logarithm.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from leastcut.car.records import Interval
from leastcut.testspot import evidence, sampler
from leastcut.testspot.ladder import REFERENCE_CUT_UM, check, finish_floor, relative_cut
from leastcut.testspot.records import DepthKnowledge, Process, Target, Trial

Array = NDArray[np.float64]
Steps = Sequence[tuple[str, int]]

# Share of the visible scratch length that must be gone. Common practice, no source; our definition.
REQUIRED: dict[Target, float] = {"daily": 0.85, "show": 0.95}

# Prior spread, as standard deviations of natural logarithms. Ours, wide on purpose.
SOFTNESS_SD = math.log(2.0)
MEDIAN_UM, MEDIAN_SD = 0.8, 0.45
SIGMA, SIGMA_SD = 0.68, 0.3
RELATIVE_CUT_SD = 0.3
FLOOR_SD = 0.5
TRANSFER_SD = 0.08  # car against spot: the same hand does not cut alike everywhere

# A scratch is some ten times as wide as deep (2 µm deep and 20 µm wide in one published picture of
# a nano-scratch; 0.1 to 2 µm deep and 1 to 10 µm wide from memory). A photo's widths are worth
# little: they are stretched by glint and blur.
DEPTH_PER_WIDTH, DEPTH_PER_WIDTH_SD = 0.1, math.log(2.5)

# Haze of a process vanishes under a later cut as exp(-h/depth) [µm]. Ours, no source.
HAZE_DEPTH_UM = 0.12


@dataclass(frozen=True)
class PaintDraws:
    """Equally likely paints.

    Attributes
    ----------
    labels : tuple of str
        Process labels, mildest first: the columns below.
    softness : array, shape (n,)
        Cut against the typical paint.
    ln_median, sigma : array, shape (n,)
        Natural log of the median scratch depth [ln µm] and standard deviation of ln depth.
    relative_cut : array, shape (n, n_processes)
        Cut per set against the reference process on the same paint.
    floor : array, shape (n, n_processes)
        Finish floor: share of the first visible load that the process leaves of its own.
    transfer : array, shape (n,)
        Cut on the car against the cut on the test spot.
    """

    labels: tuple[str, ...]
    softness: Array
    ln_median: Array
    sigma: Array
    relative_cut: Array
    floor: Array
    transfer: Array

    def column(self, process: str) -> int:
        """Return the column of `process`."""
        return self.labels.index(process)


@dataclass(frozen=True)
class Prior:
    """Normal prior of the parameters: ln softness, ln median, ln sigma, ln cuts, ln floors, ln transfer.

    ``factor`` is a lower-triangular root of the covariance.
    """

    mean: Array
    factor: Array


def prior(ladder: Sequence[Process], *, width_hint_um: float | None = None) -> Prior:
    """Return the prior for a ladder, informed by the scratch width seen in a photo if there is one."""
    median, median_sd = _median_prior(width_hint_um)
    k = len(ladder)
    cuts = [math.log(relative_cut(process)) for process in ladder]
    floors = [math.log(finish_floor(process)) for process in ladder]
    mean = np.array([0.0, median, math.log(SIGMA), *cuts, *floors, 0.0])
    spread = [
        SOFTNESS_SD,
        median_sd,
        SIGMA_SD,
        *[RELATIVE_CUT_SD] * k,
        *[FLOOR_SD] * k,
        TRANSFER_SD,
    ]
    return Prior(mean, np.diag(spread))


def _median_prior(width_hint_um: float | None) -> tuple[float, float]:
    """Return mean and standard deviation of ln median depth [ln µm]."""
    mean, sd = math.log(MEDIAN_UM), MEDIAN_SD
    if width_hint_um is None or not width_hint_um > 0:
        return mean, sd
    hint, hint_sd = math.log(DEPTH_PER_WIDTH * width_hint_um), DEPTH_PER_WIDTH_SD
    precision = sd**-2 + hint_sd**-2
    return (mean * sd**-2 + hint * hint_sd**-2) / precision, precision**-0.5


def learn(
    trials: Sequence[Trial],
    ladder: Sequence[Process],
    *,
    width_hint_um: float | None = None,
    start: Prior | None = None,
    n: int = 4096,
) -> PaintDraws:
    """Return the paints that the trials leave likely.

    Parameters
    ----------
    trials : sequence of Trial
        What was tried, in order. Evidence that cannot be is left out (see
        :func:`leastcut.testspot.evidence.screen`); trials of a process outside the ladder too.
    ladder : sequence of Process
        The processes at hand, in any order.
    width_hint_um : float or None
        Scratch width as seen in a photo [µm].
    start : Prior or None
        What was known before, for the ladder ordered by expected cut; None for the stated prior.
    n : int
        Number of draws.

    Returns
    -------
    PaintDraws
        `n` equally likely paints; the same input gives the same draws.

    Raises
    ------
    LadderError
        If the ladder cannot be used.
    """
    rungs = check(ladder)
    begin = start or prior(rungs, width_hint_um=width_hint_um)
    usable, _ = evidence.screen(trials, rungs)

    def log_likelihood(points: Array) -> Array:
        return evidence.log_likelihood(usable, unpack(points, begin, rungs))

    points, weights = sampler.posterior(log_likelihood, len(begin.mean), n=n)
    draws = unpack(points, begin, rungs)
    return take(draws, sampler.resample(weights, draws.softness))


def unpack(points: Array, begin: Prior, rungs: Sequence[Process]) -> PaintDraws:
    """Return standard normal points (n, n_dims) as paints."""
    value = np.exp(begin.mean + points @ begin.factor.T)
    k = len(rungs)
    return PaintDraws(
        labels=tuple(process.label for process in rungs),
        softness=value[:, 0],
        ln_median=np.log(value[:, 1]),
        sigma=value[:, 2],
        relative_cut=value[:, 3 : 3 + k],
        floor=np.minimum(value[:, 3 + k : 3 + 2 * k], 1.0),
        transfer=value[:, -1],
    )


def take(draws: PaintDraws, index: NDArray[np.intp]) -> PaintDraws:
    """Return the draws at `index`."""
    return PaintDraws(
        draws.labels,
        draws.softness[index],
        draws.ln_median[index],
        draws.sigma[index],
        draws.relative_cut[index],
        draws.floor[index],
        draws.transfer[index],
    )


def cut_draws(draws: PaintDraws, process: str, sets: float) -> Array:
    """Return the cut of `sets` sets of `process` on the test spot, shape (n,) [µm]."""
    column = draws.relative_cut[:, draws.column(process)]
    return REFERENCE_CUT_UM * draws.softness * column * sets


def removed_fraction(
    draws: PaintDraws, cut_um: Array | float, *, haze: Array | float = 0.0
) -> Array:
    """Return the share of visible scratch length gone after a cut, shape (n,).

    The visible share left is S(h) + (1 - S(h))·haze with S(h) = 1 - Φ((ln h - μ)/σ), haze being the
    share of the first load that the last process left of its own.
    """
    with np.errstate(divide="ignore"):
        gone = ndtr((np.log(cut_um) - draws.ln_median) / draws.sigma)
    return np.asarray(gone * (1.0 - np.asarray(haze)), dtype=np.float64)


def haze_after(draws: PaintDraws, process: str, cut_um: Array, before: Array | float) -> Array:
    """Return the haze after `process` cut `cut_um` over an earlier haze, shape (n,).

    Old haze goes and the process's own comes as the cut proceeds: both with exp(-h/HAZE_DEPTH_UM).
    """
    kept = np.exp(-cut_um / HAZE_DEPTH_UM)
    own = draws.floor[:, draws.column(process)]
    return np.asarray(before * kept + own * (1.0 - kept), dtype=np.float64)


def outcome(draws: PaintDraws, steps: Steps) -> tuple[Array, Array]:
    """Return total cut [µm] and removed fraction after `steps` on the car, each of shape (n,).

    Parameters
    ----------
    steps : sequence of (process label, sets)
        In order of work on one place.
    """
    total = np.zeros(len(draws.softness))
    haze: Array = np.zeros(len(draws.softness))
    for process, sets in steps:
        cut = cut_draws(draws, process, sets) * draws.transfer
        haze = haze_after(draws, process, cut, haze)
        total += cut
    return total, removed_fraction(draws, total, haze=haze)


def p_target(draws: PaintDraws, steps: Steps, required_fraction: float) -> float:
    """Return the chance that `steps` remove at least `required_fraction` of the scratch length."""
    _, removed = outcome(draws, steps)
    return float(np.mean(removed >= required_fraction))


def cut_for(fraction: float, *, median_um: float, sigma: float) -> float:
    """Return the cut [µm] that removes `fraction` of lognormal scratches, haze aside.

    Examples
    --------
    >>> round(cut_for(0.95, median_um=1.0, sigma=0.8), 6)
    3.728041
    """
    return median_um * math.exp(sigma * float(ndtri(fraction)))


def interval(values: Array) -> Interval:
    """Return mean and 95 % bounds of equally likely values."""
    low, high = np.quantile(values, [0.025, 0.975])
    return Interval(mean=float(np.mean(values)), low=float(low), high=float(high))


def depth(draws: PaintDraws) -> DepthKnowledge:
    """Return the median scratch depth and the depth that 95 % do not exceed, over all draws [µm]."""
    ln95 = draws.ln_median + draws.sigma * float(ndtri(0.95))
    return DepthKnowledge(
        median=float(np.exp(np.median(draws.ln_median))), p95=float(np.exp(np.median(ln95)))
    )
