"""How much a line looks like a scratch, and how much it must in a photo that shows few of them.

A scratch is long, gently bent, as thin as the camera can show, and lies on its curve; the rim of a
dried drop, lint and a row of flakes are not. How many of a photo's lines are scratches is not known
beforehand: on a panel full of swirls nearly all of them, on a clean one nearly none. That share is
read from the photo itself: it is the mean of the chances, which depend on it in turn.

source: a classifier's odds for another share of the classes, by expectation and maximisation:
Saerens, Latinne and Decaestecker, Neural Computation 14, 21 (2002); status: from memory. The odds: a
logistic regression on rendered photos, fitted on half of them and checked on the other half.
"""

import numpy as np

from leastcut.inspect.arrays import F64, Ints, sums
from leastcut.inspect.linking import Runs
from leastcut.inspect.profile import Profiles

USUAL_SHARE = 0.73  # of the lines on which the odds were fitted
SHARE_WEIGHT = 2.0  # lines for which that share counts, beside the photo's own
ROUNDS = 30


def log_odds(runs: Runs, label: Ints, shape: Profiles, um_per_px: float) -> F64:
    """Return the log-odds that each labelled set of runs is a scratch, at the usual share.

    Parameters
    ----------
    runs, shape : Runs, Profiles
        n runs and what was measured across them.
    label : ndarray (n,) int
        Which set each run belongs to, 0 to m - 1.
    um_per_px : float
        Scale.

    Returns
    -------
    ndarray (m,)
    """
    size = int(label.max(initial=-1)) + 1
    length = sums(label, runs.length, size)

    def mean(v: F64) -> F64:
        return sums(label, v * runs.length, size) / np.maximum(length, 1e-9)

    mm_per_px = um_per_px / 1000
    bend_mm = mm_per_px / np.maximum(mean(2 * np.abs(runs.c2)), 1e-9)
    result: F64 = (
        3.4 * np.log(np.maximum(length * mm_per_px, 1e-9))
        + 0.85 * np.log(np.clip(bend_mm, 1, 60))
        - 7.4 * mean(runs.misfit)
        - 3.1 * np.log(np.clip(mean(shape.fwhm_px), 1.5, 8))
        + 1.4
    )
    return result


def at_own_share(odds: F64) -> F64:
    """Return log-odds that hold for the share of scratches that these very lines speak for.

    >>> at_own_share(np.array([9.0, 9.0, 0.5])).round(1).tolist()
    [9.7, 9.7, 1.2]
    >>> at_own_share(np.array([0.5, 0.0, -1.0, -1.0, -3.0])).round(1).tolist()
    [-1.5, -2.0, -3.0, -3.0, -5.0]
    """
    share = USUAL_SHARE
    shifted = odds
    for _ in range(ROUNDS):
        shifted = odds + _logit(share) - _logit(USUAL_SHARE)
        chance = 1 / (1 + np.exp(-np.clip(shifted, -50, 50)))
        share = (float(chance.sum()) + SHARE_WEIGHT * USUAL_SHARE) / (len(odds) + SHARE_WEIGHT)
    return shifted


def _logit(share: float) -> float:
    return float(np.log(share / (1 - share)))
