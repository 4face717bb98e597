"""What was done against what was planned, and what was proven: the answers of two commands. Pure."""

import math
from collections.abc import Iterator

import msgspec

from leastcut.car.records import Interval
from leastcut.car.units import UnitSystem, convert
from leastcut.errors import Problem, Refusal
from leastcut.handover.plots import Plot, Row, plot
from leastcut.handover.records import Dossier, PanelCut, PanelProof
from leastcut.handover.words import bare_thickness, film_symbol
from leastcut.plan.learn import SETS, learn
from leastcut.testspot.records import Target
from leastcut.work import runs
from leastcut.work.prompts import Prompt


class SectionRun(msgspec.Struct, frozen=True, kw_only=True):
    """One section: sets by process, planned and done, seconds on it, and actual over planned.

    ``pace`` is None until all planned sets are done.
    """

    panel: str
    id: str
    status: runs.Status
    planned: dict[str, int]
    done: dict[str, int]
    planned_s: float
    actual_s: float
    pace: float | None
    wiped: bool
    reason: str = ""


class PanelRun(msgspec.Struct, frozen=True, kw_only=True):
    """One panel: what might be cut, what was planned where most is planned, and what was cut.

    ``cut_um`` is None where nothing was recorded; ``over`` tells that the best estimate of the cut
    lies above the budget.
    """

    panel: str
    budget_um: float
    planned_um: float
    cut_um: Interval | None
    how: str | None
    over: bool


class RunTotals(msgspec.Struct, frozen=True, kw_only=True):
    """The whole run: sections, minutes on the paint, and the pace to reckon with next time."""

    sections_planned: int
    sections_done: int
    sections_skipped: int
    planned_minutes: float
    actual_minutes: float
    next_pace: Interval | None


class RunAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What ``leastcut work run --json`` prints."""

    sections: tuple[SectionRun, ...]
    panels: tuple[PanelRun, ...]
    totals: RunTotals | None
    prompts: tuple[Prompt, ...] = ()
    problems: tuple[Problem, ...] = ()
    refused: Refusal | None = None


class ProveAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What ``leastcut work prove --json`` prints; ``met`` is None while a panel cannot be told."""

    target: Target
    met: bool | None
    panels: tuple[PanelProof, ...]
    cuts: tuple[PanelCut, ...]
    refused: Refusal | None = None


def run_answer(dossier: Dossier, *, job: str) -> RunAnswer:
    """Set the recorded run of a job against its plan.

    Parameters
    ----------
    dossier : Dossier
        The job.
    job : str
        Its name, under which the pace is learnt.
    """
    run = dossier.run
    if run is None:
        do = "Name its file as run = … in the job file; the work screen exports it"
        refused = Refusal(why="no work is recorded", do=do)
        return RunAnswer(sections=(), panels=(), totals=None, refused=refused)
    sections = tuple(_section(s) for s in run.sections if s.planned or s.done)
    factors = learn(runs.timed(run, job)).factor
    done = [s for s in sections if s.pace is not None]
    return RunAnswer(
        sections=sections,
        panels=tuple(_panels(dossier)),
        totals=RunTotals(
            sections_planned=sum(bool(s.planned) for s in sections),
            sections_done=sum(s.status == "done" for s in sections),
            sections_skipped=sum(s.status == "skipped" for s in sections),
            planned_minutes=math.fsum(s.planned_s for s in done) / 60,
            actual_minutes=math.fsum(s.actual_s for s in done) / 60,
            next_pace=factors.get(SETS),
        ),
        prompts=dossier.prompts,
        problems=run.problems,
    )


def _section(state: runs.SectionState) -> SectionRun:
    whole = state.status == "done" and state.planned_s > 0 and state.actual_s > 0
    return SectionRun(
        panel=state.panel,
        id=state.id,
        status=state.status,
        planned=state.planned,
        done=state.done,
        planned_s=state.planned_s,
        actual_s=state.actual_s,
        pace=state.actual_s / state.planned_s if whole else None,
        wiped=state.wiped,
        reason=state.reason,
    )


