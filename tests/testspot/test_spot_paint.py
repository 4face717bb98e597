"""Survival of lognormal depths, haze and cut against tables and a statistics library."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from leastcut.testspot import ladder, paint
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Process

# source: closed form of the lognormal survival function; status: recomputed
SURVIVAL = [
    (0.5, 0.6, 0.5, 0.500000000),
    (0.5, 0.6, 1.0, 0.123994994),
    (0.5, 0.6, 2.0, 0.010430504),
    (1.0, 0.5, 0.5, 0.917171481),
    (1.0, 0.5, 2.0, 0.082828519),
    (1.0, 0.8, 1.0, 0.500000000),
    (1.0, 0.8, 3.0, 0.084834933),
    (1.0, 0.8, 5.0, 0.022120650),
    (2.0, 0.7, 3.0, 0.281215016),
    (2.0, 0.7, 5.0, 0.095269418),
]
# source: quantiles of the same; status: recomputed
CUT_FOR = [
    (0.5, 0.6, (1.078729, 1.341469, 2.019120)),
    (1.0, 0.5, (1.897953, 2.276017, 3.200074)),
    (1.0, 0.8, (2.787768, 3.728041, 6.430667)),
    (2.0, 0.7, (4.904893, 6.325219, 10.191874)),
]


def draws(median: float = 1.0, sigma: float = 0.7, floor: float = 0.0, n: int = 1) -> PaintDraws:
    one = np.ones(n)
    return PaintDraws(
        labels=("a", "b"),
        softness=one,
        ln_median=np.log(median) * one,
        sigma=sigma * one,
        relative_cut=np.array([[1.0, 2.0]] * n),
        floor=np.array([[floor, 2 * floor]] * n),
        transfer=one,
    )


@pytest.mark.parametrize(("median", "sigma", "cut", "left"), SURVIVAL)
def test_survival_agrees_with_the_table(
    median: float, sigma: float, cut: float, left: float
) -> None:
    gone = paint.removed_fraction(draws(median, sigma), cut)
    assert 1.0 - gone[0] == pytest.approx(left, abs=1e-9)


@pytest.mark.parametrize(("median", "sigma", "cuts"), CUT_FOR)
def test_cut_for_a_fraction_agrees_with_the_table(
    median: float, sigma: float, cuts: tuple[float, ...]
) -> None:
    found = [paint.cut_for(p, median_um=median, sigma=sigma) for p in (0.90, 0.95, 0.99)]
    assert found == pytest.approx(cuts, abs=1e-6)


@settings(deadline=None)
@given(median=st.floats(0.1, 5.0), sigma=st.floats(0.2, 1.5), cut=st.floats(0.01, 20.0))
def test_survival_agrees_with_scipy(median: float, sigma: float, cut: float) -> None:
    gone = paint.removed_fraction(draws(median, sigma), cut)[0]
    assert gone == pytest.approx(stats.lognorm.cdf(cut, sigma, scale=median), abs=1e-12)


def test_remaining_depth_is_the_integral_of_survival() -> None:
    # source: E[(D-h)+] for median 1, sigma 0.8, h = 1; status: recomputed
    def left(cut: float) -> float:
        return float(1.0 - paint.removed_fraction(draws(1.0, 0.8), cut)[0])

    assert integrate.quad(left, 1.0, np.inf)[0] == pytest.approx(0.585375813, abs=1e-7)


@settings(deadline=None)
@given(cuts=st.lists(st.floats(0.0, 10.0), min_size=2, max_size=6))
def test_more_cut_never_leaves_more_scratches(cuts: list[float]) -> None:
    gone = [paint.removed_fraction(draws(), cut)[0] for cut in sorted(cuts)]
    assert gone == sorted(gone)


@settings(deadline=None)
@given(first=st.floats(0.01, 3.0), second=st.floats(0.01, 3.0), floor=st.floats(0.0, 0.2))
def test_haze_does_not_depend_on_how_a_cut_is_split(
    first: float, second: float, floor: float
) -> None:
    case = draws(floor=floor)
    half = paint.haze_after(case, "a", np.array([first]), 0.0)
    split = paint.haze_after(case, "a", np.array([second]), half)
    whole = paint.haze_after(case, "a", np.array([first + second]), 0.0)
    assert split == pytest.approx(whole, abs=1e-12)


def test_finishing_takes_the_haze_of_a_strong_step_away() -> None:
    case = draws(floor=0.05)
    _, rough = paint.outcome(case, [("b", 4)])
    cut, fine = paint.outcome(case, [("b", 4), ("a", 2)])
    assert fine[0] > rough[0]
    assert cut[0] == pytest.approx(0.5 * (4 * 2.0 + 2 * 1.0))


def test_chance_of_a_target_counts_draws() -> None:
    many = paint.learn([], ladder.DEFAULT)
    label = ladder.DEFAULT[1].label
    easy = paint.p_target(many, [(label, 3)], 0.5)
    hard = paint.p_target(many, [(label, 3)], 0.95)
    assert 0.0 < hard < easy < 1.0
    assert paint.p_target(many, [], 0.5) == 0.0


def test_prior_draws_have_the_stated_spread() -> None:
    many = paint.learn([], ladder.DEFAULT)
    log = np.log(many.softness)
    assert np.median(many.softness) == pytest.approx(1.0, rel=0.02)
    assert np.std(log) == pytest.approx(np.log(2.0), rel=0.02)
    assert np.std(many.ln_median) == pytest.approx(0.45, rel=0.03)
    depth = paint.depth(many)
    assert depth.median == pytest.approx(0.8, rel=0.02)
    assert depth.median < depth.p95 < 5.0


@pytest.mark.parametrize("width", [None, 0.0, -3.0, float("nan")])
def test_a_senseless_width_changes_nothing(width: float | None) -> None:
    mean = paint.prior(ladder.DEFAULT, width_hint_um=width).mean
    assert mean == pytest.approx(paint.prior(ladder.DEFAULT).mean)


def test_wide_scratches_are_deeper_and_better_known() -> None:
    plain = paint.prior(ladder.DEFAULT)
    wide = paint.prior(ladder.DEFAULT, width_hint_um=30.0)
    assert wide.mean[1] > plain.mean[1]
    assert wide.factor[1, 1] < plain.factor[1, 1]


def test_ladder_is_ordered_and_checked() -> None:
    assert ladder.ordered(reversed(ladder.DEFAULT)) == ladder.DEFAULT  # type: ignore[arg-type]
    for bad in (
        [],
        [ladder.DEFAULT[0], ladder.DEFAULT[0]],
        [Process(label="x", pad="wool", liquid="heavy", force_n=0.0)],
        [Process(label="x", pad="wool", liquid="heavy", relative_cut=float("nan"))],
    ):
        with pytest.raises(ladder.LadderError):
            ladder.check(bad)


def test_the_users_own_strength_overrides_the_class() -> None:
    own = Process(label="x", pad="foam-finishing", liquid="finishing", relative_cut=7.0)
    assert ladder.check([*ladder.DEFAULT, own])[-1] is own


def test_nothing_follows_where_nothing_can() -> None:
    heavy = Process(label="x", pad="wool", liquid="heavy")
    assert ladder.steps(heavy, 2, [heavy]) == (("x", 2),)
    assert ladder.steps(heavy, 2, [heavy, ladder.DEFAULT[0]])[1] == (ladder.DEFAULT[0].label, 2)
    assert ladder.steps(ladder.DEFAULT[1], 2, ladder.DEFAULT) == ((ladder.DEFAULT[1].label, 2),)
