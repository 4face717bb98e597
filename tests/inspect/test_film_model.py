"""The belief about a car: exact cases, symmetries, and what mates and neighbours tell."""

import film_truth as truth
import msgspec
import numpy as np
import pytest
from numpy.typing import NDArray

from leastcut.car.records import Paint, Panel
from leastcut.inspect import mixture
from leastcut.inspect.film import assess
from leastcut.inspect.gauge import calibrate, spread_of
from leastcut.inspect.kinship import mate_groups, neighbours
from leastcut.inspect.layers import CLEAR, DEFAULT_PRIOR, STATES, UNDER, LayerPrior, prior_for
from leastcut.inspect.records import FilmFinding, Gauge, GaugeCheck, Reading
from leastcut.inspect.study import study

Array = NDArray[np.float64]
PANELS = truth.panels()
GAUGE = calibrate([GaugeCheck(known_um=k, shown_um=k) for k in (0, 0, 0, 125, 125, 250)])
# Factory paint only, panels of one kind: then all is jointly normal and can be done by hand.
PLAIN = msgspec.structs.replace(DEFAULT_PRIOR, chances=(1.0, 0.0, 0.0, 0.0), mate_share=0.0)


def spots(name: str, *values: float, layer: str = "total") -> list[Reading]:
    return [
        Reading(panel=name, spot=str(i), reading_um=v, layer=layer)  # type: ignore[arg-type]
        for i, v in enumerate(values)
    ]


def by_name(findings: tuple[FilmFinding, ...]) -> dict[str, FilmFinding]:
    return {f.panel: f for f in findings}


def joint_normal(
    totals: dict[str, float], var: float, prior: LayerPrior, level: float
) -> tuple[Array, Array]:
    """Condition all clears on all total means at once, by textbook matrix algebra."""
    n = len(PANELS)
    seen = [i for i, p in enumerate(PANELS) if p.id in totals]
    same = np.eye(n)
    c_c = prior.clear_car_var + prior.clear_panel_var * same
    t_t = prior.total_car_var + level**2 + (prior.total_panel_var + var) * same
    c_t = prior.clear_car_var + prior.clear_panel_var * same
    y = np.array([totals[PANELS[i].id] for i in seen]) - prior.total_mean_um
    gain = np.linalg.solve(t_t[np.ix_(seen, seen)], c_t[:, seen].T).T
    spare = np.array([4.0 if p.material == "plastic" else 0.0 for p in PANELS])
    mean = prior.clear_mean_um + gain @ y
    return mean, np.sqrt(np.diag(c_c - gain @ c_t[:, seen].T) + spare)


def test_grid_agrees_with_exact_normal_algebra() -> None:
    # source: conditioning of the joint normal (Rasmussen & Williams 2006, A.6); recomputed here
    found = [r for name, v in (("roof", 112.0), ("bonnet", 121.0)) for r in spots(name, v, v, v)]
    known = study(PANELS, found, paint=Paint(), gauge=GAUGE, prior=PLAIN)
    var = float(known.evidence.total_var[1])
    totals = {"roof": known.evidence.total[1], "bonnet": known.evidence.total[0]}
    mean, sd = joint_normal(totals, var, PLAIN, spread_of(GAUGE).level_um)
    assert known.evidence.total_var[0] == pytest.approx(var)
    assert known.belief.mid[:, 0] == pytest.approx(mean, abs=2e-3)
    assert known.belief.sd[:, 0] == pytest.approx(sd, abs=2e-3)


def test_panels_in_another_order_give_the_same_findings() -> None:
    found = spots("roof", 118, 119) + spots("door-front-left", 170, 171)
    one = by_name(assess(PANELS, found, paint=Paint(), gauge=GAUGE))
    two = by_name(assess(PANELS[::-1], found[::-1], paint=Paint(), gauge=GAUGE))
    for name, f in one.items():
        assert two[name].clear_um.mean == pytest.approx(f.clear_um.mean, abs=1e-9)
        assert two[name].budget_um == pytest.approx(f.budget_um, abs=1e-9)


def test_repeating_the_same_readings_never_widens_the_interval() -> None:
    few = by_name(assess(PANELS, spots("roof", 118, 119, 120), paint=Paint(), gauge=GAUGE))
    many = spots("roof", 118, 119, 120) * 4
    more = by_name(assess(PANELS, many, paint=Paint(), gauge=GAUGE))
    width = [f["roof"].clear_um.high - f["roof"].clear_um.low for f in (few, more)]
    assert width[1] <= width[0] + 1e-9


def test_a_mate_tells_more_than_another_panel() -> None:
    body = [r for p in PANELS[:3] for r in spots(p.id, 118, 119, 118)]
    thick = by_name(
        assess(PANELS, body + spots("door-front-left", 127, 128, 127), paint=Paint(), gauge=GAUGE)
    )
    assert thick["door-front-right"].clear_um.mean > thick["quarter-right"].clear_um.mean + 0.1


