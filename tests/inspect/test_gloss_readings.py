"""Gloss readings: averages, haze, and the change that polishing made."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.inspect.gloss import Angle, GlossReading, When, changes, find, parse_rows


def read(*values: float, angle: Angle = 20, when: When = "before") -> list[GlossReading]:
    return [
        GlossReading(panel="roof", spot=str(i), angle=angle, gloss_gu=v, when=when)
        for i, v in enumerate(values)
    ]


def test_mean_interval_and_haze() -> None:
    (found,) = find(read(80, 82, 81) + read(88, 90, 89, angle=60))
    assert found.gloss_gu["20"].mean == pytest.approx(81)
    assert found.haze_gu == pytest.approx(8.0)  # source: ASTM D4039, G60 - G20; status: seen
    assert found.n_readings == 6
    assert found.notes == ()
    # u = hypot(1/sqrt(3), 0.5), t for Welch-Satterthwaite's 6 degrees of freedom (GUM G.4.1)
    reach = 2.4469 * np.hypot(3**-0.5, 0.5)
    assert found.gloss_gu["20"].high - 81 == pytest.approx(reach, abs=1e-3)


def test_equal_and_single_readings_keep_the_meters_own_uncertainty() -> None:
    (one,) = find(read(80))
    (equal,) = find(read(80, 80, 80))
    assert one.gloss_gu["20"].high - 80 == pytest.approx(1.96 * 0.5, abs=1e-3)
    assert equal.gloss_gu["20"].high == pytest.approx(one.gloss_gu["20"].high)
    assert one.haze_gu is None


def test_more_than_a_coat_can_reflect_is_told() -> None:
    (found,) = find(read(99, 100))
    assert "more than any smooth clear coat" in found.notes[0]


def test_a_better_angle_is_told() -> None:
    (found,) = find(read(85, angle=60))
    assert "20° angle" in found.notes[0]


def test_change_with_its_bounds() -> None:
    (change,) = changes(
        read(70, 72, 71, 69) + read(80, 81, 79, 80, when="after") + read(90, angle=60)
    )
    assert change.gain_gu.mean == pytest.approx(9.5)
    assert change.sure
    (nothing,) = changes(read(70, 72) + read(71, 71, when="after"))
    assert not nothing.sure


def test_bounds_of_a_change_hold_as_often_as_stated() -> None:
    rng = np.random.default_rng(3)
    hits = []
    for _ in range(1500):
        before, after = rng.normal(70, 1, 4), rng.normal(75, 1, 4)
        (c,) = changes(read(*before.tolist()) + read(*after.tolist(), when="after"))
        hits.append(c.gain_gu.low <= 5 <= c.gain_gu.high)
    assert 0.93 < np.mean(hits) < 0.99


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ({"angle_deg": "45"}, "angle_deg"),
        ({"gloss_gu": "-1"}, "gloss_gu"),
        ({"gloss_gu": "bright"}, "gloss_gu"),
        ({"when": "later"}, "when"),
        ({"panel": "mast"}, "panel"),
    ],
)
def test_bad_rows(row: dict[str, str], column: str) -> None:
    usual = {"panel": "roof", "angle_deg": "20", "gloss_gu": "80"}
    good, (bad,) = parse_rows([(2, usual), (3, usual | row)], where="g.csv", panels={"roof"})
    assert len(good) == 1
    assert bad.where == f"g.csv:3 {column}"


JUNK = st.dictionaries(
    st.sampled_from(["panel", "spot", "angle_deg", "gloss_gu", "when"]),
    st.one_of(st.text(max_size=6), st.sampled_from(["20", "60", "85", "before", "after", "1e3"])),
)


@given(st.lists(JUNK, max_size=12))
def test_any_junk_gives_findings_or_problems(rows: list[dict[str, Any]]) -> None:
    good, bad = parse_rows(enumerate(rows, start=2), where="g.csv", panels=None)
    assert len(good) + len(bad) == len(rows)
    assert sum(f.n_readings for f in find(good)) == len(good)
    assert len(changes(good)) <= len(good)
