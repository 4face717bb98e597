"""Evidence and outcomes paint by paint, in plain scalars, beside the product's arrays."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from leastcut.car.records import Interval
from leastcut.testspot import evidence, paint, value
from leastcut.testspot.ladder import DEFAULT
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Candidate, Measured, Trial
from leastcut.testspot.rules import Prices

MILD, MIDDLE, STRONG, WILD = (process.label for process in DEFAULT)
# Three paints: soft with deep scratches, typical, hard with shallow ones.
DRAWS = PaintDraws(
    labels=(MILD, MIDDLE, STRONG, WILD),
    softness=np.array([2.0, 1.0, 0.5]),
    ln_median=np.log([1.5, 0.8, 0.4]),
    sigma=np.array([0.9, 0.7, 0.5]),
    relative_cut=np.array([[0.25, 1.0, 3.0, 4.0], [0.3, 0.9, 2.8, 4.4], [0.2, 1.1, 2.5, 5.0]]),
    floor=np.array([[0.01, 0.02, 0.05, 0.09], [0.005, 0.03, 0.06, 0.1], [0.02, 0.01, 0.04, 0.2]]),
    transfer=np.array([1.1, 1.0, 0.9]),
)


def seen(mean: float, low: float, high: float) -> Interval:
    return Interval(mean=mean, low=low, high=high)


class Spot:
    """One paint's spot, worked step by step."""

    def __init__(self, k: int, factor: float = 1.0) -> None:
        self.k, self.factor, self.cut, self.haze = k, factor, 0.0, 0.0

    def work(self, process: str, sets: int) -> float:
        column = DRAWS.labels.index(process)
        # half a µm is a set of the reference process on the typical paint
        cut = 0.5 * DRAWS.softness[self.k] * DRAWS.relative_cut[self.k, column] * sets
        cut *= self.factor
        kept = math.exp(-cut / 0.12)
        self.haze = self.haze * kept + DRAWS.floor[self.k, column] * (1.0 - kept)
        self.cut += cut
        return float(cut)

    @property
    def gone(self) -> float:
        if self.cut == 0.0:
            return 0.0
        z = (math.log(self.cut) - DRAWS.ln_median[self.k]) / DRAWS.sigma[self.k]
        return float(norm.cdf(z) * (1.0 - self.haze))


@pytest.mark.parametrize("k", range(3))
def test_outcome_of_two_steps_on_the_car(k: int) -> None:
    spot = Spot(k, factor=float(DRAWS.transfer[k]))
    spot.work(STRONG, 2)
    spot.work(MILD, 3)
    cut, gone = paint.outcome(DRAWS, [(STRONG, 2), (MILD, 3)])
    assert cut[k] == pytest.approx(spot.cut)
    assert gone[k] == pytest.approx(spot.gone)


TRIALS = (
    Trial(process=MIDDLE, sets=1, removed=seen(0.5, 0.4, 0.54), spot="a"),
    Trial(process=MIDDLE, sets=2, removed=seen(0.8, 0.7, 0.9), spot="a", verdict="some-left"),
    Trial(process=MILD, sets=2, spot="b", cut_um=Measured(value=0.4, sd=0.3), verdict="unchanged"),
    Trial(
        process=STRONG, sets=1, removed=seen(0.9, 0.8, 0.95), spot="a", since="spot", wipe_s=61.0
    ),
    Trial(process=STRONG, sets=1, verdict="hazy", wipe_s=75.0, spot="a", panel="roof"),
    Trial(process=MILD, sets=1, verdict="clean", cut_um=Measured(value=1.0, sd=0.1), spot="b"),
)


def student(residual: float) -> float:
    return -4.0 * math.log1p(residual**2 / 7.0)  # seven degrees of freedom


def photo(trial: Trial, spot: Spot, before: float) -> float:
    assert trial.removed is not None
    left = 1.0 - spot.gone
    shown, base = (1.0 - left, 1.0) if trial.since == "spot" else (1.0 - left / before, before)
    side = trial.removed.low if shown < trial.removed.mean else trial.removed.high
    stated = math.hypot(abs(trial.removed.mean - side) / 1.96, 0.015)
    slope = norm.pdf(norm.ppf(spot.gone)) / DRAWS.sigma[spot.k] / base
    sd = math.hypot(stated, 0.08 * slope) * (2.0 if (trial.wipe_s or 0.0) > 60.0 else 1.0)
    return student((trial.removed.mean - shown) / sd) - math.log(sd)


def word(trial: Trial, spot: Spot, before: float) -> float:
    left = 1.0 - spot.gone
    changed = norm.cdf((1.0 - left / before - 0.12) / 0.06)
    scratches_gone = spot.gone / (1.0 - spot.haze)
    clear = norm.cdf((scratches_gone - 0.9) / 0.04)
    hazy = norm.cdf(math.log(spot.haze / 0.06) / 0.4)
    chance = {
        "unchanged": 1.0 - changed,
        "some-left": changed * (1.0 - clear),
        "clean": changed * clear * (1.0 - hazy),
        "hazy": changed * clear * hazy,
    }[trial.verdict or ""]
    chance = 0.0075 + 0.97 * chance
    return math.log(chance) / (2.0 if (trial.wipe_s or 0.0) > 60.0 else 1.0)


