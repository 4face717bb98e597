"""Takes side by side, against the plan, over a course; advice and picture."""

import xml.etree.ElementTree as ET
from typing import Any

import msgspec
import pytest
from judge import planned_lines

from conftest import FAULTY, ONE_SET, measured
from leastcut.errors import Refusal
from leastcut.work import class_picture
from leastcut.work.advice import advise
from leastcut.work.class_picture import state
from leastcut.work.compare import against_plan, compare, progress
from leastcut.work.picture import draw, take_picture
from leastcut.work.records import Attempt, Parked, Progress, Spread, TechniqueFinding, Wanted

WANTED = Wanted(arm_speed_mm_s=60.0)
NONE = TechniqueFinding(refused=Refusal(why="no square", do="Tape one"))


def take(**changed: Any) -> TechniqueFinding:
    """Return a good take with something changed."""
    good = TechniqueFinding(
        section_mm=((0, 0), (300, 0), (300, 300), (0, 300)), worked_s=60.0, pad_diameter_mm=130.0,
        arm_speed_mm_s=Spread(median=60, p05=55, p95=65), stroke_spacing_mm=65.0,
        overlap_fraction=0.5, sets=1, covers=(1, 1), coverage_fraction=0.99, tape_s=0.0,
        lifted_s=0.0,
    )  # fmt: skip
    return msgspec.structs.replace(good, **changed)


CORNER = ((0.0, 0.0), (20.0, 0.0), (0.0, 20.0))
HOLE = ((10.0, 10.0), (60.0, 10.0), (60.0, 60.0), (10.0, 60.0))
FAR = ((240.0, 240.0), (260.0, 240.0), (260.0, 260.0))
STOOD = (Parked(t_s=5.0, seconds=3.0, x_mm=50.0, y_mm=60.0, rise_k=12.0),)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"parked": STOOD}, "Keep the pad moving"),
        ({"coverage_fraction": 0.9, "missed_mm": (HOLE,)}, "lower left"),
        ({"coverage_fraction": 0.9, "missed_mm": (CORNER, FAR)}, "upper right"),
        ({"coverage_fraction": 0.9, "missed_mm": (CORNER,)}, "lower left"),
        ({"covers": (2, 1)}, "both directions"),
        ({"covers": (1, 0), "sets": 0}, "one direction only"),
        ({"arm_speed_mm_s": Spread(median=90, p05=85, p95=95)}, "Slow down"),
        ({"arm_speed_mm_s": Spread(median=40, p05=38, p95=42)}, "Move faster"),
        ({"stroke_spacing_mm": 100.0, "overlap_fraction": 0.23}, "closer together"),
        ({"stroke_spacing_mm": 30.0, "overlap_fraction": 0.77}, "further apart"),
        ({"arm_speed_mm_s": Spread(median=60, p05=40, p95=80)}, "Keep one pace"),
        ({"tape_s": 40.0}, "Stay inside"),
        ({"lifted_s": 4.0}, "Stay on the paint"),
    ],
)
def test_each_fault_is_told_first(changed: dict[str, Any], words: str) -> None:
    said = advise(take(**changed), WANTED)
    assert words in said[0]
    assert len(said) == 3


def test_a_good_take_is_told_so() -> None:
    said = advise(take(), WANTED)
    assert all(sentence.startswith("Keep") for sentence in said)
    assert len(advise(TechniqueFinding(), WANTED)) == 3
    assert "2 sets" in advise(take(), Wanted(sets=2))[0]


def test_the_corners_of_a_round_pad_are_no_fault() -> None:
    """A 130 mm pad leaves (4 - pi) 65^2 of 300 x 300 mm: 4.0 %."""
    said = advise(take(coverage_fraction=0.955, missed_mm=(CORNER,)), WANTED)
    assert said[0].startswith("Keep the coverage")


def test_a_hole_in_the_middle_is_called_that() -> None:
    ring = ((140.0, 140.0), (160.0, 140.0), (160.0, 160.0), (140.0, 160.0))
    said = advise(take(coverage_fraction=0.9, missed_mm=(ring,)), WANTED)
    assert "in the middle" in said[0]


def test_the_second_take_is_better_where_it_comes_nearer() -> None:
    first = take(arm_speed_mm_s=Spread(median=90, p05=60, p95=120), coverage_fraction=0.99)
    second = take(coverage_fraction=0.9)
    found = compare(first, second, wanted=WANTED)
    by_name = {m.what: m.better for m in found.measures}
    assert by_name["arm speed"] is True
    assert by_name["coverage"] is False
    assert by_name["overlap"] is None
    assert found.say.startswith("Better: arm speed")
    assert compare(first, first, wanted=WANTED).say == "Both takes are alike."


@pytest.mark.parametrize(
    ("first", "second", "which"), [(NONE, take(), "first"), (take(), NONE, "second")]
)
def test_a_refused_take_cannot_be_compared(
    first: TechniqueFinding, second: TechniqueFinding, which: str
) -> None:
    found = compare(first, second, wanted=Wanted(stroke_spacing_mm=50))
    assert found.refused is not None
    assert which in found.say


