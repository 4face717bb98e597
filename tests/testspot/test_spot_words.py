"""What the test spot says, word for word, and the figures and limits behind each sentence."""

import inspect
import math
from collections.abc import Callable
from typing import Any

import msgspec
import numpy as np
import pytest
from test_spot_scalar import DRAWS, MIDDLE, MILD, STRONG, WILD

from leastcut.car.records import Interval, Paint
from leastcut.testspot import (
    decide,
    doubts,
    evidence,
    ladder,
    learning,
    paint,
    protocol,
    records,
    tell,
)
from leastcut.testspot.ladder import DEFAULT, LadderError
from leastcut.testspot.records import (
    Advice,
    Affordable,
    Candidate,
    DepthKnowledge,
    Measured,
    Process,
    Trial,
)
from leastcut.testspot.rules import Rules


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


# what is said


def candidate(label: str = MIDDLE, sets: int = 2, **changed: Any) -> Candidate:
    usual = Candidate(
        process=label, sets=sets, p_target=0.95, cut_um=seen(2.04, 1.0, 3.0), p_within_budget=1.0
    )
    return msgspec.structs.replace(usual, **changed)


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


# the machine interface, the summary, the protocol


SPOT = records.TestSpot(
    softness=seen(1.234, 0.5, 2.0),
    depth_um=DepthKnowledge(median=0.8, p95=2.5),
    candidates=(
        candidate(p_target=0.876, p_within_budget=0.9876),
        candidate(STRONG, 1, finish=MILD, finish_sets=2),
    ),
    next=Advice(
        do="stop",
        process=None,
        sets=0,
        why="Because.",
        affordable=Affordable(
            process=MIDDLE,
            sets=3,
            p_target=0.5,
            cut_um=seen(2.0, 1.0, 3.0),
            p_within_budget=0.99,
            left=seen(0.2, 0.1, 0.3),
            tried=True,
        ),
    ),
    n_trials=3,
    notes=("one", "two"),
)


def test_the_machine_interface_in_full() -> None:
    found = tell.to_contract(SPOT)
    row = {
        "process": MIDDLE,
        "sets": 3,
        "finish": None,
        "finish_sets": 0,
        "p_target": 0.5,
        "cut_um": 2.0,
        "cut_low_um": 1.0,
        "cut_high_um": 3.0,
        "p_within_budget": 0.99,
    }
    left = {"left": 0.2, "left_low": 0.1, "left_high": 0.3, "tried": True}
    assert found["next"] == {
        "do": "stop",
        "process": None,
        "sets": 0,
        "finish": None,
        "finish_sets": 0,
        "why": "Because.",
        "affordable": row | left,
    }
    assert found["paint"] == {"softness": 1.234, "low": 0.5, "high": 2.0}
    assert found["depth_um"] == {"median": 0.8, "p95": 2.5}
    assert (found["n_trials"], found["notes"]) == (3, ["one", "two"])
    assert found["candidates"][1]["finish"] == MILD
    assert found["candidates"][1]["finish_sets"] == 2
    plain = msgspec.structs.replace(SPOT, next=Advice(do="stop", process=None, sets=0, why=""))
    assert tell.to_contract(plain)["next"]["affordable"] is None


def test_the_summary_in_full() -> None:
    assert tell.summary(SPOT).replace("\xa0", " ").splitlines() == [
        "Because.",
        "",
        "Paint: softness 1.23 (0.50 to 2.00; 1 is typical), scratches 0.8 µm deep, 95 % within 2.5 µm",
        "",
        "process                                  sets  target       cut  budget",
        "polishing foam + medium liquid              2     88%    2.0 µm   98.8%",
        "cutting foam + heavy liquid (+ finish)      1     95%    2.0 µm  100.0%",
        "Note: one",
        "Note: two",
    ]
    assert "mil" in tell.summary(SPOT, "us")


def test_the_protocol_in_full() -> None:
    fresh = protocol.steps(Advice(do="try", process=STRONG, sets=1, why=""), DEFAULT)
    assert fresh == (
        (
            "Tape off an untouched square of at most 610 mm on a flat, typical panel that is not the "
            "most precious one: washed, dry, cool, away from edges and body lines."
        ),
        (
            "Photo before, lamp in view, the square as scale; a dozen gauge readings at marked places "
            "if there is a gauge."
        ),
        (
            f"Work 1 set of {STRONG}, one process only: 60 mm/s, strokes 65 mm apart, one direction and "
            "then across it."
        ),
        "Wipe the spot bare of residue and oils, without pressing; note the time if it drags.",
        (
            "Photo after: same place, same lamp, same distance, square in view; gauge on the marked "
            "places again."
        ),
        (
            "Look under the lamp and give the verdict: unchanged, some left, clean, or hazy (haze is to "
            "be expected: the finishing step comes later)."
        ),
    )
    again = protocol.steps(Advice(do="try", process=MIDDLE, sets=2, why="", spot="b"), DEFAULT)
    assert again[0] == "Go on with spot b: its first photo stays the photo before."
    assert again[1].startswith(f"Work 2 sets of {MIDDLE}, one process only: 60 mm/s")
    assert (
        again[-1]
        == "Look under the lamp and give the verdict: unchanged, some left, clean, or hazy."
    )


CAUTIONS = (
    "Matt paint must not be polished: any set leaves a shiny place for good.",
    "No clear coat: colour on the pad is paint, and every set takes some of it.",
    "Colour on the pad means there is no clear coat, or it is through: stop and look.",
    (
        "One panel does not speak for a repainted one: where gauge or eye find another paint, it needs "
        "a test spot of its own."
    ),
    "A thin panel is no place for a test spot, and gets no more than the mildest.",
    "This paint is soft: it also hazes easily; wipe without pressing, with soft towels.",
)


@pytest.mark.parametrize(
    ("known", "thin", "softest", "wanted"),
    [
        (Paint(system="matt", history="factory"), False, 1.0, [0]),
        (Paint(system="single-stage", history="factory"), False, 1.8, [1]),
        (Paint(system="unknown", history="factory"), True, 1.81, [2, 4, 5]),
        (Paint(system="clear-over-base", history="unknown"), False, 1.0, [3]),
        (None, False, 1.0, [2, 3]),
    ],
)
def test_cautions_in_full(
    known: Paint | None, softest: float, wanted: list[int], *, thin: bool
) -> None:
    spot = msgspec.structs.replace(SPOT, softness=seen(2.0, softest, 3.0))
    found = protocol.cautions(spot, paint=known, thin=thin)
    assert found == tuple(CAUTIONS[k] for k in wanted)


@pytest.mark.parametrize(
    ("call", "usual"),
    [
        (
            decide.assess,
            {
                "target": "daily",
                "budget_um": None,
                "draws": None,
                "width_hint_um": None,
                "start": None,
                "rules": Rules(),
                "n_draws": 4096,
            },
        ),
        (paint.prior, {"width_hint_um": None}),
        (paint.learn, {"width_hint_um": None, "start": None, "n": 4096}),
        (paint.removed_fraction, {"haze": 0.0}),
        (learning.lesson, {"paint_label": "", "start": None}),
        (learning.pooled, {"paint_label": "", "width_hint_um": None}),
        (tell.summary, {"units": "metric"}),
        (protocol.cautions, {"paint": None, "thin": False}),
    ],
)
def test_what_is_taken_where_nothing_is_said(
    call: Callable[..., object], usual: dict[str, object]
) -> None:
    given = {
        name: one.default
        for name, one in inspect.signature(call).parameters.items()
        if one.default is not inspect.Parameter.empty
    }
    assert given == usual
