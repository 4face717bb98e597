"""Sections, steps and the plan for a car, as immutable records."""

from decimal import Decimal
from typing import Literal

import msgspec

from leastcut.car.records import Interval, Point, Polygon
from leastcut.testspot.records import Process

Stroke = tuple[Point, Point]


class Section(msgspec.Struct, frozen=True, kw_only=True):
    """The piece of a panel worked at one time.

    ``cell_mm`` tiles the workable area with its neighbours; ``worked_mm`` is the cell with its
    overlap. ``width_mm`` × ``height_mm`` is the smallest rectangle around ``worked_mm`` in any
    orientation. ``note`` says where the pad at hand does not get in.
    """

    id: str
    panel: str
    cell_mm: Polygon
    worked_mm: Polygon
    width_mm: float
    height_mm: float
    area_mm2: float
    strokes_mm: tuple[Stroke, ...] = ()
    note: str = ""


class LayoutOptions(msgspec.Struct, frozen=True, kw_only=True):
    """How sections and strokes are laid.

    Attributes
    ----------
    max_side_mm : float
        Greatest side of a section with its overlap, in its own smallest rectangle [mm]; 610 mm
        (2 ft) is common practice, no source.
    overlap_mm : float
        Width of the band that neighbours share [mm]: each cell grows by half of it.
    stroke_spacing_mm, pad_diameter_mm : float
        Distance of strokes, and the pad they are meant for [mm].
    edge_margin_mm : float
        How far inside the panel's edges the pad's rim stays [mm]; negative lets it hang over.
    """

    max_side_mm: float = 610.0
    overlap_mm: float = 50.0
    stroke_spacing_mm: float = 40.0
    pad_diameter_mm: float = 130.0
    edge_margin_mm: float = 0.0


class Layout(msgspec.Struct, frozen=True, kw_only=True):
    """A panel divided into sections, with the order to work them."""

    panel: str
    sections: tuple[Section, ...]
    order: tuple[str, ...]
    covered_fraction: float
    lower_bound: int


class PanelNeed(msgspec.Struct, frozen=True, kw_only=True):
    """What one panel asks for and what it can afford.

    Attributes
    ----------
    load : Interval
        Scratch load now [mm/cm²].
    required : float
        Fraction of the visible scratch length that must go to meet the target; 0 or less when the
        panel meets it already.
    budget_um : float
        What may be cut from this panel today [µm].
    clear_mean_um, clear_low_um : float
        Clear coat now: best estimate and lower 95 % bound [µm].
    finding : str
        State of the film: factory, repainted, filled, thin, unmeasured or unreadable.
    section_budgets_um : dict of str to float
        Tighter budgets of single sections, by section id [µm].
    note : str
        Why the budget is what it is, for the plan's reader.
    """

    panel: str
    load: Interval
    required: float
    budget_um: float
    clear_mean_um: float
    clear_low_um: float
    finding: str = "unmeasured"
    section_budgets_um: dict[str, float] = {}
    note: str = ""


class Weights(msgspec.Struct, frozen=True, kw_only=True):
    """What the choice weighs against what, all in minutes of work.

    Attributes
    ----------
    minutes_per_um : float
        Minutes of extra work on one full section (610 mm square) that are worth leaving 1 µm more
        clear coat there; smaller sections in proportion to their area. The default is somewhat
        more than a polishing foam takes to cut 1 µm, for clear coat cannot be put back.
    minutes_per_process : float
        Setting up a process once for the car: a new pad, the first priming.
    minutes_per_change : float
        Changing pad and liquid when a process is taken up on another panel.
    minutes_per_step, minutes_per_step_m2 : float
        Spreading, wiping and looking after each step on a section: for each, and by area.
    """

    minutes_per_um: float = 10.0
    minutes_per_process: float = 6.0
    minutes_per_change: float = 2.0
    minutes_per_step: float = 0.5
    minutes_per_step_m2: float = 2.5


class Wishes(msgspec.Struct, frozen=True, kw_only=True):
    """What the whole car may use up at most; None and absent mean no limit.

    Attributes
    ----------
    minutes : float or None
        Minutes on the sections: sets, wiping, and changing pads.
    liquid_ml : dict of str to float
        Liquid at hand [ml], by process label.
    """

    minutes: float | None = None
    liquid_ml: dict[str, float] = {}


class Relaxation(msgspec.Struct, frozen=True, kw_only=True):
    """One way to make an impossible wish possible: which constraint, from what to what.

    ``change`` is how far it moves against what was allowed, so that the cheapest comes first;
    ``say`` is the sentence for the reader; ``panel`` is empty for limits on the whole car.
    """

    constraint: str
    panel: str = ""
    allowed: float
    needed: float
    unit: str
    change: float
    say: str


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
    area_mm2: float = 0.0


