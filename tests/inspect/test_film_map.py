"""Maps of a panel, budgets of its sections, and where to read next."""

from time import perf_counter

import film_truth as truth
import numpy as np
import pytest
from shapely import LineString, contains_xy, distance, points
from shapely import Polygon as Shape

from leastcut.car.records import KeepOut, Paint, Panel
from leastcut.inspect.budget import reserve_rule
from leastcut.inspect.film import findings_of
from leastcut.inspect.film_map import (
    EDGE_MM,
    draw_maps,
    next_reading,
    section_budgets,
    thin_place_um,
)
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.raster import rasterise
from leastcut.inspect.records import GaugeCheck, Layer, Reading
from leastcut.inspect.study import Study, study

GAUGE = calibrate([GaugeCheck(known_um=k, shown_um=k) for k in (0, 0, 0, 125, 125, 250)])
DOOR = Panel(
    id="door-front-left",
    name="Left front door",
    side="left",
    facing="side",
    outline_mm=((0, 0), (1000, 40), (960, 700), (60, 640)),
    material="steel",
    keep_outs=(
        KeepOut(name="handle", outline_mm=((700, 450), (880, 450), (880, 500), (700, 500))),
    ),
    body_lines_mm=(((100, 200), (900, 220)),),
)


def known(*rows: tuple[float, float, float], layer: Layer = "total", **more: object) -> Study:
    found = [
        Reading(panel=DOOR.id, spot=str(i), reading_um=um, x_mm=x, y_mm=y, layer=layer)
        for i, (x, y, um) in enumerate(rows)
    ]
    return study([DOOR], found, paint=Paint(), gauge=GAUGE, **more)  # type: ignore[arg-type]


FIVE = ((150, 120, 118), (500, 350, 121), (820, 120, 119), (200, 550, 117), (820, 600, 120))
CORNER = ((150, 120, 88), (210, 100, 90), (500, 350, 121), (820, 120, 119), (820, 600, 120))
LEFT = ((0, 0), (330, 0), (330, 350), (0, 350))
RIGHT = ((600, 100), (960, 100), (960, 420), (600, 420))


def test_raster_agrees_with_geometry() -> None:
    raster = rasterise(DOOR, grid_mm=10.0)
    frame = raster.frame
    x, y = frame.places_mm(np.ones_like(raster.paint)).T
    whole = Shape(DOOR.outline_mm).difference(Shape(DOOR.keep_outs[0].outline_mm))
    exact = contains_xy(whole, x, y).reshape(raster.paint.shape)
    assert np.array_equal(exact, raster.paint)
    assert raster.paint.sum() * 100 == pytest.approx(whole.area, rel=0.01)
    edges = whole.boundary.union(LineString(DOOR.body_lines_mm[0]))
    at = frame.places_mm(raster.paint)
    off = distance(points(at), edges) - raster.to_edge_mm[raster.paint]
    assert np.abs(off).max() < 15.0  # a cell and a half
    row, column = frame.cell_of(frame.places_mm(raster.paint))
    assert raster.paint[row, column].all()


def test_map_without_readings_is_flat_inside_and_lower_at_edges() -> None:
    (drawn,) = draw_maps(known())
    face = drawn.raster.paint & (drawn.raster.to_edge_mm >= EDGE_MM)
    edge = drawn.raster.paint & (drawn.raster.to_edge_mm < EDGE_MM)
    assert np.ptp(drawn.mean_um[face]) == 0
    assert drawn.mean_um[edge].max() < drawn.mean_um[face].min()
    assert np.isnan(drawn.mean_um[~drawn.raster.paint]).all()
    assert np.all(drawn.low_um[drawn.raster.paint] <= drawn.mean_um[drawn.raster.paint])


def test_map_bends_towards_a_thin_corner() -> None:
    case = known(*CORNER)
    (drawn,) = draw_maps(case)
    left, right = section_budgets(case, drawn, [("1", LEFT), ("2", RIGHT)])
    assert left.clear_um.mean < right.clear_um.mean - 5
    assert left.budget_um == 0 < right.budget_um
    assert "Not worth the clear coat" in left.notes[-1]
    assert drawn.spots_um == pytest.approx(
        sorted((88, 90, 121, 119, 120), key=list(drawn.spots_um).index)
    )


