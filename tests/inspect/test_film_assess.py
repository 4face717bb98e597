"""Findings per panel: relations that must hold whatever the numbers are."""

from collections.abc import Sequence

import film_truth as truth
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.car.records import Paint
from leastcut.inspect.film import FilmError, assess, would_help
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import EarlierCut, FilmFinding, GaugeCheck, Layer, Reading

PANELS = truth.panels()
GAUGE = calibrate([GaugeCheck(known_um=k, shown_um=k) for k in (0, 0, 0, 125, 125, 250)])


def panel(findings: Sequence[FilmFinding], name: str) -> FilmFinding:
    return next(f for f in findings if f.panel == name)


def readings(name: str, *values: float, layer: Layer = "total") -> list[Reading]:
    return [
        Reading(panel=name, spot=str(i), reading_um=v, layer=layer) for i, v in enumerate(values)
    ]


def test_no_gauge_gives_a_small_assumed_budget_on_every_panel() -> None:
    findings = assess(PANELS, [], paint=Paint(), gauge=calibrate([]))
    assert [f.panel for f in findings] == [p.id for p in PANELS]
    for f in findings:
        assert f.assumed
        assert 0 < f.budget_um < 3.0
        assert f.mean_um is None
        assert "assumption" in " ".join(f.notes)
    assert panel(findings, "bumper-front").finding == "unreadable"
    assert panel(findings, "roof").finding == "unmeasured"
    assert panel(findings, "bumper-front").budget_um < panel(findings, "roof").budget_um


def test_usual_readings_raise_the_budget_and_drop_the_assumption() -> None:
    few = readings("roof", 116, 118, 121, 119, 117)
    before = panel(assess(PANELS, [], paint=Paint(), gauge=GAUGE), "roof")
    after = panel(assess(PANELS, few, paint=Paint(), gauge=GAUGE), "roof")
    assert not after.assumed
    assert after.finding == "factory"
    assert after.budget_um > before.budget_um
    assert (after.n_spots, after.n_readings, after.layer) == (5, 5, "total")
    assert after.mean_um == pytest.approx(118.2)
    # n - 1 in the denominator; source: JCGM 100:2008, 4.2.2; status: recomputed
    assert after.sd_um == pytest.approx(np.std([116, 118, 121, 119, 117], ddof=1))


def test_states_of_panels_that_stand_out() -> None:
    body = [r for p in PANELS[:3] for r in readings(p.id, 117, 119, 120, 118)]
    body += readings("door-front-left", 170, 176, 172)
    body += readings("quarter-left", 620, 910, 480)
    body += readings("wing-front-right", 92, 93, 91)
    findings = assess(PANELS, body, paint=Paint(), gauge=GAUGE)
    assert panel(findings, "door-front-left").finding == "repainted"
    assert panel(findings, "quarter-left").finding == "filled"
    assert panel(findings, "wing-front-right").finding == "thin"
    assert panel(findings, "wing-front-right").budget_um == 0
    assert "painter" in " ".join(panel(findings, "wing-front-right").notes)


def test_a_gauge_that_resolves_the_clear_narrows_the_interval() -> None:
    total = panel(assess(PANELS, readings("roof", 118, 118), paint=Paint(), gauge=GAUGE), "roof")
    clear = panel(
        assess(PANELS, readings("roof", 42, 42, layer="clear"), paint=Paint(), gauge=GAUGE), "roof"
    )
    assert clear.layer == "clear"
    width = [f.clear_um.high - f.clear_um.low for f in (clear, total)]
    assert width[0] < 0.6 * width[1]


def test_plastic_cannot_be_read_for_total_but_for_clear() -> None:
    findings = assess(
        PANELS,
        readings("bumper-front", 100, 101) + readings("bumper-rear", 40, 41, layer="clear"),
        paint=Paint(),
        gauge=GAUGE,
    )
    front, rear = panel(findings, "bumper-front"), panel(findings, "bumper-rear")
    assert front.finding == "unreadable"
    assert front.flags == ("unreadable-substrate",)
    assert rear.flags == ("few-readings",)
    assert front.n_readings == 0
    assert rear.layer == "clear"


def test_ledger_lowers_the_clear_and_the_budget() -> None:
    usual = readings("roof", 118, 118, 118)
    cut = [EarlierCut(panel="roof", cut_um=3.0, sd_um=0.5)]
    new = panel(assess(PANELS, usual, paint=Paint(), gauge=GAUGE), "roof")
    old = panel(assess(PANELS, usual, paint=Paint(), gauge=GAUGE, earlier=cut), "roof")
    assert old.clear_um.mean < new.clear_um.mean
    assert old.budget_um < new.budget_um - 2.0


def test_names_that_are_not_on_the_car_are_refused() -> None:
    with pytest.raises(FilmError, match="mast") as caught:
        assess(PANELS, readings("mast", 100), paint=Paint(), gauge=GAUGE)
    assert "roof" in caught.value.do
    with pytest.raises(FilmError, match="keel"):
        assess(
            PANELS,
            [],
            paint=Paint(),
            gauge=GAUGE,
            earlier=[EarlierCut(panel="keel", cut_um=1, sd_um=1)],
        )


