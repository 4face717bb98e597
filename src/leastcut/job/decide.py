"""Decide: from evidence to the dossier. Pure: no file is read or written, chance is passed in."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from leastcut.car.records import Interval, Panel
from leastcut.handover.records import Dossier, PanelState, People
from leastcut.inspect import film
from leastcut.inspect.budget import reserve_rule
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import FilmFinding, Gauge, WashCheck
from leastcut.job.evidence import Evidence
from leastcut.job.facts import cautions_of, window_of
from leastcut.job.helps import would_help_most
from leastcut.job.loads import panel_loads
from leastcut.job.stages import stages_of
from leastcut.plan import build, sections
from leastcut.plan.records import Layout, PanelNeed, PriceEntry, Rates
from leastcut.testspot import decide as testspot
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Process, Target, TestSpot

if TYPE_CHECKING:
    import numpy as np

# Share of the visible scratch length that must go. Our own definition: common practice, no source.
REMOVED: Mapping[Target, float] = {"daily": 0.85, "show": 0.95}

# A panel is never asked for more than this: the last scratch costs the most clear coat.
MOST_REMOVED = 0.99


def decide(evidence: Evidence, *, rng: "np.random.Generator") -> Dossier:
    """Work out everything that follows from the evidence.

    Parameters
    ----------
    evidence : Evidence
        What was gathered.
    rng : numpy.random.Generator
        For the Monte Carlo over durations.

    Returns
    -------
    Dossier
        Findings, test spot, sections, plan, cautions, stages, and what would help most.

    Raises
    ------
    InputError
        If prices or processes cannot be used.
    """
    job = evidence.job
    wash = WashCheck(
        washed=job.wash.washed,
        feel=job.wash.feel,
        tar_or_iron=job.wash.tar_or_iron,
        dry=job.wash.dry,
    )
    gauge = calibrate(evidence.checks)
    states = panel_states(evidence, gauge=gauge, wash=wash)
    spot, draws = test_spot(evidence, states)
    layouts = lay_out(evidence, spot)
    needs = panel_needs(states, evidence)
    plan = build.build(
        layouts,
        car=evidence.car,
        panels=needs,
        ladder=evidence.ladder,
        draws=draws,
        rng=rng,
        p_target=job.target.confidence_percent / 100,
        n_trials=len(evidence.trials),
        prices=prices_of(evidence),
        rates=rates_of(evidence),
    )
    return Dossier(
        car=evidence.car,
        people=People(client=job.people.client, shop=job.people.shop, date=job.people.date),
        target=job.target.finish,
        units=job.units,
        wash=wash,
        photos=evidence.photos,
        gauge=gauge,
        panels=states,
        ladder=evidence.ladder,
        trials=evidence.trials,
        testspot=spot,
        layouts=layouts,
        plan=plan,
        cautions=cautions_of(evidence, states, layouts, plan),
        window=window_of(job.protect),
        stages=stages_of(evidence, wash=wash, states=states, spot=spot, plan=plan),
        would_help_most=would_help_most(
            evidence, states=states, needs=needs, gauge=gauge, plan=plan, draws=draws
        ),
    )


def film_findings(evidence: Evidence, *, gauge: Gauge) -> tuple[FilmFinding, ...]:
    """Return the film finding of every panel."""
    return film.assess(
        evidence.car.panels,
        evidence.readings,
        paint=evidence.car.paint,
        gauge=gauge,
        earlier=evidence.earlier,
        reserve=reserve_rule(evidence.job.target.reserve_um),
    )


def panel_states(evidence: Evidence, *, gauge: Gauge, wash: WashCheck) -> tuple[PanelState, ...]:
    """Put load and film of every panel together."""
    loads = panel_loads(evidence.car.panels, evidence.photos, wash=wash)
    return tuple(
        PanelState(
            panel=finding.panel,
            load_mm_per_cm2=loads[finding.panel][0],
            load_assumed=loads[finding.panel][1],
            film=finding,
        )
        for finding in film_findings(evidence, gauge=gauge)
    )


def test_spot(evidence: Evidence, states: Sequence[PanelState]) -> tuple[TestSpot, PaintDraws]:
    """Learn from the trials; the budget is that of the panels tried, else of a poor panel."""
    tried = {trial.panel for trial in evidence.trials}
    budgets = sorted(state.film.budget_um for state in states if state.panel in tried)
    if not budgets:
        budgets = sorted(state.film.budget_um for state in states)
        budgets = budgets[len(budgets) // 4 :]
    return testspot.assess(
        evidence.trials,
        evidence.ladder,
        target=evidence.job.target.finish,
        budget_um=budgets[0] if budgets else 0.0,
        width_hint_um=width_hint_um(evidence),
    )


def width_hint_um(evidence: Evidence) -> float | None:
    """Return the median width of the scratches seen, or None without any."""
    widths = sorted(
        scratch.width_um for photo in evidence.photos for scratch in photo.finding.scratches
    )
    return widths[len(widths) // 2] if widths else None


def work_order(panels: Sequence[Panel]) -> tuple[Panel, ...]:
    """Return the panels from the top of the car downwards, one side after the other."""
    sides = {"centre": 0, "left": 1, "right": 2}
    top = {"top": 0, "side": 1, "front": 1, "rear": 1}
    return tuple(
        sorted(panels, key=lambda p: (top[p.facing], -p.centre_height_mm, sides[p.side], p.id))
    )


def lay_out(evidence: Evidence, spot: TestSpot) -> tuple[Layout, ...]:
    """Divide every panel into sections for the process the test spot points to."""
    process = process_named(evidence.ladder, spot.next.process)
    return tuple(
        sections.lay_out(
            panel,
            stroke_spacing_mm=process.stroke_spacing_mm,
            pad_diameter_mm=process.pad_diameter_mm,
        )
        for panel in work_order(evidence.car.panels)
    )


def process_named(ladder: Sequence[Process], label: str | None) -> Process:
    """Return the process called `label`; the mildest if none is."""
    return next((process for process in ladder if process.label == label), ladder[0])


def panel_needs(states: Sequence[PanelState], evidence: Evidence) -> tuple[PanelNeed, ...]:
    """Say what each panel asks for: the same load left everywhere, whatever it began with."""
    wanted = REMOVED[evidence.job.target.finish]
    left = (1 - wanted) * reference_load(states, evidence)
    return tuple(
        PanelNeed(
            panel=state.panel,
            load=state.load_mm_per_cm2,
            required=required_fraction(state.load_mm_per_cm2, left, state, wanted),
            budget_um=state.film.budget_um,
            clear_mean_um=state.film.clear_um.mean,
            clear_low_um=state.film.clear_um.low,
            finding=state.film.finding,
            note="; ".join(state.film.notes[:1]),
        )
        for state in states
    )


def reference_load(states: Sequence[PanelState], evidence: Evidence) -> float:
    """Return the load that the wanted fraction refers to: the test spot's, else the car's."""
    before = [t.before_load_mm_per_cm2 for t in evidence.trials if t.before_load_mm_per_cm2]
    if before:
        return before[0]
    loads = sorted(state.load_mm_per_cm2.mean for state in states if not state.load_assumed)
    loads = loads or sorted(state.load_mm_per_cm2.mean for state in states)
    return loads[len(loads) // 2]


def required_fraction(load: Interval, left: float, state: PanelState, wanted: float) -> float:
    """Return the share of this panel's scratches that must go to leave `left` [mm/cm²].

    A panel nobody photographed is asked for the wanted fraction at least: nothing says that it
    needs less.
    """
    needed = 1 - left / load.mean if load.mean > 0 else 0.0
    if state.load_assumed:
        needed = max(needed, wanted)
    return min(max(needed, 0.0), MOST_REMOVED)


def rates_of(evidence: Evidence) -> Rates | None:
    """Return what the shop charges, or None without a price table."""
    prices = evidence.job.prices
    if prices is None:
        return None
    return Rates(
        currency=prices.currency,
        labour_per_hour=prices.labour_per_hour,
        tax_percent=prices.tax_percent,
        discount_percent=prices.discount_percent,
    )


def prices_of(evidence: Evidence) -> tuple[PriceEntry, ...]:
    """Return the shop's price list."""
    prices = evidence.job.prices
    return tuple(
        PriceEntry(material=name, per_unit=amount)
        for name, amount in (prices.materials if prices else {}).items()
    )
