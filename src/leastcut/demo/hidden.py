"""The invented car as it really is: paint, scratches, film, and what its gauge would show.

Everything follows from one seed; each photo, reading and trial has a stream of its own, so that
asking for one more changes none of the others. Drawn from distributions of its own, with no code
shared with the analysis that has to find it.
"""

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, kw_only=True)
class PanelTruth:
    """What one panel is really like.

    Attributes
    ----------
    load_mm_per_cm2, trail_load_mm_per_cm2 : float
        Expected scratch load of swirls and of trails.
    depth_median_um, depth_sigma : float
        Lognormal scratch depth.
    clear_um, under_um : float
        Mean clear coat, and the layers between it and the metal.
    repainted : bool
        A second paint job lies over the first.
    """

    panel: str
    load_mm_per_cm2: float
    trail_load_mm_per_cm2: float
    depth_median_um: float
    depth_sigma: float
    clear_um: float
    under_um: float
    repainted: bool = False


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """The invented car as it really is.

    Attributes
    ----------
    softness : float
        Cut of this paint against typical paint.
    gauge_bias_um, gauge_sd_um : float
        The gauge reads so much too high, and scatters by so much.
    panels : tuple of PanelTruth
        In the order asked for.
    """

    seed: int
    softness: float
    gauge_bias_um: float
    gauge_sd_um: float
    panels: tuple[PanelTruth, ...]

    def panel(self, name: str) -> PanelTruth:
        """Return the truth of one panel."""
        return next(panel for panel in self.panels if panel.panel == name)


def stream(seed: int, *names: object) -> np.random.Generator:
    """Return a source of chance of its own for one thing of the scenario."""
    return np.random.default_rng([seed, *(zlib.crc32(str(name).encode()) for name in names)])


def scenario(
    seed: int,
    panels: Sequence[str],
    *,
    repainted: Sequence[str] = (),
    thin: Sequence[str] = (),
) -> Scenario:
    """Draw the invented car.

    Parameters
    ----------
    seed : int
        Everything follows from it.
    panels : sequence of str
        Panel ids.
    repainted, thin : sequence of str
        Panels that were painted again, and panels that were polished too often before.

    Returns
    -------
    Scenario
        The truth.
    """
    rng = stream(seed, "car")
    median, sigma = 0.75 * rng.lognormal(0.0, 0.12), rng.uniform(0.55, 0.7)
    return Scenario(
        seed=seed,
        softness=float(rng.lognormal(0.0, 0.18)),
        gauge_bias_um=float(rng.uniform(0.8, 2.0) * rng.choice([-1.0, 1.0])),
        gauge_sd_um=0.9,
        panels=tuple(
            _panel(seed, name, median, sigma, again=name in repainted, thin=name in thin)
            for name in panels
        ),
    )


def _panel(
    seed: int, name: str, median: float, sigma: float, *, again: bool, thin: bool
) -> PanelTruth:
    rng = stream(seed, "panel", name)
    clear = float(rng.normal(43.0, 1.8))
    under = float(rng.normal(78.0, 3.0))
    return PanelTruth(
        panel=name,
        load_mm_per_cm2=float(rng.lognormal(np.log(55.0), 0.35)),
        trail_load_mm_per_cm2=float(rng.choice([0.0, 0.0, 6.0])),
        depth_median_um=median * float(rng.lognormal(0.0, 0.08)),
        depth_sigma=sigma,
        clear_um=clear - 9.0 if thin else clear,
        under_um=under + 95.0 if again else under,
        repainted=again,
    )


def spot_um(truth: Scenario, panel: str, spot: str) -> float:
    """Return the whole film at one spot of a panel, as it really is [µm]."""
    bears = truth.panel(panel)
    rng = stream(truth.seed, "film", panel, spot)
    return bears.clear_um + bears.under_um + float(rng.normal(0.0, 2.6))


def shown(
    truth: Scenario, film_um: float, repeats: int, rng: np.random.Generator
) -> tuple[float, ...]:
    """Return what the gauge's display shows: whole micrometres."""
    scatter = rng.normal(0.0, truth.gauge_sd_um, repeats)
    return tuple(float(r) for r in np.round(film_um + truth.gauge_bias_um + scatter))


def readings(
    truth: Scenario, panels: Sequence[str], *, spots: int = 5, repeats: int = 3
) -> tuple[tuple[str, str, float], ...]:
    """Return gauge readings as rows (panel, spot, reading [µm])."""
    rows = []
    for panel in panels:
        for number in range(1, spots + 1):
            rng = stream(truth.seed, "reading", panel, number)
            film = spot_um(truth, panel, str(number))
            rows += [(panel, str(number), r) for r in shown(truth, film, repeats, rng)]
    return tuple(rows)


def gauge_checks(truth: Scenario) -> tuple[tuple[float, float], ...]:
    """Return checks of the gauge on shims as pairs (known, shown) [µm]."""
    rng = stream(truth.seed, "checks")
    known = (0.0, 52.0, 102.0, 125.0, 254.0)
    return tuple((shim, shown(truth, shim, 1, rng)[0]) for shim in known)
