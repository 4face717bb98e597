"""Lines go on beyond the ends that the finder gave them: as far as they are visible, no further.

The lines here are drawn for these tests; nothing is measured on a panel.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from render_parts import srgb

from leastcut.inspect import following, linking, ridges, survey
from leastcut.inspect.arrays import F32, F64
from leastcut.inspect.following import Layer
from leastcut.inspect.linking import Runs

RISE = 0.0137
NOISE = 0.004
SHAPE = (400, 700)


def image(height: F64, *, seed: int = 1, radius_px: float = np.inf) -> F32:
    """A bright line through the middle row, as high as told at each column, in even noise."""
    rng = np.random.default_rng(seed)
    rows, cols = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)
    middle = 200.0 + (cols - 350.0) ** 2 / (2 * radius_px)
    light = height[None] * np.exp(-(((rows - middle) / 1.1) ** 2) / 2)
    return (0.2 + light + rng.normal(0, NOISE, SHAPE)).astype(np.float32)


def layer(root: F32, rise: float = RISE) -> Layer:
    noise, visible = (np.full(SHAPE, v, np.float32) for v in (NOISE, rise))
    return Layer(root, noise, visible, np.ones(SHAPE, bool), 0)


def run(start: float, stop: float, bend: float = 0.0) -> Runs:
    """The part of the line that is known, told by hand."""
    one = np.ones(1)
    where = 200.0 * one
    return Runs(
        350.0 * one, where, 0 * one, 0 * one, 0 * one, bend / 2 * one, (start - 350.0) * one,
        (stop - 350.0) * one, (stop - start) * one, 8 * one, 0.2 * one, np.zeros(1, np.intp),
    )  # fmt: skip


def reach(runs: Runs) -> tuple[float, float]:
    x, _, _, _ = linking.ends(runs)
    return float(x.min()), float(x.max())


@pytest.mark.parametrize("radius_px", [np.inf, 900.0])
def test_a_fading_line_is_followed_to_where_it_stops_being_visible(radius_px: float) -> None:
    """Its height falls evenly from the middle: it is as low as the visible rise at 150 and 550."""
    height = RISE * np.clip(3 - 2 * np.abs(np.arange(SHAPE[1]) - 350) / 200, 0, None)
    root = image(height, radius_px=radius_px)
    parts, parent = following.follow(layer(root), run(290, 410, 1 / radius_px))
    low, high = reach(parts)
    assert len(parts) == 2
    assert parent.tolist() == [0, 0]
    # The step is 8 pixels; the line stays above VISIBLE_SHARE of the rise for 20 pixels more.
    assert 120 <= low <= 160
    assert 540 <= high <= 580
    assert parts.misfit.max() < 0.7


def test_where_nothing_shows_nothing_is_followed() -> None:
    height = np.where(np.abs(np.arange(SHAPE[1]) - 350) < 60, 3 * RISE, 0.0)
    grown = []
    for seed in range(20):
        parts, _ = following.follow(layer(image(height, seed=seed)), run(290, 410))
        grown += [float(v) for v in parts.length]
    assert sum(grown) / 40 < following.STEP_PX / 2  # per end; one step is the least there can be


def test_a_gap_shorter_than_two_steps_is_crossed_a_long_one_is_not() -> None:
    cols = np.arange(SHAPE[1])
    for gap, far in ((14, True), (80, False)):
        height = np.where((cols > 410) & (cols < 410 + gap), 0.0, 3 * RISE)
        parts, _ = following.follow(layer(image(height)), run(290, 410))
        assert (reach(parts)[1] > 500) is far


def test_a_walk_ends_where_it_meets_another_run_or_leaves_the_usable_area() -> None:
    root = image(np.full(SHAPE[1], 3 * RISE))
    both = linking.concatenate([run(290, 410), run(500, 560)])
    parts, parent = following.follow(layer(root), both)
    between = parts[(parts.x > 410) & (parts.x < 500)]
    assert reach(between)[1] < 500 + following.STEP_PX
    assert sorted(set(parent.tolist())) == [0, 1]
    usable = np.ones(SHAPE, bool)
    usable[:, 600:] = False
    held, _ = following.follow(replace(layer(root), usable=usable), both)
    assert reach(held)[1] < 600 + following.STEP_PX / 2


def test_no_runs_give_none() -> None:
    none = run(290, 410)[:0]
    parts, parent = following.follow(layer(image(np.zeros(SHAPE[1]))), none)
    assert len(parts) == len(parent) == 0
    flat, _ = following.follow(layer(np.full(SHAPE, 0.2, np.float32)), run(290, 410))
    assert len(flat) == 0


def test_more_ends_than_one_table_of_the_sampler_holds() -> None:
    many = linking.concatenate([run(300, 320)] * 20000)
    root = image(np.zeros(SHAPE[1]))
    assert following.follow(layer(root, 10.0), many)[0].level.size == 0


def test_a_long_bent_line_is_not_its_own_twin() -> None:
    """597 pixels at a bend of 1173 are 38 pixels off their chord; another run has its direction."""
    arc = replace(run(51.5, 648.5, 1 / 1173.0), x=np.full(1, 350.0), y=np.full(1, 100.0))
    other = replace(run(300, 400), y=np.full(1, 380.0))
    kept = survey.distinct(linking.concatenate([other, arc]), SHAPE)
    assert len(kept) == 2
    again = replace(arc, y=arc.y + 1.0, snr=arc.snr - 3)
    assert len(survey.distinct(linking.concatenate([other, arc, again]), SHAPE)) == 2


@pytest.mark.parametrize("turn", [np.fliplr, np.flipud, np.rot90])
def test_levels_of_the_pyramid_turn_with_the_photo(turn: Callable[[F32], F32]) -> None:
    photo = np.random.default_rng(3).random((60, 84)).astype(np.float32)
    one, two = turn(ridges.halved(photo)), ridges.halved(np.ascontiguousarray(turn(photo)))
    assert np.allclose(one, two, atol=1e-6)


def test_places_keep_their_place_from_level_to_level() -> None:
    """The middle of brightness of a soft spot, in pixels of the photo, is the same on each level."""
    rows, cols = np.mgrid[:128, :128].astype(float)
    image = np.exp(-((rows - 61.3) ** 2 + (cols - 70.8) ** 2) / 2 / 9.0**2).astype(np.float32)
    for level in range(3):
        y, x = np.mgrid[: image.shape[0], : image.shape[1]]
        there = [float((v * image).sum() / image.sum()) for v in (y, x)]
        found = ridges.full_px(np.array(there), level)
        assert found == pytest.approx([61.3, 70.8], abs=0.02)
        assert ridges.level_px(found, level) == pytest.approx(there)
        image = ridges.halved(image)


def test_visible_is_four_of_255_encoded_levels_over_any_ground() -> None:
    """source: sRGB, IEC 61966-2-1; status: memory.

    Encoded by the renderer's own table, not by the code under test.
    """
    ground = np.array([0.0, 0.001, 0.006, 0.03, 0.1, 0.4, 0.8])
    root = np.sqrt(ground + survey.DARK_ROOT**2) + survey.visible_rise(ground.astype(np.float32))
    levels = 255 * (srgb(root**2 - survey.DARK_ROOT**2) - srgb(ground))
    assert levels == pytest.approx(4.0, abs=0.02)
