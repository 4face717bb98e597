"""Words, glyphs, plots and care: the small parts that every page uses."""

import re
import unicodedata
import xml.etree.ElementTree as ET
from typing import Any

import msgspec
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from leastcut.car.records import Interval
from leastcut.handover import words
from leastcut.handover.care import Use, care_sheet, inspect_months
from leastcut.handover.charts import cut_chart, film_chart, load_chart
from leastcut.handover.glyphs import covered, printable, short
from leastcut.handover.plots import Row, draw_bars, draw_intervals, in_words, plot
from leastcut.handover.records import Dossier, PanelProof
from leastcut.handover.wall import _letter, panels_in_order, plan_notes


@given(st.text(max_size=80))
@example("👩\u200d🔧\ufe0f e\u0301 \u202eabc\u0000")
def test_any_text_becomes_printable_and_stays_so(text: Any) -> None:
    once = printable(text)
    assert printable(once.replace("\u200b", "")) == once
    for c in once:
        assert unicodedata.category(c) not in {"Cc", "Cs"}
        assert c in "\u200b\u00a0\u202f ▯→←↑↓\u200c\u200d" or 0xFE00 <= ord(c) <= 0xFE0F or ord(c) in covered()  # fmt: skip


def test_the_fonts_cover_what_they_shall() -> None:
    # source: the alphabets themselves; Unicode names of the letters
    for sample in ("Łódź ÅØß ñ", "Αθήνα", "Київ Ђ", "שלום", "السلام", "😀🚗🧽", "µ²≥≤×±–—“”½€"):
        assert "▯" not in printable(sample)
    assert printable("漢字") == "▯▯"


def test_a_long_run_can_break_but_never_inside_a_joined_group() -> None:
    run = "x" * 7 + "👩\u200d🔧" * 8
    parts = printable(run).split("\u200b")
    assert len(parts) > 2
    assert "".join(parts) == run
    assert not any(part.endswith("\u200d") or part.startswith("\u200d") for part in parts)
    assert short("abcdef", 4) == "abc…"


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (0.4, "0\u00a0min"),
        (59.4, "59\u00a0min"),
        (60, "1\u00a0h\u00a000"),
        (117.6, "2\u00a0h\u00a000"),
    ],
)
def test_durations_never_show_sixty_minutes(minutes: Any, said: str) -> None:
    assert words.long_time(minutes) == said


def test_short_times_and_amounts() -> None:
    assert words.short_time(0) == "0:00"
    assert words.short_time(1) == "0:05"
    assert words.amount(120, "ml", "us") == "4.1\u00a0fl oz"  # source: NIST SP 811: 29.57353 ml
    assert words.amount(18, "m", "us") == "59\u00a0ft"  # source: NIST SP 811: 0.3048 m
    assert words.amount(3, "pads", "us") == "3\u00a0pads"
    assert words.listed([]) == ""
    assert words.percent(0.004) == "<\u00a01\u00a0%"
    assert dict(words.settings(msgspec.structs.replace(_process(), spin_rpm=0), "metric"))["Spin"] == "stalls"  # fmt: skip


def _process() -> Any:
    from handover_job import MEDIUM

    return MEDIUM


def test_letters_go_on_after_z() -> None:
    assert [_letter(n) for n in (0, 25, 26, 27, 701, 702)] == ["A", "Z", "AA", "AB", "ZZ", "AAA"]


@given(st.lists(st.tuples(st.floats(0, 500), st.floats(0, 100)), min_size=1, max_size=12))
def test_an_axis_holds_every_bound_with_round_ticks(rows: Any) -> None:
    chart = plot(
        [Row(label="a", value=Interval(mean=m, low=m, high=m + s), words="w") for m, s in rows],
        axis="µm",
    )
    assert chart.top >= max(m + s for m, s in rows) * (1 - 1e-9)
    assert 2 <= len(chart.ticks) <= 8
    step = chart.ticks[1]
    assert re.fullmatch(r"[125]0*", f"{step * 1e9:.0f}")


