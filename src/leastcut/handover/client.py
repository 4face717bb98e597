"""What the client's report says, in words and formatted numbers. Pure."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from leastcut.car.records import Interval, Panel
from leastcut.car.units import UnitSystem
from leastcut.handover import words
from leastcut.handover.album import pairs, shots
from leastcut.handover.care import CareSheet, Use, care_sheet
from leastcut.handover.charts import film_chart, left_after, load_chart
from leastcut.handover.glyphs import short
from leastcut.handover.plots import Plot, in_words
from leastcut.handover.records import Dossier, PanelCut, PanelState
from leastcut.handover.truth import Truth, found_against_true, true_clear
from leastcut.handover.wall import (
    about,
    cautions,
    helps,
    panel_names,
    panels_in_order,
    price_rows,
)
from leastcut.plan.records import SectionPlan
from leastcut.safety.records import Caution
from leastcut.testspot.records import Trial

Sheet = dict[str, Any]

FILM_STATES = {
    "factory": "as from the factory",
    "repainted": "repainted",
    "filled": "filler under the paint",
    "thin": "thin",
    "unmeasured": "not measured",
    "unreadable": "readings make no sense",
}
VERDICTS = {
    "unchanged": "unchanged",
    "some-left": "some marks left",
    "clean": "clean",
    "hazy": "hazy",
    None: "–",
}
SURE_ENOUGH = 0.9
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
UNSURE = "with the cut that each panel can afford, the chance to reach the target is only:"
WHY_SO_LITTLE = (
    "A scratch is gone when the surface around it is level with its bottom, so every correction "
    "spends clear coat that does not grow back. We look for the least cut that leaves a panel "
    "clean, and leave alone what a panel cannot afford."
)


def report_sheet(
    dossier: Dossier,
    *,
    truth: Truth | None = None,
    use: Use | None = None,
    photos: Mapping[str, str] | None = None,
    now: datetime | None = None,
) -> Sheet:
    """Return everything that the client's report prints.

    Parameters
    ----------
    dossier : Dossier
        The whole job.
    truth : Truth, optional
        The hidden truth of a demonstration: adds a page of found against true.
    use : Use, optional
        How the car is washed and kept, for the care sheet.
    photos : mapping, optional
        Photo as the dossier names it to the picture that the layout shall show.
    now : datetime, optional
        Date of the document: the month of the next look is counted from it.
    """
    return {
        **_head(dossier),
        "drawing": {"file": "car.svg", "alt": _drawing_alt(dossier)},
        "film": _picture("film.svg", film_chart(dossier)),
        "loads": _picture("loads.svg", load_chart(dossier)),
        "panels": [_panel_row(dossier, panel) for panel in panels_in_order(dossier)],
        "trials": [trial_row(trial, dossier) for trial in dossier.trials],
        "advice": "" if work_recorded(dossier) else dossier.testspot.next.why,
        "tools": _tools(dossier),
        "left": left_on_purpose(dossier),
        "window": dossier.window.why if dossier.window else "",
        "care": care_words(_care(dossier, use), now),
        "cautions": cautions(
            (c for c in dossier.cautions if _for_the_client(c)), panel_names(dossier)
        ),
        "help": helps(dossier),
        "not_yet": words.listed(text for stage in dossier.stages for text in stage.not_yet),
        "price": price_rows(dossier),
        "truth": found_against_true(dossier, truth) if truth else None,
        "truth_film": _picture("truth.svg", film_chart(dossier, true_clear(truth)))
        if truth
        else None,
        "film_unit": words.film_symbol(dossier.units),
        **_album(dossier, photos or {}),
    }


def _album(dossier: Dossier, photos: Mapping[str, str]) -> Sheet:
    return {
        "pairs": [
            [pair.panel, photos[pair.before], photos[pair.after], pair.caption]
            for pair in pairs(dossier, photos)
        ],
        "shots": [[one.panel, photos[one.photo], one.caption] for one in shots(dossier, photos)],
    }


def _head(dossier: Dossier) -> Sheet:
    worked, kind = work_recorded(dossier), report_kind(dossier)
    return {
        "title": f"{kind}: {short(dossier.car.label, 90)}",
        "kind": kind,
        "worked": worked,
        "car": short(dossier.car.label, 90),
        "about": about(dossier.car, dossier.units),
        "client": short(dossier.people.client, 160),
        "shop": short(dossier.people.shop, 160),
        "job_date": dossier.people.date,
        "status": _status(worked=worked, begun=work_begun(dossier)),
        "summary": summary(dossier),
        "figures": _figures(dossier),
        "target": words.TARGETS[dossier.target],
    }


def work_recorded(dossier: Dossier) -> bool:
    """Return whether work has been recorded: only then is the report a handover."""
    return any(stage.stage == "work" and stage.done for stage in dossier.stages)


def report_kind(dossier: Dossier) -> str:
    """Return what the report calls itself: a handover only when work is recorded."""
    return "Handover report" if work_recorded(dossier) else "Condition report and proposal"


def work_begun(dossier: Dossier) -> bool:
    """Return whether any work has been recorded, finished or not."""
    return dossier.run is not None or bool(dossier.cuts)


def _status(*, worked: bool, begun: bool) -> str:
    if worked:
        return (
            "The work is done and recorded; numbers after the work are measured where it says so."
        )
    if begun:
        return (
            "The work is under way. Where it is recorded, the numbers say what was done; every "
            "other number about the work is a forecast."
        )
    return (
        "No work has been recorded yet. This is what was found and what is proposed; "
        "every number about the work is a forecast."
    )


def summary(dossier: Dossier) -> list[str]:
    """Return the report's short answer: what was found, what is done about it, and why so little."""
    names = panel_names(dossier)
    worked = {s.panel for s in dossier.plan.sections if s.steps}
    return [
        _found(dossier, names),
        _decided(dossier, names, worked),
        WHY_SO_LITTLE,
    ]


