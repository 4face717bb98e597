"""Which trials may be done next, and what each is worth."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from leastcut.testspot import evidence, paint, value
from leastcut.testspot import ladder as rungs_of
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Candidate, Process, Trial
from leastcut.testspot.rules import Rules

Array = NDArray[np.float64]

_SPOT_SHARE = 0.2  # share of the accepted risk to the budget that one trial may take


@dataclass(frozen=True)
class Case:
    """Everything the decision rests on; `trials` are screened, `ladder` is ordered."""

    draws: PaintDraws
    ladder: tuple[Process, ...]
    candidates: tuple[Candidate, ...]
    trials: tuple[Trial, ...]
    required: float
    budget_um: float | None
    rules: Rules

    @cached_property
    def tried(self) -> frozenset[str]:
        """Labels of the processes tried with any evidence."""
        return frozenset(t.process for t in self.trials if evidence.says_something(t))

    @cached_property
    def payable(self) -> tuple[Candidate, ...]:
        """Candidates that the budget can pay."""
        least = self.rules.p_within_budget
        return tuple(c for c in self.candidates if c.p_within_budget >= least)

    @cached_property
    def proven(self) -> Candidate | None:
        """The least cut among tried processes that meets every chance asked for."""
        good = [c for c in self.payable if c.p_target >= self.rules.p_target]
        return min((c for c in good if c.process in self.tried), key=_cut, default=None)


@dataclass(frozen=True)
class Move:
    """A trial that may be done.

    ``sets`` are those to do now, ``total`` those on the spot in the end; ``spot`` names the spot to
    go on with, None an untouched one; ``worth_min`` is the loss spared less the minutes it takes.
    """

    process: str
    sets: int
    total: int
    spot: str | None
    worth_min: float


def _cut(candidate: Candidate) -> float:
    return candidate.cut_um.mean


def owed(case: Case) -> str | None:
    """Return the mildest untried rung with a fair chance to be enough for less cut, if there is one.

    It must be tried before any stronger rung that is untried.
    """
    limit = float("inf") if case.proven is None else _cut(case.proven)
    for process in case.ladder:
        own = [c for c in case.payable if c.process == process.label and _cut(c) < limit]
        if process.label not in case.tried and any(c.p_target >= case.rules.p_fair for c in own):
            return process.label
    return None


def possible(case: Case) -> tuple[Move, ...]:
    """Return the trials that may be done next, each with its worth."""
    limits = value.Limits(
        p_target=case.rules.p_target,
        p_within=case.rules.p_within_budget,
        budget_um=case.budget_um,
        prices=case.rules.prices,
    )
    stacks = [rungs_of.steps(_named(case, c), c.sets, case.ladder) for c in case.candidates]
    table = value.effects(
        case.draws,
        stacks,
        case.candidates,
        required=case.required,
        tried=[c.process in case.tried for c in case.candidates],
        limits=limits,
    )
    now = value.loss_now(
        case.candidates, [c.process in case.tried for c in case.candidates], limits
    )
    return tuple(
        _priced(case, move, table, limits, now) for move in _open(case) if _payable(case, move)
    )


def _named(case: Case, candidate: Candidate) -> Process:
    return next(process for process in case.ladder if process.label == candidate.process)


def _open(case: Case) -> Iterator[Move]:
    """Yield every trial on the rungs that are open: shut are the untried ones stronger than one owed.

    Few sets of a stronger rung may cut less than the many of a milder one that are proven.
    """
    bar = owed(case)
    barred = False
    for process in case.ladder:
        if not (barred and process.label not in case.tried):
            yield from _on_rung(case, process)
        barred |= process.label == bar


def _on_rung(case: Case, process: Process) -> Iterator[Move]:
    done = _pure_spots(case.trials, process.label)
    spot, before = max(done.items(), key=lambda item: item[1], default=(None, 0))
    for sets in range(1, process.max_sets + 1):
        if spot is not None and sets > before:
            yield Move(process.label, sets - before, sets, spot, 0.0)
        else:
            yield Move(process.label, sets, sets, None, 0.0)


def _pure_spots(trials: Sequence[Trial], process: str) -> dict[str, int]:
    """Return the spots worked by `process` alone, with the sets done."""
    spots: dict[str, int] = {}
    mixed: set[str] = set()
    for trial in trials:
        if trial.process == process:
            spots[trial.spot] = spots.get(trial.spot, 0) + trial.sets
        else:
            mixed.add(trial.spot)
    return {spot: sets for spot, sets in spots.items() if spot not in mixed}


def _payable(case: Case, move: Move) -> bool:
    """Tell whether the budget pays for the cut on the spot, earlier sets included.

    Several trials share the risk of one budget, so each may take a fifth of it.
    """
    if case.budget_um is None:
        return True
    least = 1.0 - _SPOT_SHARE * (1.0 - case.rules.p_within_budget)
    cut = paint.cut_draws(case.draws, move.process, move.total)
    return bool(np.mean(cut <= case.budget_um) >= least)


def _priced(case: Case, move: Move, table: value.Effects, limits: value.Limits, now: float) -> Move:
    few = table.draws
    cut = paint.cut_draws(few, move.process, move.total)
    haze = paint.haze_after(few, move.process, cut, 0.0)
    tried = table.tried | np.array([c.process == move.process for c in case.candidates])
    gauges = [t.cut_um.sd for t in case.trials if t.cut_um is not None]
    after = value.loss_after(
        table,
        paint.removed_fraction(few, cut, haze=haze),
        cut,
        tried=tried,
        limits=limits,
        gauge_sd_um=max(min(gauges), evidence.GAUGE_SD_UM) if gauges else None,
    )
    prices = case.rules.prices
    fresh = prices.spot_min if move.spot is None else 0.0
    minutes = fresh + prices.look_min + prices.set_min * move.sets
    return Move(move.process, move.sets, move.total, move.spot, now - after - minutes)
