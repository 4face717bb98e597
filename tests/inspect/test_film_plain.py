"""Maps, budgets of sections and the next reading against plain matrix algebra."""

import dataclasses

import film_plain as plain
import numpy as np
import pytest

from leastcut.car.records import KeepOut, Paint, Panel
from leastcut.inspect.budget import reserve_rule
from leastcut.inspect.film_map import draw_maps, next_reading, section_budgets
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.raster import rasterise
from leastcut.inspect.records import GaugeCheck, Layer, Reading
from leastcut.inspect.study import Study, study

GAUGE = calibrate([GaugeCheck(known_um=k, shown_um=k) for k in (0, 0, 0, 125, 125, 250)])
DOOR = Panel(
    id="door",
    name="Door",
    side="left",
    facing="side",
    outline_mm=((0, 0), (1000, 40), (960, 700), (60, 640)),
    material="steel",
    keep_outs=(
        KeepOut(name="handle", outline_mm=((700, 450), (880, 450), (880, 500), (700, 500))),
    ),
    body_lines_mm=(((100, 200), (900, 220)),),
)
EVEN = ((150, 120, 118), (500, 350, 121), (820, 120, 119), (200, 550, 117), (820, 600, 120))
CORNER = ((150, 120, 88), (210, 100, 90), (500, 350, 121), (820, 120, 119), (820, 600, 120))
FEW = ((150, 120, 112), (820, 600, 121))
LEFT = ((0, 0), (330, 0), (330, 350), (0, 350))
RIGHT = ((600, 100), (960, 100), (960, 420), (600, 420))


def known(rows: tuple[tuple[float, float, float], ...], layer: Layer = "total") -> Study:
    found = [
        Reading(panel=DOOR.id, spot=str(i), reading_um=um, x_mm=x, y_mm=y, layer=layer)
        for i, (x, y, um) in enumerate(rows)
    ]
    return study([DOOR], found, paint=Paint(), gauge=GAUGE)


CASES = {
    "even": lambda: known(EVEN),
    "corner": lambda: known(CORNER),
    "few": lambda: known(FEW),
    "none": lambda: known(()),
    "clear": lambda: known(
        ((150, 120, 36), (210, 120, 37), (500, 350, 42), (820, 600, 44)), "clear"
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_the_map_agrees_with_plain_algebra(name: str) -> None:
    case = CASES[name]()
    (drawn,) = draw_maps(case, grid_mm=20.0)
    raster = rasterise(DOOR, grid_mm=20.0)
    one = plain.field(case, raster)
    at = plain.seen(raster, raster.frame.places_mm(raster.paint))
    mean, sd = plain.clear_at(case, one, at)
    # a fifth less at an edge, tapering to none at 25 mm
    mean = mean * (1.0 - 0.2 * np.clip(1.0 - raster.to_edge_mm[raster.paint] / 25.0, 0.0, 1.0))
    doubt = case.numbers[0, 0] - case.numbers[0, 3]
    low = np.maximum(mean - doubt - 1.6448536 * sd, 0.0)
    assert drawn.doubt_um == pytest.approx(doubt)
    assert drawn.mean_um[raster.paint] == pytest.approx(mean, abs=1e-6)
    assert drawn.place_sd_um[raster.paint] == pytest.approx(sd, abs=1e-6)
    assert drawn.low_um[raster.paint] == pytest.approx(low, abs=1e-5)
    for grid in (drawn.mean_um, drawn.place_sd_um, drawn.low_um):
        assert np.isnan(grid[~raster.paint]).all()
    shown = case.summaries[0].shown
    read = sorted(shown.values_um) if shown else []
    assert sorted(drawn.spots_um) == pytest.approx(read)
    assert drawn.panel == "door"


@pytest.mark.parametrize("name", ["even", "corner", "none"])
@pytest.mark.parametrize("outline", [LEFT, RIGHT])
def test_a_section_agrees_with_plain_sums(
    name: str, outline: tuple[tuple[float, float], ...]
) -> None:
    case = CASES[name]()
    (drawn,) = draw_maps(case, grid_mm=10.0)
    mean, thin = plain.section(case, drawn.raster, drawn.mean_um, drawn.place_sd_um, outline)
    (found,) = section_budgets(case, drawn, [("7", outline)])
    rule = case.rule
    wanted = max(0.0, min(rule.once_um, rule.life_um, mean - rule.aim_um, thin - rule.floor_um))
    assert (found.panel, found.id) == ("door", "7")
    assert found.budget_um == pytest.approx(wanted, abs=1e-4)
    shift = mean - case.numbers[0, 0]
    assert found.clear_um.mean == pytest.approx(mean)
    assert found.clear_um.low == pytest.approx(min(mean, case.numbers[0, 1] + shift))
    assert found.clear_um.high == pytest.approx(max(mean, case.numbers[0, 2] + shift))


@pytest.mark.parametrize("name", ["corner", "few", "none"])
def test_the_next_reading_is_worth_what_plain_algebra_says(name: str) -> None:
    case = CASES[name]()
    (best,) = next_reading(case, "door")
    raster = rasterise(DOOR, grid_mm=30.0)
    one = plain.field(case, raster)
    face = raster.paint & (raster.to_edge_mm >= 25.0)
    places = raster.frame.places_mm(face)
    at = plain.seen(raster, places[:: len(places) // 100])
    mean = plain.clear_at(case, one, at)[0]
    rest = (1.0 - one.fraction) * one.clear_var

    def budget(more: np.ndarray | None) -> float:
        var = one.after(at, more)[1]
        thin = plain.thin_of(mean, np.sqrt(one.fraction**2 * var + rest))
        thin -= case.numbers[0, 0] - case.numbers[0, 3]
        rule = case.rule
        return float(max(0.0, min(rule.once_um, mean.mean() - rule.aim_um, thin - rule.floor_um)))

    row = np.zeros_like(face)
    row[1::3, 1::3] = True
    tried = raster.frame.places_mm(face & row)
    gains = [budget(plain.seen(raster, place[None, :])) - budget(None) for place in tried]
    assert best.gain_um == pytest.approx(max(gains), abs=2e-3)
    chosen = int(np.argmin(np.hypot(*(tried - (best.x_mm, best.y_mm)).T)))
    assert tuple(tried[chosen]) == (best.x_mm, best.y_mm)
    assert gains[chosen] == pytest.approx(max(gains), abs=2e-3)


def test_the_next_reading_serves_the_reserve_asked_for() -> None:
    usual = next_reading(CASES["few"](), "door")[0].gain_um
    kept = dataclasses.replace(CASES["few"](), rule=reserve_rule(60.0))  # more than there is
    assert usual > 0.1
    assert next_reading(kept, "door")[0].gain_um == 0.0


def test_words_of_a_section() -> None:
    even, corner = CASES["even"](), CASES["corner"]()
    (drawn,) = draw_maps(corner)
    (thin,) = section_budgets(corner, drawn, [("1", LEFT)])
    assert thin.budget_um == thin.edge_budget_um == 0.0
    assert thin.notes == (
        "Not worth the clear coat: leave deep scratches or refer them to a painter.",
    )
    (drawn,) = draw_maps(even)
    (right,) = section_budgets(even, drawn, [("1", RIGHT)])
    assert right.budget_um > right.edge_budget_um >= 0.0
    assert right.notes == ("Tape its edges and body lines, or keep the pad's rim off them.",)
