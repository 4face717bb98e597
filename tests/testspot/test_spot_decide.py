"""The rules of the decision, whatever the trials say."""

import time
from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.car.records import Interval
from leastcut.testspot import decide, ladder, moves, paint, value
from leastcut.testspot.records import Advice, Measured, Process, Trial
from leastcut.testspot.rules import Prices, Rules

LABELS = tuple(process.label for process in ladder.DEFAULT)


def trial(rung: int, sets: int, removed: float, spot: str, **more: Any) -> Trial:
    seen = Interval(mean=removed, low=removed - 0.06, high=removed + 0.06)
    return Trial(process=LABELS[rung], sets=sets, removed=seen, spot=spot, **more)


@st.composite
def histories(draw: st.DrawFn) -> list[Trial]:
    """Trials as they come, contradictory ones included."""
    count = draw(st.integers(0, 4))
    return [
        trial(
            draw(st.integers(0, 3)),
            draw(st.integers(1, 4)),
            draw(st.floats(-0.05, 1.0)),
            draw(st.sampled_from("abc")),
            verdict=draw(st.sampled_from([None, "unchanged", "some-left", "clean", "hazy"])),
            cut_um=draw(
                st.none() | st.builds(Measured, value=st.floats(-1, 8), sd=st.floats(0, 2))
            ),
            since=draw(st.sampled_from(["trial", "spot"])),
        )
        for _ in range(count)
    ]


def case(trials: list[Trial], budget: float | None, required: float = 0.85) -> moves.Case:
    draws = paint.learn(trials, ladder.DEFAULT)
    candidates = decide.weigh(draws, ladder.DEFAULT, required_fraction=required, budget_um=budget)
    return moves.Case(draws, ladder.DEFAULT, candidates, tuple(trials), required, budget, Rules())


@settings(max_examples=30, deadline=None)
@given(trials=histories(), budget=st.floats(0.0, 20.0), target=st.sampled_from(["daily", "show"]))
def test_rules_hold_whatever_the_trials_say(
    trials: list[Trial], budget: float, target: str
) -> None:
    spot, draws = decide.assess(trials, ladder.DEFAULT, target=target, budget_um=budget)
    tried = {t.process for t in trials}
    by_rung = {label: [c for c in spot.candidates if c.process == label] for label in LABELS}
    assert len(spot.candidates) == 16
    assert spot.next.why.endswith(".")
    if spot.next.do == "use":
        _check_use(spot.next, by_rung, tried)
    if spot.next.do == "try":
        _check_try(spot.next, by_rung, tried, trials, draws, budget)
    if spot.next.do == "stop":
        assert spot.next.process is None


def _check_use(advice: Advice, by_rung: dict, tried: set[str]) -> None:
    used = next(c for c in by_rung[advice.process] if c.sets == advice.sets)
    assert used.process in tried
    assert used.p_target >= 0.9
    assert used.p_within_budget >= 0.99
    assert used.finish == advice.finish
    for other in (c for own in by_rung.values() for c in own):
        if other.process in tried and other.p_target >= 0.9 and other.p_within_budget >= 0.99:
            assert used.cut_um.mean <= other.cut_um.mean


def _check_try(
    advice: Advice,
    by_rung: dict,
    tried: set[str],
    trials: list[Trial],
    draws: paint.PaintDraws,
    budget: float,
) -> None:
    assert advice.process is not None
    before = sum(t.sets for t in trials if t.spot == advice.spot)
    cut = paint.cut_draws(draws, advice.process, before + advice.sets)
    assert np.mean(cut <= budget) >= 0.99  # never what the budget cannot pay
    if advice.process in tried:
        return
    everything = [c for own in by_rung.values() for c in own if c.p_within_budget >= 0.99]
    proven = [c.cut_um.mean for c in everything if c.process in tried and c.p_target >= 0.9]
    limit = min(proven, default=float("inf"))
    milder = set(LABELS[: LABELS.index(advice.process)]) - tried
    assert (
        not [  # never over a milder rung that may do for less
            c
            for c in everything
            if c.process in milder and c.p_target >= 0.25 and c.cut_um.mean < limit
        ]
    )


def test_no_trials_give_a_cautious_first_try() -> None:
    spot, draws = decide.assess([], ladder.DEFAULT, budget_um=7.0)
    assert spot.next.do == "try"
    assert spot.next.process in LABELS[:2]
    assert spot.next.spot is None
    assert spot.n_trials == 0
    assert spot.softness.low < 0.4
    assert spot.softness.high > 2.5
    assert len(draws.softness) == 4096


def test_a_proven_process_is_used_without_more_trials() -> None:
    looks = (0.4, 0.75, 0.92)
    trials = [trial(1, 1, removed, "a", since="spot") for removed in looks]
    spot, _ = decide.assess(trials, ladder.DEFAULT, budget_um=15.0)
    assert (spot.next.do, spot.next.process) == ("use", LABELS[1])
    assert "proven" in spot.next.why


def test_another_look_on_the_same_spot_asks_only_for_the_missing_sets() -> None:
    known = case([trial(1, 2, 0.7, "a")], 7.0)
    more = [m for m in moves.possible(known) if m.process == LABELS[1] and m.total == 3]
    assert [(m.sets, m.spot) for m in more] == [(1, "a")]


def test_a_strong_rung_waits_for_a_fair_milder_one() -> None:
    soft = case([trial(2, 1, 0.75, "a")], 20.0)
    owed = moves.owed(soft)
    assert owed in LABELS[:2]
    stronger = LABELS[LABELS.index(owed) + 1 :]
    assert not {m.process for m in moves.possible(soft)} & (set(stronger) - {LABELS[2]})