def test_sections_without_readings_match_the_panel() -> None:
    case = known()
    (drawn,) = draw_maps(case)
    (all_of_it,) = section_budgets(case, drawn, [("1", DOOR.outline_mm)])
    mean, floor = case.numbers[0, 0], case.numbers[0, 4]
    expected = min(7.62, mean - 35.56, floor - 25.4)
    assert all_of_it.budget_um == pytest.approx(expected, abs=0.6)
    assert all_of_it.edge_budget_um <= all_of_it.budget_um
    assert "Tape" in all_of_it.notes[0]


def test_a_section_off_the_panel_or_all_edge() -> None:
    case = known(*FIVE)
    (drawn,) = draw_maps(case)
    off = ((2000, 2000), (2100, 2000), (2100, 2100), (2000, 2100))
    strip = ((100, 190), (900, 210), (900, 230), (100, 210))
    nothing, edge = section_budgets(case, drawn, [("1", off), ("2", strip)])
    assert (nothing.budget_um, nothing.clear_um.mean) == (0.0, 0.0)
    assert edge.budget_um <= section_budgets(case, drawn, [("3", RIGHT)])[0].budget_um


def test_inner_section_has_no_edge_to_tape() -> None:
    case = known(*FIVE, reserve=reserve_rule(20.0))
    (drawn,) = draw_maps(case)
    inner = ((300, 300), (600, 300), (600, 500), (300, 500))
    (found,) = section_budgets(case, drawn, [("1", inner)])
    assert found.edge_budget_um == found.budget_um > 0
    assert found.notes == ()


def test_clear_readings_bend_the_map_fully() -> None:
    case = known((150, 120, 34), (500, 350, 42), (820, 600, 42), layer="clear")
    (drawn,) = draw_maps(case)
    row, column = drawn.raster.frame.cell_of(np.array([[150.0, 120.0], [820.0, 600.0]]))
    low, high = drawn.mean_um[row, column]
    assert high - low > 4


def test_next_reading_goes_where_nothing_is_known() -> None:
    case = known(*[row for row in FIVE if row[0] < 800])
    (place,) = next_reading(case, DOOR.id)
    assert place.x_mm > 600
    assert place.gain_um >= 0
    (first,) = next_reading(known(), DOOR.id)
    assert contains_xy(Shape(DOOR.outline_mm), first.x_mm, first.y_mm)


def test_next_reading_names_nothing_where_none_can_be_taken() -> None:
    plastic = next(p for p in truth.panels() if p.material == "plastic")
    strip = Panel(
        id="strip", name="s", side="left", facing="side",
        outline_mm=((0, 0), (400, 0), (400, 30), (0, 30)), material="steel",
    )  # fmt: skip
    case = study([plastic, strip], [], paint=Paint(), gauge=GAUGE)
    assert next_reading(case, plastic.id) == ()
    assert next_reading(case, "strip") == ()


def test_matt_paint_has_no_budget_anywhere() -> None:
    case = study([DOOR], [], paint=Paint(system="matt"), gauge=GAUGE)
    (drawn,) = draw_maps(case)
    assert section_budgets(case, drawn, [("1", RIGHT)])[0].budget_um == 0


def test_a_car_with_200_readings_and_fine_maps_takes_half_a_second_at_most() -> None:
    rng = np.random.default_rng(2)
    car, gauge = truth.draw_car(rng), truth.draw_gauge(rng)
    found: list[Reading] = []
    while len(found) < 200:
        found = truth.draw_readings(car, gauge, rng, skip=0.0)
    times = []
    for _ in range(3):
        start = perf_counter()
        case = study(truth.panels(), found[:200], paint=Paint(), gauge=GAUGE)
        assert len(findings_of(case)) == len(draw_maps(case, grid_mm=10.0)) == 16
        times.append(perf_counter() - start)
    assert min(times) <= 0.5


def test_thin_place_of_a_mixture_by_monte_carlo() -> None:
    # source: two million draws of the same mixture; status: recomputed
    mean, sd = np.array([38.0, 41.0, 45.0]), np.array([1.0, 2.0, 3.0])
    rng = np.random.default_rng(0)
    pick = rng.integers(0, 3, 2_000_000)
    draws = rng.normal(mean[pick], sd[pick])
    assert float(thin_place_um(mean, sd)) == pytest.approx(np.quantile(draws, 0.05), abs=0.01)