def test_a_drawing_is_well_formed_and_puts_values_in_proportion(dossier: Dossier) -> None:
    chart = film_chart(dossier, {"roof": 50.0})
    root = ET.fromstring(draw_intervals(chart))
    assert root.get("aria-label") == in_words(chart)
    dots = [float(c.get("cx")) for c in root.iter("{http://www.w3.org/2000/svg}circle")]
    values = [row.value.mean for row in chart.rows]
    scale = (dots[1] - dots[0]) / (values[1] - values[0])
    for x, value in zip(dots, values, strict=True):
        assert x - dots[0] == pytest.approx(scale * (value - values[0]), abs=0.02)
    hollow = [c.get("fill") == "#fff" for c in root.iter("{http://www.w3.org/2000/svg}circle")]
    assert hollow == [row.assumed for row in chart.rows]
    assert "must stay: 36" in in_words(chart)


def test_names_in_a_drawing_are_escaped() -> None:
    row = Row(label="<b>&", value=Interval(mean=1, low=0.5, high=2), words='"x" & y', limit=1.5)
    root = ET.fromstring(draw_bars(plot([row], axis="<µm>")))
    assert "<b>&" in [t.text for t in root.iter("{http://www.w3.org/2000/svg}text")]


def test_load_after_the_work_stands_beside_before(dossier: Dossier) -> None:
    proof = PanelProof(
        panel="sill-left",
        before_mm_per_cm2=Interval(mean=30, low=25, high=36),
        after_mm_per_cm2=Interval(mean=2, low=1, high=3),
    )
    chart = load_chart(msgspec.structs.replace(dossier, proofs=(proof,)))
    row = next(r for r in chart.rows if r.label == "Left sill")
    assert row.words == "30, after 2.0 (1.0–3.0)"
    assert not row.assumed  # a proof stands behind it now
    assert ET.fromstring(draw_bars(chart)) is not None


def test_the_cut_chart_shows_mils_in_us_units(dossier: Dossier) -> None:
    us = msgspec.structs.replace(dossier, units="us")
    metric, mil = cut_chart(dossier, "roof"), cut_chart(us, "roof")
    # source: 1 mil = 25.4 µm, exact (international inch, 1959)
    assert mil.rows[0].value.mean * 25.4 == pytest.approx(metric.rows[0].value.mean)
    assert mil.axis == "Cut, mil"


def test_panels_without_work_come_last(dossier: Dossier) -> None:
    order = [p.id for p in panels_in_order(dossier)]
    assert order[-2:] == ["quarter-left", "bumper-front"]
    assert set(order) == {p.id for p in dossier.car.panels}


def test_care_is_more_careful_the_softer_and_the_less_known() -> None:
    def months(low: Any, high: Any, **use: Any) -> Any:
        return inspect_months(Interval(mean=(low + high) / 2, low=low, high=high), Use(**use))

    assert months(0.5, 0.6, wash="hand") > months(0.9, 1.1, wash="hand") > months(1.8, 2.2, wash="hand")  # fmt: skip
    assert months(0.4, 2.0, wash="hand") < months(0.9, 1.1, wash="hand")
    assert months(0.9, 1.1, wash="brush") < months(0.9, 1.1, wash="unknown")
    assert 3 <= months(4.0, 9.0, wash="brush", washes_per_month=30) <= 18


def test_care_speaks_to_this_car() -> None:
    hard = Interval(mean=0.6, low=0.5, high=0.7)
    soft = Interval(mean=1.8, low=1.4, high=2.3)
    sheet = care_sheet(soft, Use(wash="brush", parked="outdoors"), shade="dark")
    said = " ".join(line for _, lines in sheet.parts for line in lines)
    assert "soft" in sheet.paint
    assert "Give up the brush" in said
    assert "every week" in said
    assert "dark paint" in sheet.why
    assert "hard" in care_sheet(hard, Use(wash="touchless")).paint
    assert "without touch" in care_sheet(hard, Use(wash="touchless")).why
    matt = care_sheet(hard, system="matt").parts
    assert any("Matt paint" in line for _, lines in matt for line in lines)


def test_notes_of_the_plan_call_every_panel_by_its_name(dossier: Dossier) -> None:
    one, two = dossier.car.panels[:2]
    notes = (
        f"{one.id}, {two.id} and 3 more (9 sections): left alone: {one.id} as it is",
        f"{two.id}: promise 73 % of the scratches gone instead of 85 %",
        "225 min at up to 6 m/s² are more than one day's points",
    )
    plan = msgspec.structs.replace(dossier.plan, notes=notes)
    said = plan_notes(msgspec.structs.replace(dossier, plan=plan))
    assert (
        said[0] == f"{one.name}, {two.name} and 3 more (9 sections): left alone: {one.id} as it is"
    )
    assert said[1].startswith(f"{two.name}: promise")
    assert said[2] == notes[2]
