"""Pictures of the film: the records are checked here, the look of them by eye."""

import itertools
import xml.etree.ElementTree as ET

import film_truth as truth
import numpy as np
import pytest

from leastcut.car.records import Car, Paint, Panel
from leastcut.inspect.film import findings_of
from leastcut.inspect.film_map import draw_maps
from leastcut.inspect.film_pictures import (
    draw_intervals,
    draw_waterfall,
    interval_plot,
    waterfall,
)
from leastcut.inspect.film_sheets import draw_map, draw_sheet, tiles
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import EarlierCut, GaugeCheck, Reading
from leastcut.inspect.study import Study, study

PANELS = truth.panels()
GAUGE = calibrate([GaugeCheck(known_um=k, shown_um=k) for k in (0, 0, 125, 125, 250)])
ROOF = 1


@pytest.fixture(scope="module")
def known() -> Study:
    found = [
        Reading(panel="roof", spot=str(i), reading_um=117.0 + i, x_mm=200.0 * i + 100, y_mm=400.0)
        for i in range(5)
    ]
    return study(PANELS, found, paint=Paint(), gauge=GAUGE)


def words_of(svg: str) -> str:
    return " ".join(ET.fromstring(svg).itertext())


def test_interval_plot_holds_every_panel(known: Study) -> None:
    findings = findings_of(known)
    plot = interval_plot(findings, names=[p.name for p in PANELS])
    assert [row.name for row in plot.rows] == [p.name for p in PANELS]
    assert plot.top_um >= max(f.clear_um.high for f in findings)
    assert [row.assumed for row in plot.rows].count(False) == 1
    for row in plot.rows:
        assert 0 <= row.low_um <= row.clear_um.mean
        assert row.clear_um.mean - row.budget_um >= 0


@pytest.mark.parametrize(("units", "unit"), [("metric", "µm"), ("us", "mil")])
def test_interval_drawing_prints_every_value(known: Study, units: str, unit: str) -> None:
    svg = draw_intervals(interval_plot(findings_of(known)), units=units)  # type: ignore[arg-type]
    told = words_of(svg)
    assert all(p.id in told for p in PANELS)
    assert f"clear coat [{unit}]" in told
    assert told.count(unit) >= len(PANELS)


def test_no_findings_still_draw() -> None:
    assert "Clear coat" in words_of(draw_intervals(interval_plot([])))


@pytest.mark.parametrize("name", ["roof", "bonnet", "bumper-front"])
def test_waterfall_adds_up(known: Study, name: str) -> None:
    made = waterfall(known, name)
    falls = [s for s in made.steps if s.kind in ("left", "gone")]
    for before, after in itertools.pairwise(falls):
        joined = after.start_um if after.kind == "gone" else after.end_um
        assert joined == pytest.approx(before.end_um)
    spent = made.steps[-1]
    finding = next(f for f in findings_of(known) if f.panel == name)
    assert spent.end_um - spent.start_um == pytest.approx(made.spendable_um)
    assert made.spendable_um == finding.budget_um
    assert spent.end_um <= falls[-1].end_um + 1e-9
    assert ("measured" in made.steps[0].words) == (name == "roof")
    assert made.limit.split(" by ")[1] in words_of(draw_waterfall(made, name="x"))


def test_waterfall_names_the_limit() -> None:
    thick = [Reading(panel="roof", spot=str(i), reading_um=52.0, layer="clear") for i in range(6)]
    cut = EarlierCut(panel="roof", cut_um=7.0, sd_um=0.2)
    once = study(PANELS, thick, paint=Paint(), gauge=GAUGE)
    late = study(PANELS, thick, paint=Paint(), gauge=GAUGE, earlier=[cut])
    matt = study(PANELS, thick, paint=Paint(system="matt"), gauge=GAUGE)
    assert "at one time" in waterfall(once, "roof").limit
    assert waterfall(late, "roof").spendable_um == pytest.approx(0.62)
    assert "matt" in waterfall(matt, "roof").limit


def test_tiles_cover_the_panel_with_its_thinnest_places(known: Study) -> None:
    drawn = draw_maps(known, grid_mm=20.0)[ROOF]
    made = tiles(PANELS[ROOF], drawn, size_mm=100.0)
    area = sum(
        abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(t, (*t[1:], t[0]), strict=True)))
        for t, _ in made
    )
    assert area / 2 == pytest.approx(1200 * 1500, rel=1e-6)
    assert min(v for _, v in made) == pytest.approx(float(np.nanmin(drawn.low_um)))


@pytest.mark.parametrize("units", ["metric", "us"])
def test_map_and_sheet_show_readings_and_bounds(known: Study, units: str) -> None:
    drawn = draw_maps(known, grid_mm=30.0)[ROOF]
    told = words_of(draw_map(PANELS[ROOF], drawn, units=units))  # type: ignore[arg-type]
    assert ("119" if units == "metric" else "4.69") in told
    car = Car(label="invented", body="three-box", length_mm=4500, width_mm=1800, height_mm=1450,
              wheelbase_mm=2700, panels=PANELS)  # fmt: skip
    rows = [
        Reading(panel="roof", spot="a", reading_um=um, x_mm=300.0, y_mm=500.0) for um in (118, 119)
    ]
    rows.append(Reading(panel="roof", spot="b", reading_um=777.0))
    svg = draw_sheet(car, findings_of(known), readings=rows, units=units)  # type: ignore[arg-type]
    sheet = words_of(svg)
    assert ("118" if units == "metric" else "4.7") in sheet
    assert "777" not in sheet
    low = known.numbers[ROOF, 4]
    assert (f"{low:.0f}" if units == "metric" else f"{low / 25.4:.2f}") in sheet


def test_tiles_of_a_slanted_panel_keep_inside_it() -> None:
    wedge = Panel(
        id="wedge", name="w", side="left", facing="side",
        outline_mm=((0, 0), (800, 0), (0, 800)), material="steel",
    )  # fmt: skip
    (drawn,) = draw_maps(study([wedge], [], paint=Paint(), gauge=GAUGE), grid_mm=20.0)
    made = tiles(wedge, drawn, size_mm=80.0)
    assert len(made) < 100
    assert all(x + y <= 800 + 1e-6 for ring, _ in made for x, y in ring)
