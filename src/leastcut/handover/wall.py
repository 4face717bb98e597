"""What the plan on the wall says, in words and formatted numbers, page by page. Pure."""

import re
from collections.abc import Iterable, Mapping
from typing import Any

from leastcut.car.records import Car, Panel
from leastcut.car.units import UnitSystem, show
from leastcut.handover import words
from leastcut.handover.glyphs import short
from leastcut.handover.records import Dossier, PanelState
from leastcut.plan.records import Layout, SectionPlan
from leastcut.safety.records import Caution
from leastcut.testspot.records import Process

Sheet = dict[str, Any]

_ID = re.compile(r"[\w-]+")


def panel_file(index: int) -> str:
    """Return the picture name of the panel in position `index`: never a person's own words."""
    return f"panel-{index}.svg"


def plan_sheet(dossier: Dossier) -> Sheet:
    """Return everything that the plan prints.

    Panels stand in the order of work; panels with nothing to polish come last.
    """
    order = panels_in_order(dossier)
    pages = [_panel_page(dossier, panel, n) for n, panel in enumerate(order, 1)]
    return {
        "title": f"Correction plan: {short(dossier.car.label, 90)}",
        "car": short(dossier.car.label, 90),
        "about": about(dossier.car, dossier.units),
        "client": short(dossier.people.client, 160),
        "shop": short(dossier.people.shop, 160),
        "job_date": dossier.people.date,
        "target": words.TARGETS[dossier.target],
        "figures": _figures(dossier),
        "drawing": {
            "file": "car.svg",
            "alt": _car_alt(dossier, order),
            "height_mm": sheet_height_mm(len(order), dossier.units),
        },
        "order": [_order_row(dossier, panel, n) for n, panel in enumerate(order, 1)],
        "processes": _processes(dossier),
        "advice": dossier.testspot.next.why,
        "operations": _operations(dossier),
        "materials": _materials(dossier),
        "costed": any(m.cost is not None for m in dossier.plan.materials),
        "price": price_rows(dossier),
        "cautions": cautions((c for c in dossier.cautions if c.panel is None), {}),
        "help": helps(dossier),
        "notes": plan_notes(dossier),
        "panels": [page for page in pages if page["rows"]],
        "left_alone": [page for page in pages if not page["rows"]],
        "film_unit": words.film_symbol(dossier.units),
    }


def sheet_height_mm(n_panels: int, units: UnitSystem = "metric") -> float:
    """Return what the order-of-work table leaves on page 1 for the pattern sheet [mm]."""
    room = 190.0 if units == "metric" else 172.0
    return min(150.0, max(80.0, room - (5.75 if n_panels > 12 else 7.0) * n_panels))


def plan_notes(dossier: Dossier) -> list[str]:
    """Return the plan's notes with panels called by their names: ids stand before the colon."""
    names = panel_names(dossier)
    split = (note.partition(":") for note in dossier.plan.notes)
    return [
        _ID.sub(lambda m: names.get(m[0], m[0]), head) + colon + rest for head, colon, rest in split
    ]


def panels_in_order(dossier: Dossier) -> list[Panel]:
    """Return the car's panels in the order of work, those without any work last."""
    by_id = {panel.id: panel for panel in dossier.car.panels}
    worked = dict.fromkeys(s.panel for s in dossier.plan.sections if s.steps)
    named = [by_id[name] for name in worked if name in by_id]
    return named + [panel for panel in dossier.car.panels if panel.id not in worked]


def about(car: Car, units: UnitSystem) -> str:
    """Return body, year, size and paint of a car in one line."""
    sides = [show(mm, "millimeter", units) for mm in (car.length_mm, car.width_mm, car.height_mm)]
    size = " × ".join([*(side.split(words.NBSP)[0] for side in sides[:2]), sides[2]])
    paint = " ".join(
        part for part in (car.paint.shade, car.paint.system.replace("-", " ")) if part != "unknown"
    )
    parts = [car.body, str(car.year or ""), car.paint.label, paint, size]
    return ", ".join(part for part in parts if part)


def _figures(dossier: Dossier) -> list[list[str]]:
    plan = dossier.plan
    worked = [s for s in plan.sections if s.steps]
    figures = [
        [words.long_time(plan.minutes.p50), "even chance to be done"],
        [words.long_time(plan.minutes.p80), "four chances in five"],
        [words.long_time(plan.section_minutes), f"pad on paint, {len(worked)} sections"],
    ]
    if worked:
        most = max(s.cut_um.high for s in worked)
        figures.append([words.thickness(most, dossier.units), "most cut in any section"])
    if plan.price is not None:
        figures.append([words.money(plan.price.total, plan.price.currency), "price with tax"])
    return figures


def _car_alt(dossier: Dossier, order: Iterable[Panel]) -> str:
    names = words.listed(panel.name for panel in order)
    return (
        f"All panels of the car at one scale, divided into {len(dossier.plan.sections)} "
        f"numbered sections. In the order of work: {names}."
    )