@pytest.mark.parametrize("k", range(3))
@pytest.mark.parametrize("count", range(1, 7))
def test_likelihood_of_trials_in_plain_scalars(k: int, count: int) -> None:
    spots: dict[tuple[str | None, str], Spot] = {}
    total = 0.0
    for trial in TRIALS[:count]:
        spot = spots.setdefault((trial.panel, trial.spot), Spot(k))
        before = 1.0 - spot.gone
        cut = spot.work(trial.process, trial.sets)
        if trial.removed is not None:
            total += photo(trial, spot, before)
        if trial.cut_um is not None:
            total += student((trial.cut_um.value - cut) / max(trial.cut_um.sd, 0.2))
        if trial.verdict is not None:
            total += word(trial, spot, before)
    assert evidence.log_likelihood(TRIALS[:count], DRAWS)[k] == pytest.approx(total, rel=1e-9)


def test_prior_by_hand() -> None:
    found = paint.prior(DEFAULT)
    cuts, floors = [0.25, 1.0, 2.88, 4.32], [0.005, 0.02, 0.0525, 0.0875]
    wanted = [1.0, 0.8, 0.68, *cuts, *floors, 1.0]
    assert np.exp(found.mean) == pytest.approx(wanted)
    spread = [math.log(2.0), 0.45, 0.3, *[0.3] * 4, *[0.5] * 4, 0.08]
    assert found.factor == pytest.approx(np.diag(spread))
    # 20 µm wide: 2 µm deep, within a factor of 2.5; weighed with 0.8 by precision
    w, own = math.log(2.5) ** -2, 0.45**-2
    hinted = paint.prior(DEFAULT, width_hint_um=20.0)
    assert hinted.mean[1] == pytest.approx((math.log(2.0) * w + math.log(0.8) * own) / (w + own))
    assert hinted.factor[1, 1] == pytest.approx((w + own) ** -0.5)
    assert hinted.mean[2:] == pytest.approx(found.mean[2:])


def test_points_become_paints_by_hand() -> None:
    points = np.zeros((2, 12))
    points[1] = [1.0, -1.0, 2.0, 0.0, 1.0, 0.0, 0.0, 9.0, 0.0, 0.0, 1.0, -1.0]
    found = paint.unpack(points, paint.prior(DEFAULT), DEFAULT)
    assert found.softness == pytest.approx([1.0, 2.0])
    assert found.ln_median == pytest.approx([math.log(0.8), math.log(0.8) - 0.45])
    assert found.sigma == pytest.approx([0.68, 0.68 * math.exp(0.6)])
    assert found.relative_cut[1] == pytest.approx([0.25, math.exp(0.3), 2.88, 4.32])
    # the first floor would be 0.005 exp(4.5) = 0.45; nothing is above 1
    assert found.floor[1] == pytest.approx(
        [0.005 * math.exp(4.5), 0.02, 0.0525, 0.0875 * math.exp(0.5)]
    )
    assert found.transfer == pytest.approx([1.0, math.exp(-0.08)])
    points[1, 7] = 12.0
    assert paint.unpack(points, paint.prior(DEFAULT), DEFAULT).floor[1, 0] == 1.0


def test_summaries_of_draws_by_hand() -> None:
    found = paint.interval(np.arange(0.0, 101.0))
    assert (found.mean, found.low, found.high) == pytest.approx((50.0, 2.5, 97.5))
    known = paint.depth(DRAWS)
    assert known.median == pytest.approx(0.8)
    logs = [math.log(m) + s * 1.6448536 for m, s in ((1.5, 0.9), (0.8, 0.7), (0.4, 0.5))]
    assert known.p95 == pytest.approx(math.exp(sorted(logs)[1]))
    assert paint.p_target(DRAWS, [(MIDDLE, 2)], 0.6) == pytest.approx(
        sum(Spot.gone.fget(worked(k, MIDDLE, 2)) >= 0.6 for k in range(3)) / 3  # type: ignore[attr-defined]
    )
    few = paint.take(DRAWS, np.array([2, 0], dtype=np.intp))
    assert few.softness.tolist() == [0.5, 2.0]
    assert few.floor[0].tolist() == DRAWS.floor[2].tolist()
    assert few.transfer.tolist() == [0.9, 1.1]


def worked(k: int, process: str, sets: int) -> Spot:
    spot = Spot(k, factor=float(DRAWS.transfer[k]))
    spot.work(process, sets)
    return spot


# what a trial is worth


PRICES = Prices(um_min=100.0, miss_min=900.0, spot_min=20.0, look_min=4.0, set_min=3.0)


def candidate(chance: float, cut: float, within: float) -> Candidate:
    return Candidate(
        process="p", sets=1, p_target=chance, cut_um=seen(cut, cut, cut), p_within_budget=within
    )


