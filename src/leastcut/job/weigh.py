"""Weigh the evidence: what each panel carries and can afford, what the paint is like."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from leastcut.car.records import Interval, Panel
from leastcut.handover.records import PanelState
from leastcut.inspect import film
from leastcut.inspect.budget import reserve_rule
from leastcut.inspect.film_map import draw_maps, section_budgets
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import Gauge, WashCheck
from leastcut.inspect.study import Study, study
from leastcut.job.evidence import Evidence
from leastcut.job.loads import panel_loads
from leastcut.plan import sections
from leastcut.plan.build import Around
from leastcut.plan.choose import Inputs
from leastcut.plan.learn import Learnt
from leastcut.plan.records import Layout, PanelNeed, PriceEntry, Rates
from leastcut.testspot import decide as testspot
from leastcut.testspot.paint import REQUIRED, PaintDraws
from leastcut.testspot.records import Process, TestSpot
from leastcut.testspot.rules import Rules

# A panel is never asked for more than this: the last scratch costs the most clear coat.
MOST_REMOVED = 0.99


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """The evidence weighed, and what the planner takes; `film` is what the readings say."""

    wash: WashCheck
    gauge: Gauge
    film: Study
    states: tuple[PanelState, ...]
    spot: TestSpot
    inputs: Inputs
    around: Around


def weigh(evidence: Evidence, *, learnt: Learnt | None = None) -> Weighed:
    """Weigh the evidence and put together what the planner takes.

    Parameters
    ----------
    evidence : Evidence
        What was gathered.
    learnt : Learnt or None
        The shop's own pace.

    Raises
    ------
    InputError
        If prices or processes cannot be used.
    """
    job = evidence.job
    wash, gauge = wash_of(evidence), gauge_of(evidence)
    known = film_study(evidence, gauge=gauge)
    states = panel_states(evidence, known, wash=wash)
    spot, draws = test_spot(evidence, states)
    layouts = lay_out(evidence, spot)
    inputs = Inputs(
        layouts=layouts,
        panels=panel_needs(states, evidence, layouts=layouts, known=known),
        ladder=evidence.ladder,
        draws=draws,
        p_target=job.target.confidence_percent / 100,
        p_accept=accepted_chance(spot),
    )
    around = Around(
        car=evidence.car,
        n_trials=len(evidence.trials),
        vibration_m_s2=job.room.vibration_m_s2,
        vibration_k_m_s2=job.room.vibration_k_m_s2,
        persons=job.room.people,
        learnt=learnt,
        prices=prices_of(evidence),
        rates=rates_of(evidence),
    )
    return Weighed(
        wash=wash,
        gauge=gauge,
        film=known,
        states=states,
        spot=spot,
        inputs=inputs,
        around=around,
    )


def wash_of(evidence: Evidence) -> WashCheck:
    """Return the wash-and-clay check."""
    wash = evidence.job.wash
    return WashCheck(washed=wash.washed, feel=wash.feel, tar_or_iron=wash.tar_or_iron, dry=wash.dry)


def gauge_of(evidence: Evidence) -> Gauge:
    """Return the gauge as its checks say."""
    return calibrate(evidence.checks, days_since=evidence.job.film.checked_days_ago)


def film_study(evidence: Evidence, *, gauge: Gauge) -> Study:
    """Return what the readings say of every panel's film."""
    reserve_um = evidence.job.target.reserve_um
    return study(
        evidence.car.panels,
        evidence.readings,
        paint=evidence.car.paint,
        gauge=gauge,
        earlier=evidence.earlier,
        reserve=reserve_rule(None if reserve_um is None else float(reserve_um)),
    )


def panel_states(evidence: Evidence, known: Study, *, wash: WashCheck) -> tuple[PanelState, ...]:
    """Put load and film of every panel together."""
    loads = panel_loads(evidence.car.panels, evidence.photos, wash=wash)
    return tuple(
        PanelState(
            panel=finding.panel,
            load_mm_per_cm2=loads[finding.panel][0],
            load_assumed=loads[finding.panel][1],
            film=finding,
        )
        for finding in film.findings_of(known)
    )


