"""After the work: what the record and the proof come to. Pure.

What was cut is measured where the same spots were read before and after, and estimated from the
sets that were done elsewhere. The target is proven by photos of the same place.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from leastcut.car.records import Interval
from leastcut.handover.records import PairProof, PanelCut, PanelProof, PanelState
from leastcut.inspect.combine import panel_load
from leastcut.inspect.records import Gauge, Reading
from leastcut.job.evidence import Evidence, ProofSight
from leastcut.plan.records import Plan, SectionPlan
from leastcut.testspot.paint import PaintDraws, cut_draws
from leastcut.testspot.records import Measured
from leastcut.work import proof, runs
from leastcut.work.prompts import Prompt, prompts

Z95 = 1.959963984540054

# Readings without a repeat at their spot scatter by this share of the film at least; our judgement.
LEAST_SCATTER = 0.01


@dataclass(frozen=True, kw_only=True)
class After:
    """What became of the job.

    ``run`` is None while nothing was recorded; ``prompts`` are those at the last event.
    """

    run: runs.RunState | None
    cuts: tuple[PanelCut, ...]
    proofs: tuple[PanelProof, ...]
    prompts: tuple[Prompt, ...]


def after_work(
    evidence: Evidence,
    *,
    states: Sequence[PanelState],
    plan: Plan,
    gauge: Gauge,
    draws: PaintDraws,
) -> After:
    """Work out what the record and the proof come to.

    Parameters
    ----------
    evidence : Evidence
        With events, readings after and proofs; each may be empty.
    states : sequence of PanelState
        What was known of each panel before.
    plan : Plan
        What was planned.
    gauge : Gauge
        The gauge as its checks say.
    draws : PaintDraws
        Equally likely paints, for the cut of a further set.
    """
    run = runs.fold(evidence.events, plan.sections) if evidence.events else None
    drops = {panel.id: drop(evidence, panel.id, gauge=gauge) for panel in evidence.car.panels}
    read = {name: pair for name, pair in drops.items() if pair is not None}
    return After(
        run=run,
        cuts=tuple(_cuts(evidence, plan, run, read)),
        proofs=tuple(_proofs(evidence, states, plan, run, read, draws)),
        prompts=() if run is None else prompts(run, now_s=run.last_s),
    )


def drop(evidence: Evidence, panel: str, *, gauge: Gauge) -> tuple[Measured, Measured] | None:
    """Return the mean film before and after over the spots read both times [µm].

    The standard uncertainty of the difference is the larger of what the repeats at each spot say
    and what the differences scatter from spot to spot (JCGM 100:2008, 4.2.3; from memory); half of
    its variance goes to either side. The gauge's bias cancels in the difference.

    Returns
    -------
    tuple of Measured, or None
        None without a spot read both before and after on the same layer.
    """
    before = _by_spot(evidence.readings, panel)
    after = _by_spot(evidence.readings_after, panel)
    spots = sorted(before.keys() & after.keys())
    if not spots:
        return None
    pairs = [(before[spot], after[spot]) for spot in spots]
    first = float(np.mean([x.mean() for x, _ in pairs]))
    last = float(np.mean([y.mean() for _, y in pairs]))
    sd = max(_repeated(pairs, gauge, first), _scattered(pairs)) / math.sqrt(2)
    return Measured(value=first, sd=sd), Measured(value=last, sd=sd)


def _by_spot(readings: Sequence[Reading], panel: str) -> dict[tuple[str, str], np.ndarray]:
    found: dict[tuple[str, str], list[float]] = {}
    for reading in readings:
        if reading.panel == panel:
            found.setdefault((reading.spot, reading.layer), []).append(reading.reading_um)
    return {spot: np.asarray(shown) for spot, shown in found.items()}


def _repeated(
    pairs: Sequence[tuple[np.ndarray, np.ndarray]], gauge: Gauge, film_um: float
) -> float:
    """Return the uncertainty of the mean difference that follows from repeats at one spot."""
    groups = [shown for pair in pairs for shown in pair]
    freedom = sum(len(shown) - 1 for shown in groups)
    squares = sum(float(((shown - shown.mean()) ** 2).sum()) for shown in groups)
    own = math.sqrt(squares / freedom) if freedom else LEAST_SCATTER * film_um
    one = max(own, gauge.repeat_um or 0.0)
    return one * math.sqrt(sum(1 / len(shown) for shown in groups)) / len(pairs)


def _scattered(pairs: Sequence[tuple[np.ndarray, np.ndarray]]) -> float:
    """Return the uncertainty of the mean difference that follows from its scatter."""
    if len(pairs) < 3:
        return 0.0
    differences = [float(x.mean() - y.mean()) for x, y in pairs]
    return float(np.std(differences, ddof=1)) / math.sqrt(len(differences))


def _cuts(
    evidence: Evidence,
    plan: Plan,
    run: runs.RunState | None,
    read: Mapping[str, tuple[Measured, Measured]],
) -> Iterator[PanelCut]:
    spent: dict[str, runs.Spent] = {}
    for one in runs.spent(run, plan.sections) if run else ():
        most = spent.get(one.panel)
        if most is None or one.cut_um.mean > most.cut_um.mean:
            spent[one.panel] = one
    for panel in evidence.car.panels:
        process = ", ".join(_processes(run, panel.id))
        if panel.id in read:
            yield _measured(panel.id, *read[panel.id], process=process)
        elif panel.id in spent:
            most = spent[panel.id]
            yield PanelCut(
                panel=panel.id,
                cut_um=most.cut_um,
                sd_um=max((most.cut_um.high - most.cut_um.low) / (2 * Z95), 0.01),
                how="estimated",
                process=process,
                section=most.section,
            )


def _measured(panel: str, before: Measured, after: Measured, *, process: str) -> PanelCut:
    mean, sd = before.value - after.value, math.hypot(before.sd, after.sd)
    return PanelCut(
        panel=panel,
        cut_um=Interval(mean=mean, low=mean - Z95 * sd, high=mean + Z95 * sd),
        sd_um=sd,
        how="measured",
        process=process,
    )


def _processes(run: runs.RunState | None, panel: str) -> list[str]:
    """Return what was worked on a panel with, in the order of its sections' record."""
    sections = () if run is None else run.sections
    return list(dict.fromkeys(p for s in sections if s.panel == panel for p in s.done))


