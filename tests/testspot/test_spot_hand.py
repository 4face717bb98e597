"""Small things of the test spot by hand: a slow wipe's limit, minutes, points, an empty lesson."""

import msgspec
import numpy as np
import pytest
from test_spot_next_words import LOOKED, candidate, case
from test_spot_scalar import DRAWS, MIDDLE, seen

from leastcut.testspot import evidence, learning, moves, paint, sampler
from leastcut.testspot.ladder import DEFAULT
from leastcut.testspot.records import Trial
from leastcut.testspot.rules import Prices, Rules


def test_a_minute_is_no_slow_wipe() -> None:
    quick = Trial(process=MIDDLE, sets=2, removed=seen(0.5, 0.4, 0.6), verdict="some-left")
    minute = msgspec.structs.replace(quick, wipe_s=60.0)
    slow = msgspec.structs.replace(quick, wipe_s=60.1)
    told = [evidence.log_likelihood([t], DRAWS) for t in (quick, minute, slow)]
    assert told[1] == pytest.approx(told[0])
    assert np.all(np.abs(told[2] - told[0]) > 0.01)


def test_nothing_learnt_leaves_an_empty_lesson() -> None:
    found = learning.lesson(paint.learn([], DEFAULT), DEFAULT, car="a", year=2025.0)
    # the prior's own precision is 2.1 for the softness and 11 for each cut
    assert np.abs(found.precision).max() < 0.3
    assert np.abs(found.pull).max() < 0.3


def test_each_set_of_a_trial_costs_its_minutes() -> None:
    dear = Rules(prices=Prices(set_min=12.0))
    usual, more = (
        {
            (m.process, m.total): m
            for m in moves.possible(case([candidate()], (LOOKED,), rules=rules, budget_um=None))
        }
        for rules in (Rules(), dear)
    )
    assert len(usual) > 4
    for key, move in usual.items():
        assert more[key].worth_min == pytest.approx(move.worth_min - 10.0 * move.sets)


def test_points_of_the_cube_by_hand() -> None:
    # base 2 plain; base 3 with its digits times 2 modulo 3
    points = sampler.halton(15, 2)
    assert points[[0, 1, 2, 14], 0] == pytest.approx([1 / 2, 1 / 4, 3 / 4, 15 / 16])
    assert points[[0, 1, 2, 3], 1] == pytest.approx([2 / 3, 1 / 3, 2 / 9, 8 / 9])
