"""What one car teaches the next, and that it can be forgotten."""

import msgspec
import numpy as np
import pytest

from leastcut.testspot import ladder, learning, paint
from leastcut.testspot.learning import Lesson
from leastcut.testspot.records import Measured, Process, Trial

LABELS = tuple(process.label for process in ladder.DEFAULT)


def taught(
    softness: float, car: str = "car", paint_label: str = "black", year: float = 2026.0
) -> Lesson:
    """Return the lesson of a car whose gauge showed the cut of two rungs well."""
    trials = [
        Trial(
            process=LABELS[rung],
            sets=4,
            spot=str(rung),
            cut_um=Measured(value=0.5 * 4 * softness * strength, sd=0.2),
        )
        for rung, strength in ((1, 1.0), (2, 2.88))
    ]
    draws = paint.learn(trials, ladder.DEFAULT)
    return learning.lesson(draws, ladder.DEFAULT, car=car, year=year, paint_label=paint_label)


def softness(prior: paint.Prior) -> tuple[float, float]:
    """Return mean and standard deviation of ln softness."""
    return prior.mean[0], float(np.linalg.norm(prior.factor[0]))


def test_no_lessons_give_the_stated_prior() -> None:
    stated, pooled = paint.prior(ladder.DEFAULT), learning.pooled([], ladder.DEFAULT, year=2026.0)
    assert pooled.mean == pytest.approx(stated.mean)
    assert pooled.factor @ pooled.factor.T == pytest.approx(stated.factor @ stated.factor.T)


def test_lessons_move_and_narrow_the_same_paint_system_most() -> None:
    lessons = [taught(2.0, str(k)) for k in range(8)]
    same = softness(learning.pooled(lessons, ladder.DEFAULT, year=2026.0, paint_label="black"))
    other = softness(learning.pooled(lessons, ladder.DEFAULT, year=2026.0, paint_label="white"))
    unknown = softness(learning.pooled(lessons, ladder.DEFAULT, year=2026.0))
    assert same[0] > 0.3
    assert same[1] < 0.6
    assert other[0] == pytest.approx(0.0, abs=1e-9)
    assert unknown[0] == pytest.approx(0.0, abs=1e-9)


def test_pooling_agrees_with_the_normal_hierarchy_in_closed_form() -> None:
    # source: posterior of a group mean in a normal hierarchy with known variances; recomputed
    lessons = [
        Lesson(
            car=str(k), paint="p", year=2026.0, processes=(), precision=((4.0,),), pull=(4.0 * y,)
        )
        for k, y in enumerate((0.5, 0.7, 0.9))
    ]
    ladder_of_one = [Process(label="x", pad="foam-polishing", liquid="medium")]
    pooled = learning.pooled(lessons, ladder_of_one, year=2026.0, paint_label="p")
    whole = np.log(2.0) ** 2
    group, within, each = 0.4 * whole, 0.6 * whole, 1.0 / 4.0
    precision = 1.0 / group + 3.0 / (within + each)
    mean = (0.5 + 0.7 + 0.9) / (within + each) / precision
    found = softness(pooled)
    assert found[0] == pytest.approx(mean)
    assert found[1] ** 2 == pytest.approx(1.0 / precision + within)


def test_order_does_not_matter_and_forgetting_leaves_no_trace() -> None:
    lessons = [taught(1.5, "a"), taught(0.7, "b"), taught(2.2, "c")]
    forth = learning.pooled(lessons, ladder.DEFAULT, year=2026.0, paint_label="black")
    back = learning.pooled(lessons[::-1], ladder.DEFAULT, year=2026.0, paint_label="black")
    assert forth.mean == pytest.approx(back.mean)
    left = learning.forget(lessons, "b")
    assert [lesson.car for lesson in left] == ["a", "c"]
    assert learning.pooled(left, ladder.DEFAULT, year=2026.0).mean == pytest.approx(
        learning.pooled([lessons[0], lessons[2]], ladder.DEFAULT, year=2026.0).mean
    )


def test_old_lessons_fade() -> None:
    fresh = taught(2.0, year=2026.0)
    now = softness(learning.pooled([fresh], ladder.DEFAULT, year=2026.0, paint_label="black"))
    later = softness(learning.pooled([fresh], ladder.DEFAULT, year=2036.0, paint_label="black"))
    assert 0.0 < later[0] < 0.2 * now[0]
    assert now[1] < later[1]


def test_a_lesson_does_not_count_its_own_prior_twice() -> None:
    trials = [
        Trial(process=LABELS[1], sets=4, spot="a", cut_um=Measured(value=4.0, sd=0.3)),
    ]
    start = learning.pooled([taught(2.0, "x")], ladder.DEFAULT, year=2026.0, paint_label="black")
    plain = learning.lesson(
        paint.learn(trials, ladder.DEFAULT, n=16384), ladder.DEFAULT, car="y", year=2026.0
    )
    moved = learning.lesson(
        paint.learn(trials, ladder.DEFAULT, start=start, n=16384),
        ladder.DEFAULT,
        car="y",
        year=2026.0,
        start=start,
    )
    towards = np.array([1.0, 0.0, 1.0, 0.0, 0.0])  # ln softness + ln cut is what a gauge shows
    levels = [
        float(towards @ np.linalg.pinv(np.array(one.precision), rcond=0.05) @ np.array(one.pull))
        for one in (plain, moved)
    ]
    assert levels[0] == pytest.approx(np.log(2.0), abs=0.1)
    assert levels[1] == pytest.approx(levels[0], abs=0.1)


def test_processes_are_learnt_across_paints() -> None:
    lessons = [taught(1.0, str(k), paint_label="") for k in range(6)]
    strong = [
        msgspec.structs.replace(one, pull=tuple(np.array(one.precision) @ [0, 0, 0, 0.4, 0]))
        for one in lessons
    ]
    pooled = learning.pooled(strong, ladder.DEFAULT, year=2026.0)
    stated = paint.prior(ladder.DEFAULT)
    assert pooled.mean[5] - stated.mean[5] > 0.1


def test_a_lesson_of_another_ladder_teaches_the_softness() -> None:
    lesson = taught(2.0)
    other = [Process(label="new", pad="foam-polishing", liquid="medium")]
    pooled = learning.pooled([lesson], other, year=2026.0, paint_label="black")
    assert softness(pooled)[0] > 0.1


def test_lessons_survive_json() -> None:
    lesson = taught(1.3)
    again = msgspec.json.decode(msgspec.json.encode(lesson), type=Lesson)
    assert again == lesson
