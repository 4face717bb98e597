"""What the job uses up: liquids, pads, towels, tape, wipe fluid, clay and the last layer.

All consumption figures are common practice without a source; a shop changes them in
:class:`Usage`.
"""

import math
from collections.abc import Sequence
from decimal import Decimal

import msgspec

from leastcut.car.records import Car, Panel, Polygon
from leastcut.plan.money import rounded
from leastcut.plan.operations import M2_PER_PAD, area_mm2, painted_m2
from leastcut.plan.records import Layout, Material, PriceEntry, SectionPlan
from leastcut.plan.stock import entry_for
from leastcut.testspot.records import Process


class Usage(msgspec.Struct, frozen=True, kw_only=True):
    """How much of each thing is used. Common practice, no source.

    Attributes
    ----------
    liquid_ml_per_m2 : float
        Liquid for one set [ml/m²].
    priming_ml : float
        Liquid rubbed into a fresh pad before its first section [ml].
    m2_per_pad : float
        Area worked, step by step, until a pad must be washed and dried [m²].
    drying_min : float
        How long a washed pad takes until it can be used again [min].
    step_min, step_min_per_m2 : float
        Time that a step takes besides its sets: for each [min], and by area [min/m²].
    m2_per_wipe : float
        Area wiped off with one towel, step by step [m²].
    wipe_ml_per_m2, clay_g_per_m2, protect_ml_per_m2 : float
        Wipe fluid ready to use [ml/m²], clay [g/m²], last layer [ml/m²].
    m2_per_towel : float
        Area dried, wiped down or buffed with one towel [m²].
    tape_overlap : float
        Tape laid against length to be covered.
    """

    liquid_ml_per_m2: float = 3.0
    priming_ml: float = 3.0
    m2_per_pad: float = M2_PER_PAD
    drying_min: float = 120.0
    step_min: float = 0.5
    step_min_per_m2: float = 2.5
    m2_per_wipe: float = 1.5
    wipe_ml_per_m2: float = 25.0
    clay_g_per_m2: float = 4.0
    protect_ml_per_m2: float = 4.0
    m2_per_towel: float = 4.0
    tape_overlap: float = 1.1


def needed(
    sections: Sequence[SectionPlan],
    ladder: Sequence[Process],
    *,
    car: Car,
    layouts: Sequence[Layout],
    usage: Usage | None = None,
    prices: Sequence[PriceEntry] = (),
    currency: str = "EUR",
) -> tuple[Material, ...]:
    """List what the job uses.

    Parameters
    ----------
    sections : sequence of SectionPlan
        What is done to each section.
    ladder : sequence of Process
        The processes, for their pads and liquids.
    car : Car
        Its areas, edges, keep-outs and body lines.
    layouts : sequence of Layout
        For the sections' areas.
    usage : Usage
        Consumption figures.
    prices : sequence of PriceEntry
        The shop's price list; a material not on it has no cost.
    currency : str
        ISO 4217 code, for the rounding of costs.

    Returns
    -------
    tuple of Material
        In the order of the day; nothing that is not used.
    """
    use = usage or Usage()
    worked = {section.panel for section in sections if section.steps}
    found = [
        *_washing(painted_m2(car), use),
        *_tape([panel for panel in car.panels if panel.id in worked], use),
        *_processes(sections, ladder, layouts, use),
        *_wiping(sections, [panel for panel in car.panels if panel.id in worked], use),
        *_protecting(painted_m2(car), use),
    ]
    return tuple(_priced(item, prices, currency) for item in found if item.amount > 0)


def _washing(area_m2: float, use: Usage) -> list[Material]:
    towels = math.ceil(area_m2 / use.m2_per_towel)
    return [
        _material("clay", use.clay_g_per_m2 * area_m2, "g", f"{area_m2:.1f} m² of paint"),
        _material("towels for drying", towels, "towels", f"{area_m2:.1f} m² of paint"),
    ]


def _tape(panels: Sequence[Panel], use: Usage) -> list[Material]:
    """Tape along edges, keep-outs and body lines of the panels that are worked."""
    mm = math.fsum(
        _length_mm(panel.outline_mm, closed=True)
        + math.fsum(_length_mm(k.outline_mm, closed=True) for k in panel.keep_outs)
        + math.fsum(_length_mm(line, closed=False) for line in panel.body_lines_mm)
        for panel in panels
    )
    why = f"edges, keep-outs and body lines of {len(panels)} panels"
    return [_material("tape", mm / 1000 * use.tape_overlap, "m", why)]


