"""The day: forecast rows, open spans, flash and cure clock, quantity, and the chart."""

from xml.etree import ElementTree as ET

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.errors import InputError
from leastcut.protect.chart import draw_day
from leastcut.protect.clock import clock
from leastcut.protect.day import DayError, day_window, time_of_day
from leastcut.protect.forecast import ForecastError, parse_rows
from leastcut.protect.products import PRODUCTS, ProductError, check, product
from leastcut.protect.quantity import millilitres
from leastcut.protect.records import Limits, Product, Weather
from leastcut.protect.window import window

rows_of_day = st.lists(
    st.tuples(st.floats(0.0, 35.0), st.floats(20.0, 100.0), st.none() | st.floats(0.0, 40.0)),
    min_size=1,
    max_size=8,
)


def weather(rows: list[tuple[float, float, float | None]]) -> list[Weather]:
    return [
        Weather(at_min=360.0 + 120.0 * n, air_c=air, rh_percent=rh, surface_c=surface)
        for n, (air, rh, surface) in enumerate(rows)
    ]


@settings(max_examples=40, deadline=None)
@given(rows_of_day, st.floats(0.0, 240.0))
def test_open_spans_are_all_right_throughout(
    rows: list[tuple[float, float, float | None]], needs: float
) -> None:
    day = day_window(weather(rows), needs_min=needs)
    verdicts = dict(zip(day.times_min, day.windows, strict=True))
    for time, verdict in verdicts.items():
        inside = any(s.from_min <= time <= s.until_min for s in day.open_spans)
        assert inside == verdict.ok
    for span in day.start_spans:
        for begin in (span.from_min, span.until_min):
            assert any(
                s.from_min <= begin and begin + needs <= s.until_min + 1e-6 for s in day.open_spans
            )


@settings(max_examples=40, deadline=None)
@given(rows_of_day)
def test_at_the_rows_the_day_says_what_the_moment_says(
    rows: list[tuple[float, float, float | None]],
) -> None:
    day = day_window(weather(rows))
    for row in weather(rows):
        place = day.times_min.index(row.at_min)
        surface = row.air_c if row.surface_c is None else row.surface_c
        moment = window(row.air_c, row.rh_percent, surface)
        assert day.windows[place].dew_point_c == pytest.approx(moment.dew_point_c, abs=1e-6)
        assert day.windows[place].margin_c == pytest.approx(moment.margin_c, abs=1e-6)


def test_two_windows_in_a_day_with_a_shower_between() -> None:
    humid = [95.0, 60.0, 60.0, 96.0, 55.0, 60.0, 95.0]
    day = day_window(weather([(18.0, h, 18.0) for h in humid]), needs_min=60.0)
    assert len(day.open_spans) == 2
    assert not day.surface_assumed
    assert day.why.count(" to ") == 2
    short = day_window(weather([(18.0, h, 18.0) for h in humid]), needs_min=600.0)
    assert short.start_spans == ()
    assert short.why == "allowed at times, but never for 600 min on end"


def test_a_wet_day_has_no_window() -> None:
    day = day_window(weather([(10.0, 97.0, None)] * 3))
    assert day.open_spans == ()
    assert day.surface_assumed
    assert day.why.startswith("not allowed at any time: the surface is")


def test_last_row_off_the_grid_is_looked_at() -> None:
    rows = [Weather(at_min=t, air_c=20.0, rh_percent=50.0) for t in (600.0, 625.0)]
    assert day_window(rows).times_min == (600.0, 610.0, 620.0, 625.0)


def test_days_out_of_order_or_empty_are_refused() -> None:
    with pytest.raises(DayError, match="no weather"):
        day_window([])
    twice = [Weather(at_min=600.0, air_c=20.0, rh_percent=50.0)] * 2
    with pytest.raises(DayError, match=r"10:00 does not come after 10:00"):
        day_window(twice)
    with pytest.raises(InputError, match="needs"):
        day_window(twice[:1], needs_min=-1.0)


def test_time_of_day_carries_over_midnight() -> None:
    assert time_of_day(1439.6) == "00:00 (+1 d)"


# forecast


def table(
    *rows: str, header: str = "time,air_c,rh_percent,surface_c"
) -> list[tuple[int, dict[str, str]]]:
    names = header.split(",")
    return [
        (n, dict(zip(names, row.split(","), strict=True))) for n, row in enumerate(rows, start=2)
    ]


def test_forecast_in_either_unit_and_over_midnight() -> None:
    celsius, problems = parse_rows(table("2026-03-12T22:00,15,60,14", "01:30,12,70,"))
    assert problems == ()
    assert [w.at_min for w in celsius] == [1320.0, 1530.0]
    assert celsius[1].surface_c is None
    imperial, _ = parse_rows(table("22:00,59,60,57.2", header="time,air_f,rh_percent,surface_f"))
    assert imperial[0].air_c == pytest.approx(15.0)
    assert imperial[0].surface_c == pytest.approx(14.0)
    comma, _ = parse_rows([(2, {"time": "8:00", "air_c": "14,5", "rh_percent": "60"})])
    assert comma[0].air_c == 14.5


