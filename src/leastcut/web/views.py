"""What each page shows: plain values made from the dossier, so that templates hold no logic."""

from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from leastcut.car import sheet
from leastcut.car.records import Panel
from leastcut.car.units import UnitSystem, convert, show, symbol
from leastcut.handover.records import Dossier, PanelState
from leastcut.plan.records import SectionPlan

HELPS_SHOWN = 6


class Measure(msgspec.Struct, frozen=True, kw_only=True):
    """One number that the pattern sheet can wear."""

    name: str
    what: str
    unit: str | None
    decimals: int
    value: Callable[[Dossier, PanelState], float | None]


def _planned_cut(dossier: Dossier, state: PanelState) -> float | None:
    cuts = [s.cut_um.mean for s in dossier.plan.sections if s.panel == state.panel and s.steps]
    return max(cuts, default=0.0)


MEASURES: Mapping[str, Measure] = {
    "budget": Measure(
        name="May be spent",
        what="clear coat that may be cut today",
        unit="micrometer",
        decimals=1,
        value=lambda _, state: state.film.budget_um,
    ),
    "load": Measure(
        name="Scratch load",
        what="length of visible scratch per area, mm/cm²",
        unit=None,
        decimals=0,
        value=lambda _, state: None if state.load_assumed else state.load_mm_per_cm2.mean,
    ),
    "clear": Measure(
        name="Clear coat left",
        what="lower 95 % bound of the clear coat",
        unit="micrometer",
        decimals=0,
        value=lambda _, state: None if state.film.assumed else state.film.clear_um.low,
    ),
    "cut": Measure(
        name="Planned cut",
        what="largest cut planned on a section of the panel",
        unit="micrometer",
        decimals=1,
        value=_planned_cut,
    ),
}


def car_view(dossier: Dossier, measure: str) -> dict[str, Any]:
    """Return what the car's page shows.

    Parameters
    ----------
    dossier : Dossier
        The whole job.
    measure : str
        One of `MEASURES`: the number that the pattern sheet wears.
    """
    chosen = MEASURES[measure]
    drawing = sheet.draw(
        sheet.lay_out(dossier.car.panels),
        dossier.car,
        values={state.panel: _measured(dossier, state, chosen) for state in dossier.panels},
        value_name=chosen.name,
        value_unit=symbol(chosen.unit, dossier.units) if chosen.unit else "mm/cm²",
        decimals=chosen.decimals + (dossier.units == "us" and chosen.unit is not None),
        units=dossier.units,
    )
    return {
        "title": dossier.car.label,
        "drawing": drawing,
        "measure": measure,
        "measures": {key: item.name for key, item in MEASURES.items()},
        "what": chosen.what,
        "next": _next(dossier),
        "stages": dossier.stages,
        "panels": [_panel_line(dossier, panel) for panel in dossier.car.panels],
        "totals": _totals(dossier),
        "helps": dossier.would_help_most[:HELPS_SHOWN],
        "names": {panel.id: panel.name for panel in dossier.car.panels},
        "cautions": [c for c in dossier.cautions if c.panel is None],
    }


def panel_view(dossier: Dossier, panel_id: str) -> dict[str, Any] | None:
    """Return what a panel's page shows, or None if the car has no such panel."""
    panel = next((panel for panel in dossier.car.panels if panel.id == panel_id), None)
    if panel is None:
        return None
    state = next(state for state in dossier.panels if state.panel == panel_id)
    layout = next(layout for layout in dossier.layouts if layout.panel == panel_id)
    drawing = sheet.draw_panel(
        panel,
        sections=[(section.id, section.cell_mm) for section in layout.sections],
        taped=panel.body_lines_mm,
        units=dossier.units,
    )
    plans = [section for section in dossier.plan.sections if section.panel == panel_id]
    return {
        "title": panel.name,
        "car": dossier.car.label,
        "drawing": drawing,
        "facts": _facts(dossier, panel, state),
        "sections": [_section_line(section, dossier.units) for section in plans],
        "notes": [*state.film.notes, *dict.fromkeys(s.note for s in plans if s.note)],
        "photos": [photo for photo in dossier.photos if photo.panel == panel_id],
        "cautions": [c for c in dossier.cautions if c.panel == panel_id],
    }


def _measured(dossier: Dossier, state: PanelState, measure: Measure) -> float | None:
    value = measure.value(dossier, state)
    if value is None or measure.unit is None or dossier.units == "metric":
        return value
    return convert(value, measure.unit, "thou")


def _next(dossier: Dossier) -> str:
    """Say the single next thing to do."""
    for stage in dossier.stages:
        if not stage.done and stage.missing:
            return f"{stage.stage}: {stage.missing[0]}"
    return "hand over"


def _panel_line(dossier: Dossier, panel: Panel) -> dict[str, str]:
    state = next(state for state in dossier.panels if state.panel == panel.id)
    load = state.load_mm_per_cm2
    return {
        "id": panel.id,
        "name": panel.name,
        "load": f"{load.mean:.0f}" + (" (assumed)" if state.load_assumed else ""),
        "budget": show(state.film.budget_um, "micrometer", dossier.units)
        + (" (assumed)" if state.film.assumed else ""),
    }


def _facts(dossier: Dossier, panel: Panel, state: PanelState) -> dict[str, str]:
    """Return the figures of one panel, each with how it is known."""
    load, clear, units = state.load_mm_per_cm2, state.film.clear_um, dossier.units
    how_load = "no photo: assumed" if state.load_assumed else "from the photo"
    how_film = (
        "no reading: assumed" if state.film.assumed else f"from {state.film.n_readings} readings"
    )
    between = " to ".join(show(value, "micrometer", units) for value in (clear.low, clear.high))
    return {
        "Scratch load": f"{load.mean:.0f} mm/cm² ({load.low:.0f} to {load.high:.0f}), {how_load}",
        "Clear coat": f"{between} with 95 %, {how_film}",
        "May be spent": f"{show(state.film.budget_um, 'micrometer', units)}, "
        f"keeping {show(state.film.reserve_um, 'micrometer', units)}",
        "Material": panel.material,
        "Film": state.film.finding,
    }


def _section_line(section: SectionPlan, units: UnitSystem) -> dict[str, str]:
    steps = " then ".join(f"{step.sets} × {step.process}" for step in section.steps)
    seconds = sum(step.seconds for step in section.steps)
    return {
        "id": section.id,
        "steps": steps or "leave alone",
        "minutes": f"{seconds / 60:.1f}",
        "cut": show(section.cut_um.mean, "micrometer", units),
        "left": show(section.clear_after_low_um, "micrometer", units),
        "chance": f"{100 * section.p_target:.0f} %",
    }


def _totals(dossier: Dossier) -> dict[str, str]:
    plan = dossier.plan
    found = {
        "On the paint": f"{plan.section_minutes:.0f} min",
        "Whole job, even chance": f"{plan.minutes.p50 / 60:.1f} h",
        "Whole job, four times in five": f"{plan.minutes.p80 / 60:.1f} h",
    }
    if plan.price:
        found["Quote, tax included"] = f"{plan.price.total} {plan.price.currency}"
    return found
