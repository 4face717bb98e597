"""What is to be done next, word for word: to use, to try, to stop, and why."""

from typing import Any

import msgspec
import numpy as np
import pytest
from test_spot_scalar import DRAWS, MIDDLE, MILD, STRONG

from leastcut.car.records import Interval
from leastcut.testspot import (
    decide,
    moves,
    paint,
)
from leastcut.testspot.ladder import DEFAULT
from leastcut.testspot.moves import Case, Move
from leastcut.testspot.records import (
    Advice,
    Candidate,
    Measured,
    Trial,
)
from leastcut.testspot.rules import Rules


def seen(mean: float, low: float, high: float) -> Interval:
    return Interval(mean=mean, low=low, high=high)


# the decision


def candidate(label: str = MIDDLE, sets: int = 2, **changed: Any) -> Candidate:
    usual = Candidate(
        process=label, sets=sets, p_target=0.95, cut_um=seen(2.04, 1.0, 3.0), p_within_budget=1.0
    )
    return msgspec.structs.replace(usual, **changed)


def case(candidates: list[Candidate], trials: tuple[Trial, ...] = (), **changed: Any) -> Case:
    usual: dict[str, Any] = {"required": 0.85, "budget_um": 5.0, "rules": Rules()}
    return Case(DRAWS, DEFAULT, tuple(candidates), trials, **(usual | changed))


LOOKED = Trial(process=MIDDLE, sets=2, verdict="clean", spot="a")


def test_use_and_finish_in_full() -> None:
    assert decide._use(candidate(finish=MILD, finish_sets=2, p_target=0.931)) == Advice(
        do="use",
        process=MIDDLE,
        sets=2,
        finish=MILD,
        finish_sets=2,
        why=f"Use {MIDDLE} × 2, then {MILD} × 2: the least cut (2.0 µm expected) proven to meet the "
        "target, chance 93%; another trial would cost more than it can spare.",
    )
    assert f"Use {MIDDLE} × 2: the least" in decide._use(candidate()).why


def test_a_trial_in_full() -> None:
    bare = case([candidate(sets=3, p_target=0.5)])
    move = Move(MIDDLE, 1, 3, "a", 12.4)
    assert decide._try(bare, move) == Advice(
        do="try",
        process=MIDDLE,
        sets=1,
        spot="a",
        worth_min=12.4,
        why=f"Try {MIDDLE} × 1 (1 more on spot a, 3 in all): the mildest rung not tried yet that has"
        " a fair chance. Chance that 3 meet the target 50%, expected cut 2.0 µm.",
    )
    proven = case([candidate(), candidate(sets=1, p_target=0.3)], (LOOKED,))
    told = decide._try(proven, Move(MIDDLE, 1, 1, None, 12.4)).why
    assert told == (
        f"Try {MIDDLE} × 1 (on an untouched spot): {MIDDLE} × 2 is proven at 2.0 µm, but less may"
        " do; finding out is worth 12 min more than it takes. Chance that 1 meet the target 30%,"
        " expected cut 2.0 µm."
    )


@pytest.mark.parametrize("gauged", [False, True])
def test_a_budget_that_binds_is_told(*, gauged: bool) -> None:
    read = msgspec.structs.replace(
        LOOKED,
        verdict=None if gauged else "clean",
        cut_um=Measured(value=1.0, sd=1.0) if gauged else None,
    )
    tight = case([candidate(p_within_budget=0.953)], (read,))
    words = decide._because(tight, Move(MIDDLE, 1, 3, "a", 1.0))
    more = "" if gauged else ": take a dozen gauge readings before and after"
    assert words == (
        f"{MIDDLE} × 2 should do, but stays within the budget with 95.3% only until its cut is"
        f" known better{more}"
    )
    none = case([candidate(p_target=0.89)], (read,))
    assert decide._because(none, Move(MIDDLE, 1, 3, "a", 1.0)) == (
        "nothing is proven yet, and this teaches most for its time"
    )


