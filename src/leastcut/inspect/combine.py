"""Several photos of one panel into one load."""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from leastcut.car.records import Interval
from leastcut.inspect.records import ScratchFinding

Z95 = float(ndtri(0.975))
LEAST_LOG_SD = 0.05


def panel_load(findings: Sequence[ScratchFinding]) -> Interval | None:
    """Combine the loads of several photos of one panel.

    Photos that refused are left out. The loads are averaged on the logarithmic scale with weights
    from their intervals; where they differ by more than their intervals allow, the spread between
    places is added to each (the random-effects estimate of DerSimonian and Laird, Controlled
    Clinical Trials 7, 177 (1986); from memory).

    Parameters
    ----------
    findings : sequence of ScratchFinding
        One per photo, of different places or of one place under different lamps.

    Returns
    -------
    Interval or None
        Load [mm/cm2] with its 95 % bounds; None when no photo could be judged.

    Examples
    --------
    >>> panel_load([]) is None
    True
    """
    usable = [f for f in findings if f.refused is None and f.load_mm_per_cm2 is not None]
    if not usable:
        return None
    area = np.array([f.area_cm2 or 1.0 for f in usable])
    loads = np.array([f.load_mm_per_cm2 or 0.0 for f in usable])
    low = np.array([f.load_low or 0.0 for f in usable])
    high = np.array([f.load_high or 0.0 for f in usable])
    if (loads <= 0).any():
        return _with_blank(area, loads, low, high)
    sd = np.maximum(np.log(high / np.maximum(low, 1e-6 * loads)) / (2 * Z95), LEAST_LOG_SD)
    mean, spread = _random_effects(np.log(loads), sd)
    return Interval(
        mean=float(np.exp(mean)),
        low=float(np.exp(mean - Z95 * spread)),
        high=float(np.exp(mean + Z95 * spread)),
    )


def _random_effects(y: np.ndarray, sd: np.ndarray) -> tuple[float, float]:
    weight = 1 / sd**2
    mean = float(weight @ y / weight.sum())
    excess = float(weight @ (y - mean) ** 2) - (len(y) - 1)
    scale = float(weight.sum() - (weight**2).sum() / weight.sum())
    between = max(0.0, excess / scale) if len(y) > 1 else 0.0
    weight = 1 / (sd**2 + between)
    return float(weight @ y / weight.sum()), float(np.sqrt(1 / weight.sum()))


def _with_blank(area: np.ndarray, loads: np.ndarray, low: np.ndarray, high: np.ndarray) -> Interval:
    """Average by area where some photo shows no scratch at all: no logarithm there."""
    share = area / area.sum()
    mean = float(share @ loads)
    down = float(np.sqrt(((share * (loads - low)) ** 2).sum()))
    up = float(np.sqrt(((share * (high - loads)) ** 2).sum()))
    return Interval(mean=mean, low=max(0.0, mean - down), high=mean + up)