class Operation(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the day besides the sets: washing, taping, inspecting, cleaning pads.

    ``source`` says where the duration comes from; ``attended`` is false while nobody need stand
    by (a cure), so that such time is not charged as labour.
    """

    stage: str
    name: str
    minutes: Interval
    source: str
    attended: bool = True


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
    """The quote: exact decimals in an ISO 4217 currency.

    ``lines`` add up to ``net``; ``net`` and ``tax`` to ``total``. ``deposit`` is the part of the
    total to be paid ahead.
    """

    currency: str
    lines: tuple[PriceLine, ...]
    net: Decimal
    tax: Decimal
    total: Decimal
    deposit: Decimal | None = None
    rounding: str = ""
    risks: tuple[str, ...] = ()
    valid_until: str = ""


class Rates(msgspec.Struct, frozen=True, kw_only=True):
    """What a shop charges.

    Attributes
    ----------
    currency : str
        ISO 4217 code, such as ``EUR``.
    labour_per_hour : Decimal
        Before tax.
    tax_percent, discount_percent, deposit_percent : Decimal
        Tax on the net price; discount; deposit of the total.
    discount_on : {"labour", "all"}
        What the discount is taken off: labour alone, or materials too.
    charge : {"p50", "p80"}
        Which duration the quote charges.
    step_minutes : int
        Labour is charged in whole steps of this many minutes, rounded up.
    valid_until : str
        Last day on which the quote holds, as the shop writes it.
    """

    currency: str
    labour_per_hour: Decimal
    tax_percent: Decimal = Decimal(0)
    discount_percent: Decimal = Decimal(0)
    deposit_percent: Decimal = Decimal(0)
    discount_on: Literal["labour", "all"] = "labour"
    charge: Literal["p50", "p80"] = "p80"
    step_minutes: int = 15
    valid_until: str = ""


class PriceEntry(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the shop's price list: what one unit of a material costs, and what is left.

    ``material`` is the name of a :class:`Material`, or its first words (``tape``, ``towels``).
    ``in_stock`` is None when nobody counts it.
    """

    material: str
    per_unit: Decimal
    in_stock: float | None = None


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
    relaxations: tuple[Relaxation, ...] = ()


class Figures(msgspec.Struct, frozen=True, kw_only=True):
    """What a plan comes to, in one line.

    Attributes
    ----------
    minutes : Minutes
        Of the whole day.
    work_minutes : float
        On the sections: sets, wiping, changing pads [min].
    cut_um : float
        Mean cut over the car, by area [µm].
    removed_percent : float or None
        Share of the scratch length gone, expected, by area; None when no section needs anything.
    worst_percent, together_percent : float or None
        Chance of meeting the target in the section where it is lowest, and in all sections that
        are worked together; None when none is.
    total : Decimal or None
        Price with tax, in the currency of the rates.
    """

    minutes: Minutes
    work_minutes: float
    cut_um: float
    removed_percent: float | None
    worst_percent: float | None
    together_percent: float | None
    total: Decimal | None


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """A what-if: what to change in the plan's inputs; None and empty change nothing.

    Attributes
    ----------
    add : tuple of Process
        Processes to put on the ladder.
    without : tuple of str
        Labels of processes to take off it.
    finish_step : bool or None
        Whether a finishing step follows a process that hazes.
    p_target, minutes_per_um : float or None
        As in the plan.
    minutes : float or None
        Most minutes on the sections.
    budget_um, required : dict of str to float
        By panel.
    leave : tuple of str
        Panels to leave alone.
    """

    add: tuple[Process, ...] = ()
    without: tuple[str, ...] = ()
    finish_step: bool | None = None
    p_target: float | None = None
    minutes_per_um: float | None = None
    minutes: float | None = None
    budget_um: dict[str, float] = {}
    required: dict[str, float] = {}
    leave: tuple[str, ...] = ()


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """What the change does: figures before and after, and the sections worked otherwise."""

    before: Figures
    after: Figures
    changed: tuple[str, ...]
    relaxations: tuple[Relaxation, ...]
    say: str


class FrontierPoint(msgspec.Struct, frozen=True, kw_only=True):
    """One plan among those that no other beats in minutes, clear coat and finish at once."""

    work_minutes: float
    cut_um: float
    removed_percent: float
    minutes_per_um: float
    left_factor: float


class Offer(msgspec.Struct, frozen=True, kw_only=True):
    """One of three offers to the client: what is left of the scratches, against what was asked."""

    name: Literal["light", "asked", "fine"]
    what: str
    left_factor: float
    figures: Figures
    plan: Plan


class Shortage(msgspec.Struct, frozen=True, kw_only=True):
    """A material of which less is in stock than the job needs."""

    material: str
    needed: float
    in_stock: float
    buy: float
    unit: str
    cost: Decimal | None
