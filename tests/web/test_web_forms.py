"""What a person typed becomes a fact, or a fault beside its field; never something else."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.car.units import parse
from leastcut.errors import InputError
from leastcut.job import values
from leastcut.web import forms


@pytest.mark.parametrize(
    ("typed", "units", "wanted_mm"),
    [
        ("4.5 m", "metric", 4500.0),
        ("4500 mm", "us", 4500.0),
        ("4500", "metric", 4500.0),
        ("15 ft", "metric", 4572.0),
        ("14 ft 9 in", "us", 4495.8),
        ("177", "us", 4495.8),
        ("4,5 m", "metric", 4500.0),
    ],
)
def test_lengths_as_people_write_them(typed: str, units: str, wanted_mm: float) -> None:
    # source: 1 ft = 304.8 mm exactly (international foot, 1959); status: memory
    taken = forms.value_of(typed, "car.length", forms.kind_at("car.length"), units)
    assert parse(taken, "millimeter") == pytest.approx(wanted_mm)


@given(st.floats(0.1, 190, allow_nan=False).map(lambda x: round(x, 2)))
def test_a_reading_in_mil_is_the_same_paint_as_in_micrometres(mil: float) -> None:
    # source: 1 mil = 25.4 µm exactly; status: memory
    item, problems = forms.reading_of({"panel": "roof", "reading": f"{mil} mil"}, units="metric")
    assert not problems
    read = values.reading(item, "k1")
    assert read.reading_um == pytest.approx(25.4 * mil)
    assert read.panel == "roof"


@given(st.text(max_size=30))
def test_any_text_is_a_reading_or_a_told_fault(text: str) -> None:
    item, problems = forms.reading_of({"panel": "roof", "reading": text}, units="metric")
    assert bool(item) != bool(problems)
    assert all(problem.what and problem.do for problem in problems.values())


@given(st.text(max_size=40), st.sampled_from(["car.length", "car.doors", "wash.dry", "car.body"]))
def test_any_text_is_a_value_of_the_field_or_refused(text: str, path: str) -> None:
    kind = forms.kind_at(path)
    try:
        value = forms.value_of(text, path, kind, "metric")
    except forms.FieldError as error:
        told = error
        assert (told.where, bool(told.do)) == (path, True)
    else:
        values.check(path, value)


def test_only_what_changed_becomes_a_fact() -> None:
    facts, problems = forms.set_facts(
        {"car.label": "mine", "car.length": "4.3 m", "car.width": "", "car.height": ""},
        key="k",
        known={"car.label": "mine", "car.width": "1.8 m"},
        units="metric",
        bases={"car.width": 7},
        now_s=5.0,
    )
    assert not problems
    assert [(fact.field, fact.body, fact.base) for fact in facts] == [
        ("car.length", "4.3 m", None),
        ("car.width", None, 7),
    ]
    assert len({fact.key for fact in facts}) == 2


def test_a_fault_names_its_field_and_spares_the_others() -> None:
    facts, problems = forms.set_facts(
        {"car.doors": "nine", "car.year": "2017", "car.nothing": "1"},
        key="k",
        known={},
        units="metric",
        bases={},
        now_s=0.0,
    )
    assert [(fact.field, fact.body) for fact in facts] == [("car.year", 2017)]
    assert set(problems) == {"car.doors", "car.nothing"}
    assert "from 2" in problems["car.doors"].do


def test_a_list_of_readings_in_one_line() -> None:
    kind = forms.kind_at("trial/k.gauge_before")
    taken = forms.value_of("118 119; 4.7 mil\n121,5", "gauge_before", kind, "metric")
    assert taken == ["118 µm", "119 µm", "4.7 mil", "121.5 µm"]


def test_an_item_lacks_what_it_needs() -> None:
    item, problems = forms.item_of("trial", {"process": "", "sets": "0"}, units="metric")
    assert not item
    assert set(problems) == {"process", "sets"}


def test_points_typed_as_json() -> None:
    kind = forms.kind_at("panel/k.outline_mm")
    assert forms.value_of("[[0, 0], [9, 0], [9, 9]]", "outline_mm", kind, "metric")[1] == [9, 0]
    with pytest.raises(forms.FieldError):
        forms.value_of("[[0, 0], [9", "outline_mm", kind, "metric")


def test_a_field_that_is_none_is_refused() -> None:
    for path in ("car", "nothing/k.x", "trial/k.nothing", "film.readings/x"):
        with pytest.raises(InputError):
            forms.kind_at(path)


def test_shown_and_read_again_is_the_same() -> None:
    for value in (True, False, 5, "4.3 m", ["118 µm", "119 µm"]):
        said = forms.shown(value)
        path = {bool: "wash.dry", int: "car.doors", str: "car.length"}.get(
            type(value), "trial/k.gauge_before"
        )
        assert forms.value_of(said, path, forms.kind_at(path), "metric") == value