def _length_mm(points: Polygon, *, closed: bool) -> float:
    turned = (*points[1:], *points[:1]) if closed else points[1:]
    return math.fsum(math.dist(a, b) for a, b in zip(points, turned, strict=False))


def _processes(
    sections: Sequence[SectionPlan],
    ladder: Sequence[Process],
    layouts: Sequence[Layout],
    use: Usage,
) -> list[Material]:
    area = {s.id: s.area_mm2 / 1e6 for layout in layouts for s in layout.sections}
    found = []
    for process in ladder:
        steps = [
            (area[section.id], step)
            for section in sections
            for step in section.steps
            if step.process == process.label
        ]
        if steps:
            m2 = math.fsum(m2 for m2, _ in steps)
            m2_sets = math.fsum(m2 * step.sets for m2, step in steps)
            turns = math.ceil(m2 / use.m2_per_pad)
            minutes = math.fsum(step.seconds for _, step in steps) / 60
            minutes += use.step_min * len(steps) + use.step_min_per_m2 * m2
            ml = use.liquid_ml_per_m2 * m2_sets + use.priming_ml * turns
            found += [
                _material(
                    f"pads for {process.label}",
                    pads_needed(turns, minutes, drying_min=use.drying_min),
                    "pads",
                    f"{turns} washing turns",
                ),
                _material(f"liquid for {process.label}", ml, "ml", f"{len(steps)} steps"),
            ]
    return found


def pads_needed(turns: int, minutes: float, *, drying_min: float) -> int:
    """Return how many pads keep one process going while the used ones are washed and dry.

    A pad works one turn, then dries; while it dries others work.

    Parameters
    ----------
    turns : int
        How often a fresh pad is needed.
    minutes : float
        Time that all turns take together [min].
    drying_min : float
        How long a washed pad takes until it can be used again [min].

    Examples
    --------
    >>> pads_needed(6, 240.0, drying_min=50.0)
    3
    """
    if turns <= 1 or minutes <= 0:
        return turns
    return min(turns, 1 + math.ceil(drying_min / (minutes / turns)))


def _wiping(sections: Sequence[SectionPlan], panels: Sequence[Panel], use: Usage) -> list[Material]:
    step_m2 = math.fsum(len(s.steps) * s.area_mm2 / 1e6 for s in sections)
    m2 = math.fsum(area_mm2(panel.outline_mm) for panel in panels) / 1e6
    return [
        _material(
            "towels for wiping off",
            math.ceil(step_m2 / use.m2_per_wipe),
            "towels",
            f"{step_m2:.1f} m² over all steps",
        ),
        _material("wipe fluid", use.wipe_ml_per_m2 * m2, "ml", f"{m2:.1f} m² before the proof"),
        _material(
            "towels for the proof", math.ceil(m2 / use.m2_per_towel), "towels", f"{m2:.1f} m²"
        ),
    ]


def _protecting(area_m2: float, use: Usage) -> list[Material]:
    why = f"{area_m2:.1f} m² of paint"
    towels = math.ceil(area_m2 / use.m2_per_towel)
    return [
        _material("protection", use.protect_ml_per_m2 * area_m2, "ml", why),
        _material("towels for buffing", towels, "towels", why),
    ]


def _material(name: str, amount: float, unit: str, why: str) -> Material:
    exact = round(amount, 1)
    return msgspec.convert(
        {"name": name, "amount": exact, "unit": unit, "cost": None, "why": why}, Material
    )


def _priced(item: Material, prices: Sequence[PriceEntry], currency: str) -> Material:
    """Put a cost on a material: the longest entry of the price list that its name begins with."""
    entry = entry_for(item.name, prices)
    if entry is None:
        return item
    cost = rounded(Decimal(str(item.amount)) * entry.per_unit, currency)
    return msgspec.structs.replace(item, cost=cost)


def dilute(ready_ml: float, water_to_product: float) -> tuple[float, float]:
    """Return product and water for `ready_ml` of fluid mixed ``1 : water_to_product`` [ml].

    Examples
    --------
    >>> dilute(500.0, 4.0)
    (100.0, 400.0)
    """
    product = ready_ml / (1 + water_to_product)
    return product, ready_ml - product
