"""The pictures' records, their drawings, the protocol and the words."""

import xml.etree.ElementTree as ET

import pytest

from leastcut.car.records import Interval, Paint
from leastcut.testspot import decide, drawing, ladder, paint, pictures, protocol, tell
from leastcut.testspot.records import Advice, Trial

LABELS = tuple(process.label for process in ladder.DEFAULT)


def trial(rung: int, sets: int, removed: float | None, spot: str) -> Trial:
    seen = None
    if removed is not None:
        seen = Interval(mean=removed, low=removed - 0.06, high=removed + 0.06)
    return Trial(process=LABELS[rung], sets=sets, removed=seen, spot=spot)


TRIALS = [
    trial(0, 2, 0.2, "a"),
    Trial(process="gone", sets=1),
    trial(1, 2, 0.6, "b"),
    trial(1, 1, 0.3, "b"),
    trial(1, 1, None, "c"),
    trial(1, 3, 0.9, "d"),
]


def survival(count: int) -> pictures.SurvivalPicture:
    known = TRIALS[:count]
    draws = paint.learn(known, ladder.DEFAULT)
    return pictures.survival(known, draws, ladder=ladder.DEFAULT, required=0.85)


def test_survival_curve_falls_within_its_band_and_the_band_narrows() -> None:
    def width(picture: pictures.SurvivalPicture) -> float:
        both = zip(picture.high, picture.low, strict=True)
        return max(high - low for high, low in both)

    before, after = survival(0), survival(6)
    for picture in (before, after):
        assert list(picture.visible) == sorted(picture.visible, reverse=True)
        rows = zip(picture.low, picture.visible, picture.high, strict=True)
        assert all(low <= middle <= high for low, middle, high in rows)
        assert picture.visible[0] == 1.0
    assert width(after) < width(before)
    assert after.allowed == pytest.approx(0.15)


def test_survival_shows_the_trials_that_speak_of_a_whole_spot() -> None:
    points = survival(6).trials
    assert [point.number for point in points] == [1, 3, 6]  # 4 began on a worked spot, 5 is blind
    assert points[0].visible.mean == pytest.approx(0.8)
    assert points[0].visible.low < points[0].visible.mean < points[0].visible.high
    assert f"6: {LABELS[1]} × 3, 10% left" in _drawn(drawing.survival_svg(survival(6)))


def test_ladder_picture_holds_every_candidate_and_the_advice() -> None:
    looks = [
        Trial(process=LABELS[1], sets=1, removed=t.removed, spot="s", since="spot")
        for t in (trial(1, 1, 0.4, "s"), trial(1, 1, 0.75, "s"), trial(1, 1, 0.92, "s"))
    ]
    spot, _ = decide.assess(looks, ladder.DEFAULT, budget_um=15.0)
    picture = pictures.ladder(spot, trials=looks, budget_um=15.0)
    assert [line.process for line in picture.lines] == list(LABELS)
    assert [line.tried for line in picture.lines] == [False, True, False, False]
    assert sum(len(line.points) for line in picture.lines) == len(spot.candidates)
    assert picture.chosen == (LABELS[1], 3)
    cost = pictures.costs(spot, budget_um=15.0)
    assert [c.chosen for c in cost.costs] == [False, True, False, False]
    assert not cost.costs[0].enough
    assert cost.costs[0].label.endswith("× 4")
    _drawn(drawing.ladder_svg(picture))
    _drawn(drawing.cost_svg(cost))


def _drawn(svg: str) -> list[str]:
    root = ET.fromstring(svg)
    texts = [node.text or "" for node in root.iter("{http://www.w3.org/2000/svg}text")]
    box = [float(part) for part in root.attrib["viewBox"].split()]
    for node in root.iter("{http://www.w3.org/2000/svg}text"):
        assert 0.0 <= float(node.attrib["x"]) <= box[2]
        assert 0.0 <= float(node.attrib["y"]) <= box[3]
    assert "nan" not in svg
    return texts


@pytest.mark.parametrize("budget", [None, 7.0])
def test_pictures_without_trials_are_drawn_too(budget: float | None) -> None:
    spot, draws = decide.assess([], ladder.DEFAULT, budget_um=budget)
    curve = pictures.survival([], draws, ladder=ladder.DEFAULT, required=0.95)
    assert "target: at most 5% left" in _drawn(drawing.survival_svg(curve))
    words = _drawn(drawing.ladder_svg(pictures.ladder(spot, trials=[], budget_um=budget)))
    assert ("budget 7.0 µm" in words) == (budget is not None)
    words = _drawn(drawing.cost_svg(pictures.costs(spot, budget_um=budget)))
    assert ("budget 7.0 µm" in words) == (budget is not None)


def test_labels_are_escaped_in_drawings() -> None:
    odd = ladder.Process(label='<b>&"x"', pad="foam-polishing", liquid="medium")
    spot, _ = decide.assess([], [odd], budget_um=9.0)
    words = _drawn(drawing.ladder_svg(pictures.ladder(spot, trials=[], budget_um=9.0)))
    assert '<b>&"x"' in words


def test_protocol_tells_each_step_of_a_trial() -> None:
    fresh = Advice(do="try", process=LABELS[2], sets=1, why="")
    words = protocol.steps(fresh, ladder.DEFAULT)
    assert "610 mm" in words[0]
    assert "Work 1 set of" in words[2]
    assert "finishing step comes later" in words[-1]
    again = Advice(do="try", process=LABELS[1], sets=2, why="", spot="b")
    assert "Go on with spot b" in protocol.steps(again, ladder.DEFAULT)[0]
    assert "2 sets" in protocol.steps(again, ladder.DEFAULT)[1]
    assert protocol.steps(Advice(do="stop", process=None, sets=0, why=""), ladder.DEFAULT) == ()


@pytest.mark.parametrize(
    ("known", "thin", "words"),
    [
        (Paint(system="matt", history="factory"), False, "must not be polished"),
        (Paint(system="single-stage", history="factory"), False, "takes some of it"),
        (None, False, "through: stop"),
        (Paint(system="clear-over-base", history="repainted"), False, "spot of its own"),
        (Paint(system="clear-over-base", history="factory"), True, "thin panel"),
    ],
)
def test_cautions_follow_from_what_is_known(known: Paint | None, *, thin: bool, words: str) -> None:
    spot, _ = decide.assess([], ladder.DEFAULT, budget_um=7.0)
    assert any(words in caution for caution in protocol.cautions(spot, paint=known, thin=thin))


def test_nothing_known_to_beware_of_gives_no_caution() -> None:
    spot, _ = decide.assess([], ladder.DEFAULT, budget_um=7.0)
    known = Paint(system="clear-over-base", history="factory")
    assert protocol.cautions(spot, paint=known) == ()


def test_summary_shows_both_unit_systems_and_notes() -> None:
    spot, _ = decide.assess(TRIALS[:2], ladder.DEFAULT, budget_um=7.0)
    metric, us = tell.summary(spot), tell.summary(spot, "us")
    assert "µm" in metric
    assert "mil" in us
    assert "Note: trial 2: no process 'gone'" in metric
    assert "(+ finish)" in metric