@pytest.mark.parametrize(
    ("candidates", "tried", "budget", "loss"),
    [
        # the least proven cut, at 100 min a µm
        ([(0.95, 2.0, 1.0), (0.99, 3.0, 1.0)], [True, True], 5.0, 200.0),
        ([(0.9, 2.0, 0.99)], [True], 5.0, 200.0),
        # one trial more, 20 + 4 + 2 x 3, where it was never tried
        ([(0.95, 2.0, 1.0), (0.99, 2.2, 1.0)], [False, True], 5.0, 220.0),
        ([(0.95, 2.0, 1.0)], [False], 5.0, 230.0),
        # nothing proven: cut and the chance to miss, 0.2 x 900
        ([(0.8, 2.0, 1.0), (0.1, 0.1, 1.0)], [True, True], 5.0, 380.0),
        # nothing to pay for: a miss, and the budget spent in vain
        ([(0.99, 9.0, 0.5)], [True], 5.0, 900.0 + 500.0),
        ([(0.99, 9.0, 0.5)], [True], None, 900.0),
    ],
)
def test_the_loss_of_deciding_now_by_hand(
    candidates: list[tuple[float, float, float]],
    tried: list[bool],
    budget: float | None,
    loss: float,
) -> None:
    limits = value.Limits(p_target=0.9, p_within=0.99, budget_um=budget, prices=PRICES)
    found = value.loss_now([candidate(*c) for c in candidates], tried, limits)
    assert found == pytest.approx(loss)


def test_effects_agree_with_the_full_set_of_paints() -> None:
    limits = value.Limits(p_target=0.9, p_within=0.99, budget_um=3.0, prices=PRICES)
    stacks = [((MIDDLE, 2),), ((STRONG, 1), (MILD, 2))]
    own = [candidate(0.5, 2.0, 0.97), candidate(0.7, 3.0, 0.2)]
    table = value.effects(DRAWS, stacks, own, required=0.7, tried=[True, False], limits=limits)
    assert table.cut.shape == table.meets.shape == (800, 2)
    assert table.tried.tolist() == [True, False]
    # a trial that teaches nothing leaves what the candidates say
    even = np.full((1, 800), 1.0 / 800)
    assert even @ table.meets + table.meets_shift == pytest.approx(np.array([[0.5, 0.7]]))
    assert (even @ table.cut) * table.cut_factor == pytest.approx(np.array([[2.0, 3.0]]))
    score = value._within_score(table.log_cut, even, limits) + table.within_shift
    assert norm.cdf(score) == pytest.approx(np.array([[0.97, 0.2]]))
    assert value.loss(table, even, table.tried, limits)[0] == pytest.approx(
        value.loss_now(own, [True, False], limits)
    )


def test_the_chance_within_budget_is_that_of_a_lognormal() -> None:
    limits = value.Limits(p_target=0.9, p_within=0.99, budget_um=2.0, prices=PRICES)
    logs, weights = np.array([[0.1], [0.5], [0.9]]), np.array([[0.25, 0.5, 0.25]])
    # mean 0.5, variance 0.08
    found = value._within_score(logs, weights, limits)
    assert found == pytest.approx(np.array([[(math.log(2.0) - 0.5) / math.sqrt(0.08)]]))
    none = value.Limits(p_target=0.9, p_within=0.99, budget_um=0.0, prices=PRICES)
    assert value._within_score(logs, weights, none).tolist() == [[-6.0]]
    open_ = value.Limits(p_target=0.9, p_within=0.99, budget_um=None, prices=PRICES)
    assert value._within_score(logs, weights, open_).tolist() == [[6.0]]


@pytest.mark.parametrize("gauge", [None, 0.3])
def test_the_loss_after_a_trial_in_plain_loops(gauge: float | None) -> None:
    limits = value.Limits(p_target=0.9, p_within=0.9, budget_um=3.0, prices=PRICES)
    stacks = [((MIDDLE, 2),), ((STRONG, 1), (MILD, 2))]
    own = [candidate(0.5, 2.0, 0.97), candidate(0.7, 3.0, 0.95)]
    table = value.effects(DRAWS, stacks, own, required=0.7, tried=[True, True], limits=limits)
    cut = paint.cut_draws(table.draws, MIDDLE, 2)
    shown = paint.removed_fraction(table.draws, cut)
    source, noise = value._foreseen(800)
    assert source[[0, -1]].tolist() == [12, 787]  # the middles of 32 equal parts
    losses = []
    for k, (photo_noise, gauge_noise) in zip(source, noise, strict=True):
        log = -0.5 * ((shown[k] + 0.035 * photo_noise - shown) / 0.035) ** 2
        if gauge is not None:
            log = log - 0.5 * ((cut[k] + gauge * gauge_noise - cut) / gauge) ** 2
        weight = np.exp(log - log.max())
        weight = weight / weight.sum()
        losses.append(value.loss(table, weight[None, :], table.tried, limits)[0])
    found = value.loss_after(table, shown, cut, tried=table.tried, limits=limits, gauge_sd_um=gauge)
    assert found == pytest.approx(np.mean(losses))
