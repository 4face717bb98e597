"""Evidence that cannot be, contradictory evidence, and the monotone fit behind it."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.isotonic import IsotonicRegression

from leastcut.car.records import Interval
from leastcut.testspot import decide, doubts, evidence, ladder, paint
from leastcut.testspot.records import Measured, Trial, Verdict

LABELS = tuple(process.label for process in ladder.DEFAULT)
NAN = float("nan")


def trial(
    rung: int, sets: int, removed: float | None = None, spot: str = "1", **more: Any
) -> Trial:
    seen = None
    if removed is not None:
        seen = Interval(mean=removed, low=removed - 0.06, high=removed + 0.06)
    return Trial(process=LABELS[rung], sets=sets, removed=seen, spot=spot, **more)


def notes(*trials: Trial) -> str:
    spot, _ = decide.assess(trials, ladder.DEFAULT, budget_um=7.0)
    return "\n".join(spot.notes)


def test_monotone_fit_reproduces_published_examples() -> None:
    # source: R help page of isoreg (method seen, data from memory)
    assert doubts.isotonic([1, 0, 4, 3, 3, 5, 4, 2, 0], [1] * 9) == pytest.approx(
        [0.5, 0.5, 3, 3, 3, 3, 3, 3, 3]
    )
    # source: weighted rates pooled by hand; status: recomputed
    rates = [1 / 3, 2 / 4, 1 / 5, 4 / 6, 3 / 6, 6 / 6]
    assert doubts.isotonic(rates, [3, 4, 5, 6, 6, 6]) == pytest.approx(
        [1 / 3, 1 / 3, 1 / 3, 7 / 12, 7 / 12, 1]
    )


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(0.1, 10)), min_size=1, max_size=30))
def test_monotone_fit_agrees_with_scikit_learn(pairs: list[tuple[float, float]]) -> None:
    values, weights = zip(*pairs, strict=True)
    known = IsotonicRegression().fit_transform(range(len(values)), values, sample_weight=weights)
    assert doubts.isotonic(values, weights) == pytest.approx(known, abs=1e-9)


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (trial(1, 2, 1.5), "150% of the scratches gone"),
        (trial(1, 2, -0.5), "more scratches after than before"),
        (trial(1, 0, 0.5), "0 sets"),
        (Trial(process="other", sets=1), "no process 'other'"),
        (Trial(process=LABELS[1], sets=1, removed=Interval(mean=0.5, low=0.6, high=0.9)), "bounds"),
        (Trial(process=LABELS[1], sets=1, removed=Interval(mean=NAN, low=0, high=1)), "no number"),
        (trial(1, 2, 0.5, cut_um=Measured(value=-5, sd=0.5)), "5 µm more after"),
        (trial(1, 2, 0.5, cut_um=Measured(value=NAN, sd=0.5)), "no number"),
        (trial(1, 2, 0.5, cut_um=Measured(value=1, sd=-1)), "no number"),
        (trial(1, 2, 0.5, wipe_s=200.0), "slow to wipe"),
    ],
)
def test_absurd_evidence_is_named_and_left_out(bad: Trial, words: str) -> None:
    said = notes(bad)
    assert words in said
    assert said.startswith("trial 1:")


def test_the_odd_one_out_is_named_and_counts_for_little() -> None:
    good = [trial(1, 2, value, str(value)) for value in (0.70, 0.72, 0.69)]
    odd = trial(1, 2, 0.1, "odd")
    said = notes(*good[:2], odd, good[2])
    assert "trial 3: the photos show 10% gone" in said
    assert "trial 1:" not in said
    with_odd = paint.learn([*good, odd], ladder.DEFAULT)
    without = paint.learn(good, ladder.DEFAULT)
    gone = [
        np.mean(paint.removed_fraction(d, paint.cut_draws(d, LABELS[1], 2)))
        for d in (with_odd, without)
    ]
    plain_mean = (0.70 + 0.72 + 0.69 + 0.1) / 4
    assert abs(gone[0] - gone[1]) < 0.4 * abs(plain_mean - gone[1])


def test_trials_out_of_order_are_named_with_their_own_numbers() -> None:
    said = notes(trial(1, 0, 0.5, "x"), trial(0, 2, 0.8, "a"), trial(1, 2, 0.4, "b"))
    assert "trial 1: 0 sets" in said
    assert "trial 2 and 3: out of order" in said
    assert "out of order" not in notes(trial(1, 2, 0.7, "a"), trial(1, 2, 0.65, "b"))


def test_a_gauge_against_everything_is_named() -> None:
    photos = [trial(1, 2, 0.7, str(k), cut_um=Measured(value=1.2, sd=0.3)) for k in range(3)]
    said = notes(*photos, trial(1, 2, 0.7, "g", cut_um=Measured(value=9.0, sd=0.3)))
    assert "trial 4: the gauge lost 9.0 µm" in said


def test_a_verdict_against_the_photo_is_named() -> None:
    assert "the verdict 'clean'" in notes(trial(1, 2, 0.3, verdict="clean"))
    assert notes(trial(1, 2, 0.3, verdict="some-left")) == ""


def test_a_slow_wipe_makes_photo_and_verdict_weaker() -> None:
    quick = paint.learn([trial(1, 2, 0.7, verdict="some-left")], ladder.DEFAULT)
    slow = paint.learn([trial(1, 2, 0.7, verdict="some-left", wipe_s=90.0)], ladder.DEFAULT)
    spread = [
        np.std(paint.removed_fraction(d, paint.cut_draws(d, LABELS[1], 2))) for d in (quick, slow)
    ]
    assert spread[0] < spread[1]


def test_loads_stand_in_for_a_missing_comparison() -> None:
    loads = Trial(process=LABELS[1], sets=2, before_load_mm_per_cm2=10.0, after_load_mm_per_cm2=3.0)
    ((kept,), said) = evidence.screen([loads], ladder.DEFAULT)
    assert said == ()
    assert kept.removed is not None
    assert kept.removed.mean == pytest.approx(0.7)
    empty = Trial(process=LABELS[1], sets=2, before_load_mm_per_cm2=0.0, after_load_mm_per_cm2=3.0)
    assert evidence.screen([empty], ladder.DEFAULT)[0][0].removed is None


@settings(deadline=None)
@given(sets=st.integers(1, 40), rung=st.integers(0, 3))
def test_the_chances_of_the_verdict_words_add_up(sets: int, rung: int) -> None:
    draws = paint.learn([], ladder.DEFAULT, n=256)
    ((_, state),) = evidence.story([trial(rung, sets)], draws)
    words: tuple[Verdict, ...] = ("unchanged", "some-left", "clean", "hazy")
    total = sum(evidence.verdict_chance(word, state) for word in words)
    assert total == pytest.approx(np.ones(256), abs=1e-9)


def test_trials_on_one_spot_stack_and_the_photo_before_may_be_either() -> None:
    draws = paint.learn([], ladder.DEFAULT, n=256)
    stacked = [trial(1, 2, spot="a"), trial(1, 1, spot="a"), trial(1, 3, spot="b")]
    states = [state for _, state in evidence.story(stacked, draws)]
    assert states[1].visible_after == pytest.approx(states[2].visible_after)
    own = evidence.removed_in(trial(1, 1, since="trial"), states[1])
    whole = evidence.removed_in(trial(1, 1, since="spot"), states[1])
    assert whole == pytest.approx(1.0 - states[1].visible_after)
    assert (own <= whole + 1e-12).all()
