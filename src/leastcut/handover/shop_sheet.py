"""What the shop's dossier says: the evidence behind every number, panel by panel. Pure."""

from collections.abc import Mapping
from typing import Any

from leastcut.car.records import Panel
from leastcut.car.units import UnitSystem
from leastcut.handover import words
from leastcut.handover.account import Balance, account, reserve_um
from leastcut.handover.charts import cut_chart
from leastcut.handover.client import FILM_STATES, trial_row
from leastcut.handover.ledger import Ledger
from leastcut.handover.plots import in_words
from leastcut.handover.records import Dossier, PanelState, PhotoFinding
from leastcut.handover.wall import (
    about,
    cards,
    cautions,
    helps,
    panel_names,
    panels_in_order,
    plan_notes,
    section_numbers,
)
from leastcut.inspect.records import FilmFinding
from leastcut.plan.records import SectionPlan
from leastcut.testspot.records import Candidate

Sheet = dict[str, Any]


def shop_sheet(dossier: Dossier, ledger: Ledger | None = None) -> Sheet:
    """Return everything that the shop's dossier prints; the balance when a ledger is given."""
    names = panel_names(dossier)
    used = {step.process for s in dossier.plan.sections for step in s.steps}
    return {
        "title": f"Dossier: {dossier.car.label}",
        "car": dossier.car.label,
        "about": about(dossier.car, dossier.units),
        "client": dossier.people.client,
        "shop": dossier.people.shop,
        "job_date": dossier.people.date,
        "target": words.TARGETS[dossier.target],
        "stages": [
            [words.STAGES[s.stage], "done" if s.done else "open", "; ".join((*s.missing, *s.not_yet))]
            for s in dossier.stages
        ],
        "paint": _paint(dossier),
        "gauge": _gauge(dossier),
        "trials": [trial_row(trial, dossier) for trial in dossier.trials],
        "candidates": [_candidate(c, dossier.units) for c in dossier.testspot.candidates],
        "advice": dossier.testspot.next.why,
        "notes": [*dossier.testspot.notes, *plan_notes(dossier)],
        "cards": cards(dossier, used),
        "balance": [] if ledger is None else [_balance(b, names, dossier.units) for b in account(ledger, reserve_um=reserve_um(dossier))],
        "cautions": cautions(dossier.cautions, names),
        "help": helps(dossier),
        "panels": [
            _panel(dossier, panel, n) for n, panel in enumerate(panels_in_order(dossier), 1)
        ],
        "film_unit": words.film_symbol(dossier.units),
    }  # fmt: skip


def _paint(dossier: Dossier) -> list[list[str]]:
    spot, units = dossier.testspot, dossier.units
    soft = spot.softness
    return [
        [f"{soft.mean:.2f}", f"softness against typical paint, {soft.low:.2f}–{soft.high:.2f}"],
        [words.thickness(spot.depth_um.median, units), "median depth of a scratch"],
        [words.thickness(spot.depth_um.p95, units), "depth that 95 % do not exceed"],
        [f"{spot.n_trials}", "trials"],
    ]


def _gauge(dossier: Dossier) -> str:
    gauge, units = dossier.gauge, dossier.units
    if not gauge.checked:
        return "The gauge was not checked on a known thickness; its error is assumed."
    return (
        f"The gauge reads {words.thickness(gauge.bias_um, units)} too much on the checks, which is "
        f"taken off; one reading scatters by {words.thickness(gauge.sd_um, units)} (standard deviation)."
    )


def _candidate(c: Candidate, units: UnitSystem) -> list[str]:
    return [
        c.process,
        f"{c.sets}",
        f"{words.bare_thickness(c.cut_um.mean, units)} ({words.thickness_between(c.cut_um, units).split(words.NBSP)[0]})",
        words.percent(c.p_target),
        words.percent(c.p_within_budget),
    ]


