"""What looks like a scratch: the photo's own share of them, and the gap between two panels."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from photoset import busy_scene
from render import render
from render_parts import unsrgb

from leastcut.inspect import likeness, survey

ODDS = st.lists(st.floats(-30, 30), min_size=1, max_size=60)


@given(ODDS)
def test_the_share_is_the_mean_of_the_chances_it_leads_to(odds: list[float]) -> None:
    """A fixed point, which is what expectation and maximisation arrive at; order is kept."""
    told = np.array(odds)
    shifted = likeness.at_own_share(told)
    moved = shifted - told
    assert np.allclose(moved, moved[0])
    usual = likeness.USUAL_SHARE
    share = 1 / (1 + np.exp(-(moved[0] + np.log(usual / (1 - usual)))))
    chances = 1 / (1 + np.exp(-shifted))
    weight = likeness.SHARE_WEIGHT
    mean = (chances.sum() + weight * usual) / (len(told) + weight)
    assert mean == pytest.approx(share, abs=0.03)


def test_a_share_known_by_drawing_is_found_again() -> None:
    """Two normal laws of unit variance, 3 apart, 15 of 100 from the upper: their odds are exact."""
    rng = np.random.default_rng(8)
    upper = rng.random(4000) < 0.15
    value = rng.normal(0, 1, 4000) + 3.0 * upper
    usual = likeness.USUAL_SHARE
    odds = 3.0 * value - 4.5 + np.log(usual / (1 - usual))
    shifted = likeness.at_own_share(odds)
    assert (1 / (1 + np.exp(-shifted))).mean() == pytest.approx(upper.mean(), abs=0.01)
    wrong = [float(np.mean((z > 0) != upper)) for z in (odds, shifted)]
    assert wrong[1] < wrong[0]


def test_no_lines_have_no_odds() -> None:
    assert likeness.at_own_share(np.zeros(0)).size == 0


def grey(index: int) -> np.ndarray:
    code = render(busy_scene(index))[0]
    return survey.grey_of(unsrgb(np.arange(256) / 255.0).astype(np.float32)[code])


def test_the_gap_between_two_panels_is_left_out_with_its_rims() -> None:
    """Scene 33 has one; its place is read from the photo: the paint is red, the gap is black."""
    scene = busy_scene(33)
    light = grey(33)
    usable = survey.usable_area(light, np.ones(light.shape, bool), scene.um_per_px)
    mm = 1000 / scene.um_per_px
    for row in (300, 900, 1500):
        dark = np.flatnonzero(light[row] < 0.006)
        inside, rim = int(np.median(dark)), int(dark.max() + 1.0 * mm)
        assert not usable[row, inside]
        assert not usable[row, rim]
        assert usable[row, inside + int(8 * mm)]
    assert usable.mean() > 0.85


@pytest.mark.parametrize("index", [30, 22])
def test_a_dark_room_mirrored_in_the_paint_is_no_gap(index: int) -> None:
    scene = busy_scene(index)
    light = grey(index)
    usable = survey.usable_area(light, np.ones(light.shape, bool), scene.um_per_px)
    assert usable.mean() > 0.95


def test_a_photo_smaller_than_a_gap_is_looked_at_whole() -> None:
    tiny = np.full((120, 160), 0.1, np.float32)
    assert survey.usable_area(tiny, np.ones(tiny.shape, bool), 40.0).all()
