"""The short answer in words, for the terminal."""

import math
from collections.abc import Iterator

from leastcut.car.units import show
from leastcut.handover.records import Dossier, PanelState

HELPS_SHOWN = 5


def summary(dossier: Dossier) -> str:
    """Return what a person needs first: finding, process, time, price, what would help.

    Parameters
    ----------
    dossier : Dossier
        The whole job.

    Returns
    -------
    str
        Some thirty lines of plain text in the dossier's units.
    """
    parts = (
        _head(dossier),
        _panels(dossier),
        _process(dossier),
        _totals(dossier),
        _work(dossier),
        _rest(dossier),
    )
    return "\n".join(line for part in parts for line in part)


def _head(dossier: Dossier) -> Iterator[str]:
    car = dossier.car
    size = " × ".join(
        show(value, "millimeter", dossier.units)
        for value in (car.length_mm, car.width_mm, car.height_mm)
    )
    yield f"{car.label} ({car.body}, {size}), target: {dossier.target}"
    yield ""


def _panels(dossier: Dossier) -> Iterator[str]:
    yield f"{'panel':22}{'scratch load':>20}{'clear coat, 95 %':>22}{'may be spent':>14}  sections"
    for state in dossier.panels:
        yield _panel(dossier, state)
    yield "* assumed: no photo, or no reading, stands behind it."
    yield ""


def _panel(dossier: Dossier, state: PanelState) -> str:
    load = state.load_mm_per_cm2
    clear = state.film.clear_um
    units = dossier.units
    worked = [s for s in dossier.plan.sections if s.panel == state.panel]
    load_text = f"{load.mean:.0f} ({load.low:.0f}–{load.high:.0f})"
    load_text += "*" if state.load_assumed else " "
    clear_text = f"{show(clear.low, 'micrometer', units)} – {show(clear.high, 'micrometer', units)}"
    budget = show(state.film.budget_um, "micrometer", units) + ("*" if state.film.assumed else " ")
    count = f"{sum(bool(s.steps) for s in worked)} of {len(worked)}"
    return f"{state.panel:22}{load_text:>20}{clear_text:>22}{budget:>14}  {count}"


def _process(dossier: Dossier) -> Iterator[str]:
    advice = dossier.testspot.next
    what = f" {advice.sets} × {advice.process}" if advice.process else ""
    yield f"Test spot: {advice.do}{what}. {advice.why}"
    soft = dossier.testspot.softness
    yield (
        f"This paint cuts {soft.mean:.1f} times as fast as a typical one "
        f"({soft.low:.1f}–{soft.high:.1f}), after {dossier.testspot.n_trials} trials."
    )
    yield ""


def _totals(dossier: Dossier) -> Iterator[str]:
    plan = dossier.plan
    worked = [section for section in plan.sections if section.steps]
    if worked:
        mean = sum(section.cut_um.mean for section in worked) / len(worked)
        yield (
            f"Plan: {len(worked)} sections, "
            f"{show(mean, 'micrometer', dossier.units)} of clear coat on average, "
            f"{plan.section_minutes:.0f} min on the paint."
        )
    else:
        yield "Plan: nothing to polish within the budgets."
    hours = (plan.minutes.p50 / 60, plan.minutes.p80 / 60)
    yield f"The whole job: {hours[0]:.1f} h at even chance, {hours[1]:.1f} h four times in five."
    if plan.price:
        yield f"Quote: {plan.price.total} {plan.price.currency}, tax included."
    yield ""


def _work(dossier: Dossier) -> Iterator[str]:
    """Say what was done and proven, where anything was."""
    if dossier.run is not None:
        planned = {(s.panel, s.id) for s in dossier.plan.sections if s.steps}
        own = [s for s in dossier.run.sections if (s.panel, s.id) in planned]
        done = sum(s.status == "done" for s in own)
        minutes = math.fsum(s.actual_s for s in own) / 60
        yield f"Worked: {done} of {len(own)} sections done, {minutes:.0f} min on the paint."
    for cut in dossier.cuts:
        low, high = (
            show(x, "micrometer", dossier.units) for x in (cut.cut_um.low, cut.cut_um.high)
        )
        mean = show(cut.cut_um.mean, "micrometer", dossier.units)
        yield f"Cut of {cut.panel}: {mean} ({low} – {high}), {cut.how}."
    for proof in dossier.proofs:
        gone = f"{100 * proof.removed.mean:.0f} % gone. " if proof.removed else ""
        yield f"Proof of {proof.panel}: {gone}{proof.next}."
    if dossier.run is not None or dossier.proofs or dossier.cuts:
        yield ""


def _rest(dossier: Dossier) -> Iterator[str]:
    if dossier.would_help_most:
        yield "Would help most:"
    for item in dossier.would_help_most[:HELPS_SHOWN]:
        place = f" of {item.panel}" if item.panel else ""
        yield f"  {item.evidence}{place}: {item.why}"
    not_yet = [f"{s.stage}: {what}" for s in dossier.stages for what in s.not_yet]
    if not_yet:
        yield "Not done by leastcut yet: " + "; ".join(not_yet) + "."
    yield f"{len(dossier.cautions)} cautions stand in the plan: read them before starting a machine."
