"""Target met or not, with how sure it is, what remains and what to do next."""

import itertools
import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from leastcut.car.records import Interval
from leastcut.errors import Refusal
from leastcut.inspect.records import CompareFinding, LoadByKind, ScratchFinding
from leastcut.testspot.records import Measured
from leastcut.web import words as catalogue
from leastcut.work.proof import Evidence, Pair, chance, pooled, prove


def compared(
    removed: float, reach: float = 0.04, *, trails: int = 0, area: float = 10.0
) -> CompareFinding:
    return CompareFinding(
        removed_fraction=removed,
        removed_low=removed - reach,
        removed_high=min(1.0, removed + reach),
        before_load_mm_per_cm2=10.0,
        after_load_mm_per_cm2=10.0 * (1 - removed),
        new_trails=trails,
        registration_rms_px=0.5,
        overlap_cm2=area,
    )


def refused() -> CompareFinding:
    names = CompareFinding.__struct_fields__
    return CompareFinding(
        **{**dict.fromkeys(names), "refused": Refusal(why="oils", do="Wipe it bare")}
    )


def finish(*, deep: float = 0.0, swirl: float = 1.0, haze: float = 0.1) -> ScratchFinding:
    return ScratchFinding(
        um_per_px=20.0, scale_from="square", area_cm2=50.0, load_mm_per_cm2=swirl + deep,
        load_low=0.0, load_high=9.0, load_seen_mm_per_cm2=1.0,
        by_kind=LoadByKind(swirl=swirl, trail=0.0, deep=deep), haze=haze, direction=None,
        light_px=None,
    )  # fmt: skip


def proof(*pairs: Pair, **known: object) -> Evidence:
    return Evidence(panel="roof", pairs=pairs, budget_um=4.0, **known)  # type: ignore[arg-type]


def test_met_not_met_and_cannot_tell() -> None:
    assert prove(proof(Pair(compared=compared(0.95))), "daily").met is True
    assert prove(proof(Pair(compared=compared(0.60))), "daily").met is False
    unsure = prove(proof(Pair(compared=compared(0.86, 0.1))), "daily")
    assert unsure.met is None
    assert 0.5 < (unsure.p_met or 0) < 0.7
    assert "second pair" in unsure.next


def test_the_higher_target_is_harder() -> None:
    evidence = proof(Pair(compared=compared(0.93, 0.03)))
    assert prove(evidence, "daily").met
    assert not prove(evidence, "show").met


@given(st.floats(0, 1), st.floats(0.02, 0.3), st.floats(0.1, 0.99))
def test_the_chance_is_a_normal_tail(removed: float, reach: float, required: float) -> None:
    """source: the normal distribution as scipy.special.ndtr computes it; status: recomputed."""
    got = chance(Interval(mean=removed, low=removed - reach, high=removed + reach), required)
    sd = max(reach / 1.959963984540054, 0.01)
    assert got == pytest.approx(float(ndtr((removed - required) / sd)), abs=1e-9)


def test_pairs_are_pooled_by_scratch_length() -> None:
    """Against a simulation of the same pooling with independent errors."""
    both = pooled([compared(0.9, area=30.0), compared(0.7, area=10.0)])
    assert both.mean == pytest.approx(0.85)
    rng = np.random.default_rng(1)
    sd = 0.04 / 1.96
    drawn = 0.75 * rng.normal(0.9, sd, 200_000) + 0.25 * rng.normal(0.7, sd, 200_000)
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert both.low == pytest.approx(low, abs=1e-3)
    assert both.high == pytest.approx(high, abs=1e-3)


def test_a_section_that_falls_short_is_gone_back_to() -> None:
    pairs = (
        Pair(compared=compared(0.9), section="r1"),
        Pair(compared=compared(0.4), section="r2"),
        Pair(compared=compared(0.3), section="r3"),
    )
    found = prove(proof(*pairs, set_um=0.8, process="polish"), "daily")
    assert found.back_to == ("r3", "r2")
    assert "section r3, r2: one more set of polish" in found.next


def test_a_spent_budget_stops() -> None:
    """Readings fell by 3 µm; the standard errors add in squares."""
    evidence = proof(
        Pair(compared=compared(0.5)),
        read_before=Measured(value=120.0, sd=0.3),
        read_after=Measured(value=117.0, sd=0.4),
        set_um=1.5,
    )
    found = prove(evidence, "daily")
    assert found.cut_um is not None
    assert found.cut_um.mean == 3.0
    assert found.cut_um.high - 3.0 == pytest.approx(1.96 * math.hypot(0.3, 0.4), rel=1e-3)
    assert (found.do, found.next[:9]) == ("stop", "Stop here")
    nothing_left = prove(proof(Pair(compared=compared(0.5)), spent_um=4.5), "daily")
    assert nothing_left.do == "stop"
    assert "nothing more may be spent" in nothing_left.next


def test_what_remains_is_named() -> None:
    evidence = proof(
        Pair(compared=compared(0.5, trails=3)),
        before=finish(haze=0.1),
        after=finish(deep=2.0, haze=0.3),
    )
    found = prove(evidence, "daily")
    said = " ".join(found.remains)
    for words in ("2.0 mm/cm² of deep marks, left on purpose", "swirls", "3 new trails", "haze"):
        assert words in said
    assert found.next.startswith("Finish again")


def test_without_a_next_set_a_trial_comes_first() -> None:
    found = prove(proof(Pair(compared=compared(0.5))), "daily")
    assert "next process on a spot" in found.next
    assert "the panel" in found.next


def test_nothing_to_compare_is_refused() -> None:
    found = prove(proof(Pair(compared=refused())), "daily")
    assert (found.met, found.next) == (None, "Wipe it bare")
    assert prove(proof(), "daily").refused is not None


def test_met_goes_on() -> None:
    found = prove(proof(Pair(compared=compared(0.95)), after=finish()), "daily")
    assert "last layer" in found.next
    assert found.remains == ()


def everything_said() -> set[str]:
    """Sentences of proofs over every mix of photos, budget and next set."""
    said: set[str] = set()
    sights = (
        {"after": finish(deep=2.0, swirl=3.0), "before": finish()},
        {"after": finish(haze=0.4), "before": finish(haze=0.1)},
        {},
    )
    pairs = (
        (Pair(compared=compared(0.6), section="2"), Pair(compared=compared(0.7), section="3")),
        (Pair(compared=compared(0.6)),),
        (Pair(compared=compared(0.86, 0.1)),),
        (Pair(compared=compared(0.99, 0.01)),),
        (Pair(compared=compared(0.9, trails=3)),),
        (),
    )
    ends = ({"set_um": 0.8, "process": "polishing foam + medium liquid"}, {"set_um": 0.8}, {}, {"spent_um": 9.0}, {"set_um": 6.0})  # fmt: skip
    for sight, shown, end in itertools.product(sights, pairs, ends):
        found = prove(proof(*shown, **sight, **end), "daily")
        said |= {*found.remains, found.next}
    return said


def test_every_sentence_of_a_proof_reads_in_spanish() -> None:
    said = everything_said()
    assert len(said) >= 12
    for sentence in said:
        told = catalogue.told("es", sentence)
        left = set(re.findall(r"[a-z]{2,}", told.lower()))
        assert not left & {
            "the",
            "of",
            "and",
            "then",
            "go",
            "stop",
            "take",
            "wipe",
            "set",
            "left",
        }, told
