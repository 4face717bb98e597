"""Readings of one panel in a few numbers: spot means, their mean, its variance, what looks odd."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Material, Panel
from leastcut.inspect.gauge import corrected, spread_of
from leastcut.inspect.layers import LayerPrior
from leastcut.inspect.outliers import suspects
from leastcut.inspect.records import Gauge, Layer, Reading

Array = NDArray[np.float64]

_PRIOR_WEIGHT = 8  # the stated place-to-place spread counts like this many degrees of freedom
_SLIP_FACTOR = 6.0  # so many repeatabilities away from its agreeing repeats, a reading is a slip
_DEFICIT_Z = 3.0  # a spot thinner than chance explains, in standard deviations


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
    """Corrected readings of one layer of one panel [µm].

    ``var`` is the variance of the mean [µm²]; ``deficit_um`` how much the thinnest spot lacks
    beyond what chance explains; ``kept`` are the readings behind the numbers, ``values_um`` their
    corrected values.
    """

    n_spots: int
    n_readings: int
    mean_um: float
    sd_um: float | None
    min_um: float
    var: float
    deficit_um: float
    kept: tuple[Reading, ...]
    values_um: Array


@dataclass(frozen=True)
class Summary:
    """All readings of one panel, by layer."""

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
    def shown(self) -> LayerMean | None:
        """The numbers of that layer."""
        return self.clear or self.total


NOTHING = Summary()


def summarise(
    panels: Sequence[Panel], readings: Sequence[Reading], *, gauge: Gauge, prior: LayerPrior
) -> tuple[Summary, ...]:
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
    tuple of Summary
        One per panel.
    """
    by_panel: dict[str, list[Reading]] = defaultdict(list)
    for reading in readings:
        by_panel[reading.panel].append(reading)
    return tuple(_panel(panel, by_panel.get(panel.id, []), gauge, prior) for panel in panels)


def _panel(panel: Panel, readings: list[Reading], gauge: Gauge, prior: LayerPrior) -> Summary:
    if not readings:
        return NOTHING
    usable = [
        r
        for r in readings
        if is_readable(panel.material, r.layer) and is_readable(r.substrate, r.layer)
    ]
    flags, notes = _unreadable(len(readings) - len(usable))
    layers: dict[Layer, LayerMean | None] = {"total": None, "clear": None}
    spreads: dict[Layer, float] = {
        "total": prior.total_place_var,
        "clear": prior.clear_place_sd**2,
    }
    for layer, place_var in spreads.items():
        rows = [r for r in usable if r.layer == layer]
        if rows:
            layers[layer], odd = _layer(rows, gauge, place_var)
            flags, notes = flags + odd[0], notes + odd[1]
    return Summary(total=layers["total"], clear=layers["clear"], flags=flags, notes=notes)


Odd = tuple[tuple[str, ...], tuple[str, ...]]


def _unreadable(refused: int) -> Odd:
    if not refused:
        return (), ()
    note = (
        f"{refused} readings of total film on plastic or composite were set aside: magnetic and "
        "eddy-current gauges cannot read there."
    )
    return ("unreadable-substrate",), (note,)


def _layer(readings: list[Reading], gauge: Gauge, place_var: float) -> tuple[LayerMean, Odd]:
    value = corrected(np.array([r.reading_um for r in readings]), gauge)
    repeat = spread_of(gauge).repeat_um
    slips, odd = _odd(readings, value, repeat)
    kept = [i for i in range(len(readings)) if i not in slips]
    by_spot: dict[str, list[float]] = defaultdict(list)
    for i in kept:
        by_spot[readings[i].spot].append(float(value[i]))
    spot_means = [math.fsum(v) / len(v) for v in by_spot.values()]
    n, mean = len(spot_means), math.fsum(spot_means) / len(spot_means)
    expected = place_var + repeat**2 * math.fsum(1 / len(v) for v in by_spot.values()) / n
    spread = math.fsum((s - mean) ** 2 for s in spot_means)
    spot_var = (_PRIOR_WEIGHT * expected + spread) / (_PRIOR_WEIGHT + n - 1)
    lacking = median(spot_means) - min(spot_means) - _DEFICIT_Z * expected**0.5
    values = value[kept]
    found = LayerMean(
        n_spots=n,
        n_readings=len(kept),
        mean_um=mean,
        sd_um=float(values.std(ddof=1)) if len(kept) > 1 else None,
        min_um=float(values.min()),
        var=spot_var / n,
        deficit_um=max(0.0, lacking),
        kept=tuple(readings[i] for i in kept),
        values_um=values,
    )
    return found, odd


def _odd(readings: list[Reading], value: Array, repeat: float) -> tuple[set[int], Odd]:
    """Find readings that stand out (Grubbs); those that their own repeats deny are slips."""
    slips: set[int] = set()
    notes: list[str] = []
    for i in suspects(value):
        same = [
            float(value[j])
            for j, r in enumerate(readings)
            if r.spot == readings[i].spot and j != i and j not in slips
        ]
        denied = len(same) > 1 and max(same) - min(same) < _SLIP_FACTOR * repeat
        if denied and abs(value[i] - np.median(same)) > _SLIP_FACTOR * repeat:
            slips.add(i)
        notes.append(_suspicion(readings[i], set_aside=i in slips))
    return slips, (("outlier",) if notes else (), tuple(notes))


def _suspicion(reading: Reading, *, set_aside: bool) -> str:
    place = f"spot {reading.spot}" + (f" (line {reading.line})" if reading.line else "")
    fate = (
        "its repeats at the same spot deny it, so it is set aside"
        if set_aside
        else "it is kept; measure there again, it may be a local repair or a thin place"
    )
    return f"{reading.reading_um:.0f} µm at {place} stands out (Grubbs' test, 1 %): {fate}."
