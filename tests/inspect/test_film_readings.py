"""Rows of a readings file: the good are kept, each bad one costs one plain line."""

import math
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.errors import Problem
from leastcut.inspect.readings import MOST_UM, parse_history, parse_rows
from leastcut.inspect.records import Reading

CELLS = st.one_of(
    st.text(max_size=12),
    st.floats().map(str),
    st.floats(1, 5000).map(lambda x: f"{x:.3f}"),
    st.sampled_from(["", "roof", "clear", "total", "steel", "nan", "inf", "-1", "0", "1,5", "1e9"]),
)
COLUMNS = ["panel", "spot", "reading_um", "reading_mil", "x_mm", "y_mm", "layer", "substrate"]
ROWS = st.lists(st.dictionaries(st.sampled_from(COLUMNS), CELLS), max_size=20)


Parsed = tuple[tuple[Reading, ...], tuple[Problem, ...]]


def parse(*rows: Mapping[str, Any]) -> Parsed:
    return parse_rows(enumerate(rows, start=2), where="film.csv", panels={"roof", "bonnet"})


def test_good_row_with_all_columns() -> None:
    (reading,), bad = parse(
        {
            "panel": "roof",
            "spot": "3",
            "reading_um": "118,5",
            "x_mm": "200",
            "y_mm": "-10.5",
            "layer": "Clear",
            "substrate": "aluminium",
        }
    )
    assert not bad
    assert (reading.reading_um, reading.layer, reading.substrate) == (118.5, "clear", "aluminium")
    assert (reading.x_mm, reading.y_mm, reading.line, reading.spot) == (200.0, -10.5, 2, "3")


def test_mil_is_the_international_thou() -> None:
    # source: 1 mil = 25.4 um exactly, 4.0 mil = 101.6 um (units table); status: recomputed
    (reading,), _ = parse({"panel": "roof", "reading_mil": "4.0"})
    assert reading.reading_um == pytest.approx(101.6, abs=1e-12)


def test_each_row_without_a_spot_is_its_own_spot() -> None:
    good, _ = parse({"panel": "roof", "reading_um": "100"}, {"panel": "roof", "reading_um": "101"})
    assert good[0].spot != good[1].spot


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ({"panel": "roof", "reading_um": "-4"}, "reading_um"),
        ({"panel": "roof", "reading_um": "0"}, "reading_um"),
        ({"panel": "roof", "reading_um": "nan"}, "reading_um"),
        ({"panel": "roof", "reading_um": "5001"}, "reading_um"),
        ({"panel": "roof", "reading_mil": "200"}, "reading_mil"),
        ({"panel": "roof", "reading_um": "thick"}, "reading_um"),
        ({"panel": "roof"}, "reading_um"),
        ({"panel": "roof", "reading_um": "100", "reading_mil": "4"}, "reading_um"),
        ({"reading_um": "100"}, "panel"),
        ({"panel": "mast", "reading_um": "100"}, "panel"),
        ({"panel": "roof", "reading_um": "100", "layer": "primer"}, "layer"),
        ({"panel": "roof", "reading_um": "100", "substrate": "wood"}, "substrate"),
        ({"panel": "roof", "reading_um": "100", "x_mm": "left"}, "x_mm"),
        ({"panel": "roof", "reading_um": None}, "reading_um"),
        ({"panel": "roof", "reading_um": "240", "layer": "clear"}, "layer"),
    ],
)
def test_bad_row_says_file_line_column_and_remedy(row: dict[str, Any], column: str) -> None:
    good, (problem,) = parse({"panel": "roof", "reading_um": "100"}, row)
    assert len(good) == 1
    assert problem.where == f"film.csv:3 {column}"
    assert problem.what
    assert problem.do


@given(ROWS)
def test_any_junk_gives_a_result_or_one_problem_per_bad_row(rows: list[dict[str, str]]) -> None:
    good, bad = parse(*rows)
    assert len(good) + len(bad) == len(rows)
    lines = [r.line for r in good] + [int(p.where.split(":")[1].split()[0]) for p in bad]
    assert sorted(lines) == list(range(2, 2 + len(rows)))
    for reading in good:
        assert 0 < reading.reading_um <= MOST_UM
        assert all(v is None or math.isfinite(v) for v in (reading.x_mm, reading.y_mm))


def test_history_reads_cut_and_default_uncertainty() -> None:
    good, bad = parse_history(
        [
            (2, {"panel": "roof", "cut_um": "2", "when": "2024-05-01"}),
            (3, {"panel": "roof", "cut_um": "2", "sd_um": "0.1"}),
            (4, {"panel": "roof", "cut_um": "-2"}),
            (5, {"panel": "roof", "cut_um": "2", "sd_um": "x"}),
            (6, {"panel": "mast", "cut_um": "2"}),
        ],
        where="ledger.csv",
        panels={"roof"},
    )
    assert [(c.cut_um, c.sd_um, c.when) for c in good] == [(2.0, 0.6, "2024-05-01"), (2.0, 0.1, "")]
    assert [p.where for p in bad] == [
        "ledger.csv:4 cut_um",
        "ledger.csv:5 sd_um",
        "ledger.csv:6 panel",
    ]
