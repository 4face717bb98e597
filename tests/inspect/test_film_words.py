"""Rows, ledgers, gauge and layers: exact words, the limits themselves, and figures by hand."""

import inspect
import math
from collections.abc import Callable
from typing import Any

import msgspec
import numpy as np
import pytest

from leastcut.errors import Problem
from leastcut.inspect import budget, film, film_map, gauge, layers, readings
from leastcut.inspect.budget import ReserveRule, allowance_um, deep_scratch, removed_by_panel
from leastcut.inspect.gauge import calibrate, corrected, spread_of
from leastcut.inspect.layers import DEFAULT_PRIOR, LayerError, LayerPrior, LayerRange, with_clear
from leastcut.inspect.records import EarlierCut, Gauge, GaugeCheck, Reading

AGAIN = "Read the gauge again or delete the row"
CUT = "Write what was cut in µm, or delete the row"
MATERIALS = "steel, aluminium, plastic, composite, unknown"


def told(row: dict[str, Any], *, history: bool = False, panels: set[str] | None = None) -> Problem:
    read = readings.parse_history if history else readings.parse_rows
    good, (problem,) = read([(7, row)], where="film.csv", panels=panels)
    assert good == ()
    return problem


@pytest.mark.parametrize(
    ("changed", "column", "what", "do"),
    [
        ({"reading_um": "-4"}, "reading_um", "-4 is not a film thickness", AGAIN),
        ({"reading_um": "0"}, "reading_um", "0 is not a film thickness", AGAIN),
        ({"reading_um": "inf"}, "reading_um", "inf is not a number", AGAIN),
        ({"reading_um": "thick" * 9}, "reading_um", f"cannot read {('thick' * 8)!r} as a number", AGAIN),
        ({"reading_um": "1,2,3"}, "reading_um", "cannot read '1,2,3' as a number", AGAIN),
        (
            {"reading_um": "5000.5"},
            "reading_um",
            "5000.5 is more than 5000 µm",
            f"Check the unit. {AGAIN}",
        ),
        (
            {"reading_um": "", "reading_mil": "197"},
            "reading_mil",
            "197 is more than 5000 µm",
            f"Check the unit. {AGAIN}",
        ),
        (
            {"reading_um": " "},
            "reading_um",
            "there is no reading",
            "Fill reading_um or reading_mil, not both",
        ),
        (
            {"reading_mil": "4"},
            "reading_um",
            "there are two readings in one row",
            "Fill reading_um or reading_mil, not both",
        ),
        ({"panel": ""}, "panel", "no panel is named", "Write the panel id in this row"),
        ({"panel": "mast"}, "panel", "'mast' is not a panel of this car", "Use one of boot, roof"),
        (
            {"layer": "primer" * 9},
            "layer",
            f"{('primer' * 9)[:40]!r} is not known here",
            "Use one of total, clear",
        ),
        (
            {"substrate": "wood"},
            "substrate",
            "'wood' is not known here",
            f"Use one of {MATERIALS}",
        ),
        (
            {"x_mm": "left"},
            "x_mm",
            "cannot read 'left' as a number",
            "Write millimetres or leave it empty",
        ),
        (
            {"y_mm": "nan"},
            "y_mm",
            "nan is not a number",
            "Write millimetres or leave it empty",
        ),
        (
            {"layer": "clear", "reading_um": "200.6"},
            "layer",
            "201 µm is more than any clear coat",
            "Write total if the gauge read all layers together",
        ),
    ],
)  # fmt: skip
def test_a_bad_row_in_full(changed: dict[str, str], column: str, what: str, do: str) -> None:
    row = {"panel": "roof", "reading_um": "100"} | changed
    wanted = Problem(where=f"film.csv:7 {column}", what=what, do=do)
    assert told(row, panels={"roof", "boot"}) == wanted


