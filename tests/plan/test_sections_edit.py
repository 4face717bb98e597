"""Layouts changed by hand: pinned, merged, cut, seams moved."""

import pytest
import shapely
from sections_outlines import box, faults, panel

from leastcut.plan.edit import keep_pinned, merge, move_seam, split
from leastcut.plan.geometry import workable_area
from leastcut.plan.records import Layout, LayoutOptions
from leastcut.plan.sections import LayoutError, assemble, lay_out

OPTIONS = LayoutOptions()
SIDE = panel(box(1100, 500))


def two() -> Layout:
    made = lay_out(SIDE)
    assert len(made.sections) == 2
    return made


def test_a_pinned_section_stays_and_the_rest_adapts() -> None:
    made = split(SIDE, two(), "1", ((200.0, 0.0), (200.0, 500.0)), OPTIONS)
    assert len(made.sections) == 3
    narrow = min(made.sections, key=lambda s: s.area_mm2)
    again = keep_pinned(SIDE, made, [narrow.id], OPTIONS)
    assert faults(SIDE, again) == []
    cells = [shapely.Polygon(s.cell_mm) for s in again.sections]
    assert any(shapely.equals(shapely.Polygon(narrow.cell_mm), c) for c in cells)
    assert len(again.sections) == 3


def test_a_pinned_section_outlives_a_new_keep_out() -> None:
    made = two()
    other = panel(box(1100, 500), [box(80, 80, 100, 100)])
    again = keep_pinned(other, made, ["2"], OPTIONS)
    assert faults(other, again) == []


def test_what_is_laid_beside_a_pinned_section_keeps_the_limit_with_its_overlap() -> None:
    """580 mm pinned leave 610 mm: by itself one section, but its overlap makes it 635 mm."""
    one = panel(box(1190, 600))
    cells = [shapely.Polygon(box(580, 600)), shapely.Polygon(box(610, 600, 580))]
    made = assemble(one, cells, OPTIONS, workable_area(one))
    again = keep_pinned(one, made, ["1"], OPTIONS)
    assert faults(one, again) == []
    assert len(again.sections) == 3


def test_merging_what_was_split_gives_it_back() -> None:
    before = two()
    made = split(SIDE, before, "1", ((20.0, 250.0), (530.0, 250.0)), OPTIONS)
    halves = [s.id for s in made.sections if s.area_mm2 < 200_000]
    again = merge(SIDE, made, (halves[0], halves[1]), OPTIONS)
    assert len(again.sections) == 2
    assert again.sections[0].area_mm2 == pytest.approx(before.sections[0].area_mm2)


def test_a_merge_beyond_the_limit_or_without_a_seam_is_refused() -> None:
    with pytest.raises(LayoutError, match="larger than 610"):
        merge(SIDE, two(), ("1", "2"), OPTIONS)
    long = panel(box(1600, 400))
    made = lay_out(long)
    with pytest.raises(LayoutError, match="no seam"):
        merge(long, made, ("1", "3"), OPTIONS)
    with pytest.raises(LayoutError, match="no seam"):
        move_seam(long, made, ("1", "3"), ((5.0, 0.0), (5.0, 400.0)), OPTIONS)
    with pytest.raises(LayoutError, match="no section '9'"):
        merge(long, made, ("1", "9"), OPTIONS)


def test_a_line_that_misses_is_refused() -> None:
    with pytest.raises(LayoutError, match="does not divide"):
        split(SIDE, two(), "1", ((800.0, 0.0), (800.0, 500.0)), OPTIONS)


def test_a_moved_seam_cuts_the_larger_side_again() -> None:
    little = move_seam(SIDE, two(), ("1", "2"), ((560.0, 0.0), (540.0, 500.0)), OPTIONS)
    assert len(little.sections) == 2
    assert faults(SIDE, little) == []
    far = move_seam(SIDE, two(), ("1", "2"), ((300.0, 0.0), (300.0, 500.0)), OPTIONS)
    assert len(far.sections) == 3
    assert faults(SIDE, far) == []


def test_a_pinned_section_beyond_the_limit_is_refused() -> None:
    with pytest.raises(LayoutError, match="pinned section"):
        keep_pinned(SIDE, two(), ["1"], LayoutOptions(max_side_mm=300.0))
