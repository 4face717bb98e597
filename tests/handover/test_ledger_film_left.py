"""What is left: hand-worked cases, an independent filter, and ten-visit cars whose truth is known."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ledger_life import RESERVE_UM, life
from scipy.stats import norm

from leastcut.handover.account import USUAL, account
from leastcut.handover.film_left import (
    FACTORY,
    Usual,
    clear_left,
    corrections_left,
    usual_correction,
)
from leastcut.handover.ledger import Ledger, LedgerEntry, add


def entry(kind: Any, when: Any, value: Any, sd: Any, **more: Any) -> Any:
    given_ = {"car": "c", "panel": "roof", "how": "measured"} | more
    return LedgerEntry(kind=kind, when=when, value=value, sd=sd, **given_)


def book(*entries: Any) -> Any:
    return add(Ledger(car="c"), entries)


def test_a_reading_then_cuts_add_up_in_quadrature() -> None:
    # source: JCGM 100:2008, 5.1.2, law of propagation for independent inputs; status: memory
    left = clear_left(
        book(
            entry("clear", "2024-01-01", 48.0, 1.5),
            entry("cut", "2024-01-01", 2.0, 0.5),
            entry("cut", "2025-01-01", 1.0, 0.4),
        ),
        "roof",
    )
    assert left.clear_um.mean == pytest.approx(45.0)
    assert left.sd_um == pytest.approx((1.5**2 + 0.5**2 + 0.4**2) ** 0.5)
    assert (left.cut_um, left.n_readings, left.n_cuts, left.assumed) == (3.0, 1, 2, False)


def test_an_error_shared_by_all_estimates_adds_in_full() -> None:
    left = clear_left(
        book(
            entry("clear", "2024-01-01", 48.0, 1e-3),
            *(
                entry("cut", f"2024-0{m}-02", 1.0, 1e-3, shared_sd=0.3, shared_with="softness")
                for m in (2, 3, 4)
            ),
        ),
        "roof",
    )
    assert left.sd_um == pytest.approx(0.9, rel=1e-3)


def test_readings_that_share_an_error_do_not_average_it_out() -> None:
    readings = [
        entry("clear", f"20{y}-01-01", 44.0, 0.5, shared_sd=3.0, shared_with="layers")
        for y in range(16, 26)
    ]
    left = clear_left(book(*readings), "roof")
    assert left.sd_um == pytest.approx((3.0**2 + 0.5**2 / 10) ** 0.5, rel=1e-6)


def test_a_shared_error_without_a_source_is_each_entry_s_own() -> None:
    readings = [entry("clear", f"202{y}-01-01", 44.0, 0.0, shared_sd=2.0) for y in range(4)]
    assert clear_left(book(*readings), "roof").sd_um == pytest.approx(1.0, rel=1e-6)


def kalman(facts: Any) -> Any:
    """Mean and variance of the clear coat now by a scalar Kalman filter: another route."""
    mean, var = facts[0].value, facts[0].sd ** 2
    for fact in facts[1:]:
        if fact.kind == "cut":
            mean, var = mean - fact.value, var + fact.sd**2
        else:
            gain = var / (var + fact.sd**2)
            mean, var = mean + gain * (fact.value - mean), (1 - gain) * var
    return mean, var**0.5


@given(
    st.lists(
        st.tuples(st.booleans(), st.floats(0.1, 3.0), st.floats(0.1, 2.0)), min_size=1, max_size=12
    )
)
@settings(max_examples=60, deadline=None)
def test_independent_errors_give_the_kalman_filter(rows: Any) -> None:
    # source: R. E. Kalman 1960, scalar form recomputed here; status: memory
    facts = [entry("clear", "2001-01-01", 45.0, 1.0)]
    for n, (is_cut, value, sd) in enumerate(rows, 2):
        when = f"20{n:02d}-06-01"
        facts.append(
            entry("cut", when, value, sd) if is_cut else entry("clear", when, 40 + value, sd)
        )
    left = clear_left(book(*facts), "roof")
    mean, sd = kalman(facts)
    assert left.clear_um.mean == pytest.approx(mean, abs=1e-7)
    assert left.sd_um == pytest.approx(sd, abs=1e-7)


@given(st.floats(0.0, 5.0), st.floats(0.05, 2.0))
@settings(max_examples=40, deadline=None)
def test_another_cut_never_raises_what_is_surely_left(value: Any, sd: Any) -> None:
    before = book(entry("clear", "2024-01-01", 45.0, 1.0), entry("cut", "2024-02-01", 1.0, 0.3))
    after = add(before, [entry("cut", "2025-01-01", value, sd)])
    low = clear_left(before, "roof").clear_um.low
    assert clear_left(after, "roof").clear_um.low <= low + 1e-9


def test_a_panel_nobody_measured_stands_on_the_factory_range() -> None:
    left = clear_left(book(entry("cut", "2024-01-01", 2.0, 0.5)), "roof")
    assert left.assumed
    assert left.clear_um.mean == pytest.approx(FACTORY.value - 2.0)


def test_ten_visit_cars_keep_the_truth_inside_and_never_overpromise() -> None:
    rng = np.random.default_rng(20)
    held = promising = broken = 0
    lives = [life(rng) for _ in range(700)]
    for one in lives:
        left = clear_left(one.ledger, "roof")
        held += left.clear_um.low <= one.clear_um <= left.clear_um.high
        usual = usual_correction(one.ledger, "roof", otherwise=USUAL)
        promised = corrections_left(left, usual=usual, reserve_um=RESERVE_UM).promised
        if promised:
            promising += 1
            broken += one.clear_um - one.coming_um[:promised].sum() < RESERVE_UM
    assert 0.93 <= held / len(lives) <= 0.98
    assert promising > 200
    assert broken / promising <= 0.01


def test_probabilities_follow_the_normal_law() -> None:
    left = clear_left(book(entry("clear", "2024-01-01", 42.0, 1.2)), "roof")
    usual = Usual(cut_um=1.5, mean_sd_um=0.3, scatter_um=0.4)
    found = corrections_left(left, usual=usual, reserve_um=35.56)
    for n, chance in enumerate(found.probability[:4], 1):
        spread = (1.2**2 + (n * 0.3) ** 2 + n * 0.4**2) ** 0.5
        assert chance == pytest.approx(norm.sf(35.56, 42.0 - 1.5 * n, spread), rel=1e-9)
    assert list(found.probability) == sorted(found.probability, reverse=True)
    assert found.promised == sum(c >= 0.995 for c in found.probability)


def test_few_cuts_fall_back_to_the_car_and_then_to_the_trade() -> None:
    two = [entry("cut", f"2024-0{m}-01", 1.0 + m, 0.2) for m in (1, 2)]
    assert usual_correction(book(*two), "roof", otherwise=USUAL) == USUAL
    other = entry("cut", "2024-03-01", 4.0, 0.2, panel="bonnet")
    assert usual_correction(book(*two, other), "roof", otherwise=USUAL).cut_um == pytest.approx(3.0)


def test_the_account_has_a_line_for_every_panel_and_says_what_it_cannot_know() -> None:
    lines = account(
        book(
            entry("clear", "2024-01-01", 58.0, 1.0),
            entry("load", "2024-01-01", 20.0, 2.0),
            entry("clear", "2024-01-01", 36.0, 1.0, panel="sill-left"),
        )
    )
    assert [line.panel for line in lines] == ["roof", "sill-left"]
    assert lines[0].corrections.promised >= 3
    assert lines[1].corrections.promised == 0
    assert "two inspections" in lines[0].next_visit.why
    assert "No correction is left" in lines[1].next_visit.why