def test_spot(evidence: Evidence, states: Sequence[PanelState]) -> tuple[TestSpot, PaintDraws]:
    """Learn from the trials; the budget is that of the panels tried, else of a poor panel."""
    tried = {trial.panel for trial in evidence.trials}
    budgets = sorted(state.film.budget_um for state in states if state.panel in tried)
    if not budgets:
        budgets = sorted(state.film.budget_um for state in states)
        budgets = budgets[len(budgets) // 4 :]
    wanted = evidence.job.target
    accept = wanted.accept_percent
    return testspot.assess(
        evidence.trials,
        evidence.ladder,
        target=wanted.finish,
        budget_um=budgets[0] if budgets else 0.0,
        width_hint_um=width_hint_um(evidence),
        rules=Rules(
            p_target=wanted.confidence_percent / 100,
            p_accept=None if accept is None else accept / 100,
        ),
    )


def accepted_chance(spot: TestSpot) -> float | None:
    """Return the chance of the target that a person accepted, None where nothing was to accept."""
    best = spot.next.affordable
    return best.p_target if best is not None and spot.next.do == "use" else None


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
    """Divide every panel into sections for the process that was set, else that the test spot points to."""
    process = process_named(evidence.ladder, sections_for(evidence, spot))
    return tuple(
        _laid_out(panel, process.stroke_spacing_mm, process.pad_diameter_mm)
        for panel in work_order(evidence.car.panels)
    )


@lru_cache(256)
def _laid_out(panel: Panel, spacing_mm: float, pad_mm: float) -> Layout:
    """Divide one panel; remembered, because new evidence on the paint changes no outline."""
    return sections.lay_out(panel, stroke_spacing_mm=spacing_mm, pad_diameter_mm=pad_mm)


def sections_for(evidence: Evidence, spot: TestSpot) -> str | None:
    """Return the label of the process that the sections are drawn for."""
    wanted = evidence.job.sections_for
    known = {process.label for process in evidence.ladder}
    return wanted if wanted in known else spot.next.process


def sections_drawn_for(evidence: Evidence) -> str:
    """Return the label of the process that the sections are drawn for, deciding no more than that."""
    known = film_study(evidence, gauge=gauge_of(evidence))
    states = panel_states(evidence, known, wash=wash_of(evidence))
    spot, _ = test_spot(evidence, states)
    return process_named(evidence.ladder, sections_for(evidence, spot)).label


def process_named(ladder: Sequence[Process], label: str | None) -> Process:
    """Return the process called `label`; the mildest if none is."""
    return next((process for process in ladder if process.label == label), ladder[0])


def panel_needs(
    states: Sequence[PanelState],
    evidence: Evidence,
    *,
    layouts: Sequence[Layout],
    known: Study,
) -> tuple[PanelNeed, ...]:
    """Say what each panel asks for: the same load left everywhere, whatever it began with."""
    by_section = section_budgets_um(evidence, layouts, known)
    wanted = REQUIRED[evidence.job.target.finish]
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
            section_budgets_um=by_section.get(state.panel, {}),
            note="; ".join(state.film.notes[:1]),
        )
        for state in states
    )


def section_budgets_um(
    evidence: Evidence, layouts: Sequence[Layout], known: Study
) -> dict[str, dict[str, float]]:
    """Return budgets of single sections, where readings with a place make a map possible."""
    placed = {reading.panel for reading in evidence.readings if reading.x_mm is not None}
    if not placed:
        return {}
    cells = {x.panel: [(s.id, s.cell_mm) for s in x.sections] for x in layouts}
    return {
        drawn.panel: {b.id: b.budget_um for b in section_budgets(known, drawn, cells[drawn.panel])}
        for drawn in draw_maps(known)
        if drawn.panel in placed
    }


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
        deposit_percent=prices.deposit_percent,
        valid_until=prices.valid_until,
    )


def prices_of(evidence: Evidence) -> tuple[PriceEntry, ...]:
    """Return the shop's price list."""
    prices = evidence.job.prices
    if prices is None:
        return ()
    return tuple(
        PriceEntry(material=name, per_unit=amount, in_stock=prices.stock.get(name))
        for name, amount in prices.materials.items()
    )