@pytest.mark.parametrize(
    ("changed", "column", "what"),
    [
        ({"cut_um": "-0.1"}, "cut_um", "-0.1 is not a cut of clear coat"),
        ({"cut_um": "200.1"}, "cut_um", "200.1 is not a cut of clear coat"),
        ({"cut_um": "x"}, "cut_um", "cannot read 'x' as a number"),
        ({"sd_um": "x"}, "sd_um", "cannot read 'x' as a number"),
        ({"sd_um": "-1"}, "sd_um", "-1 is not a cut of clear coat"),
        ({"sd_um": "201"}, "sd_um", "201 is not a cut of clear coat"),
    ],
)
def test_a_bad_ledger_row_in_full(changed: dict[str, str], column: str, what: str) -> None:
    row = {"panel": "roof", "cut_um": "2"} | changed
    wanted = Problem(where=f"film.csv:7 {column}", what=what, do=CUT)
    assert told(row, history=True) == wanted
    none = told({"panel": "roof", "reading_um": "1"}, panels=set())
    assert none.do == "Use one of the panels of the car"


def test_good_rows_in_full() -> None:
    row = {
        "panel": " roof ",
        "spot": "",
        "reading_um": "99,5",
        "layer": "CLEAR",
        "substrate": "Steel",
        "x_mm": "1,5",
        "y_mm": "-2",
    }
    good, bad = readings.parse_rows([(9, row)], where="f", panels={"roof"})
    assert bad == ()
    assert good == (
        Reading(
            panel="roof",
            spot="line 9",
            reading_um=99.5,
            layer="clear",
            substrate="steel",
            x_mm=1.5,
            y_mm=-2.0,
            line=9,
        ),
    )
    most = {"panel": "roof", "reading_um": "5000"}
    clear = {"panel": "roof", "spot": "b", "reading_um": "200", "layer": "clear"}
    (one, two), none = readings.parse_rows([(2, most), (3, clear)], where="f", panels=None)
    assert (one.reading_um, one.layer, one.substrate, one.x_mm) == (
        5000.0,
        "total",
        "unknown",
        None,
    )
    assert (two.reading_um, two.spot, none) == (200.0, "b", ())


def test_good_ledger_rows_in_full() -> None:
    rows = [
        {"panel": "roof", "cut_um": "200", "sd_um": "0", "when": " 2024 "},
        {"panel": "roof", "cut_um": "0"},
        {"panel": "roof", "cut_um": "3"},
    ]
    good, bad = readings.parse_history(enumerate(rows), where="f", panels={"roof"})
    assert bad == ()
    assert [(e.cut_um, e.sd_um, e.when) for e in good] == [
        (200.0, 0.0, "2024"),
        (0.0, 0.0, ""),
        (3.0, pytest.approx(0.9), ""),
    ]


# the budget


def test_each_limit_of_the_allowance_binds_by_hand() -> None:
    rule = ReserveRule(aim_um=30.0, floor_um=20.0, once_um=8.0, life_um=12.0)
    assert allowance_um(60.0, 50.0, rule=rule) == 8.0
    assert allowance_um(60.0, 50.0, removed_um=3.0, rule=rule) == 5.0
    late = msgspec.structs.replace(rule, once_um=20.0)
    assert allowance_um(60.0, 50.0, removed_um=3.0, rule=late) == 9.0
    assert allowance_um(36.0, 50.0, rule=rule) == 6.0
    assert allowance_um(60.0, 24.5, rule=rule) == 4.5
    assert allowance_um(60.0, 19.0, rule=rule) == 0.0
    assert allowance_um(34.0, rule=rule) == 4.0
    assert removed_by_panel(
        [EarlierCut(panel="a", cut_um=1.0, sd_um=3.0), EarlierCut(panel="a", cut_um=2.0, sd_um=4.0)]
    ) == {"a": (3.0, 5.0)}
    mine = budget.reserve_rule(31.0)
    assert (mine.aim_um, mine.floor_um, mine.confidence) == (31.0, 31.0, 0.99)
    assert budget.reserve_rule() is budget.DEFAULT


