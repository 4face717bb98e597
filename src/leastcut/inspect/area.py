"""Area statistics as coating inspectors do them: readings, spots, areas and their limits.

Source: SSPC-PA 2 (editions 2015, 2018) as relayed by trade press (paintsquare 12356; SSPC newsletter
article 481274). status: seen second-hand. ISO 19840's rule as relayed by a trade article. These are
rules for steel structures: for a car panel they give a sampling pattern and an order of words, no
acceptance.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

READINGS_PER_SPOT = 3
SPOTS_PER_AREA = 5
SPOT_DIAMETER_MM = 40.0
AREA_M2 = 10.0
_FT2 = 0.09290304  # m², exact
_LEVELS: dict[int, tuple[float, float]] = {
    1: (1.0, 1.0),
    2: (1.0, 1.2),
    3: (0.8, 1.2),
    4: (0.8, 1.5),
    5: (0.8, math.inf),
}


@dataclass(frozen=True)
class AreaResult:
    """One area judged: mean of its spots [µm], their standard deviation, and which spots are out."""

    mean_um: float
    sd_um: float | None
    spots_out: tuple[int, ...]
    mean_ok: bool

    @property
    def ok(self) -> bool:
        """Mean within the range and every spot within its limits."""
        return self.mean_ok and not self.spots_out


def areas_to_measure(area_m2: float) -> int:
    """Return how many areas of 10 m² (100 ft²) must be measured on a surface.

    Every one up to 300 ft²; three up to 1000 ft²; one more for each further 1000 ft² or part.

    Parameters
    ----------
    area_m2 : float
        Painted surface [m²], positive.

    Examples
    --------
    >>> areas_to_measure(12500 * 0.09290304)
    15
    """
    area_ft2 = round(area_m2 / _FT2, 6)
    if area_ft2 <= 300:
        return max(1, math.ceil(area_ft2 / 100))
    return 3 + max(0, math.ceil((area_ft2 - 1000) / 1000))


def spot_limits_um(low_um: float, high_um: float, *, level: int = 3) -> tuple[float, float]:
    """Return the limits for a spot mean when the film shall be within a range.

    Parameters
    ----------
    low_um, high_um : float
        Specified range of the film [µm].
    level : int
        Restriction level 1 to 5; 3 is the default of 80 % and 120 %. Levels 1, 2, 4 and 5 are
        stated from memory.

    Examples
    --------
    >>> spot_limits_um(100.0, 140.0)
    (80.0, 168.0)
    """
    below, above = _LEVELS[level]
    return low_um * below, high_um * above


def judge(
    spot_means_um: Sequence[float], *, low_um: float, high_um: float, level: int = 3
) -> AreaResult:
    """Judge one area by its spot means.

    Parameters
    ----------
    spot_means_um : sequence of float
        Means of three or more readings each [µm]; five spots make an area.
    low_um, high_um, level
        As in :func:`spot_limits_um`.

    Returns
    -------
    AreaResult
        Single readings are not judged, spots are.
    """
    least, most = spot_limits_um(low_um, high_um, level=level)
    n = len(spot_means_um)
    mean = math.fsum(spot_means_um) / n
    sd = (math.fsum((s - mean) ** 2 for s in spot_means_um) / (n - 1)) ** 0.5 if n > 1 else None
    out = tuple(i for i, s in enumerate(spot_means_um) if not least <= s <= most)
    return AreaResult(mean, sd, out, low_um <= mean <= high_um)


def eighty_twenty(readings_um: Sequence[float], nominal_um: float) -> bool:
    """Tell whether readings pass ISO 19840's rule against a nominal film.

    The mean reaches the nominal, every reading at least 80 % of it (trade article, status seen
    second-hand), and at most one in five lies between 80 % and 100 % (from memory).

    Examples
    --------
    >>> eighty_twenty([100, 110, 105, 102, 90], 100.0), eighty_twenty([79, 140, 140], 100.0)
    (True, False)
    """
    thin = sum(r < nominal_um for r in readings_um)
    mean = math.fsum(readings_um) / len(readings_um)
    return (
        mean >= nominal_um and min(readings_um) >= 0.8 * nominal_um and 5 * thin <= len(readings_um)
    )
