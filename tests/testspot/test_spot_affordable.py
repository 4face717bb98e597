"""After a stop: the best that the budget can pay, and what accepting it does."""

import math

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.car.records import Interval
from leastcut.testspot import decide, ladder, tell
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Affordable, Measured, Trial
from leastcut.testspot.records import TestSpot as Answer
from leastcut.testspot.rules import Rules
from leastcut.web import words

LABELS = [process.label for process in ladder.DEFAULT]
FINISHING, POLISHING, CUTTING, MICROFIBRE = LABELS


def trial(process: str, sets: int, removed: float, spot: str, cut: float) -> Trial:
    seen = Interval(mean=removed, low=removed - 0.06, high=removed + 0.06)
    gauge = Measured(value=cut, sd=0.3)
    return Trial(process=process, sets=sets, removed=seen, spot=spot, cut_um=gauge)


# A soft paint with deep scratches: two sets of the polishing foam cut 3 µm and leave a quarter.
DEEP = (trial(FINISHING, 2, 0.15, "a", 0.7), trial(POLISHING, 2, 0.74, "b", 3.0))
STOP = Rules(max_trials=2)


def removed_by_hand(draws: PaintDraws, candidate: Affordable) -> np.ndarray:
    """Removed fraction paint by paint, with the error function and haze in plain loops."""
    steps = [(candidate.process, candidate.sets)]
    if candidate.finish:
        steps.append((candidate.finish, candidate.finish_sets))
    found = []
    for i in range(len(draws.softness)):
        total = haze = 0.0
        for process, sets in steps:
            k = draws.labels.index(process)
            cut = 0.5 * draws.softness[i] * draws.relative_cut[i, k] * draws.transfer[i] * sets
            fade = math.exp(-cut / 0.12)
            haze, total = haze * fade + draws.floor[i, k] * (1.0 - fade), total + cut
        score = (math.log(total) - draws.ln_median[i]) / draws.sigma[i]
        found.append(0.5 * math.erfc(-score / math.sqrt(2.0)) * (1.0 - haze))
    return np.array(found)


def stopped(budget: float, target: str = "daily") -> tuple[Answer, PaintDraws, Affordable]:
    spot, draws = decide.assess(
        DEEP, ladder.DEFAULT, target=target, budget_um=budget, rules=STOP, n_draws=1024
    )
    assert spot.next.do == "stop"
    assert spot.next.process is None
    assert spot.next.affordable is not None
    return spot, draws, spot.next.affordable


@settings(max_examples=25, deadline=None)
@given(budget=st.floats(0.0, 6.0), target=st.sampled_from(["daily", "show"]))
def test_no_affordable_candidate_does_better(budget: float, target: str) -> None:
    spot, draws = decide.assess(
        DEEP, ladder.DEFAULT, target=target, budget_um=budget, rules=STOP, n_draws=512
    )
    best = spot.next.affordable
    payable = [c for c in spot.candidates if c.p_within_budget >= 0.99]
    if spot.next.do == "stop":
        assert (best is None) == (not payable)
    if best is None:
        return
    assert best.p_within_budget >= 0.99
    most = max(c.p_target for c in payable)
    if most >= 0.05:
        assert best.p_target >= most - 0.01
        milder = [c for c in payable if c.cut_um.mean < best.cut_um.mean]
        assert all(c.p_target < most - 0.01 for c in milder)
    left = 1.0 - removed_by_hand(draws, best)
    assert best.left.mean == pytest.approx(left.mean(), abs=1e-9)
    assert best.left.low == pytest.approx(np.quantile(left, 0.025), abs=1e-9)


def test_what_stays_is_told_with_its_cost() -> None:
    _, draws, best = stopped(4.0)
    assert best.process == POLISHING
    assert best.tried
    assert 0.05 < best.p_target < 0.9
    assert best.left.mean == pytest.approx(1.0 - removed_by_hand(draws, best).mean(), abs=1e-9)
    assert best.cut_um.high <= 4.5


def test_without_hope_the_least_is_left() -> None:
    spot, draws, best = stopped(1.2, "show")
    assert max(c.p_target for c in spot.candidates if c.p_within_budget >= 0.99) < 0.05
    payable = [c for c in spot.candidates if c.p_within_budget >= 0.99]
    least = min(1.0 - removed_by_hand(draws, c).mean() for c in payable)
    assert best.left.mean <= least + 0.01


def test_accepting_the_chance_makes_it_what_to_use() -> None:
    spot, draws, best = stopped(4.0)
    for asked, do in ((best.p_target - 0.01, "use"), (best.p_target + 0.01, "stop")):
        rules = msgspec.structs.replace(STOP, p_accept=asked)
        then, _ = decide.assess(DEEP, ladder.DEFAULT, budget_um=4.0, draws=draws, rules=rules)
        assert then.next.do == do
        assert then.next.affordable == best
        assert then.candidates == spot.candidates
    rules = msgspec.structs.replace(STOP, p_accept=0.0)
    used = decide.assess(DEEP, ladder.DEFAULT, budget_um=4.0, draws=draws, rules=rules)[0].next
    assert (used.process, used.sets, used.finish) == (best.process, best.sets, best.finish)
    assert "accepted as the best that the budget can pay" in used.why


def test_accepting_never_stands_above_a_proven_process() -> None:
    rules = Rules(p_accept=0.0)
    free, _ = decide.assess(DEEP, ladder.DEFAULT, rules=rules)
    assert free.next.affordable is None
    assert free.next == decide.assess(DEEP, ladder.DEFAULT)[0].next


def test_what_was_never_tried_is_tried_before_the_whole_car() -> None:
    untried = DEEP[:1]
    spot, _ = decide.assess(
        untried, ladder.DEFAULT, budget_um=5.0, rules=Rules(max_trials=1), n_draws=1024
    )
    best = spot.next.affordable
    assert best is not None
    assert best.process != FINISHING
    assert not best.tried
    assert spot.next.why.endswith("work one section, look, then go on.")


@pytest.mark.parametrize("accept", [None, 0.0])
@pytest.mark.parametrize("count", [1, 2])
def test_the_sentence_reads_in_spanish(accept: float | None, count: int) -> None:
    rules = Rules(max_trials=count, p_accept=accept)
    spot, _ = decide.assess(DEEP[:count], ladder.DEFAULT, budget_um=4.0, rules=rules, n_draws=1024)
    said = words.told("es", spot.next.why)
    assert said.startswith("Usa " if accept is not None else "Para: tras ")
    for english in ("accepted", "then", "the ", "scratch", "budget", "tried", "foam"):
        assert english not in said


def test_the_machine_interface_and_the_summary_carry_it() -> None:
    spot, _, best = stopped(4.0)
    said = tell.to_contract(spot)["next"]["affordable"]
    assert (said["process"], said["sets"], said["tried"]) == (best.process, best.sets, True)
    assert (said["left"], said["cut_um"]) == (best.left.mean, best.cut_um.mean)
    assert f"{best.left.mean:.0%} of the scratch length" in tell.summary(spot)
    nothing, _ = decide.assess(DEEP, ladder.DEFAULT, budget_um=0.05)
    assert tell.to_contract(nothing)["next"]["affordable"] is None
