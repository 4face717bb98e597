"""What to do next at the test spot: try, use or stop, each with its reason.

The rule: the smallest expected cut whose chance to meet the target is at least 0.9 and whose chance
to stay within the budget is at least 0.99. A process is used on the car only after it was tried; a
stronger rung is tried only when every milder one was tried or had no fair chance; nothing is
proposed that the budget cannot pay.
"""

from collections.abc import Sequence

import numpy as np

from leastcut.testspot import affordable, doubts, evidence, moves, paint
from leastcut.testspot import ladder as rungs_of
from leastcut.testspot.moves import Case, Move
from leastcut.testspot.paint import PaintDraws, Prior
from leastcut.testspot.records import (
    Advice,
    Affordable,
    Candidate,
    Process,
    Target,
    TestSpot,
    Trial,
)
from leastcut.testspot.rules import Rules

# A candidate this likely to stay within the budget may yet be shown to: another look is worth it.
_HOPE = 0.8


def assess(
    trials: Sequence[Trial],
    ladder: Sequence[Process],
    *,
    target: Target = "daily",
    budget_um: float | None = None,
    draws: PaintDraws | None = None,
    width_hint_um: float | None = None,
    start: Prior | None = None,
    rules: Rules = Rules(),  # noqa: B008 - immutable
    n_draws: int = 4096,
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
    start : Prior or None
        What earlier cars taught (:func:`leastcut.testspot.learning.pooled`); None for the stated
        prior.
    rules : Rules
        The chances asked for.
    n_draws : int
        Number of equally likely paints.

    Returns
    -------
    tuple of TestSpot and PaintDraws

    Raises
    ------
    LadderError
        If the ladder cannot be used.
    """
    rungs = rungs_of.check(ladder)
    usable, left_out = evidence.screen(trials, rungs)
    known = draws or paint.learn(usable, rungs, width_hint_um=width_hint_um, start=start, n=n_draws)
    required = paint.REQUIRED[target]
    candidates = weigh(known, rungs, required_fraction=required, budget_um=budget_um)
    case = Case(known, rungs, candidates, usable, required, budget_um, rules)
    notes = (*left_out, *doubts.notes(trials, rungs, known))
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
    more = len(case.trials) < case.rules.max_trials
    options = moves.possible(case) if more else ()
    debt = moves.owed(case) if case.proven is None else None
    if owing := [move for move in options if move.process == debt]:
        return _try(case, max(owing, key=lambda move: move.worth_min))
    move = max(options, key=lambda option: option.worth_min, default=None)
    if move is not None and (move.worth_min > 0.0 or _undecided(case)):
        return _try(case, move)
    if case.proven is not None:
        return _use(case.proven)
    return _stop(case)


def _undecided(case: Case) -> bool:
    """Tell whether nothing is proven yet while something still may be, budget included."""
    hope = any(
        c.p_target >= case.rules.p_fair and c.p_within_budget >= _HOPE for c in case.candidates
    )
    return case.proven is None and (hope or not case.tried)


def _try(case: Case, move: Move) -> Advice:
    """Ask for the first set of a move, with what all its sets are for.

    A look between two sets costs minutes and shows whether the next one is needed at all; a set
    that was done cannot be taken back. What follows is decided anew after the look.
    """
    found = next(c for c in case.candidates if (c.process, c.sets) == (move.process, move.total))
    where = (
        f"1 more on spot {move.spot}, {move.total - move.sets + 1} in all"
        if move.spot
        else "on an untouched spot"
    )
    return Advice(
        do="try",
        process=move.process,
        sets=1,
        spot=move.spot,
        worth_min=move.worth_min,
        why=f"Try {move.process} × 1 ({where}): {_because(case, move)}. Chance that"
        f" {move.total} meet the target {found.p_target:.0%}, expected cut"
        f" {found.cut_um.mean:.1f} µm.",
    )


def _because(case: Case, move: Move) -> str:
    """Say what the trial is for."""
    if case.proven is not None:
        best = case.proven
        return (
            f"{best.process} × {best.sets} is proven at {best.cut_um.mean:.1f} µm, but less may do;"
            f" finding out is worth {move.worth_min:.0f} min more than it takes"
        )
    if move.process == moves.owed(case):
        return "the mildest rung not tried yet that has a fair chance"
    good = [c for c in case.candidates if c.p_target >= case.rules.p_target]
    short = max(good, key=lambda c: c.p_within_budget, default=None)
    if short is not None and short.p_within_budget < case.rules.p_within_budget:
        return (
            f"{short.process} × {short.sets} should do, but stays within the budget with"
            f" {short.p_within_budget:.1%} only until its cut is known better{_measure(case)}"
        )
    return "nothing is proven yet, and this teaches most for its time"


def _measure(case: Case) -> str:
    """Say what photos cannot tell, unless it is measured already: they show cut over depth only."""
    gauged = any(trial.cut_um is not None for trial in case.trials)
    return "" if gauged else ": take a dozen gauge readings before and after"


def _then(candidate: Candidate) -> str:
    return f", then {candidate.finish} × {candidate.finish_sets}" if candidate.finish else ""


def _use(candidate: Candidate) -> Advice:
    return Advice(
        do="use",
        process=candidate.process,
        sets=candidate.sets,
        finish=candidate.finish,
        finish_sets=candidate.finish_sets,
        why=f"Use {candidate.process} × {candidate.sets}{_then(candidate)}: the least cut"
        f" ({candidate.cut_um.mean:.1f} µm expected) proven to meet the target, chance"
        f" {candidate.p_target:.0%}; another trial would cost more than it can spare.",
    )


def _stop(case: Case) -> Advice:
    """Say what the budget leaves possible; where a person accepted that, it is what to use."""
    left = affordable.best(case)
    if left is None:
        least = min(case.candidates, key=lambda c: c.cut_um.mean)
        return Advice(
            do="stop",
            process=None,
            sets=0,
            why=f"Stop: even {least.process} × {least.sets} stays within the budget with a chance"
            f" of {least.p_within_budget:.0%} only.",
        )
    least_chance = case.rules.p_accept
    if least_chance is not None and left.p_target >= least_chance:
        return _accepted(left)
    return Advice(
        do="stop",
        process=None,
        sets=0,
        affordable=left,
        why=f"Stop: nothing that the budget can pay is proven after {len(case.trials)} trials."
        f" The best that it can pay, {left.process} × {left.sets}{_then(left)}, has a chance of"
        f" {left.p_target:.0%} to meet the target, cuts {left.cut_um.mean:.1f} µm and leaves"
        f" {_share(left)}: accept that, set a lower target, or leave the deep ones.{_untried(left)}",
    )


def _accepted(left: Affordable) -> Advice:
    return Advice(
        do="use",
        process=left.process,
        sets=left.sets,
        finish=left.finish,
        finish_sets=left.finish_sets,
        affordable=left,
        why=f"Use {left.process} × {left.sets}{_then(left)}: accepted as the best that the budget"
        f" can pay. Chance {left.p_target:.0%} to meet the target, {left.cut_um.mean:.1f} µm of cut"
        f" expected, {_share(left)} will stay.{_untried(left)}",
    )


def _share(left: Affordable) -> str:
    low, mean, high = (f"{x:.0%}" for x in (left.left.low, left.left.mean, left.left.high))
    return f"{mean} of the scratch length ({low} to {high})"


def _untried(left: Affordable) -> str:
    """Ask for one look first where a process was never tried on this paint."""
    return "" if left.tried else " It was not tried yet: work one section, look, then go on."
