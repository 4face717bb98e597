"""The reserve rule against the published limits."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.inspect.budget import (
    DEFAULT,
    allowance_um,
    deep_scratch,
    removed_by_panel,
    reserve_rule,
)
from leastcut.inspect.records import EarlierCut

MIL = 25.4
UM = st.floats(0, 100)


@pytest.mark.parametrize(
    ("clear_mil", "allowed_mil"),
    # source: GM bulletin 86-10-24 (1.4 mil must stay), GM service pages (0.5 mil), trade texts
    # (0.3 mil); status: limits seen, combination recomputed
    [(1.5, 0.1), (1.65, 0.25), (1.7, 0.3), (2.5, 0.3), (1.4, 0.0), (1.0, 0.0)],
)
def test_allowance_of_an_exactly_known_coat(clear_mil: float, allowed_mil: float) -> None:
    assert allowance_um(clear_mil * MIL) == pytest.approx(allowed_mil * MIL, abs=1e-9)


def test_levels_of_the_default_rule() -> None:
    assert (DEFAULT.aim_um, DEFAULT.floor_um) == pytest.approx((35.56, 25.4))
    assert (DEFAULT.once_um, DEFAULT.life_um) == pytest.approx((7.62, 12.7))


@given(UM, UM, UM, UM)
def test_allowance_never_breaks_a_limit(
    clear: float, low: float, removed: float, reserve: float
) -> None:
    rule = reserve_rule(reserve)
    cut = allowance_um(clear, low, removed_um=removed, rule=rule)
    assert cut >= 0
    if cut > 0:
        assert clear - cut >= rule.aim_um - 1e-9
        assert low - cut >= rule.floor_um - 1e-9
        assert removed + cut <= rule.once_um + 1e-9


@given(UM, UM, st.floats(0, 10))
def test_more_evidence_of_clear_never_lowers_the_allowance(
    clear: float, low: float, more: float
) -> None:
    assert allowance_um(clear + more, low + more) >= allowance_um(clear, low)


def test_own_reserve_stands_for_both_levels() -> None:
    rule = reserve_rule(30.0)
    assert (rule.aim_um, rule.floor_um) == (30.0, 30.0)
    assert reserve_rule() is DEFAULT


def test_ledger_adds_up_cuts_and_their_variances() -> None:
    sums = removed_by_panel(
        [
            EarlierCut(panel="roof", cut_um=1.0, sd_um=0.3),
            EarlierCut(panel="roof", cut_um=2.0, sd_um=0.4),
            EarlierCut(panel="bonnet", cut_um=0.5, sd_um=0.1),
        ]
    )
    assert sums == {"roof": pytest.approx((3.0, 0.5)), "bonnet": pytest.approx((0.5, 0.1))}


@given(UM, UM)
def test_deep_scratch_is_levelled_only_within_the_budget(depth: float, budget: float) -> None:
    advice = deep_scratch(depth, budget)
    assert advice.startswith("Can be levelled") == (depth <= budget)
    assert ("painter" in advice) == (depth > budget)