@pytest.mark.parametrize("tried", [False, True])
def test_a_stop_in_full(*, tried: bool) -> None:
    poor = case([candidate(p_target=0.62)], (LOOKED,) if tried else ())
    said = decide._stop(poor)
    left = said.affordable
    assert left is not None
    share = (
        f"{left.left.mean:.0%} of the scratch length ({left.left.low:.0%} to {left.left.high:.0%})"
    )
    first = "" if tried else " It was not tried yet: work one section, look, then go on."
    assert (said.do, said.process, said.sets) == ("stop", None, 0)
    assert said.why == (
        f"Stop: nothing that the budget can pay is proven after {int(tried)} trials. The best that"
        f" it can pay, {MIDDLE} × 2, has a chance of 62% to meet the target, cuts 2.0 µm and leaves"
        f" {share}: accept that, set a lower target, or leave the deep ones.{first}"
    )
    taken = msgspec.structs.replace(poor.rules, p_accept=0.62)
    accepted = decide._stop(case([candidate(p_target=0.62)], poor.trials, rules=taken))
    assert (accepted.do, accepted.process, accepted.sets) == ("use", MIDDLE, 2)
    assert accepted.affordable == left
    assert accepted.why == (
        f"Use {MIDDLE} × 2: accepted as the best that the budget can pay. Chance 62% to meet the"
        f" target, 2.0 µm of cut expected, {share} will stay.{first}"
    )


def test_what_stays_is_the_paints_own() -> None:
    _, gone = paint.outcome(DRAWS, [(MIDDLE, 2)])
    left = decide._stop(case([candidate(p_target=0.62)])).affordable
    assert left is not None
    assert left.left.mean == pytest.approx(np.mean(1.0 - gone))
    assert (left.tried, left.p_target, left.p_within_budget) == (False, 0.62, 1.0)


def test_a_budget_that_pays_for_nothing_in_full() -> None:
    dear = case(
        [
            candidate(p_within_budget=0.5),
            candidate(MILD, 1, p_within_budget=0.126, cut_um=seen(0.3, 0.1, 0.5)),
        ]
    )
    assert decide._stop(dear) == Advice(
        do="stop",
        process=None,
        sets=0,
        why=f"Stop: even {MILD} × 1 stays within the budget with a chance of 13% only.",
    )


def test_what_is_owed_proven_and_payable() -> None:
    found = case(
        [candidate(MILD, 1, p_target=0.25), candidate(), candidate(STRONG, 1, p_target=0.99)],
        (LOOKED,),
    )
    assert found.tried == {MIDDLE}
    assert found.proven == candidate()
    # the mild one has a fair chance, but would not cut less than what is proven
    assert moves.owed(found) is None
    less = case(
        [candidate(MILD, 1, p_target=0.25, cut_um=seen(2.0, 1.0, 3.0)), candidate()], (LOOKED,)
    )
    assert moves.owed(less) == MILD
    poor = case(
        [candidate(MILD, 1, p_target=0.249, cut_um=seen(2.0, 1.0, 3.0)), candidate()], (LOOKED,)
    )
    assert moves.owed(poor) is None
    edge = case([candidate(p_target=0.9, p_within_budget=0.99)], (LOOKED,))
    assert edge.proven is not None
    dear = case([candidate(p_within_budget=0.989)], (LOOKED,))
    assert (dear.payable, dear.proven) == ((), None)


def test_spots_of_one_process_are_gone_on_with() -> None:
    trials = (
        Trial(process=MIDDLE, sets=2, spot="a"),
        Trial(process=MIDDLE, sets=1, spot="a"),
        Trial(process=MIDDLE, sets=2, spot="b"),
        Trial(process=MIDDLE, sets=4, spot="c"),
        Trial(process=MILD, sets=1, spot="c"),
    )
    assert moves._pure_spots(trials, MIDDLE) == {"a": 3, "b": 2}
    found = case([candidate()], trials)
    rung = [(m.sets, m.total, m.spot) for m in moves._on_rung(found, DEFAULT[1])]
    assert rung == [(1, 1, None), (2, 2, None), (3, 3, None), (1, 4, "a")]


def test_one_spot_may_take_a_fifth_of_the_risk() -> None:
    # cuts of 3 sets: 3 µm, 1.35 and 0.825; all of them must be paid for at a risk of 1 in 500
    three = Move(MIDDLE, 3, 3, None, 0.0)
    assert moves._payable(case([candidate()], budget_um=3.0), three)
    assert not moves._payable(case([candidate()], budget_um=2.9), three)
    assert moves._payable(case([candidate()], budget_um=None), three)
    lax = Rules(p_within_budget=-0.7)  # a fifth of 1.7 is 0.34: one paint of three may pass it
    assert moves._payable(case([candidate()], budget_um=2.9, rules=lax), three)