def _sections(dossier: Dossier, panel: str) -> list[SectionPlan]:
    return [s for s in dossier.plan.sections if s.panel == panel]


def letters(dossier: Dossier) -> dict[str, str]:
    """Return a letter for every process of the ladder, A for the least cut."""
    return {process.label: _letter(n) for n, process in enumerate(dossier.ladder)}


def _letter(n: int) -> str:
    """Return A to Z, then AA, AB and so on."""
    return ("" if n < 26 else _letter(n // 26 - 1)) + chr(ord("A") + n % 26)


def _order_row(dossier: Dossier, panel: Panel, n: int) -> Sheet:
    sections = _sections(dossier, panel.id)
    worked = [s for s in sections if s.steps]
    used = dict.fromkeys(step.process for s in worked for step in s.steps)
    seconds = sum(step.seconds for s in worked for step in s.steps)
    signs = letters(dossier)
    return {
        "n": str(n),
        "panel": panel.name,
        "sections": f"{len(worked)}" if len(worked) == len(sections) else f"{len(worked)} of {len(sections)}",
        "process": [signs.get(label, label) for label in used],
        "chance": words.percent(min(s.p_target for s in worked)) if worked else "–",
        "time": words.long_time(seconds / 60) if worked else "–",
        "left": _least_left(sections, dossier.units),
        "worked": bool(worked),
    }  # fmt: skip


def _least_left(sections: Iterable[SectionPlan], units: UnitSystem) -> str:
    lows = [s.clear_after_low_um for s in sections]
    return words.bare_thickness(min(lows), units) if lows else "–"


def _processes(dossier: Dossier) -> list[Sheet]:
    used = dict.fromkeys(step.process for s in dossier.plan.sections for step in s.steps)
    return cards(dossier, used)


def cards(dossier: Dossier, used: Iterable[str]) -> list[Sheet]:
    """Return the cards of the processes in use, least cut first."""
    signs, chosen = letters(dossier), set(used)
    return [
        process_card(p, signs[p.label], dossier.units) for p in dossier.ladder if p.label in chosen
    ]


def process_card(process: Process, letter: str, units: UnitSystem) -> Sheet:
    """Return a process as its card shows it."""
    return {
        "letter": letter,
        "label": process.label,
        "tool": words.tool(process),
        "settings": [list(pair) for pair in words.settings(process, units)],
        "most_sets": f"{process.max_sets}",
    }


def _operations(dossier: Dossier) -> list[list[str]]:
    return [
        [
            words.capital(o.name),
            f"{o.minutes.mean:.0f}",
            f"{o.minutes.low:.0f}–{o.minutes.high:.0f}",
        ]
        for o in dossier.plan.operations
    ]


def _materials(dossier: Dossier) -> list[list[str]]:
    currency = dossier.plan.price.currency if dossier.plan.price else ""
    return [
        [
            words.capital(m.name),
            words.amount(m.amount, m.unit, dossier.units),
            "–" if m.cost is None else words.money(m.cost, currency).strip(),
            m.why,
        ]
        for m in dossier.plan.materials
    ]


def price_rows(dossier: Dossier) -> list[list[str]]:
    """Return the quote line by line, empty when there is none."""
    price = dossier.plan.price
    if price is None:
        return []
    rows = [*((line.what, line.amount) for line in price.lines)]
    rows += [("Net", price.net), ("Tax", price.tax), ("Total", price.total)]
    return [[what, words.money(value, price.currency)] for what, value in rows]


def cautions(chosen: Iterable[Caution], names: Mapping[str, str]) -> list[list[str]]:
    """Return cautions as what, do, where and source; the same one for many panels stands once.

    Only panels that `names` knows are named.
    """
    grouped: dict[tuple[str, str, str, str], list[str]] = {}
    for c in chosen:
        stage = words.STAGES.get(c.stage, c.stage)
        grouped.setdefault((c.what, c.do, stage, c.source), []).append(c.panel or "")
    return [
        [what.rstrip("."), do.rstrip(".") + ".", _where(places, names), f"{stage}, {source}"]
        for (what, do, stage, source), places in grouped.items()
    ]


def _where(places: Iterable[str], names: Mapping[str, str]) -> str:
    return words.listed(names[place] for place in places if place in names)


def helps(dossier: Dossier) -> list[list[str]]:
    """Return what evidence would help most: evidence with its panels, and why."""
    names = panel_names(dossier)
    grouped: dict[tuple[str, str], list[str]] = {}
    for h in dossier.would_help_most:
        why = h.why.replace(names.get(h.panel or "", "\0"), "it")
        grouped.setdefault((h.evidence, why), []).append(h.panel or "")
    return [
        [words.capital(": ".join(part for part in (evidence, _where(places, names)) if part)), why]
        for (evidence, why), places in grouped.items()
    ]


def panel_names(dossier: Dossier) -> dict[str, str]:
    """Return every panel's name by its id; an id the car does not have stands for itself."""
    names = {state.panel: state.panel for state in dossier.panels}
    return names | {panel.id: panel.name for panel in dossier.car.panels}


def _panel_page(dossier: Dossier, panel: Panel, n: int) -> Sheet:
    sections = _sections(dossier, panel.id)
    layout = next((one for one in dossier.layouts if one.panel == panel.id), None)
    numbers = section_numbers(layout)
    state = next((s for s in dossier.panels if s.panel == panel.id), None)
    order = [p.id for p in dossier.car.panels]
    used = dict.fromkeys(step.process for s in sections for step in s.steps)
    return {
        "n": str(n),
        "name": panel.name,
        "material": panel.material,
        "figures": _panel_figures(state, dossier.units),
        "drawing": {
            "file": panel_file(order.index(panel.id)),
            "alt": _panel_alt(panel, sections, numbers),
        },
        "key": _key(panel),
        "processes": [[letters(dossier).get(label, ""), label] for label in used],
        "rows": _rows(sections, list(used), numbers, dossier.units),
        "why": words.listed(dict.fromkeys(s.note.rstrip(".") for s in sections if s.note)),
        "settings": cards(dossier, used),
        "cautions": cautions((c for c in dossier.cautions if c.panel == panel.id), {}),
        "notes": _film_notes(state),
    }


def section_numbers(layout: Layout | None) -> Mapping[str, int]:
    """Return each section's number on the panel: its place in the order of work."""
    return {name: n for n, name in enumerate(layout.order if layout else (), 1)}


def _rows(
    sections: list[SectionPlan], used: list[str], numbers: Mapping[str, int], units: UnitSystem
) -> list[Sheet]:
    """Return one row for each section, or nothing when no section has any work."""
    if not used:
        return []
    ordered = sorted(sections, key=lambda s: numbers.get(s.id, 0))
    return [_section_row(s, used, numbers, units) for s in ordered]


def _panel_figures(state: PanelState | None, units: UnitSystem) -> list[list[str]]:
    if state is None:
        return []
    film = state.film
    assumed = " (assumed)" if state.load_assumed else ""
    return [
        [
            words.thickness(film.clear_um.mean, units),
            f"clear coat{' (assumed)' if film.assumed else ''}, {words.thickness_between(film.clear_um, units)}",
        ],
        [words.thickness(film.reserve_um, units), "must stay"],
        [words.thickness(film.budget_um, units), f"may be cut today, {words.percent(film.confidence)} sure"],
        [words.load(state.load_mm_per_cm2.mean), f"scratch load{assumed}, {words.load_between(state.load_mm_per_cm2)}"],
    ]  # fmt: skip


def _film_notes(state: PanelState | None) -> list[str]:
    return [] if state is None else list(state.film.notes)


def _key(panel: Panel) -> list[str]:
    key = ["Strokes begin at the dot; the second direction crosses them"]
    if panel.body_lines_mm:
        key.append("Double line: crease, tape it")
    if panel.keep_outs:
        names = words.listed(dict.fromkeys(k.name for k in panel.keep_outs))
        key.append(f"Hatched: keep off ({names})")
    return key


def _panel_alt(panel: Panel, sections: list[SectionPlan], numbers: Mapping[str, int]) -> str:
    return (
        f"{panel.name} in true proportion, seen from outside, with {len(numbers) or len(sections)} "
        f"numbered sections, {len(panel.keep_outs)} places to keep off and "
        f"{len(panel.body_lines_mm)} creases to tape."
    )


def _section_row(
    section: SectionPlan, used: list[str], numbers: Mapping[str, int], units: UnitSystem
) -> Sheet:
    return {
        "n": str(numbers.get(section.id, section.id)),
        "steps": [_boxes(section, process) for process in used],
        "time": words.short_time(sum(step.seconds for step in section.steps)),
        "cut": _cut(section, units),
        "left": words.bare_thickness(section.clear_after_low_um, units),
        "chance": words.percent(section.p_target) if section.steps else "–",
        "note": section.note,
    }


def _boxes(section: SectionPlan, process: str) -> Sheet:
    """Return how many boxes a section needs in the column of a process, and the time."""
    mine = [step for step in section.steps if step.process == process]
    seconds = sum(step.seconds for step in mine)
    return {
        "sets": sum(step.sets for step in mine),
        "time": words.short_time(seconds) if mine else "",
    }


def _cut(section: SectionPlan, units: UnitSystem) -> str:
    if not section.steps:
        return "0"
    mean = words.bare_thickness(section.cut_um.mean, units)
    return f"{mean} (≤ {words.bare_thickness(section.cut_um.high, units)})"