def _found(dossier: Dossier, names: dict[str, str]) -> str:
    if not dossier.panels:
        return "Nothing has been inspected yet."
    worst = max(dossier.panels, key=lambda s: s.load_mm_per_cm2.mean)
    thinnest = min(dossier.panels, key=lambda s: s.film.clear_um.low)
    measured = sum(not s.film.assumed for s in dossier.panels)
    return (
        f"{len(dossier.panels)} panels were looked at and {measured} of them measured. The most "
        f"scratches are on: {names[worst.panel]}, {words.load(worst.load_mm_per_cm2.mean)} mm of "
        f"scratch on each cm². The least clear coat may be on: {names[thinnest.panel]}, at least "
        f"{words.thickness(thinnest.film.clear_um.low, dossier.units)}."
    )


def _decided(dossier: Dossier, names: dict[str, str], worked: set[str]) -> str:
    alone = [names[p.id] for p in dossier.car.panels if p.id not in worked]
    if not worked:
        return "No panel is to be polished."
    most = most_cut_um(dossier)
    rest = f" Left as they are: {words.listed(alone)}." if alone else ""
    return (
        f"{len(worked)} panels are polished, no section by more than "
        f"{words.thickness(most, dossier.units)} (upper bound).{rest}"
    )


def _figures(dossier: Dossier) -> list[list[str]]:
    plan, states = dossier.plan, dossier.panels
    worked = {s.panel for s in plan.sections if s.steps}
    figures = [[f"{len(worked)} of {len(dossier.car.panels)}", "panels polished"]]
    if worked:
        how = "recorded" if work_recorded(dossier) and dossier.cuts else "planned"
        most = words.thickness(most_cut_um(dossier), dossier.units)
        figures.append([most, f"most cut, {how}"])
        least = min(s.clear_after_low_um for s in plan.sections if s.steps)
        figures.append([words.thickness(least, dossier.units), "clear coat left, at least"])
    if states:
        middle = sorted(s.load_mm_per_cm2.mean for s in states)[len(states) // 2]
        figures.append([words.load(middle), "mm/cm² scratch load, middle panel"])
    if plan.price is not None:
        figures.append([words.money(plan.price.total, plan.price.currency), "price with tax"])
    return figures


def most_cut_um(dossier: Dossier) -> float:
    """Return the upper bound of the largest cut: recorded where work is recorded, else planned.

    Once the work is done, what was planned and not recorded was not cut.
    """
    known = {cut.panel for cut in dossier.cuts}
    planned = [s.cut_um.high for s in dossier.plan.sections if s.panel not in known]
    if dossier.cuts and work_recorded(dossier):
        planned = []
    return max([*planned, *(cut.cut_um.high for cut in dossier.cuts)])


def _drawing_alt(dossier: Dossier) -> str:
    names = words.listed(panel.name for panel in dossier.car.panels)
    return f"The panels of the car at one scale: {names}."


def _picture(file: str, chart: Plot) -> dict[str, str]:
    return {"file": file, "alt": in_words(chart)}


def _panel_row(dossier: Dossier, panel: Panel) -> list[str]:
    state = next((s for s in dossier.panels if s.panel == panel.id), None)
    sections = [s for s in dossier.plan.sections if s.panel == panel.id]
    worked = [s for s in sections if s.steps]
    used = dict.fromkeys(step.process for s in worked for step in s.steps)
    cut = next((c for c in dossier.cuts if c.panel == panel.id), None)
    return [
        panel.name,
        FILM_STATES[state.film.finding] if state else "not looked at",
        ", then ".join(used) if used else "left as it is",
        _cut_words(worked, cut, dossier.units),
        _least_left(sections, state, dossier),
        words.percent(min(s.p_target for s in worked)) if worked else "–",
    ]


def _cut_words(worked: list[SectionPlan], cut: PanelCut | None, units: UnitSystem) -> str:
    if cut is not None:
        low, high = (words.bare_thickness(um, units) for um in (cut.cut_um.low, cut.cut_um.high))
        return f"{words.bare_thickness(cut.cut_um.mean, units)} ({low}–{high}), {cut.how}"
    if not worked:
        return "0"
    means = [s.cut_um.mean for s in worked]
    high = words.bare_thickness(max(s.cut_um.high for s in worked), units)
    return f"{words.bare_thickness(sum(means) / len(means), units)} (≤ {high})"


def _least_left(sections: list[SectionPlan], state: PanelState | None, dossier: Dossier) -> str:
    after = None if state is None else left_after(dossier, state)
    lows = [s.clear_after_low_um for s in sections] if after is None else [after.low]
    if not lows and state is not None:
        lows = [state.film.clear_um.low]
    return words.bare_thickness(min(lows), dossier.units) if lows else "–"


def trial_row(trial: Trial, dossier: Dossier) -> list[str]:
    """Return one trial: what, where, scratches gone, cut, verdict."""
    names = panel_names(dossier)
    cut = trial.cut_um
    return [
        f"{trial.process}, {trial.sets} {'set' if trial.sets == 1 else 'sets'}",
        names.get(trial.panel or "", trial.panel or "–"),
        _removed(trial.removed),
        f"{words.bare_thickness(cut.value, dossier.units)} ± {words.bare_thickness(1.96 * cut.sd, dossier.units)}"
        if cut
        else "–",
        VERDICTS[trial.verdict],
    ]


def _removed(removed: Interval | None) -> str:
    if removed is None:
        return "–"
    low, high = (words.percent(share).split(words.NBSP)[0] for share in (removed.low, removed.high))
    return f"{words.percent(removed.mean)} ({low} to {high})"


def _tools(dossier: Dossier) -> list[list[str]]:
    used = {step.process for s in dossier.plan.sections for step in s.steps}
    return [[p.label, words.tool(p)] for p in dossier.ladder if p.label in used]


def left_on_purpose(dossier: Dossier) -> list[list[str]]:
    """Return the marks that stay, each kind with its reason and the panels it concerns."""
    rows: dict[str, list[str]] = {}
    for panel in panels_in_order(dossier):
        for reason in _idle(dossier, panel):
            rows.setdefault(reason, []).append(panel.name)
    kept = dict.fromkeys(k.name for panel in dossier.car.panels for k in panel.keep_outs)
    unsure = [text for panel in panels_in_order(dossier) for text in _unsure(dossier, panel)]
    found = [[words.listed(names), reason] for reason, names in rows.items()]
    if unsure:
        found.append(["Some marks may stay", f"{UNSURE} {words.listed(unsure)}."])
    if kept:
        found.append(["Around what is taped off", f"{words.listed(kept)}."])
    return found


def _idle(dossier: Dossier, panel: Panel) -> Iterator[str]:
    """Yield why sections of a panel get no work."""
    sections = [s for s in dossier.plan.sections if s.panel == panel.id]
    idle = [s for s in sections if not s.steps]
    if not sections:
        yield "not in the plan."
    elif idle:
        notes = dict.fromkeys(s.note.rstrip(".") for s in idle if s.note)
        share = "" if len(idle) == len(sections) else f"{len(idle)} of {len(sections)} sections, "
        yield f"{share}{'; '.join(notes) or 'not in the plan'}."


def _unsure(dossier: Dossier, panel: Panel) -> Iterator[str]:
    """Yield the panel with its least chance when that is not sure enough."""
    chances = [s.p_target for s in dossier.plan.sections if s.panel == panel.id and s.steps]
    if chances and min(chances) < SURE_ENOUGH:
        yield f"{panel.name} {words.percent(min(chances))}"


def _care(dossier: Dossier, use: Use | None) -> CareSheet:
    paint = dossier.car.paint
    return care_sheet(
        dossier.testspot.softness, use or Use(), shade=paint.shade, system=paint.system
    )


def _for_the_client(caution: Caution) -> bool:
    """Return whether a caution concerns the owner: what goes on the car, or a panel's film."""
    of_film = caution.panel is not None and caution.stage in {"inspect", "plan"}
    return of_film or caution.stage in {"protect", "handover"}


def care_words(care: CareSheet, now: datetime | None = None) -> Sheet:
    """Return a care sheet as its page prints it."""
    months = "month" if care.inspect_months == 1 else "months"
    return {
        "paint": care.paint,
        "parts": [[title, list(lines)] for title, lines in care.parts],
        "when": f"{care.inspect_months} {months}",
        "by": "" if now is None else _month_after(now, care.inspect_months),
        "why": care.why,
    }


def _month_after(now: datetime, months: int) -> str:
    """Return the month that lies so many months ahead, for example ``July 2026``."""
    year, month = divmod(now.year * 12 + now.month - 1 + months, 12)
    return f"{MONTHS[month]} {year}"
