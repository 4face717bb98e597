"""Readings of one panel in a few numbers: spot means, their mean, its variance, what looks odd."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Material, Panel
from leastcut.inspect.budget import removed_by_panel
from leastcut.inspect.film_model import Evidence
from leastcut.inspect.gauge import corrected
from leastcut.inspect.kinship import mate_groups, neighbours
from leastcut.inspect.layers import LayerPrior, place_sds
from leastcut.inspect.records import EarlierCut, Gauge, Layer, Reading

Array = NDArray[np.float64]

_PRIOR_WEIGHT = 8  # the stated place-to-place spread counts like this many degrees of freedom
_PLASTIC_SPARE_VAR = 4.0  # plastic parts are painted apart from the body: our assumption [µm²]
_CLEAR_SHARE = 0.35  # a relative fault of the level weighs on the clear by its part of the film
_PLASTIC_REPAINT_FACTOR = 2.0  # and repainted more often: common practice, no source


def is_readable(material: Material, layer: Layer) -> bool:
    """Tell whether a common gauge can read this layer on this material.

    Magnetic induction needs steel (scope of ISO 2178), eddy current needs a conducting
    non-magnetic metal (scope of ISO 2360); neither reads plastic or composite. A gauge that
    resolves the clear coat reads layers on any material.

    Examples
    --------
    >>> is_readable("plastic", "total"), is_readable("plastic", "clear")
    (False, True)
    """
    return layer == "clear" or material not in ("plastic", "composite")


@dataclass(frozen=True)
class LayerMean:
    """Readings of one layer of one panel [µm]; ``var`` is the variance of the mean [µm²]."""

    n_spots: int
    n_readings: int
    mean_um: float
    sd_um: float | None
    min_um: float
    var: float


@dataclass(frozen=True)
class Summary:
    """All readings of one panel."""

    total: LayerMean | None = None
    clear: LayerMean | None = None
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def layer(self) -> Layer | None:
        """The layer that the shown numbers are about: the clear where it was read."""
        if self.clear is not None:
            return "clear"
        return None if self.total is None else "total"

    @property
    def _shown(self) -> LayerMean | None:
        return self.clear or self.total

    @property
    def n_spots(self) -> int:
        """Spots of the shown layer."""
        return self._shown.n_spots if self._shown else 0

    @property
    def n_readings(self) -> int:
        """Readings of the shown layer."""
        return self._shown.n_readings if self._shown else 0

    @property
    def mean_um(self) -> float | None:
        """Mean of the spot means [µm]."""
        return self._shown.mean_um if self._shown else None

    @property
    def sd_um(self) -> float | None:
        """Standard deviation of the readings [µm]."""
        return self._shown.sd_um if self._shown else None

    @property
    def min_um(self) -> float | None:
        """Smallest reading [µm]."""
        return self._shown.min_um if self._shown else None


NOTHING = Summary()


def summarise(
    panels: Sequence[Panel], readings: Sequence[Reading], *, gauge: Gauge, prior: LayerPrior
) -> dict[str, Summary]:
    """Gather the readings of each panel; panels without any get :data:`NOTHING`.

    Parameters
    ----------
    panels, readings
        The car and what the gauge showed.
    gauge : Gauge
        Its bias and slope are taken off.
    prior : LayerPrior
        Gives the usual spread from place to place, which few spots cannot tell.

    Returns
    -------
    dict
        Panel id to summary, every panel.
    """
    by_panel: dict[str, list[Reading]] = defaultdict(list)
    for reading in readings:
        by_panel[reading.panel].append(reading)
    return {
        panel.id: _panel(panel, by_panel[panel.id], gauge, prior)
        if panel.id in by_panel
        else NOTHING
        for panel in panels
    }


def _panel(panel: Panel, readings: list[Reading], gauge: Gauge, prior: LayerPrior) -> Summary:
    usable = [
        r
        for r in readings
        if is_readable(panel.material, r.layer) and is_readable(r.substrate, r.layer)
    ]
    refused = len(readings) - len(usable)
    flags = ("unreadable-substrate",) if refused else ()
    notes = (
        (f"{refused} readings of total film on plastic or composite were set aside.",)
        if refused
        else ()
    )
    if not usable:
        return Summary(flags=flags, notes=notes) if refused else NOTHING
    total = [r for r in usable if r.layer == "total"]
    clear = [r for r in usable if r.layer == "clear"]
    return Summary(
        total=_layer(total, gauge, prior.total_place_var) if total else None,
        clear=_layer(clear, gauge, prior.clear_place_sd**2) if clear else None,
        flags=flags,
        notes=notes,
    )


def _layer(readings: list[Reading], gauge: Gauge, place_var: float) -> LayerMean:
    value = corrected(np.array([r.reading_um for r in readings]), gauge)
    names, index = np.unique([r.spot for r in readings], return_inverse=True)
    spot_mean = np.bincount(index, weights=value) / np.bincount(index)
    n = len(names)
    repeat = gauge.sd_um if gauge.repeat_um is None else gauge.repeat_um
    expected = place_var + repeat**2 * n / len(value)
    around = spot_mean - spot_mean.mean()
    spot_var = (_PRIOR_WEIGHT * expected + around @ around) / (_PRIOR_WEIGHT + n - 1)
    return LayerMean(
        n_spots=n,
        n_readings=len(value),
        mean_um=float(spot_mean.mean()),
        sd_um=float(value.std(ddof=1)) if len(value) > 1 else None,
        min_um=float(value.min()),
        var=float(spot_var / n),
    )


def evidence_of(
    panels: Sequence[Panel],
    summaries: Mapping[str, Summary],
    earlier: Sequence[EarlierCut],
    prior: LayerPrior,
    *,
    gauge: Gauge,
) -> Evidence:
    """Line the summaries up as arrays, one entry per panel."""
    removed = removed_by_panel(earlier)
    totals = [summaries[p.id].total for p in panels]
    clears = [summaries[p.id].clear for p in panels]
    level = gauge.sd_um if gauge.level_um is None else gauge.level_um
    cuts = np.array([removed.get(p.id, (0.0, 0.0)) for p in panels]).reshape(-1, 2)
    apart = np.array([p.material == "plastic" for p in panels], dtype=bool)
    spots = np.array([m.n_spots if m else 1 for m in clears])
    hand = np.array(place_sds(prior)) ** 2 - prior.clear_place_sd**2
    return Evidence(
        total=np.array([m.mean_um if m else np.nan for m in totals]),
        total_var=np.array([m.var if m else 1.0 for m in totals]),
        clear=np.array([m.mean_um if m else np.nan for m in clears]),
        clear_var=np.array([m.var + (level * _CLEAR_SHARE) ** 2 if m else 1.0 for m in clears])[
            :, None
        ]
        + hand / spots[:, None],
        cut=cuts[:, 0],
        cut_var=cuts[:, 1] ** 2,
        chances=_chances(prior, apart),
        spare_var=np.where(apart, _PLASTIC_SPARE_VAR, 0.0),
        group=mate_groups(panels),
        beside=neighbours(panels),
    )


def _chances(prior: LayerPrior, apart: NDArray[np.bool_]) -> Array:
    factor = np.ones((len(apart), 4))
    factor[apart, 1] = _PLASTIC_REPAINT_FACTOR
    chances = factor * np.array(prior.chances)
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))