def _panels(dossier: Dossier) -> Iterator[PanelRun]:
    cuts = {cut.panel: cut for cut in dossier.cuts}
    for state in dossier.panels:
        planned = [s.cut_um.mean for s in dossier.plan.sections if s.panel == state.panel]
        cut = cuts.get(state.panel)
        if cut is not None:
            yield PanelRun(
                panel=state.panel,
                budget_um=state.film.budget_um,
                planned_um=max(planned, default=0.0),
                cut_um=cut.cut_um,
                how=cut.how,
                over=cut.cut_um.mean > state.film.budget_um,
            )


def prove_answer(dossier: Dossier) -> ProveAnswer:
    """Say of every panel that was photographed after the work whether the target is met."""
    found = dossier.proofs
    refused = None
    if not found:
        do = "Wipe a panel bare, photograph the same place in the same light, and add a [[proof]] table"
        refused = Refusal(why="there are no photos of before and after", do=do)
    verdicts = {one.met for one in found}
    met = False if False in verdicts else None if None in verdicts or not found else True
    return ProveAnswer(
        target=dossier.target, met=met, panels=found, cuts=dossier.cuts, refused=refused
    )


def pace_plot(answer: RunAnswer) -> Plot:
    """Return minutes on each section that was worked; the upright line is what was planned."""
    rows = [
        Row(
            label=f"{s.panel} {s.id}",
            value=Interval(mean=s.actual_s / 60, low=s.actual_s / 60, high=s.actual_s / 60),
            words=f"{s.actual_s / 60:.1f} of {s.planned_s / 60:.1f} min, {s.status}",
            assumed=s.pace is None,
            limit=s.planned_s / 60,
        )
        for s in answer.sections
        if s.done or s.actual_s
    ]
    return plot(rows, axis="Minutes; upright: planned")


def cut_plot(answer: RunAnswer, dossier: Dossier) -> Plot:
    """Return the cut of each panel that was worked; the upright line is what may be cut."""
    units = dossier.units
    shown = [p for p in answer.panels if p.cut_um is not None]
    rows = [
        Row(
            label=p.panel,
            value=_in_unit(p.cut_um, units),
            words=f"{bare_thickness(p.cut_um.mean, units)} of {bare_thickness(p.budget_um, units)}, {p.how}",
            assumed=p.how == "estimated",
            limit=_value(p.budget_um, units),
        )
        for p in shown
        if p.cut_um is not None
    ]
    return plot(rows, axis=f"Cut, {film_symbol(units)}; upright: may be cut")


def proof_plot(answer: ProveAnswer) -> Plot:
    """Return the share of scratches gone at each place, with what was promised across."""
    required = next((p.required for p in answer.panels if p.required is not None), None)
    rows = [
        Row(
            label=f"{panel.panel} {pair.section}".strip(),
            value=_percent(pair.removed),
            words=f"{100 * pair.removed.mean:.0f} % ({100 * pair.removed.low:.0f}–{100 * pair.removed.high:.0f})",
        )
        for panel in answer.panels
        for pair in panel.pairs
        if pair.removed is not None
    ]
    return plot(
        rows,
        axis="Scratches gone, %",
        reference=None if required is None else 100 * required,
        reference_words="" if required is None else f"promised: {100 * required:.0f} %",
    )


def _percent(share: Interval) -> Interval:
    return Interval(mean=100 * share.mean, low=100 * share.low, high=100 * share.high)


def _in_unit(um: Interval, units: UnitSystem) -> Interval:
    low, mean, high = (_value(x, units) for x in (um.low, um.mean, um.high))
    return Interval(mean=mean, low=low, high=high)


def _value(um: float, units: UnitSystem) -> float:
    return convert(um, "micrometer", "thou") if units == "us" else um