@pytest.mark.parametrize(
    ("row", "what"),
    [
        ("25:00,15,60,", "not a time of day"),
        ("noon,15,60,", "not a time of day"),
        ("09:00,warm,60,", "'warm' is not a number"),
        ("09:00,,60,", "air temperature is empty"),
        ("09:00,15,140,", "140 %"),
        ("09:00,15,60,400", "400 °C"),
    ],
)
def test_bad_rows_are_told_and_the_rest_kept(row: str, what: str) -> None:
    kept, problems = parse_rows(table("08:00,15,60,", row, "10:00,16,55,"), where="day.csv")
    assert len(kept) == 2
    assert len(problems) == 1
    assert problems[0].where.startswith("day.csv:3")
    assert what in problems[0].what


def test_forecast_without_columns_or_rows_is_refused() -> None:
    with pytest.raises(ForecastError, match="no column air_c, rh_percent"):
        parse_rows([(2, {"time": "08:00"})])
    with pytest.raises(ForecastError, match="no column"):
        parse_rows([])
    with pytest.raises(ForecastError, match="no usable row"):
        parse_rows(table("never,15,60,"))


# clock and product


@pytest.mark.parametrize("item", PRODUCTS, ids=lambda p: p.kind)
def test_usual_products_hold_together_and_say_what_goes_first(item: Product) -> None:
    assert check(item) is item
    assert product(item.kind) is item
    assert "data sheet goes first" in item.source
    moments = clock(600.0, item)
    assert all(m.from_min >= 600.0 for m in moments)
    assert all(m.until_min >= m.from_min for m in moments)
    assert moments[-1].what == "do not wash"


def test_layers_follow_in_their_time_and_waits_count_from_the_last() -> None:
    coating = product("coating")
    moments = clock(600.0, coating, layers=3)
    layers = [m for m in moments if m.what.startswith("layer")]
    assert [m.what for m in layers] == ["layer 2", "layer 3"]
    assert [m.from_min for m in layers] == [660.0, 720.0]
    assert layers[0].until_min == 660.0 + 180.0
    dry = next(m for m in moments if m.what == "keep dry")
    assert (dry.from_min, dry.until_min) == (720.0, 720.0 + 1440.0)


def test_nonsense_products_and_clocks_are_refused() -> None:
    with pytest.raises(ProductError, match="unknown class"):
        product("glue")
    with pytest.raises(ProductError, match="further layer"):
        clock(600.0, product("wax"), layers=2)
    with pytest.raises(InputError):
        clock(-5.0, product("wax"))
    with pytest.raises(InputError):
        clock(600.0, product("wax"), layers=0)
    wax = product("wax")
    for changed in (
        {"flash_min_low": 30.0},
        {"wash_min": 1.0},
        {"recoat_min_low": 90.0, "recoat_min_high": 60.0},
        {"touch_min": -1.0},
        {"wet_um": -1.0},
        {"limits": Limits(air_c_min=40.0)},
    ):
        with pytest.raises(InputError):
            check(msgspec.structs.replace(wax, **changed))


@given(st.floats(0.0, 50.0), st.floats(0.0, 20.0), st.integers(1, 4))
def test_quantity_is_area_times_film(area: float, film: float, layers: int) -> None:
    # 1 µm on 1 m² is 1 ml, and six tenths of what is poured land on the paint
    found = millilitres(area, "coating", wet_um=film, layers=layers)
    assert 0.6 * found == pytest.approx(area * film * layers)


def test_quantity_of_classes() -> None:
    assert millilitres(10.0, "film") == 0.0
    assert millilitres(10.0, "wax") > millilitres(10.0, "sealant") > 0.0
    with pytest.raises(InputError):
        millilitres(-1.0, "wax")
    with pytest.raises(InputError):
        millilitres(1.0, "wax", layers=0)
    with pytest.raises(InputError):
        millilitres(1.0, "glue")


@settings(max_examples=30, deadline=None)
@given(rows_of_day)
def test_chart_is_well_formed_and_says_the_answer(
    rows: list[tuple[float, float, float | None]],
) -> None:
    day = day_window(weather(rows))
    root = ET.fromstring(draw_day(day))
    text = " ".join(t.text or "" for t in root.iter("{http://www.w3.org/2000/svg}text"))
    assert day.why in text
    assert ("surface taken as warm as the air" in text) == day.surface_assumed
    assert text.count("open") >= len(day.open_spans)
