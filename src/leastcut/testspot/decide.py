"""What to do next at the test spot: try, use or stop, each with its reason.

The rule: the smallest expected cut whose chance to meet the target is at least 0.9 and whose chance
to stay within the budget is at least 0.99. A process is used on the car only after it was tried; a
stronger rung is tried only when every milder one was tried or had no fair chance; nothing is
proposed that the budget cannot pay.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from leastcut.testspot import evidence, paint
from leastcut.testspot import ladder as rungs_of
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Advice, Candidate, Process, Target, TestSpot, Trial


class Rules(msgspec.Struct, frozen=True, kw_only=True):
    """The chances that the shop asks for.

    Attributes
    ----------
    p_target : float
        Least chance to meet the target on the car before a process is used.
    p_within_budget : float
        Least chance that a proposed cut stays within the budget.
    p_fair : float
        A rung whose best affordable number of sets has at least this chance is not jumped over.
    max_trials : int
        Trials after which the spot is left as it is.
    """

    p_target: float = 0.9
    p_within_budget: float = 0.99
    p_fair: float = 0.2
    max_trials: int = 6


@dataclass(frozen=True)
class Case:
    """Everything the decision rests on."""

    draws: PaintDraws
    ladder: tuple[Process, ...]
    candidates: tuple[Candidate, ...]
    trials: tuple[Trial, ...]
    rules: Rules


def assess(
    trials: Sequence[Trial],
    ladder: Sequence[Process],
    *,
    target: Target = "daily",
    budget_um: float | None = None,
    draws: PaintDraws | None = None,
    width_hint_um: float | None = None,
    rules: Rules = Rules(),  # noqa: B008 - immutable
) -> tuple[TestSpot, PaintDraws]:
    """Say what the trials teach and what to do next.

    Parameters
    ----------
    trials : sequence of Trial
        What was tried so far, in order; may be empty.
    ladder : sequence of Process
        The processes at hand.
    target : {"daily", "show"}
        How much of the visible scratch length must go.
    budget_um : float or None
        What may be cut today [µm]; None when nothing is known, and then nothing is held back.
    draws : PaintDraws or None
        Draws learnt before from the same trials; learnt here when None.
    width_hint_um : float or None
        Scratch width as seen in a photo [µm]; weak.
    rules : Rules
        The chances asked for.

    Returns
    -------
    tuple of TestSpot and PaintDraws

    Raises
    ------
    LadderError
        If the ladder cannot be used.
    """
    rungs = rungs_of.check(ladder)
    usable, notes = evidence.screen(trials, rungs)
    known = draws or paint.learn(usable, rungs, width_hint_um=width_hint_um)
    candidates = weigh(known, rungs, required_fraction=paint.REQUIRED[target], budget_um=budget_um)
    case = Case(known, rungs, candidates, usable, rules)
    if budget_um is None:
        notes = (*notes, "no budget given: the chance to stay within it is shown as 1")
    spot = TestSpot(
        softness=paint.interval(known.softness),
        depth_um=paint.depth(known),
        candidates=candidates,
        next=advise(case),
        n_trials=len(trials),
        notes=notes,
    )
    return spot, known


def weigh(
    draws: PaintDraws,
    ladder: Sequence[Process],
    *,
    required_fraction: float,
    budget_um: float | None,
) -> tuple[Candidate, ...]:
    """Return every process with every number of sets, mildest process first."""
    return tuple(
        _candidate(draws, process, sets, ladder, required_fraction, budget_um)
        for process in ladder
        for sets in range(1, process.max_sets + 1)
    )


def _candidate(
    draws: PaintDraws,
    process: Process,
    sets: int,
    ladder: Sequence[Process],
    required_fraction: float,
    budget_um: float | None,
) -> Candidate:
    steps = rungs_of.steps(process, sets, ladder)
    cut, removed = paint.outcome(draws, steps)
    finish = steps[1] if len(steps) > 1 else (None, 0)
    within = 1.0 if budget_um is None else float(np.mean(cut <= budget_um))
    return Candidate(
        process=process.label,
        sets=sets,
        p_target=float(np.mean(removed >= required_fraction)),
        cut_um=paint.interval(cut),
        p_within_budget=within,
        finish=finish[0],
        finish_sets=finish[1],
    )


def advise(case: Case) -> Advice:
    """Return the next thing to do."""
    payable = [c for c in case.candidates if c.p_within_budget >= case.rules.p_within_budget]
    if not payable:
        return _stop(_no_money(case.candidates))
    good = [c for c in payable if c.p_target >= case.rules.p_target]
    best = min(good, key=lambda c: c.cut_um.mean, default=None)
    tried = {trial.process for trial in case.trials}
    waiting = _milder_untried(case, payable, tried, best)
    if waiting is not None and len(case.trials) < case.rules.max_trials:
        return _try(waiting, "the mildest rung not tried yet that has a fair chance")
    if best is not None and best.process in tried:
        return _use(best)
    if len(case.trials) >= case.rules.max_trials:
        return _stop(f"{len(case.trials)} trials have proven nothing within the budget")
    if best is not None:
        return _try(best, "the trials so far point to it, and it has not been tried on this paint")
    return _reach(case, payable, tried)


def _milder_untried(
    case: Case, payable: Sequence[Candidate], tried: set[str], best: Candidate | None
) -> Candidate | None:
    """Return what to try on the mildest untried rung with a fair chance, milder than `best`."""
    limit = float("inf") if best is None else best.cut_um.mean
    for process in case.ladder:
        if process.label in tried:
            continue
        own = [c for c in payable if c.process == process.label and c.cut_um.mean < limit]
        if own and max(c.p_target for c in own) >= case.rules.p_fair:
            return _sets_to_try(own)
    return None


def _sets_to_try(own: Sequence[Candidate]) -> Candidate:
    """Return the fewest sets with an even chance, or else those with the best chance."""
    even = [c for c in own if c.p_target >= 0.5]
    return even[0] if even else max(own, key=lambda c: c.p_target)


def _reach(case: Case, payable: Sequence[Candidate], tried: set[str]) -> Advice:
    """Nothing is good enough yet: more sets of a tried rung, or a stronger one, or stop."""
    fair = [c for c in payable if c.p_target >= case.rules.p_fair]
    if fair:
        more = min(fair, key=lambda c: (c.process not in tried, c.cut_um.mean))
        return _try(more, "it may be enough, and one more trial will tell")
    best = max(payable, key=lambda c: c.p_target)
    return _stop(
        f"the best that the budget can pay, {best.process} × {best.sets}, would meet the target with"
        f" a chance of {best.p_target:.0%} only: accept a lower target, or leave the deep ones"
    )


def _try(candidate: Candidate, because: str) -> Advice:
    return Advice(
        do="try",
        process=candidate.process,
        sets=candidate.sets,
        why=f"Try {candidate.process} × {candidate.sets}: {because}; chance to meet the target"
        f" {candidate.p_target:.0%}, expected cut {candidate.cut_um.mean:.1f} µm.",
    )


def _use(candidate: Candidate) -> Advice:
    after = f", then {candidate.finish} × {candidate.finish_sets}" if candidate.finish else ""
    return Advice(
        do="use",
        process=candidate.process,
        sets=candidate.sets,
        finish=candidate.finish,
        finish_sets=candidate.finish_sets,
        why=f"Use {candidate.process} × {candidate.sets}{after}: the least cut"
        f" ({candidate.cut_um.mean:.1f} µm expected) proven to meet the target, chance"
        f" {candidate.p_target:.0%}.",
    )


def _no_money(candidates: Sequence[Candidate]) -> str:
    least = min(candidates, key=lambda c: c.cut_um.mean)
    return (
        f"even {least.process} × {least.sets} stays within the budget with a chance of"
        f" {least.p_within_budget:.0%} only"
    )


def _stop(because: str) -> Advice:
    return Advice(do="stop", process=None, sets=0, why=f"Stop: {because}.")
