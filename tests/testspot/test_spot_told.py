"""The answer in the interface's keys, as a summary, as a protocol and as cautions, in full."""

import inspect
from collections.abc import Callable

import msgspec
import pytest
from test_spot_next_words import candidate, seen
from test_spot_scalar import MIDDLE, MILD, STRONG

from leastcut.car.records import Paint
from leastcut.testspot import (
    decide,
    learning,
    paint,
    protocol,
    records,
    tell,
)
from leastcut.testspot.ladder import DEFAULT
from leastcut.testspot.records import (
    Advice,
    Affordable,
    DepthKnowledge,
)
from leastcut.testspot.rules import Rules

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
