"""The removal map against a brute-force walk, and its conservation of volume."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from polish_bruteforce import Stroke, Tool, stepped_removal
from scipy.signal import fftconvolve

from leastcut.polish.cut import mean_cut_um
from leastcut.polish.footprint import footprint_kernel, volume_rate_mm3_s
from leastcut.polish.grid import GridError
from leastcut.polish.records import PadSettings, RemovalSet
from leastcut.polish.removal import (
    PolishError,
    crosshatch_rectangle,
    inset_values,
    removal_map,
    simulate_set,
    spread,
)

WORK = RemovalSet(
    pad_diameter_mm=80,
    orbit_mm=12,
    orbits_per_min=4800,
    spin_rpm=287.3,
    force_n=40,
    arm_speed_mm_s=90,
    stroke_spacing_mm=30,
    sets=1,
    width_mm=180,
    height_mm=150,
    preston_um_per_kpa_m=2e-3,
    grid_mm=3,
)


@pytest.mark.parametrize("spin", [287.3, 0.0, -287.3])
def test_map_against_brute_force(spin: float) -> None:
    work = replace(WORK, spin_rpm=spin)
    summary, result = simulate_set(work)
    tool = Tool(80, 12, 4800, spin, 40, 2e-3, 90)
    truth = stepped_removal(
        summary.strokes_mm, tool, origin=summary.origin_mm, shape=result.grid.shape, cell=3
    )
    fast = inset_values(result, 180, 150, 40)
    slow = inset_values(type(result)(truth, result.grid), 180, 150, 40)
    rms = float(np.sqrt(np.mean((fast - slow) ** 2)))
    assert rms <= 0.01 * summary.mean_um
    assert abs(fast.mean() - slow.mean()) <= 0.002 * slow.mean()
    assert truth.sum() * 9e-3 == pytest.approx(summary.volume_mm3, rel=1e-3)


STROKES = st.lists(
    st.tuples(*[st.tuples(st.floats(0, 400), st.floats(0, 400))] * 2), min_size=1, max_size=8
)


@given(STROKES, st.floats(1.5, 8.0), st.sampled_from([0.0, 25.0]))
@settings(max_examples=40, deadline=None)
def test_volume_is_exact_for_any_strokes(strokes: list[Stroke], grid: float, ramp: float) -> None:
    pad = PadSettings(pad_diameter_mm=75)
    made = removal_map(
        strokes, pad, preston_um_per_kpa_m=2e-3, arm_speed_mm_s=50, grid_mm=grid, ramp_mm=ramp
    )
    ends = np.array(strokes)
    lengths = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    seconds = lengths.sum() / 50
    if ramp:  # even acceleration: a full ramp takes twice as long as at full speed
        short = np.minimum(lengths / 2, ramp)
        seconds += np.sum(4 * np.sqrt(short * ramp) - 2 * short) / 50
    expected = volume_rate_mm3_s(pad, preston_um_per_kpa_m=2e-3) * seconds
    assert made.volume_mm3() == pytest.approx(expected, rel=1e-9, abs=1e-12)
    assert made.depth_um.min() >= 0


def test_mean_follows_the_closed_form_inside() -> None:
    work = replace(WORK, width_mm=600, height_mm=480, sets=3, grid_mm=2)
    summary, _ = simulate_set(work)
    closed = mean_cut_um(
        PadSettings(
            pad_diameter_mm=80, orbit_mm=12, orbits_per_min=4800, spin_rpm=287.3, force_n=40
        ),
        preston_um_per_kpa_m=2e-3,
        arm_speed_mm_s=90,
        spacing_mm=30,
        sets=3,
    )
    assert summary.mean_um == pytest.approx(closed, rel=5e-3)
    assert summary.p05_um <= summary.mean_um <= summary.p95_um
    assert len(summary.strokes_mm) == 3 * summary.strokes_per_set
    assert summary.rms_fraction < summary.ripple_fraction


def test_convolution_agrees_with_a_general_library() -> None:
    rng = np.random.default_rng(4)
    dwell = rng.random((131, 97))
    kernel = footprint_kernel(PadSettings(), preston_um_per_kpa_m=1e-3, grid_mm=4)
    expected = fftconvolve(dwell, kernel.rate_um_s, mode="same")
    assert np.allclose(spread(dwell, kernel), expected, rtol=1e-9, atol=1e-12)
    tiny = rng.random((5, 7))  # smaller than the kernel
    whole = fftconvolve(tiny, kernel.rate_um_s, mode="full")
    n = kernel.rate_um_s.shape[0] // 2
    assert np.allclose(spread(tiny, kernel), whole[n : n + 5, n : n + 7])


def test_strokes_cover_the_rectangle_there_and_back() -> None:
    strokes = crosshatch_rectangle(130, 100, spacing_mm=40)
    assert strokes[:3] == (((0, 10), (130, 10)), ((130, 50), (0, 50)), ((0, 90), (130, 90)))
    assert strokes[3:] == (
        ((5, 0), (5, 100)),
        ((45, 100), (45, 0)),
        ((85, 0), (85, 100)),
        ((125, 100), (125, 0)),
    )


def test_a_section_narrower_than_the_pad_has_no_even_middle() -> None:
    small = replace(WORK, width_mm=60)
    summary, result = simulate_set(small)
    assert summary.mean_um is None
    assert summary.ripple_fraction is None
    assert result.volume_mm3() == pytest.approx(summary.volume_mm3, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("pad_diameter_mm", 0.0),
        ("sets", 0),
        ("arm_speed_mm_s", float("nan")),
        ("orbit_mm", 500.0),
        ("grid_mm", 1e-9),
        ("width_mm", float("inf")),
    ],
)
def test_impossible_settings_are_named(name: str, value: float) -> None:
    bad = replace(WORK, **{name: value})
    with pytest.raises(PolishError, match=name):
        simulate_set(bad)


def test_a_grid_too_fine_for_memory_is_refused() -> None:
    strokes = [((0.0, 0.0), (5e4, 5e4))]
    with pytest.raises(GridError, match="cells"):
        removal_map(strokes, PadSettings(), preston_um_per_kpa_m=1, arm_speed_mm_s=40, grid_mm=1)
    with pytest.raises(PolishError, match="no stroke"):
        removal_map([], PadSettings(), preston_um_per_kpa_m=1, arm_speed_mm_s=40)


def test_no_rate_no_cut() -> None:
    idle = replace(WORK, preston_um_per_kpa_m=0.0)
    summary, _ = simulate_set(idle)
    assert summary.mean_um == 0.0
    assert summary.ripple_fraction is None
