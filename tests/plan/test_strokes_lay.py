"""Strokes: inside, evenly spaced, off the edges, even across seams."""

import numpy as np
import pytest
import shapely
from sections_outlines import box, panel, shape_of, sweep

from leastcut.plan.sections import HAND_ONLY, lay_out
from leastcut.plan.strokes import centred_lattice, crosshatch
from leastcut.polish.records import PadSettings
from leastcut.polish.removal import removal_map


def test_strokes_stay_in_their_cell_and_off_the_edge() -> None:
    for _, one in sweep(24, seed=11):
        free = shape_of(one).buffer(-65 + 0.2)
        for section in lay_out(one).sections:
            cell = shapely.Polygon(section.cell_mm).buffer(1e-3)
            lines = shapely.MultiLineString([list(s) for s in section.strokes_mm])
            assert lines.difference(cell).length < 0.1
            if not section.note:
                assert lines.difference(free).length < 0.02 * lines.length


def test_strokes_run_both_ways_at_the_spacing() -> None:
    section = lay_out(panel(box(600, 600)), stroke_spacing_mm=35.0).sections[0]
    ends = np.array(section.strokes_mm)
    level = ends[ends[:, 0, 1] == ends[:, 1, 1]]
    upright = ends[ends[:, 0, 0] == ends[:, 1, 0]]
    assert len(level) + len(upright) == len(ends)
    assert np.diff(level[:, 0, 1]) == pytest.approx(-35.0)
    assert np.diff(upright[:, 0, 0]) == pytest.approx(35.0)
    turned = np.sign(level[:, 1, 0] - level[:, 0, 0])
    assert (turned[1:] == -turned[:-1]).all()


def test_seams_get_no_double_cut() -> None:
    """Four sections worked one by one leave the panel as even as one uninterrupted raster."""
    one = panel(box(1150, 1150))
    strokes = [s for section in lay_out(one).sections for s in section.strokes_mm]
    pad = PadSettings()
    made = removal_map(strokes, pad, preston_um_per_kpa_m=2e-3, arm_speed_mm_s=40, grid_mm=5)
    xs, ys = made.grid.xs_mm(), made.grid.ys_mm()
    middle = made.depth_um[np.ix_((ys > 200) & (ys < 950), (xs > 200) & (xs < 950))]
    seam = made.depth_um[np.ix_((ys > 200) & (ys < 950), abs(xs - 575) < 40)]
    assert np.ptp(middle) / middle.mean() < 0.07  # the spacing's own ripple is 0.058
    assert seam.mean() == pytest.approx(middle.mean(), rel=0.005)


def test_edges_get_less_than_the_middle() -> None:
    strokes = lay_out(panel(box(560, 560))).sections[0].strokes_mm
    made = removal_map(
        strokes, PadSettings(orbit_mm=8), preston_um_per_kpa_m=2e-3, arm_speed_mm_s=40, grid_mm=4
    )
    xs, ys = made.grid.xs_mm(), made.grid.ys_mm()
    outside = (np.abs(xs[None, :] - 280) > 290) | (np.abs(ys[:, None] - 280) > 290)
    assert made.depth_um[outside].max() < 1e-9
    rim = made.depth_um[np.ix_(abs(ys - 280) < 100, (xs >= 0) & (xs < 20))]
    middle = made.depth_um[np.ix_(abs(ys - 280) < 100, abs(xs - 280) < 100)]
    assert rim.mean() < 0.5 * middle.mean()


def test_no_stroke_starts_on_a_body_line() -> None:
    line = ((0.0, 300.0), (600.0, 310.0))
    for outline in (box(600, 600), box(1100, 700)):
        one = panel(outline, body_lines_mm=(line,))
        crease = shapely.LineString(line)
        for section in lay_out(one).sections:
            starts = shapely.points([s[0] for s in section.strokes_mm])
            assert shapely.distance(starts, crease).min() > 14.9


def test_a_stroke_between_two_body_lines_starts_clear_of_the_first() -> None:
    lines = (((0.0, 65.0), (560.0, 65.0)), ((0.0, 495.0), (560.0, 495.0)))
    section = lay_out(panel(box(560, 560), body_lines_mm=lines)).sections[0]
    starts = shapely.points([s[0] for s in section.strokes_mm])
    creases = shapely.MultiLineString([list(line) for line in lines])
    assert shapely.distance(starts, creases).min() > 14.9
    assert any(a[0] == b[0] for a, b in section.strokes_mm)


@pytest.mark.parametrize(("width", "second"), [(28.0, 28.0), (22.0, 36.0)])
def test_a_stroke_with_no_clear_place_to_start_is_left_out(width: float, second: float) -> None:
    region = shapely.Polygon(box(width, 300))
    lines = [((x, 0.0), (x, 300.0)) for x in (0.0, second)]
    strokes = crosshatch(region, centred_lattice(region, 40.0), body_lines_mm=lines)
    across = [stroke for stroke in strokes if stroke[0][0] != stroke[1][0]]
    assert len(across) < 8  # of eight lines
    assert all(min(abs(a[0] - x) for x in (0.0, second)) > 14.9 for a, _ in across)


@pytest.mark.parametrize(
    ("width", "says"), [(100, "75 mm"), (60, "50 mm"), (40, "30 mm"), (20, HAND_ONLY)]
)
def test_narrow_strips_name_the_pad_that_fits(width: float, says: str) -> None:
    made = lay_out(panel(box(1500, width)))
    assert all(says in section.note for section in made.sections)
    assert len(made.sections) == 3
    for section in made.sections:
        along = [abs(b[0] - a[0]) > abs(b[1] - a[1]) for a, b in section.strokes_mm]
        assert all(along)
        assert (section.strokes_mm == ()) == (says == HAND_ONLY)


def test_a_neck_is_noted() -> None:
    outline = [
        (0, 0),
        (300, 0),
        (300, 120),
        (560, 120),
        (560, 180),
        (300, 180),
        (300, 300),
        (0, 300),
    ]
    section = lay_out(panel(outline)).sections[0]
    assert "part of it" in section.note


def test_overhang_brings_the_pad_closer_to_the_edge() -> None:
    def reach(margin: float) -> float:
        made = lay_out(panel(box(600, 600)), edge_margin_mm=margin)
        return float(np.array(made.sections[0].strokes_mm)[..., 0].min())

    assert reach(0.0) == pytest.approx(65.0, abs=0.5)
    assert reach(20.0) == pytest.approx(85.0, abs=0.5)
    assert reach(-20.0) == pytest.approx(45.0, abs=0.5)