def _balance(b: Balance, names: Mapping[str, str], units: UnitSystem) -> list[str]:
    visit = b.next_visit
    due = "–" if visit.months is None else f"in {visit.months:.0f} months"
    return [
        names.get(b.panel, b.panel),
        f"{words.bare_thickness(b.clear_um.mean, units)} ({words.thickness_between(b.clear_um, units).split(words.NBSP)[0]})",
        words.bare_thickness(b.cut_um, units),
        "assumed" if b.assumed else f"{b.n_readings} readings, {b.n_cuts} cuts",
        f"{b.corrections.promised}",
        words.percent(b.corrections.probability[0]),
        due,
    ]


def cut_file(n: int) -> str:
    """Return the picture name of the cut chart of the panel that stands `n`-th in the dossier."""
    return f"cut-{n}.svg"


def _panel(dossier: Dossier, panel: Panel, n: int) -> Sheet:
    state = next((s for s in dossier.panels if s.panel == panel.id), None)
    sections = [s for s in dossier.plan.sections if s.panel == panel.id]
    worked = any(s.steps for s in sections)
    return {
        "n": f"{n}",
        "name": panel.name,
        "material": panel.material,
        "film": _film(state, dossier.units) if state else [],
        "film_notes": [*state.film.flags, *state.film.notes] if state else [],
        "photos": [_photo(one) for one in dossier.photos if one.panel == panel.id],
        "chart": [cut_file(n), in_words(cut_chart(dossier, panel.id))] if worked else None,
        "sections": [_section(s, dossier) for s in sections] if worked else [],
    }


def _film(state: PanelState, units: UnitSystem) -> list[list[str]]:
    film: FilmFinding = state.film
    rows = [
        ["Paint", FILM_STATES[film.finding]],
        ["Readings", f"{film.n_readings} at {film.n_spots} places"],
        ["Clear coat", f"{words.thickness(film.clear_um.mean, units)} ({words.thickness_between(film.clear_um, units)})"],
        ["Must stay", words.thickness(film.reserve_um, units)],
        ["May be cut", f"{words.thickness(film.budget_um, units)}, {words.percent(film.confidence)} sure"],
        ["Scratch load", f"{words.load(state.load_mm_per_cm2.mean)} ({words.load_between(state.load_mm_per_cm2)})"],
    ]  # fmt: skip
    if film.mean_um is not None and film.sd_um is not None and film.min_um is not None:
        layer = "clear coat" if film.layer == "clear" else "all layers"
        said = (
            f"{words.thickness(film.mean_um, units)} mean, {words.thickness(film.sd_um, units)} "
            f"standard deviation, {words.thickness(film.min_um, units)} least ({layer})"
        )
        rows.insert(2, ["Shown", said])
    return rows


def _photo(one: PhotoFinding) -> list[str]:
    f = one.finding
    if f.refused is not None:
        return [one.photo, "–", "–", "–", f"refused: {f.refused.why} {f.refused.do}"]
    if f.load_mm_per_cm2 is None or f.by_kind is None:
        return [one.photo, "–", "–", "–", "no scale"]
    kinds = f"{words.load(f.by_kind.swirl)} / {words.load(f.by_kind.trail)} / {words.load(f.by_kind.deep)}"
    low, high = f.load_low or 0.0, f.load_high or 0.0
    run = (
        "–" if f.direction is None else f"{f.direction.resultant:.2f} at {f.direction.degrees:.0f}°"
    )
    return [one.photo, f"{words.load(f.load_mm_per_cm2)} ({words.load(low)}–{words.load(high)})", kinds, run, ", ".join(f.flags)]  # fmt: skip


def _section(s: SectionPlan, dossier: Dossier) -> list[str]:
    layout = next((one for one in dossier.layouts if one.panel == s.panel), None)
    units = dossier.units
    steps = ", ".join(f"{step.process} × {step.sets}" for step in s.steps)
    return [
        f"{section_numbers(layout).get(s.id, s.id)}",
        steps or s.note,
        words.short_time(sum(step.seconds for step in s.steps)),
        f"{words.bare_thickness(s.cut_um.mean, units)} ({words.thickness_between(s.cut_um, units).split(words.NBSP)[0]})",
        words.bare_thickness(s.clear_after_low_um, units),
        words.percent(s.p_target) if s.steps else "–",
    ]