def test_what_is_said_of_a_deep_scratch() -> None:
    assert deep_scratch(5.0, 5.0) == (
        "Can be levelled: it costs 5.0 µm of the 5.0 µm that may be cut."
    )
    assert deep_scratch(5.1, 5.0) == (
        "Not worth the clear coat: it is 5.1 µm deep and 5.0 µm may be cut. Round its edges with "
        "the sets that the panel gets anyway, then leave it or refer it to a painter."
    )


# the gauge


def check(known: float, shown: float) -> GaugeCheck:
    return GaugeCheck(known_um=known, shown_um=shown)


def test_a_gauge_that_nobody_checked_by_hand() -> None:
    found = calibrate([])
    assert (found.repeat_um, found.level_um, found.panel_um) == pytest.approx((1.2, 3.6, 1.8))
    assert found.sd_um == pytest.approx(math.sqrt(1.2**2 + 3.6**2 + 1.8**2))
    assert found.notes == (
        "The gauge was not checked on bare metal and a shim: its readings count for less.",
    )


def test_checks_at_one_thickness_by_hand() -> None:
    # errors 1, 2 and 3 µm at 100 µm: mean 2; 4 x 1.2² stated and 2 about the mean, over 4 + 2
    found = calibrate([check(100, 101), check(100, 102), check(100, 103)])
    pooled = (4 * 1.44 + 2.0) / 6
    shim = 1.0 / math.sqrt(3)  # good to 1 %, rectangular
    away = 0.03 * 20.0  # 3 % of the way to 120 µm
    assert (found.bias_um, found.slope_error) == (pytest.approx(2.0), 0.0)
    assert found.repeat_um == pytest.approx(math.sqrt(pooled))
    assert found.level_um == pytest.approx(math.sqrt(pooled / 3 + shim**2 + away**2))
    assert (found.panel_um, found.checked, found.notes) == (1.0, True, ())


def test_a_line_through_two_thicknesses_by_hand() -> None:
    # +1 µm at 0 and +3.4 at 120: at the pivot 3.4, with 2 % of slope; stated repeatability only
    found = calibrate([check(0, 1), check(120, 123.4)])
    assert found.bias_um == pytest.approx(3.4)
    assert found.slope_error == pytest.approx(0.02)
    assert found.repeat_um == pytest.approx(1.2)
    assert found.level_um == pytest.approx(math.hypot(1.2, 1.2 / math.sqrt(3)), rel=0.02)
    back = corrected(np.array([1.0, 123.4]), found)
    assert back == pytest.approx([0.0, 120.0])


def test_the_tolerance_itself_is_allowed_and_more_is_told() -> None:
    # 10 %, but at least 2 µm
    assert calibrate([check(0, 2), check(100, 110)]).notes == ()
    doubted = calibrate([check(0, -2.1), check(100, 110.1)])
    assert doubted.notes == (
        (
            "The gauge is out of tolerance: -2.1 µm at 0 µm, more than 2.0 µm. "
            "Its readings count for less; have it adjusted."
        ),
        (
            "The gauge is out of tolerance: +10.1 µm at 100 µm, more than 10.0 µm. "
            "Its readings count for less; have it adjusted."
        ),
    )
    assert doubted.panel_um == pytest.approx(6.0)
    sound = calibrate([check(0, 0), check(100, 100)])
    late = calibrate([check(0, 0), check(100, 100)], days_since=366.0)
    assert calibrate([check(0, 0), check(100, 100)], days_since=365.0) == sound
    assert late.notes == (
        (
            "The gauge was last checked 366 days ago, more than 365: its readings count for less. "
            "Check it on bare metal and a shim."
        ),
    )
    assert late.level_um == pytest.approx(math.hypot(sound.level_um or 0.0, 6.0))
    assert (late.bias_um, late.slope_error, late.repeat_um) == (
        sound.bias_um,
        sound.slope_error,
        sound.repeat_um,
    )


