"""Sections, steps and the plan for a car, as immutable records."""

from decimal import Decimal
from typing import Literal

import msgspec

from leastcut.car.records import Interval, Point, Polygon

Stroke = tuple[Point, Point]


class Section(msgspec.Struct, frozen=True, kw_only=True):
    """The piece of a panel worked at one time.

    ``cell_mm`` tiles the workable area with its neighbours; ``worked_mm`` is the cell with its
    overlap. ``width_mm`` × ``height_mm`` is the smallest rectangle around ``worked_mm`` in any
    orientation.
    """

    id: str
    panel: str
    cell_mm: Polygon
    worked_mm: Polygon
    width_mm: float
    height_mm: float
    area_mm2: float
    strokes_mm: tuple[Stroke, ...] = ()


class Layout(msgspec.Struct, frozen=True, kw_only=True):
    """A panel divided into sections, with the order to work them."""

    panel: str
    sections: tuple[Section, ...]
    order: tuple[str, ...]
    covered_fraction: float
    lower_bound: int


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One process on one section: how many sets, how long."""

    process: str
    sets: int
    seconds: float


class SectionPlan(msgspec.Struct, frozen=True, kw_only=True):
    """What to do to one section, what it costs in clear coat and what is left after."""

    panel: str
    id: str
    steps: tuple[Step, ...]
    cut_um: Interval
    clear_after_low_um: float
    p_target: float
    note: str = ""


class Operation(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the day besides the sets: washing, taping, inspecting, cleaning pads.

    ``source`` says where the duration comes from.
    """

    stage: str
    name: str
    minutes: Interval
    source: str


class Minutes(msgspec.Struct, frozen=True, kw_only=True):
    """Duration of the whole job [min]: even chance, and four chances in five."""

    p50: float
    p80: float


class Material(msgspec.Struct, frozen=True, kw_only=True):
    """One thing used up or needed, with its amount and cost in the price's currency."""

    name: str
    amount: float
    unit: Literal["ml", "pads", "towels", "m", "g", "pieces"]
    cost: Decimal | None
    why: str


class PriceLine(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the quote."""

    what: str
    amount: Decimal


class Price(msgspec.Struct, frozen=True, kw_only=True):
    """The quote: exact decimals in an ISO 4217 currency; lines add up to the total."""

    currency: str
    lines: tuple[PriceLine, ...]
    net: Decimal
    tax: Decimal
    total: Decimal


class Plan(msgspec.Struct, frozen=True, kw_only=True):
    """The plan for the car, sections in the order of work."""

    sections: tuple[SectionPlan, ...]
    operations: tuple[Operation, ...]
    minutes: Minutes
    section_minutes: float
    materials: tuple[Material, ...]
    price: Price | None
    proven_gap: float | None
    notes: tuple[str, ...] = ()
