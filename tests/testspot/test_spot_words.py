"""What the test spot says, word for word, and the figures and limits behind each sentence."""

import math
from typing import Any

import msgspec
import numpy as np
import pytest
from test_spot_scalar import DRAWS, MIDDLE, MILD, WILD

from leastcut.car.records import Interval
from leastcut.testspot import (
    doubts,
    evidence,
    ladder,
)
from leastcut.testspot.ladder import DEFAULT, LadderError
from leastcut.testspot.records import (
    Measured,
    Process,
    Trial,
)


def seen(mean: float, low: float, high: float) -> Interval:
    return Interval(mean=mean, low=low, high=high)


# screening


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"process": "x"}, "trial 1: no process 'x' on the ladder, left out"),
        ({"sets": 0}, "trial 1: 0 sets, left out"),
        (
            {"removed": seen(math.nan, 0.1, 0.2)},
            "trial 1: a removed fraction that is no number: the photos are not used",
        ),
        (
            {"removed": seen(0.5, 0.6, 0.7)},
            "trial 1: a removed fraction outside its own bounds: the photos are not used",
        ),
        (
            {"removed": seen(1.02, 0.9, 1.1)},
            "trial 1: 102% of the scratches gone: the photos are not used",
        ),
        (
            {"removed": seen(-0.2, -0.3, -0.1)},
            "trial 1: more scratches after than before: the photos are not used",
        ),
        (
            {"cut_um": Measured(value=math.inf, sd=1.0)},
            "trial 1: a gauge difference that is no number: not used",
        ),
        (
            {"cut_um": Measured(value=1.0, sd=-0.1)},
            "trial 1: a gauge difference that is no number: not used",
        ),
        (
            {"cut_um": Measured(value=-0.61, sd=0.0)},
            "trial 1: the gauge shows 0.61 µm more after the trial: not used",
        ),
        (
            {"wipe_s": 60.5},
            "trial 1: the residue was slow to wipe off, so photo and verdict count for less",
        ),
    ],
)
def test_what_is_said_of_evidence_that_cannot_be(changed: dict[str, Any], said: str) -> None:
    usual = Trial(process=MIDDLE, sets=2, verdict="clean")
    kept, notes = evidence.screen([msgspec.structs.replace(usual, **changed)], DEFAULT)
    assert notes == (said,)
    assert len(kept) == int("left out" not in said)
    if kept and "used" in said:
        assert (kept[0].removed, kept[0].cut_um, kept[0].verdict) == (None, None, "clean")


@pytest.mark.parametrize(
    "changed",
    [
        {"removed": seen(1.0, 0.9, 1.0)},
        {"removed": seen(0.0, -0.1, 0.0)},
        {"removed": seen(0.5, 0.5, 0.5)},
        {"cut_um": Measured(value=-0.6, sd=0.1)},
        {"cut_um": Measured(value=-3.0, sd=1.0)},
        {"cut_um": Measured(value=0.0, sd=0.0)},
        {"wipe_s": 60.0},
        {"sets": 1},
    ],
)
def test_evidence_at_its_limits_is_believed(changed: dict[str, Any]) -> None:
    trial = msgspec.structs.replace(Trial(process=MILD, sets=3), **changed)
    assert evidence.screen([trial], DEFAULT) == ((trial,), ())


@pytest.mark.parametrize(
    ("before", "after", "removed"),
    [(10.0, 4.0, 0.6), (10.0, 0.0, 1.0), (0.0, 1.0, None), (None, 1.0, None), (1.0, None, None), (1.0, -1.0, None)],
)  # fmt: skip
def test_two_loads_make_a_removed_fraction(
    before: float | None, after: float | None, removed: float | None
) -> None:
    trial = Trial(process=MILD, sets=1, before_load_mm_per_cm2=before, after_load_mm_per_cm2=after)
    ((kept,), notes) = evidence.screen([trial], DEFAULT)
    assert notes == ()
    if removed is None:
        assert kept.removed is None
    else:
        half = 1.96 * 0.08
        assert kept.removed is not None
        found = (kept.removed.mean, kept.removed.low, kept.removed.high)
        assert found == pytest.approx((removed, removed - half, removed + half))


# the ladder


def process(label: str = "a", **changed: Any) -> Process:
    return msgspec.structs.replace(
        Process(label=label, pad="foam-polishing", liquid="medium"), **changed
    )


@pytest.mark.parametrize(
    ("pad", "cut", "floor"),
    [
        ("foam-finishing", 0.5, 0.5),
        ("foam-polishing", 1.0, 1.0),
        ("foam-cutting", 1.6, 1.5),
        ("microfibre", 2.4, 2.5),
        ("wool", 3.0, 3.5),
    ],
)
@pytest.mark.parametrize(
    ("liquid", "more", "haze"),
    [("finishing", 0.5, 0.01), ("medium", 1.0, 0.02), ("heavy", 1.8, 0.035)],
)
def test_strength_and_haze_of_every_class(
    pad: Any, cut: float, floor: float, liquid: Any, more: float, haze: float
) -> None:
    own = process(pad=pad, liquid=liquid)
    assert ladder.relative_cut(own) == pytest.approx(cut * more)
    assert ladder.finish_floor(own) == pytest.approx(floor * haze)
    cutting = pad in {"foam-cutting", "microfibre", "wool"} or liquid == "heavy"
    assert ladder.needs_finish(own) == cutting