def test_a_stronger_rung_stays_open_when_a_milder_one_is_proven() -> None:
    looks = (0.35, 0.62, 0.85, 0.95)
    known = case([trial(1, 1, gone, "a", since="spot") for gone in looks], None)
    assert known.proven is not None
    assert known.proven.process == LABELS[1]
    assert LABELS[2] in {move.process for move in moves.possible(known)}


def test_the_price_is_that_of_the_decision_which_the_rules_allow() -> None:
    limits = value.Limits(p_target=0.9, p_within=0.99, budget_um=None, prices=Prices())
    known = case([trial(1, 3, 0.95, "a", verdict="clean")], None)
    near, sure = (
        msgspec.structs.replace(
            known.candidates[0], p_target=p, cut_um=Interval(mean=cut, low=cut, high=cut)
        )
        for p, cut in ((0.89, 1.0), (0.95, 6.0))
    )
    both = value.loss_now([near, sure], [True, True], limits)
    alone = value.loss_now([near], [True], limits)
    assert both == pytest.approx(6.0 * limits.prices.um_min)
    assert alone == pytest.approx(limits.prices.um_min + 0.11 * limits.prices.miss_min)


def test_the_first_spot_takes_little_of_the_risk_to_the_budget() -> None:
    known = case([], 7.0)
    for move in moves.possible(known):
        cut = paint.cut_draws(known.draws, move.process, move.total)
        assert np.mean(cut <= 7.0) >= 0.998


def test_a_gauge_is_asked_for_where_the_budget_binds() -> None:
    trials = [trial(0, 2, 0.2, "a"), trial(1, 3, 0.91, "b", verdict="clean")]
    bare = decide.assess(trials, ladder.DEFAULT, budget_um=7.0)[0].next
    assert "a dozen gauge readings" in bare.why
    read = msgspec.structs.replace(trials[0], cut_um=Measured(value=0.4, sd=0.5))
    gauged = decide.assess([read, trials[1]], ladder.DEFAULT, budget_um=7.0)[0].next
    assert "a dozen gauge readings" not in gauged.why


def test_no_money_stops_with_the_reason() -> None:
    spot, _ = decide.assess([], ladder.DEFAULT, budget_um=0.05)
    assert spot.next.do == "stop"
    assert "stays within the budget" in spot.next.why
    spot, _ = decide.assess([], ladder.DEFAULT, budget_um=0.0)
    assert spot.next.do == "stop"


def test_too_many_trials_stop_and_name_the_best() -> None:
    trials = [trial(3, 4, 0.5, str(k), cut_um=Measured(value=1.0, sd=0.3)) for k in range(14)]
    spot, _ = decide.assess(trials, ladder.DEFAULT, target="show", budget_um=7.0)
    assert spot.next.do == "stop"
    assert "after 14 trials" in spot.next.why


def test_no_budget_is_said_and_holds_nothing_back() -> None:
    spot, _ = decide.assess([], ladder.DEFAULT)
    assert {c.p_within_budget for c in spot.candidates} == {1.0}
    assert "no budget given" in spot.notes[-1]


def test_a_heavy_liquid_brings_its_finishing_step() -> None:
    trials = [trial(1, 4, 0.5, "a"), trial(2, 1, 0.9, "b", verdict="clean")]
    spot, _ = decide.assess(trials, ladder.DEFAULT)
    heavy = [c for c in spot.candidates if c.process == LABELS[2]]
    assert {(c.finish, c.finish_sets) for c in heavy} == {(LABELS[0], 2)}
    assert spot.next.do == "use"
    assert spot.next.finish == LABELS[0]


def test_a_dearer_trial_is_done_less() -> None:
    trials = [trial(1, 3, 0.95, "a", verdict="clean")]
    cheap = decide.assess(trials, ladder.DEFAULT, budget_um=15.0, rules=Rules())[0].next
    dear = Rules(prices=Prices(spot_min=5000.0, look_min=5000.0, set_min=500.0))
    asked = decide.assess(trials, ladder.DEFAULT, budget_um=15.0, rules=dear)[0].next
    assert cheap.do == "try"
    assert cheap.worth_min is not None
    assert asked.do == "use"


def test_one_process_is_a_ladder_too() -> None:
    only = Process(label="only", pad="wool", liquid="heavy", max_sets=2)
    spot, _ = decide.assess([], [only], budget_um=30.0)
    assert [c.sets for c in spot.candidates] == [1, 2]
    assert spot.next.process == "only"


def test_a_decision_takes_a_blink() -> None:
    trials = [trial(0, 2, 0.2, "a"), trial(1, 2, 0.7, "b"), trial(1, 1, 0.8, "b", since="spot")]
    spent = []  # processor time: the load of the machine is none of the decision's
    for _ in range(5):
        start = time.process_time()
        decide.assess(trials, ladder.DEFAULT, budget_um=7.0)
        spent.append(time.process_time() - start)
    assert min(spent) < 0.15


WEAK = (0.05, 0.1, 0.2, 0.4)


@pytest.mark.parametrize(
    ("trials", "budget", "words"),
    [
        ([trial(1, 3, 0.95, "a", verdict="clean")], 15.0, "is proven at"),
        ([], 7.0, "the mildest rung not tried yet"),
        ([trial(0, 2, 0.2, "a"), trial(1, 3, 0.91, "b", verdict="clean")], 7.0, "stays within"),
        ([trial(k, 1, gone, str(k)) for k, gone in enumerate(WEAK)], None, "nothing is proven yet"),
    ],
)
def test_a_trial_is_proposed_with_its_reason(
    trials: list[Trial], budget: float | None, words: str
) -> None:
    spot, _ = decide.assess(trials, ladder.DEFAULT, budget_um=budget)
    assert spot.next.do == "try"
    assert words in spot.next.why
