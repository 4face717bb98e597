"""The belief about a car against plain sums over a finer grid, in all four states at once."""

import film_scalar as scalar
import film_truth as truth
import numpy as np
import pytest

from leastcut.car.records import Paint
from leastcut.inspect.film_model import Evidence, believe, foresee
from leastcut.inspect.gauge import calibrate, spread_of
from leastcut.inspect.layers import DEFAULT_PRIOR
from leastcut.inspect.records import EarlierCut, GaugeCheck, Layer, Reading
from leastcut.inspect.study import Study, study

PANELS = {panel.id: panel for panel in truth.panels()}
GAUGE = calibrate([GaugeCheck(known_um=k, shown_um=k) for k in (0, 0, 0, 125, 125, 250)])


def spots(name: str, *values: float, layer: Layer = "total") -> list[Reading]:
    return [
        Reading(panel=name, spot=str(i), reading_um=v, layer=layer) for i, v in enumerate(values)
    ]


def car(names: list[str], found: list[Reading], *cuts: EarlierCut) -> Study:
    return study([PANELS[n] for n in names], found, paint=Paint(), gauge=GAUGE, earlier=cuts)


MATES = ["door-front-left", "door-front-right", "roof"]
APART = ["bonnet", "roof", "bumper-front"]
CUT = EarlierCut(panel="roof", cut_um=4.0, sd_um=1.5)
CARS = {
    "factory, a mate read": lambda: car(MATES, spots("door-front-left", 112, 116, 114), CUT),
    "mates disagree": lambda: car(
        MATES, spots("door-front-left", 98, 101) + spots("door-front-right", 131, 127)
    ),
    "redone neighbour": lambda: car(MATES, spots("door-front-left", 188, 181) + spots("roof", 117, 120)),
    "filler and thin": lambda: car(APART, spots("bonnet", 420, 600) + spots("roof", 86, 89), CUT),
    "clear read": lambda: car(
        APART, spots("bonnet", 41, 43, layer="clear") + spots("bumper-front", 30, layer="clear")
    ),
    "both read": lambda: car(
        APART, spots("bonnet", 33, 35, layer="clear") + spots("bonnet", 150, 148) + spots("roof", 104), CUT
    ),
    "little film": lambda: car(APART, spots("bonnet", 50, 52) + spots("roof", 110)),
    "nothing read": lambda: car(APART, [], CUT),
}  # fmt: skip


# The product's grid is coarse in the clear's level, and ends at 4.5 deviations of the total.
COARSE = {"clear read": 0.03, "little film": 0.01}


@pytest.mark.parametrize("name", CARS)
def test_belief_agrees_with_plain_sums(name: str) -> None:
    known = CARS[name]()
    wanted = scalar.believed(known.evidence, known.prior, level=spread_of(GAUGE).level_um)
    found = known.belief
    assert found.weight == pytest.approx(wanted.weight, abs=COARSE.get(name, 4e-3))
    assert found.chances == pytest.approx(wanted.chances, abs=COARSE.get(name, 2e-3))
    matters = wanted.weight > 0.02
    assert found.mid[matters] == pytest.approx(wanted.mid[matters], abs=0.08)
    assert found.sd[matters] == pytest.approx(wanted.sd[matters], abs=0.05)


def lone(total: list[float]) -> Evidence:
    """Panels that are nobody's mate or neighbour; NaN where nothing was read."""
    n = len(total)
    return Evidence(
        total=np.array(total),
        total_var=np.full(n, 2.5),
        clear=np.full(n, np.nan),
        clear_var=np.ones((n, 4)),
        cut=np.zeros(n),
        cut_var=np.zeros(n),
        chances=np.tile(DEFAULT_PRIOR.chances, (n, 1)),
        spare_var=np.zeros(n),
        group=np.arange(n),
        beside=np.zeros((n, n)),
    )


@pytest.mark.parametrize("shown", [88.0, 112.0, 171.0, 480.0])
def test_a_thought_ends_where_the_reading_itself_would(shown: float) -> None:
    before = believe(lone([114.0, np.nan]), DEFAULT_PRIOR, level_um=1.5)
    after = believe(lone([114.0, shown]), DEFAULT_PRIOR, level_um=1.5)
    nodes = before.nodes
    one = type(nodes)(**(vars(nodes) | {"log_weight": nodes.log_weight[1]}))
    thought = foresee(lone([shown]), DEFAULT_PRIOR, one)
    assert thought.weight[0] == pytest.approx(after.weight[1], abs=2e-3)
    matters = after.weight[1] > 1e-3
    assert thought.mid[0][matters] == pytest.approx(after.mid[1][matters], abs=0.05)
    assert thought.sd[0][matters] == pytest.approx(after.sd[1][matters], abs=0.05)


def test_thoughts_have_densities_that_sum_to_one() -> None:
    before = believe(lone([114.0, np.nan]), DEFAULT_PRIOR, level_um=1.5)
    nodes = before.nodes
    one = type(nodes)(**(vars(nodes) | {"log_weight": nodes.log_weight[1]}))
    outcomes = np.concatenate([np.linspace(20, 400, 761), np.geomspace(400.5, 40_000, 800)])
    thought = foresee(lone(outcomes.tolist()), DEFAULT_PRIOR, one)
    assert np.trapezoid(np.exp(thought.density), outcomes) == pytest.approx(1.0, abs=2e-3)