def test_a_take_walked_as_planned_is_as_planned() -> None:
    wanted = Wanted(arm_speed_mm_s=ONE_SET.speed_mm_s, sets=1)
    found = against_plan(measured(ONE_SET).finding, planned_lines(ONE_SET), wanted=wanted)
    assert found.say == "As planned."
    assert found.measures[0].second == pytest.approx(0.0, abs=3.0)  # mm


def test_a_take_with_a_line_left_out_is_not() -> None:
    whole = planned_lines(without_gap(FAULTY))
    wanted = Wanted(arm_speed_mm_s=2 * FAULTY.speed_mm_s, sets=1)
    found = against_plan(measured(FAULTY).finding, whole, wanted=wanted)
    assert "planned lines walked" in found.say
    assert "arm speed" in found.say
    assert against_plan(NONE, whole, wanted=wanted).refused == NONE.refused
    assert against_plan(take(), (), wanted=wanted).refused is not None


def without_gap(made: Any) -> Any:
    from dataclasses import replace

    return replace(made, skip_stroke=None)


def test_a_plan_beside_a_take_without_strokes() -> None:
    bare = take(path=((0.0, 0.0, 0.0), (1.0, 1.0, 0.0)), arm_speed_mm_s=None, sets=None)
    found = against_plan(bare, [((0, 0), (100, 0))], wanted=WANTED)
    assert [m.better for m in found.measures] == [None, False, None, True]


def test_a_class_moves_along() -> None:
    """source: the median of all slopes, written out by hand for three weeks; status: recomputed."""
    speeds = {1: 120.0, 2: 90.0, 3: 66.0}
    attempts = [
        Attempt(learner="kim", week=w, finding=take(arm_speed_mm_s=Spread(median=v, p05=v, p95=v)))
        for w, v in speeds.items()
    ]
    attempts += [
        Attempt(learner="kim", week=4, finding=NONE),
        Attempt(learner="ali", week=1, finding=NONE),
    ]
    ali, kim = progress(attempts, wanted=WANTED)
    errors = [abs(v / 60 - 1) for v in speeds.values()]
    slopes = sorted([errors[1] - errors[0], errors[2] - errors[1], (errors[2] - errors[0]) / 2])
    assert kim.per_week == pytest.approx(slopes[1])
    assert (kim.weeks, kim.refused_takes) == ((1, 2, 3), 1)
    assert (ali.weeks, ali.per_week) == ((), None)
    assert "taped square" in ali.next


def test_the_picture_holds_the_way_and_what_was_missed() -> None:
    finding = measured(FAULTY).finding
    picture = take_picture(finding)
    drawn = sum(len(p.points_mm) for p in picture.pieces)
    assert drawn > len(finding.path) / 4
    assert picture.missed_mm == finding.missed_mm
    svg = ET.fromstring(draw(picture))
    words = " ".join(svg.itertext())
    assert "stood" in words
    assert "arm speed" in words


def test_a_refused_take_still_draws() -> None:
    assert take_picture(NONE).pieces == ()
    ET.fromstring(draw(take_picture(NONE)))


def _school() -> tuple[Progress, ...]:
    takes = [
        Attempt(learner="kim", week=w, finding=take(arm_speed_mm_s=Spread(median=v, p05=v, p95=v)))
        for w, v in ((1, 90.0), (2, 78.0), (3, 66.0))
    ]
    one = Attempt(learner="bo", week=2, finding=take(coverage_fraction=0.5))
    return progress([*takes, one, Attempt(learner="ann", week=1, finding=NONE)], wanted=WANTED)


def test_a_class_is_told_in_words() -> None:
    ann, bo, kim = _school()
    assert state(ann) == "no take could be judged (1 refused)"
    assert state(bo) == "arm speed 0% off; 50% missed"
    assert state(kim) == "arm speed 10% off, 20% nearer each week; 1% missed"
    worse = msgspec.structs.replace(kim, per_week=0.1, refused_takes=2)
    assert "10% further off each week; 1% missed (2 takes refused)" in state(worse)
    assert ", steady;" in state(msgspec.structs.replace(kim, per_week=0.01))


def test_the_picture_of_a_class_puts_the_weeks_on_one_scale() -> None:
    svg = ET.fromstring(class_picture.draw(_school()))
    dots = [
        (float(c.get("cx")), float(c.get("cy")))
        for c in svg.iter()
        if c.tag.endswith("circle") and c.get("r") == "1.3"
    ]
    assert len(dots) == 4  # one of bo, three of kim
    (x1, y1), (x2, y2), (x3, y3) = dots[1:]
    assert x2 - x1 == pytest.approx(x3 - x2, abs=0.02)
    assert (y2 - y1) / (y3 - y1) == pytest.approx((78 - 90) / (66 - 90), abs=0.02)
    assert dots[0][0] == pytest.approx(x2)  # bo's week 2 under kim's
    words = " ".join(svg.itertext())
    assert all(name in words for name in ("ann", "bo", "kim"))


def test_a_class_of_nobody_still_draws() -> None:
    ET.fromstring(class_picture.draw(()))
