"""Drawn takes with a known path, through the whole tracker."""

from collections.abc import Iterable
from dataclasses import replace
from itertools import islice
from typing import Any

import numpy as np
import pytest
import shapely
from judge import coverage_iou, cut_ratio, path_error_mm
from takes import Take, camera, frames, truth

from conftest import FAULTY, ONE_SET, TWO_SETS, measured
from leastcut.polish.records import PadSettings
from leastcut.work.follow import Ask, Frame
from leastcut.work.records import Wanted
from leastcut.work.technique import technique


@pytest.mark.parametrize("take", [ONE_SET, TWO_SETS])
def test_a_take_comes_back_as_it_was_walked(take: Take) -> None:
    f = measured(take).finding
    assert f.refused is None
    assert path_error_mm(f, take) < 3.0  # asked for: 10 mm
    assert f.arm_speed_mm_s.median == pytest.approx(take.speed_mm_s, rel=0.02)
    assert f.stroke_spacing_mm == pytest.approx(take.spacing_mm, rel=0.05)
    assert f.sets == take.sets
    assert f.covers == (take.sets, take.sets)
    assert coverage_iou(f, take) > 0.97
    assert f.pad_diameter_mm == pytest.approx(take.pad_mm, rel=0.04)
    assert f.overlap_fraction == pytest.approx(1 - take.spacing_mm / take.pad_mm, abs=0.05)


@pytest.mark.parametrize("take", [ONE_SET, TWO_SETS])
def test_the_stated_uncertainty_is_honest(take: Take) -> None:
    f = measured(take).finding
    assert 0.3 < path_error_mm(f, take) / f.path_sd_mm < 3.0


@pytest.mark.parametrize("take", [ONE_SET, TWO_SETS])
def test_the_cut_is_that_of_the_planned_strokes(take: Take) -> None:
    """The planned way through renderer and tracker: the map comes back within 3 %."""
    settings = PadSettings(pad_diameter_mm=take.pad_mm)
    assert cut_ratio(measured(take), take, settings, 2e-3) == pytest.approx(1.0, abs=0.03)


def test_faults_are_seen() -> None:
    f = measured(FAULTY).finding
    start, length = FAULTY.park_s
    assert [p.t_s for p in f.parked] == pytest.approx([FAULTY.lead_s + start], abs=0.3)
    assert f.parked[0].seconds == pytest.approx(length, abs=0.3)
    assert f.parked[0].rise_k > 0
    assert f.lifted_s == pytest.approx(FAULTY.lift_s[1], abs=0.15)
    assert f.unseen_s == pytest.approx(FAULTY.lead_s, abs=0.3)
    assert path_error_mm(f, FAULTY) < 3.0
    assert coverage_iou(f, FAULTY) > 0.95
    assert "stood" in f.advice[0]
    assert len(f.advice) == 3


def test_missed_polygons_lie_in_the_section_counter_clockwise() -> None:
    f = measured(FAULTY).finding
    section = shapely.Polygon(f.section_mm)
    for ring in f.missed_mm:
        hole = shapely.Polygon(ring)
        assert hole.exterior.is_ccw
        assert hole.difference(section).area < 1.0


def test_a_click_on_the_pad_serves_as_well_as_motion() -> None:
    take = replace(ONE_SET, square_mm=300.0)
    true, there = truth(take), camera(take)
    x, y = true.xy_mm[0] + [-0.72 * take.pad_mm / 2, 0]
    u, v, w = there @ [x, take.square_mm - y, 1.0]
    ask = Ask(take.square_mm, pad_at_px=(u / w, v / w), pad_diameter_mm=take.pad_mm)
    some = islice(frames(take), 100)
    f = technique(some, ask).finding
    assert f.refused is None
    assert path_error_mm(f, take) < 3.0


def _refused(stream: Iterable[Frame], square_mm: float = 330.0, **known: Any) -> str:
    finding = technique(stream, Ask(square_mm, **known), wanted=Wanted()).finding
    assert finding.refused is not None
    assert finding.refused.do
    assert finding.path == ()
    return finding.refused.why


SHORT = replace(ONE_SET, size=(480, 270))


def test_what_cannot_be_judged_is_refused_with_the_reason() -> None:
    some = list(islice(frames(SHORT), 60))
    grey = np.full((270, 480, 3), 90, np.uint8)
    assert "no frame" in _refused([])
    assert "no taped square" in _refused([(k / 24, grey) for k in range(30)])
    assert "too short" in _refused(some[:1])
    assert "nothing moves" in _refused([(k / 24, some[0][1]) for k in range(60)])
    assert "frames a second" in _refused([(3 * t, f) for t, f in some[::4]])
    assert "lasts only" in _refused(some[:20])
    assert "far outside" in _refused(some, pad_at_px=(2.0, 2.0))
    still = [(k / 24, some[0][1]) for k in range(30)]
    assert "clicked colour" in _refused(still, pad_at_px=(240.0, 200.0))
    assert "in only" in _refused([*some[:24], *[(t, grey) for t, _ in some[24:]]])


def test_a_pad_like_the_paint_is_refused() -> None:
    alike = replace(SHORT, paint_bgr=(28, 28, 28), pad_bgr=(36, 36, 36), arm=False, cord=False)
    _refused(islice(frames(alike), 60))


def test_a_pad_that_stays_is_refused() -> None:
    take = replace(SHORT, waypoints_mm=((100.0, 100.0), (160.0, 100.0)), speed_mm_s=30.0)
    why = _refused(frames(take))
    assert "moves" in why or "moving" in why


def test_frames_beyond_thirty_a_second_change_little() -> None:
    """A take at 60 frames a second is thinned out; the result is that of every other frame."""
    take = Take(square_mm=260.0, speed_mm_s=240.0, fps=60.0, size=(480, 270), sets=1)
    some = list(islice(frames(take), 120))
    every = technique(some, Ask(take.square_mm)).finding
    other = technique(some[::2], Ask(take.square_mm)).finding
    assert every.path == other.path


def test_a_slow_pad_is_not_taken_for_ground() -> None:
    """At an inch a second the pad hides some places for most of the frames learnt from."""
    take = replace(SHORT, speed_mm_s=25.0, spacing_mm=40.0)
    f = technique(islice(frames(take), 310), Ask(take.square_mm)).finding
    assert f.refused is None
    assert path_error_mm(f, take) < 3.0
    assert f.arm_speed_mm_s.median == pytest.approx(25.0, rel=0.03)
