"""The cut over a panel: borders, tape, overlaps and an unsteady hand."""

import numpy as np
import pytest
import shapely

from leastcut.polish.footprint import footprint_kernel, pressure_kpa, volume_rate_mm3_s
from leastcut.polish.grid import Grid
from leastcut.polish.panel_cut import Wobble, Worked, paint_mask, panel_cut, tilt_kernels
from leastcut.polish.records import PadSettings, Stroke
from leastcut.polish.removal import RemovalMap, crosshatch_rectangle, removal_map

PAD = PadSettings(pad_diameter_mm=80, orbit_mm=12)
OUTLINE = ((-150.0, -150.0), (450.0, -150.0), (450.0, 350.0), (-150.0, 350.0))
STROKES = crosshatch_rectangle(300, 200, spacing_mm=30)
RATE = 2e-3


def cut(works: list[Worked], **more: object) -> RemovalMap:
    given: dict[str, object] = {"outline_mm": OUTLINE, "grid_mm": 4.0, **more}
    return panel_cut(works, PAD, preston_um_per_kpa_m=RATE, **given)  # type: ignore[arg-type]


def test_sections_add_up_with_their_own_sets_and_speeds() -> None:
    both = cut([Worked(STROKES, 2, 40.0), Worked(STROKES, 1, 80.0)])
    once = cut([Worked(STROKES, 1, 40.0)])
    assert np.allclose(both.depth_um, 2.5 * once.depth_um)
    seconds = sum(np.hypot(b[0] - a[0], b[1] - a[1]) for a, b in STROKES) / 40.0
    whole = volume_rate_mm3_s(PAD, preston_um_per_kpa_m=RATE) * seconds
    assert once.volume_mm3() == pytest.approx(whole, rel=1e-9)


def test_nothing_is_cut_beyond_the_border_or_under_tape() -> None:
    outline = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
    tape = ((100.0, 80.0), (200.0, 80.0), (200.0, 100.0), (100.0, 100.0))
    made = cut([Worked(STROKES, 1, 40.0)], outline_mm=outline, bare_mm=[tape])
    free = removal_map(STROKES, PAD, preston_um_per_kpa_m=RATE, arm_speed_mm_s=40, grid_mm=4)
    mask = paint_mask(made.grid, outline, [tape])
    assert made.depth_um[mask == 0].max() == 0
    assert mask.sum() * 16 == pytest.approx(300 * 200 - 100 * 20, rel=0.06)
    assert 0 < made.volume_mm3() < free.volume_mm3()


def test_mask_against_the_geometry_library() -> None:
    rng = np.random.default_rng(2)
    grid = Grid((-3.0, -7.0), 1.7, (90, 110))
    x, y = np.meshgrid(grid.xs_mm(), grid.ys_mm())
    for _ in range(20):
        turn = np.sort(rng.uniform(0, 2 * np.pi, 11))
        radius = rng.uniform(20, 110, 11)
        star = tuple(zip(80 + radius * np.cos(turn), 60 + radius * np.sin(turn), strict=True))
        hole = ((60.13, 40.27), (120.41, 50.09), (90.37, 90.71))
        expected = shapely.contains_xy(
            shapely.Polygon(star).difference(shapely.Polygon(hole)), x, y
        )
        assert (paint_mask(grid, star, [hole]) == expected).all()


def test_an_unsteady_hand_spreads_the_cut_but_keeps_its_mean() -> None:
    even = cut([Worked(STROKES, 3, 40.0)])
    volumes, spreads = [], []
    for seed in range(6):
        made = cut([Worked(STROKES, 3, 40.0)], wobble=Wobble(), rng=np.random.default_rng(seed))
        volumes.append(made.volume_mm3() / even.volume_mm3())
        middle = made.depth_um[67:86, 67:111]
        spreads.append(middle.std() / middle.mean())
    middle = even.depth_um[67:86, 67:111]
    assert np.mean(volumes) == pytest.approx(1.0, abs=0.05)
    assert min(spreads) > middle.std() / middle.mean()
    again = cut([Worked(STROKES, 3, 40.0)], wobble=Wobble(), rng=np.random.default_rng(0))
    assert again.volume_mm3() / even.volume_mm3() == volumes[0]


def test_ramps_cut_more_at_the_ends() -> None:
    stroke: Stroke = ((0.0, 100.0), (300.0, 100.0))
    plain = cut([Worked([stroke], 1, 40.0)])
    ramped = cut([Worked([stroke], 1, 40.0)], ramp_mm=40.0)
    assert ramped.volume_mm3() == pytest.approx(plain.volume_mm3() * 380 / 300, rel=1e-9)
    gain = (ramped.depth_um - plain.depth_um).sum(axis=0)
    xs = plain.grid.xs_mm()
    assert gain[(xs > 0) & (xs < 40)].mean() > 5 * abs(gain[(xs > 140) & (xs < 160)].mean())


@pytest.mark.parametrize("spin", [0.0, 300.0, -300.0])
def test_tilt_kernel_against_stepped_points(spin: float) -> None:
    """Points of the pad stepped through orbit and spin, pressure rising along +x of the panel."""
    pad = PadSettings(pad_diameter_mm=80, orbit_mm=12, spin_rpm=spin)
    kernel = footprint_kernel(pad, preston_um_per_kpa_m=RATE, grid_mm=4.0)
    along_x, along_y = tilt_kernels(pad, kernel)
    index, n = np.arange(3000) + 0.5, kernel.rate_um_s.shape[0]
    turn, r = index * np.pi * (3 - 5**0.5), 40 * np.sqrt(index / 3000)
    stepped = np.zeros((n, n))
    for phase in np.linspace(0, 2 * np.pi, 360, endpoint=False):
        x, y = r * np.cos(turn), r * np.sin(turn)
        orbit, own = 4800 * 2 * np.pi / 60, spin * 2 * np.pi / 60
        vx = -orbit * 6 * np.sin(phase) - own * y
        vy = orbit * 6 * np.cos(phase) + own * x
        at = np.stack([y + 6 * np.sin(phase), x + 6 * np.cos(phase)]) / 4 + (n - 1) / 2
        cell = np.floor(at + 0.5).astype(int)
        value = np.hypot(vx, vy) * 1e-3 * x / 40
        np.add.at(stepped, (cell[0], cell[1]), value)
    stepped *= RATE * pressure_kpa(pad) * np.pi * 40**2 / 3000 / 360 / 16
    error = np.sqrt(np.mean((along_x.rate_um_s - stepped) ** 2))
    assert error < 0.02 * np.abs(stepped).max()
    assert along_x.rate_um_s.sum() == pytest.approx(0.0, abs=1e-9)
    assert np.allclose(along_y.rate_um_s, along_x.rate_um_s.T)


def test_tilt_of_a_machine_at_rest_is_nothing() -> None:
    idle = PadSettings(orbits_per_min=0, spin_rpm=0)
    kernel = footprint_kernel(idle, preston_um_per_kpa_m=RATE, grid_mm=5.0)
    assert tilt_kernels(idle, kernel)[0].rate_um_s.max() == 0