def test_parts_of_a_gauge() -> None:
    whole = Gauge(bias_um=1.0, sd_um=2.0, checked=True, panel_um=0.5)
    assert spread_of(whole) == gauge.Spread(2.0, 0.5, 2.0)
    parts = msgspec.structs.replace(whole, repeat_um=0.3, level_um=0.0)
    assert spread_of(parts) == gauge.Spread(0.3, 0.5, 0.0)


# layers


def test_variances_of_the_layers_by_hand() -> None:
    z = 1.959963984540054
    clear = LayerRange(name="c", low_um=40.0 - 4 * z, high_um=40.0 + 4 * z)
    under = LayerRange(name="u", low_um=60.0 - 3 * z, high_um=60.0 + 3 * z)
    total = LayerRange(name="t", low_um=100.0 - 6 * z, high_um=100.0 + 6 * z)
    prior = LayerPrior(
        clear=clear,
        under=(under,),
        total=total,
        share_car=0.5,
        share_panel=0.3,
        share_place=0.2,
        past_chance=0.4,
        past_cut_um=5.0,
        past_cut_sd_um=2.0,
        past_panel_sd_um=1.5,
    )
    past = 0.4 * (4.0 + 25.0) - 4.0
    assert clear.var_um2 == pytest.approx(16.0)
    assert (prior.past_mean_um, prior.past_var) == (pytest.approx(2.0), pytest.approx(past))
    assert (prior.clear_mean_um, prior.total_mean_um) == pytest.approx((38.0, 98.0))
    assert prior.clear_car_var == pytest.approx(8.0 + past)
    assert prior.clear_panel_var == pytest.approx(0.3 * 16.0 + 2.25)
    assert prior.clear_place_sd == pytest.approx(math.sqrt(0.2 * 16.0))
    assert prior.layers_var == pytest.approx(25.0)
    # the car's own build: 36 of the total less 25 that the layers explain
    assert prior.total_car_var == pytest.approx(12.5 + 11.0 + past)
    assert prior.total_panel_var == pytest.approx(7.5 + 2.25)
    assert prior.total_place_var == pytest.approx(5.0)
    narrow = msgspec.structs.replace(prior, total=clear)
    assert narrow.total_car_var == pytest.approx(12.5 + past)
    by_hand = msgspec.structs.replace(prior, repaint_place_sd_um=9.0)
    assert layers.place_sds(by_hand) == pytest.approx((3.2**0.5, 9.0, 9.0, 3.2**0.5))


@pytest.mark.parametrize(("low", "high"), [(0.0, 40.0), (40.0, 40.0), (41.0, 40.0), (30.0, 200.5)])
def test_a_range_of_clear_that_cannot_be(low: float, high: float) -> None:
    with pytest.raises(LayerError) as caught:
        with_clear(DEFAULT_PRIOR, low, high, source="sheet")
    assert str(caught.value) == (
        f"clear coat range: {low:g} to {high:g} µm is no range of clear coat. "
        "Give the lower and the upper end in µm, up to 200"
    )


def test_another_range_of_clear_changes_nothing_else() -> None:
    found = with_clear(DEFAULT_PRIOR, 0.5, 200.0, source="sheet")
    assert found.clear == LayerRange(name="clear coat", low_um=0.5, high_um=200.0, source="sheet")
    assert msgspec.structs.replace(found, clear=DEFAULT_PRIOR.clear) == DEFAULT_PRIOR
    repainted = layers.prior_for("repainted", found)
    assert repainted.chances == (0.330, 0.620, 0.040, 0.010)
    assert repainted.clear == found.clear


@pytest.mark.parametrize(
    ("call", "usual"),
    [
        (calibrate, {"days_since": None}),
        (allowance_um, {"low_um": None, "removed_um": 0.0, "rule": ReserveRule()}),
        (budget.reserve_rule, {"reserve_um": None}),
        (film_map.draw_maps, {"grid_mm": 10.0}),
        (layers.prior_for, {"base": LayerPrior()}),
        (film.assess, {"earlier": (), "reserve": ReserveRule(), "prior": None}),
        (film.would_help, {"readings": (), "earlier": (), "reserve": ReserveRule(), "prior": None}),
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