def _proofs(
    evidence: Evidence,
    states: Sequence[PanelState],
    plan: Plan,
    run: runs.RunState | None,
    read: Mapping[str, tuple[Measured, Measured]],
    draws: PaintDraws,
) -> Iterator[PanelProof]:
    shown: dict[str, list[ProofSight]] = {}
    for sight in evidence.proofs:
        shown.setdefault(sight.panel, []).append(sight)
    for state in states:
        sights = shown.get(state.panel, [])
        if sights:
            process = _next_process(plan, state.panel)
            asked = proof.Evidence(
                panel=state.panel,
                pairs=tuple(proof.Pair(compared=s.compared, section=s.section) for s in sights),
                before=_judged(sights)[0].before,
                after=_judged(sights)[0].after,
                read_before=read[state.panel][0] if state.panel in read else None,
                read_after=read[state.panel][1] if state.panel in read else None,
                spent_um=_spent(run, plan, state.panel),
                budget_um=state.film.budget_um,
                set_um=float(np.median(cut_draws(draws, process, 1))) if process else None,
                process=process or "",
            )
            yield _told(sights, proof.prove(asked, evidence.job.target.finish))


def _judged(sights: Sequence[ProofSight]) -> Sequence[ProofSight]:
    """Return the pairs that could be compared, or all where none could."""
    return [s for s in sights if s.compared.refused is None] or sights


def _next_process(plan: Plan, panel: str) -> str | None:
    """Return what a further set would be done with: what has most time in the plan."""
    seconds: dict[str, float] = {}
    for section in plan.sections:
        for step in section.steps if section.panel == panel else ():
            seconds[step.process] = seconds.get(step.process, 0.0) + step.seconds
    return max(seconds, key=lambda p: seconds[p]) if seconds else None


def _spent(run: runs.RunState | None, plan: Plan, panel: str) -> float | None:
    """Return the estimate of what the sets took where they took most [µm]."""
    spent = runs.spent(run, plan.sections) if run else ()
    return max((one.cut_um.mean for one in spent if one.panel == panel), default=None)


def _told(sights: Sequence[ProofSight], found: proof.Proof) -> PanelProof:
    first = _judged(sights)[0]
    return PanelProof(
        panel=found.panel,
        before_mm_per_cm2=panel_load([s.before for s in sights]),
        after_mm_per_cm2=panel_load([s.after for s in sights]),
        removed=found.removed,
        photo_before=first.photo_before,
        photo_after=first.photo_after,
        required=found.required,
        met=found.met,
        p_met=found.p_met,
        remains=found.remains,
        back_to=found.back_to,
        do=found.do,
        next=found.next,
        refused=found.refused,
        pairs=tuple(
            PairProof(
                section=s.section,
                photo_before=s.photo_before,
                photo_after=s.photo_after,
                removed=_share(s),
                refused=s.compared.refused,
            )
            for s in sights
        ),
    )


def _share(sight: ProofSight) -> Interval | None:
    change = sight.compared
    if change.refused is not None or change.removed_fraction is None:
        return None
    return proof.pooled([change])


def unworked(sections: Sequence[SectionPlan], run: runs.RunState) -> list[runs.SectionState]:
    """Return the sections that are planned and neither done nor skipped."""
    planned = {(s.panel, s.id) for s in sections if s.steps}
    open_ = {"waiting", "working", "paused"}
    return [s for s in run.sections if (s.panel, s.id) in planned and s.status in open_]