def test_settings_change_the_strength_by_hand() -> None:
    half = process(arm_speed_mm_s=120.0, stroke_spacing_mm=130.0, force_n=90.0)
    assert ladder.relative_cut(half) == pytest.approx(0.5)
    assert ladder.relative_cut(process(relative_cut=7.0, pad="wool")) == 7.0
    assert ladder.finisher(process(), DEFAULT) is None
    assert ladder.finisher(DEFAULT[3], DEFAULT[2:]) is None
    assert ladder.steps(DEFAULT[3], 4, DEFAULT[1:]) == ((WILD, 4), (MIDDLE, 2))
    assert ladder.steps(DEFAULT[1], 3, DEFAULT) == ((MIDDLE, 3),)
    equal = [process("b"), process("a"), process("c", relative_cut=0.1)]
    assert [one.label for one in ladder.ordered(equal)] == ["c", "a", "b"]


@pytest.mark.parametrize(
    "name",
    [
        "pad_diameter_mm",
        "orbit_mm",
        "orbits_per_min",
        "force_n",
        "arm_speed_mm_s",
        "stroke_spacing_mm",
        "relative_cut",
        "max_sets",
    ],
)
@pytest.mark.parametrize("value", [0, -2, math.inf])
def test_a_senseless_setting_is_named(name: str, value: float) -> None:
    with pytest.raises(LadderError) as caught:
        ladder.check([process(**{name: value})])
    assert str(caught.value) == (f"ladder a: {name} of 'a' is {value:g}. Give a value above zero")


def test_a_ladder_that_cannot_be_climbed() -> None:
    with pytest.raises(LadderError) as caught:
        ladder.check([])
    assert str(caught.value) == (
        "input: the ladder has no process. Give at least one pad with one liquid"
    )
    with pytest.raises(LadderError) as caught:
        ladder.check([process("z"), process("z"), process("b"), process("b")])
    assert str(caught.value) == "input: two processes are called 'b'. Give each its own label"


# doubts


def test_little_counting_evidence_in_full() -> None:
    trial = Trial(process=MIDDLE, sets=2, removed=seen(0.02, 0.0, 0.04), spot="a")
    ((_, state),) = evidence.story([trial], DRAWS)
    residual, shown = evidence.photo_residual(trial, seen(0.02, 0.0, 0.04), state, DRAWS)
    low, high = np.quantile(shown, [0.05, 0.95])
    weight = np.mean([min(8.0 / (7.0 + r**2), 1.0) for r in residual])
    assert doubts.notes([trial], DEFAULT, DRAWS) == (
        (
            f"trial 1: the photos show 2% gone, all else known says {low:.0%} to {high:.0%}; it counts"
            f" for {weight:.0%} only: look at the light, the wipe and the place"
        ),
    )


def test_a_gauge_and_a_word_against_all_else_in_full() -> None:
    odd = Trial(process="x", sets=1)
    gauge = Trial(process=MIDDLE, sets=2, cut_um=Measured(value=9.0, sd=0.1), spot="a")
    word = Trial(process=WILD, sets=4, verdict="unchanged", spot="b")
    # 2 sets: 2, 0.9 and 0.55 µm; 5 % and 95 % of three values
    low, high = np.quantile([2.0, 0.9, 0.55], [0.05, 0.95])
    weight = np.mean([8.0 / (7.0 + ((9.0 - c) / 0.2) ** 2) for c in (2.0, 0.9, 0.55)])
    assert doubts.notes([odd, gauge, word], DEFAULT, DRAWS) == (
        (
            f"trial 2: the gauge lost 9.0 µm, all else known says {low:.1f} to {high:.1f} µm; it counts"
            f" for {weight:.0%} only: measure again at marked places"
        ),
        (
            "trial 3: the verdict 'unchanged' has a chance of 1% beside all else known, so it hardly "
            "counts; look again under the lamp"
        ),
    )


def test_trials_out_of_order_in_full() -> None:
    rows = [(MILD, 2, 0.8, "a"), (MIDDLE, 2, 0.5, "b"), (MIDDLE, 3, 0.9, "c")]
    trials = [
        (n, Trial(process=p, sets=s, removed=seen(r, r - 0.1, r + 0.1), spot=spot))
        for n, (p, s, r, spot) in enumerate(rows, start=4)
    ]
    assert doubts._out_of_order(trials, DEFAULT) == [
        (
            "trial 4 and 5: out of order, for a stronger cut left more scratches than a milder one; "
            "both pull less until one is done again"
        )
    ]
    # within two standard uncertainties of the fit: sd 0.0532, off by 0.1
    near = [(n, msgspec.structs.replace(t, removed=seen(r, r - 0.1, r + 0.1)))
            for (n, t), r in zip(trials, (0.7, 0.5, 0.9), strict=True)]  # fmt: skip
    assert doubts._out_of_order(near, DEFAULT) == []
