"""Scratch load of each panel: measured where there is a photo, assumed with wide bounds elsewhere."""

import math
from collections.abc import Mapping, Sequence

from leastcut.car.records import Interval, Panel
from leastcut.handover.records import PhotoFinding
from leastcut.inspect.combine import panel_load
from leastcut.inspect.records import ScratchFinding, WashCheck

# Load of a panel nobody photographed, on a car that came in for correction [mm/cm²].
# common practice, no source
USUAL_LOAD = Interval(mean=40.0, low=6.0, high=150.0)

# A panel without a photo against its photographed neighbours: factor either way at 95 %.
# common practice, no source
NEIGHBOUR_FACTOR = 3.0

# A photo of paint that may still carry dirt, oil or bonded grit shows too much or too little:
# factor either way on the bounds. common practice, no source
UNCLEAN_FACTOR = 1.3


def panel_loads(
    panels: Sequence[Panel], photos: Sequence[PhotoFinding], *, wash: WashCheck
) -> Mapping[str, tuple[Interval, bool]]:
    """Return load and whether it is assumed, for every panel.

    Parameters
    ----------
    panels : sequence of Panel
        All panels of the car.
    photos : sequence of PhotoFinding
        What was found; refused photos count as none.
    wash : WashCheck
        Photos of paint not known to be clean and bare are trusted less.

    Returns
    -------
    mapping of str to (Interval, bool)
        Load [mm/cm²] by panel id; True where no photo stands behind it.
    """
    seen: dict[str, list[ScratchFinding]] = {}
    for photo in photos:
        seen.setdefault(photo.panel, []).append(photo.finding)
    measured = {
        name: widened(load, 1.0 if clean(wash) else UNCLEAN_FACTOR)
        for name, findings in seen.items()
        if (load := panel_load(findings)) is not None
    }
    usual = _usual(list(measured.values()))
    return {panel.id: (measured.get(panel.id, usual), panel.id not in measured) for panel in panels}


def clean(wash: WashCheck) -> bool:
    """Tell whether the paint is known to be washed, smooth, and dry and bare of oils."""
    return wash.washed == "washed" and wash.feel == "smooth" and wash.dry is True


def widened(load: Interval, factor: float) -> Interval:
    """Return the same estimate with bounds `factor` further apart either way."""
    return Interval(mean=load.mean, low=load.low / factor, high=load.high * factor)


def _usual(measured: Sequence[Interval]) -> Interval:
    """Return what an unphotographed panel probably carries."""
    positive = [load for load in measured if load.mean > 0]
    if not positive:
        return USUAL_LOAD
    middle = math.exp(math.fsum(math.log(load.mean) for load in positive) / len(positive))
    return Interval(
        mean=middle,
        low=min(*(load.low for load in positive), middle / NEIGHBOUR_FACTOR),
        high=max(*(load.high for load in positive), middle * NEIGHBOUR_FACTOR),
    )