def test_measuring_is_worth_something_and_never_on_plastic() -> None:
    body = readings("roof", 117, 119, 120, 118)
    findings = assess(PANELS, body, paint=Paint(), gauge=GAUGE)
    ranked = would_help(findings, PANELS, readings=body, paint=Paint(), gauge=GAUGE)
    assert {h.panel for h in ranked}.isdisjoint({"roof", "bumper-front", "bumper-rear"})
    assert len(ranked) == len(PANELS) - 3
    gains = [h.gain_um for h in ranked]
    assert gains == sorted(gains, reverse=True)
    assert gains[-1] > 0.5


def test_matt_paint_is_never_budgeted_or_measured_for_it() -> None:
    matt = Paint(system="matt")
    findings = assess(PANELS, readings("roof", 118, 119), paint=matt, gauge=GAUGE)
    assert {f.budget_um for f in findings} == {0.0}
    assert "Matt paint" in " ".join(findings[0].notes)
    assert would_help(findings, PANELS, paint=matt, gauge=GAUGE) == ()


def at_spots(*rows: tuple[str, float]) -> list[Reading]:
    return [
        Reading(panel="roof", spot=spot, reading_um=um, line=i + 2)
        for i, (spot, um) in enumerate(rows)
    ]


STEADY = (("a", 118.0), ("a", 119.0), ("b", 120.0), ("b", 121.0), ("c", 119.0), ("c", 118.0))


def test_a_slip_that_its_repeats_deny_is_set_aside_and_told() -> None:
    clean = panel(assess(PANELS, at_spots(*STEADY), paint=Paint(), gauge=GAUGE), "roof")
    slip = panel(
        assess(PANELS, at_spots(*STEADY, ("a", 240.0)), paint=Paint(), gauge=GAUGE), "roof"
    )
    assert slip.n_readings == clean.n_readings
    assert slip.clear_um == clean.clear_um
    assert slip.flags == ("outlier", "few-readings")
    assert "spot a (line 8)" in slip.notes[0]
    assert "set aside" in slip.notes[0]


def test_an_odd_spot_is_kept_and_told() -> None:
    odd = panel(assess(PANELS, at_spots(*STEADY, ("d", 240.0)), paint=Paint(), gauge=GAUGE), "roof")
    assert odd.n_readings == len(STEADY) + 1
    assert "it is kept" in odd.notes[0]


def test_a_thin_spot_takes_its_lack_off_the_budget() -> None:
    clean = panel(assess(PANELS, at_spots(*STEADY), paint=Paint(), gauge=GAUGE), "roof")
    thin = at_spots(*STEADY, ("d", 101.0), ("d", 101.0))
    found = panel(assess(PANELS, thin, paint=Paint(), gauge=GAUGE), "roof")
    assert found.budget_um < clean.budget_um - 3
    assert "One spot lacks" in " ".join(found.notes)


def test_inspectors_pattern_raises_no_flag() -> None:
    # source: SSPC-PA 2, five spots of three readings per area; status: seen second-hand
    rows = [(spot, 118.0 + k) for spot in "abcde" for k in range(3)]
    full = panel(assess(PANELS, at_spots(*rows), paint=Paint(), gauge=GAUGE), "roof")
    assert full.flags == ()


@pytest.mark.parametrize("film", [12.0, 35.0, 60.0])
def test_clear_coat_cannot_be_thicker_than_all_the_film(film: float) -> None:
    body = [r for p in PANELS[3:8] for r in readings(p.id, 117, 119, 120, 118)]
    found = panel(
        assess(PANELS, body + readings("roof", film, film), paint=Paint(), gauge=GAUGE), "roof"
    )
    assert found.finding == "thin"
    assert found.clear_um.mean < film
    assert found.budget_um == 0


def test_single_stage_paint_is_told() -> None:
    findings = assess(PANELS, [], paint=Paint(system="single-stage"), gauge=GAUGE)
    assert "no clear coat" in " ".join(findings[0].notes)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.builds(
            Reading,
            panel=st.sampled_from([p.id for p in PANELS]),
            spot=st.sampled_from("abc"),
            reading_um=st.floats(0.1, 5000),
            layer=st.sampled_from(["total", "clear"]),
        ),
        max_size=12,
    )
)
def test_any_readings_give_one_ordered_finding_per_panel(found: list[Reading]) -> None:
    findings = assess(PANELS, found, paint=Paint(), gauge=GAUGE)
    assert [f.panel for f in findings] == [p.id for p in PANELS]
    for f in findings:
        assert 0 <= f.clear_um.low <= f.clear_um.mean <= f.clear_um.high
        assert 0 <= f.budget_um <= 7.62 + 1e-9
        if f.layer == "total" and f.mean_um is not None:
            assert f.clear_um.mean < max(f.mean_um, 0.0) + 15
        if f.budget_um > 0:
            assert f.clear_um.mean - f.budget_um >= 35.56 - 1e-9
