"""Quantities as people write and read them, against the exact definitions of the units."""

import csv
import math
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.car import units
from leastcut.car.units import QuantityError, convert, parse, show, symbol

# source: international inch, US gallon of 231 in³, avoirdupois pound (exact definitions);
# status: recomputed.
NAMES = {
    "um": "micrometer",
    "mm": "millimeter",
    "m": "meter",
    "m2": "meter**2",
    "mm2": "millimeter**2",
    "L": "liter",
    "mL": "milliliter",
    "kg": "kilogram",
    "g": "gram",
    "N": "newton",
    "Pa": "pascal",
    "m3/h": "meter**3/hour",
    "m3": "meter**3",
}
WRITTEN = {
    "US fl oz": "fl oz",
    "US gal": "gal",
    "inch": "in",
    "foot": "ft",
    "yard": "yd",
    "in2": "in²",
}


def definitions() -> list[tuple[str, str, float]]:
    lines = (Path(__file__).parent.parent / "data" / "units.csv").read_text().splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    known = {"mil", "inch", "foot", "yard", "ft2", "ft3", "US gal", "US fl oz", "lbf", "psi", "cfm"}
    return [(r["from"], NAMES[r["to"]], float(r["factor"])) for r in rows if r["from"] in known]


@pytest.mark.parametrize(("name", "unit", "factor"), definitions())
def test_units_are_those_of_the_definitions(name: str, unit: str, factor: float) -> None:
    assert parse(f"1 {WRITTEN.get(name, name)}", unit) == pytest.approx(factor, rel=1e-9)
    assert parse(f"2.5{WRITTEN.get(name, name)}", unit) == pytest.approx(2.5 * factor, rel=1e-9)


@given(st.sampled_from(sorted(units._METRIC)), st.floats(-1e12, 1e12))
def test_metric_symbols_are_read_as_the_unit_library_reads_them(
    known: tuple[str, str], number: float
) -> None:
    # source: the pint library's own definitions; status: recomputed. To the last bit.
    written, unit = known
    name = units._SPELLINGS.get(written, written)
    library = units._registry().Quantity(number, name).to(unit).magnitude
    assert parse(f"{number!r} {written}", unit) == library


def test_a_metric_job_file_is_read_without_the_unit_library() -> None:
    code = (
        "import sys; from leastcut.car.units import parse, show;"
        "parse('4.26 m', 'millimeter'), parse('118 µm', 'micrometer'), parse('4800 rpm', '1/minute');"
        "show(4260.0, 'millimeter'); print('pint' in sys.modules);"
        "parse('4.7 mil', 'micrometer'); print('pint' in sys.modules)"
    )
    said = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert said.stdout.split() == ["False", "True"]


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("13 ft 11 in", "millimeter", 13 * 304.8 + 11 * 25.4),
        ("13' 11\"", "millimeter", 13 * 304.8 + 11 * 25.4),
        ("13'11\"", "millimeter", 4241.8),
        ("-1 ft 6 in", "millimeter", -457.2),
        ("4,25 m", "millimeter", 4250),
        ("0,125 mm", "micrometer", 125),
        ("1.2e2 µm", "micrometer", 120),
        ("120 μm", "micrometer", 120),
        ("53 °F", "degC", 11 + 2 / 3),
        ("-5 °C", "degC", -5),
        ("  90 s ", "second", 90),
        ("1 min 30 s", "second", 90),
        ("4800 rpm", "1/minute", 4800),
        ("6 m/s²", "meter/second**2", 6),
    ],
)
def test_what_people_write_is_read(text: str, unit: str, value: float) -> None:
    assert parse(text, unit) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        (4250, "millimeter", "4250 has no unit"),
        (None, "millimeter", "None has no unit"),
        ("4250", "millimeter", "cannot read"),
        ("", "millimeter", "cannot read"),
        ("long", "millimeter", "cannot read"),
        ("4 m and more", "millimeter", "cannot read"),
        ("4 m x 5 m", "millimeter", "cannot read"),
        ("5 m -3 m", "millimeter", "cannot read"),
        ("4 kg", "millimeter", "'kg' does not measure this"),
        ("4 furbles", "millimeter", "unknown unit 'furbles'"),
        ("1e999 m", "millimeter", "not a finite quantity"),
        ("1e308 m 1e308 m", "millimeter", "not a finite quantity"),
        ("18 °C 5 °C", "degC", "more than one temperature"),
        ("4,250 mm", "millimeter", "may mean 4250 or 4.250"),
        ("12,000 µm", "micrometer", "may mean 12000 or 12.000"),
    ],
)
def test_what_may_be_misread_is_refused(text: object, unit: str, words: str) -> None:
    with pytest.raises(QuantityError, match=words) as caught:
        parse(text, unit)
    assert caught.value.do


@given(st.text(max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        assert math.isfinite(parse(text, "millimeter"))
    except QuantityError as error:
        assert error.what  # noqa: PT017 - either outcome is right


@given(st.floats(0.01, 1e5), st.sampled_from(["metric", "us"]))
def test_what_is_shown_reads_back(value: float, units: str) -> None:
    shown = show(value, "millimeter", units)  # type: ignore[arg-type]
    half_step = 0.5 if units == "metric" else 0.05 * 25.4
    assert parse(shown.replace("\xa0", " "), "millimeter") == pytest.approx(
        value, abs=half_step * 1.0001
    )
    assert shown.endswith(symbol("millimeter", units))  # type: ignore[arg-type]


def test_convert_leaves_the_same_unit_alone() -> None:
    assert convert(0.1, "meter", "meter") == 0.1
    assert convert(1, "meter", "foot") == pytest.approx(1 / 0.3048)
    # source: a difference of 5 °F is 2.778 K (exact 5/9); status: recomputed.
    assert convert(37.0, "degF", "degC") - convert(32.0, "degF", "degC") == pytest.approx(25 / 9)


@pytest.mark.parametrize(
    ("um", "said"),
    [(0.8, "0.031"), (2.3, "0.091"), (2.54, "0.10"), (-0.5, "-0.020"), (0.0, "0.00"), (2.52, "0.099")],
)  # fmt: skip
def test_a_small_cut_in_mil_keeps_two_figures(um: float, said: str) -> None:
    # source: one mil is 25.4 µm by definition (international inch, 1959); status: memory
    assert show(um, "micrometer", "us") == f"{said}\u00a0mil"
    assert abs(float(said) * 25.4 - um) < 0.13
