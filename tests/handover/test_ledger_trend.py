"""Drift between visits and the month when the next one pays."""

from typing import Any

import numpy as np
import pytest

from leastcut.handover.ledger import Ledger, LedgerEntry, add
from leastcut.handover.trend import next_visit, trend


def seen(when: Any, value: Any, sd: Any = 0.5, *, after: Any = False, kind: Any = "load") -> Any:
    return LedgerEntry(
        car="c",
        panel="roof",
        when=when,
        kind=kind,
        value=value,
        sd=sd,
        how="measured",
        after_work=after,
    )


def book(*entries: Any) -> Any:
    return add(Ledger(car="c"), entries)


HISTORY = (
    seen("2022-03-01T09:00", 20.0),
    seen("2022-03-01T16:00", 2.0, after=True),
    seen("2023-03-01T09:00", 14.0),
    seen("2023-03-01T16:00", 2.0, after=True),
    seen("2024-03-01T09:00", 14.0),
    seen("2024-03-01T16:00", 2.0, after=True),
)


def test_the_rate_counts_growth_between_visits_and_not_the_work() -> None:
    found = trend(book(*HISTORY), "roof")
    assert found.n == 2
    assert found.per_month == pytest.approx(1.0, rel=2e-3)
    assert found.sd == pytest.approx(0.5 * 2**0.5 / 12 / 2**0.5, rel=5e-3)


def test_stretches_that_disagree_widen_the_uncertainty() -> None:
    odd = (*HISTORY[:4], seen("2024-03-01T09:00", 40.0))
    assert trend(book(*odd), "roof").sd > 5 * trend(book(*HISTORY), "roof").sd


def test_gloss_falls() -> None:
    rows = (
        seen("2023-01-01", 92.0, kind="gloss", after=True),
        seen("2024-01-01", 86.0, kind="gloss"),
    )
    assert trend(book(*rows), "roof", "gloss").per_month == pytest.approx(-0.5, rel=5e-3)


def test_one_visit_is_no_trend() -> None:
    assert trend(book(*HISTORY[:2]), "roof").refused is not None
    found = next_visit(book(*HISTORY[:2]), "roof", promised=2)
    assert found.months is None
    assert "two inspections" in found.why


def test_the_next_visit_pays_when_the_load_is_back() -> None:
    found = next_visit(book(*HISTORY), "roof", promised=2)
    assert found.pays_at_mm_per_cm2 == 14.0
    assert found.months == pytest.approx(12.0, rel=5e-3)
    assert found.early < found.months < found.late


def test_no_visit_pays_when_nothing_is_left_to_spend() -> None:
    found = next_visit(book(*HISTORY), "roof", promised=0)
    assert found.months is None
    assert "No correction is left" in found.why


def test_an_uncertain_trend_has_no_late_bound_and_a_falling_load_no_date() -> None:
    rows = (seen("2023-01-01", 5.0, 4.0, after=True), seen("2024-01-01", 9.0, 4.0))
    open_ended = next_visit(book(*rows), "roof", promised=1, pays_at_mm_per_cm2=40.0)
    assert open_ended.late is None
    assert open_ended.early is not None
    rows = (seen("2023-01-01", 9.0, 0.1, after=True), seen("2024-01-01", 5.0, 0.1))
    falling = next_visit(book(*rows), "roof", promised=1, pays_at_mm_per_cm2=40.0)
    assert falling.months is None
    assert falling.early is None


def test_a_load_above_the_limit_pays_now() -> None:
    found = next_visit(book(*HISTORY), "roof", promised=1, pays_at_mm_per_cm2=1.0)
    assert (found.early, found.months, found.late) == (0.0, 0.0, 0.0)


def test_bounds_hold_the_true_month_in_95_of_100_cars() -> None:
    rng = np.random.default_rng(3)
    held, n = 0, 300
    for _ in range(n):
        rate, start = rng.uniform(0.5, 2.0), 2.0
        rows = []
        for year in range(2018, 2024):
            rows += [
                seen(f"{year}-06-01T17:00", start + rng.normal(0, 0.5), after=True),
                seen(f"{year + 1}-06-01T09:00", start + rate * 12 + rng.normal(0, 0.5)),
            ]
        rows.append(seen("2024-06-01T17:00", start + rng.normal(0, 0.5), after=True))
        found = next_visit(book(*rows), "roof", promised=1, pays_at_mm_per_cm2=15.0)
        late = np.inf if found.late is None else found.late
        held += found.early <= (15.0 - start) / rate <= late
    assert 0.92 <= held / n <= 0.99