def test_a_redone_panel_raises_suspicion_of_its_neighbours() -> None:
    body = [r for p in PANELS[:3] for r in spots(p.id, 118, 119, 118)]
    hit = by_name(
        assess(PANELS, body + spots("door-front-left", 180, 181, 182), paint=Paint(), gauge=GAUGE)
    )
    assert hit["door-rear-left"].chances["repainted"] > hit["quarter-right"].chances["repainted"]
    assert hit["door-rear-left"].budget_um < hit["quarter-right"].budget_um
    assert sum(hit["roof"].chances.values()) == pytest.approx(1.0)
    assert tuple(hit["roof"].chances) == STATES


def test_a_wholly_repainted_car_is_not_called_factory_by_consensus() -> None:
    body = [r for p in PANELS if p.material == "steel" for r in spots(p.id, 215, 220, 218)]
    findings = assess(PANELS, body, paint=Paint(), gauge=GAUGE)
    assert {f.finding for f in findings if f.n_readings} == {"repainted"}


def test_history_moves_the_chances() -> None:
    budgets = [
        by_name(assess(PANELS, [], paint=Paint(history=h), gauge=GAUGE))["roof"].budget_um
        for h in ("factory", "unknown", "repainted")
    ]
    assert budgets[0] > budgets[1] > budgets[2] == 0.0


def test_a_doubtful_gauge_shrinks_the_budget_and_says_why() -> None:
    checks = [GaugeCheck(known_um=k, shown_um=k) for k in (0, 0, 0, 125, 125, 250)]
    body = [r for p in PANELS[:4] for r in spots(p.id, 118, 119, 118)]
    good, late = (
        by_name(assess(PANELS, body, paint=Paint(), gauge=calibrate(checks, days_since=d)))["roof"]
        for d in (10, 800)
    )
    assert late.budget_um < good.budget_um - 0.2
    assert any("800 days" in note for note in late.notes)
    assert "gauge-doubtful" in late.flags


def test_gauge_known_only_by_its_total() -> None:
    gauge = Gauge(bias_um=1.0, sd_um=2.0, checked=True)
    (roof,) = (f for f in assess(PANELS, spots("roof", 119), paint=Paint(), gauge=gauge)
               if f.panel == "roof")  # fmt: skip
    assert roof.mean_um == pytest.approx(118.0)


def test_layer_prior_is_what_its_ranges_say() -> None:
    prior = prior_for("unknown")
    within = prior.clear_car_var + prior.clear_panel_var + prior.clear_place_sd**2
    worn = prior.past_var + prior.past_panel_sd_um**2
    assert 1.959964 * (within - worn) ** 0.5 == pytest.approx((50 - 35) / 2, abs=1e-6)
    assert prior.clear_mean_um == pytest.approx(CLEAR.mean_um - prior.past_mean_um)
    assert prior.layers_var == pytest.approx(CLEAR.var_um2 + sum(u.var_um2 for u in UNDER))


def side_panel(name: str, side: str) -> Panel:
    square = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
    return Panel(id=name, name=name, side=side, facing="side", outline_mm=square)  # type: ignore[arg-type]


def test_mates_and_neighbours() -> None:
    row = [
        side_panel("door-front-left", "left"),
        side_panel("door-front-right", "right"),
        side_panel("wing-front-left", "left"),
        side_panel("roof", "centre"),
    ]
    assert mate_groups(row).tolist() == [0, 0, 1, 2]
    touch = neighbours(row)
    assert touch[0, 2] == 1.0
    assert touch[1, 2] == 0.0
    assert np.array_equal(touch, touch.T)
    assert not touch.diagonal().any()


@pytest.mark.parametrize("p", [0.01, 0.5, 0.975])
def test_truncated_mixture_by_monte_carlo(p: float) -> None:
    # source: a million draws of the truncated mixture; status: recomputed
    weight, mid, sd = np.array([0.7, 0.3]), np.array([40.0, 3.0]), np.array([4.0, 6.0])
    rng = np.random.default_rng(1)
    each = [rng.normal(m, s, 2_000_000) for m, s in zip(mid, sd, strict=True)]
    kept = [d[d > 0][: int(1_000_000 * w)] for d, w in zip(each, weight, strict=True)]
    draws = np.concatenate(kept)
    tolerance = 0.05 if p > 0.4 else 0.01
    assert float(mixture.quantile(p, weight, mid, sd)) == pytest.approx(
        np.quantile(draws, p), abs=tolerance
    )
    assert float(mixture.mean(weight, mid, sd)) == pytest.approx(draws.mean(), abs=0.05)


def test_component_far_below_zero_stays_finite() -> None:
    one = np.ones((1, 1))
    assert 0 <= float(mixture.quantile(0.5, one, -1e4 * one, one)[0]) < 0.1
    assert np.isfinite(mixture.mean(one, -1e4 * one, one)).all()
