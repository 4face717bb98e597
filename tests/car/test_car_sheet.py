"""The pattern sheet: pieces to one scale, none touching, readable in print and aloud."""

import re
import xml.etree.ElementTree as ET
from itertools import combinations

import car_shapes
import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from leastcut.car.bodies import build
from leastcut.car.ramp import CHALK, contrast
from leastcut.car.records import BodyClass, Car, Panel, Point
from leastcut.car.sheet import SheetError, draw, draw_panel, lay_out, on_sheet

SVG = "{http://www.w3.org/2000/svg}"


def pieces(panels: tuple[Panel, ...], page: Point = (420.0, 297.0)) -> dict[str, Polygon]:
    sheet = lay_out(panels, page_mm=page)
    by_id = {p.id: p for p in panels}
    return {
        p.panel: Polygon(on_sheet(sheet, p, by_id[p.panel].outline_mm)) for p in sheet.placements
    }


def words_of(svg: str) -> list[str]:
    return [e.text or "" for e in ET.fromstring(svg).iter(f"{SVG}text")]


def told(svg: str) -> list[str]:
    return [e.text or "" for e in ET.fromstring(svg).iter(f"{SVG}title")]


@settings(max_examples=15, deadline=None)
@given(car_shapes.bodies(), st.sampled_from([(420.0, 297.0), (297.0, 420.0), (220.0, 150.0)]))
def test_no_piece_touches_another_or_leaves_the_page(
    drawn: tuple[BodyClass, dict[str, float], int], page: Point
) -> None:
    body, size, doors = drawn
    shapes = pieces(build(body, **size, doors=doors), page)
    rim = box(0, 20, page[0], page[1] - 20)
    for a, b in combinations(shapes.values(), 2):
        assert a.distance(b) > 1.0
    assert all(rim.buffer(0.01).covers(shape) for shape in shapes.values())


def test_outlines_far_from_their_origin_lie_as_well() -> None:
    car = odd_car(
        ((5000.0, -4000.0), (6000.0, -4000.0), (6000.0, -3300.0), (5000.0, -3300.0)),
        ((-900.0, 2000.0), (0.0, 2000.0), (0.0, 2600.0), (-900.0, 2600.0)),
        ((0.0, 0.0), (800.0, 0.0), (800.0, 500.0), (0.0, 500.0)),
    )
    shapes = list(pieces(car.panels).values())
    assert all(a.distance(b) > 1 for a, b in combinations(shapes, 2))
    assert all(box(0, 20, 420, 277).covers(shape) for shape in shapes)


@pytest.mark.parametrize("body", car_shapes.CLASSES)
def test_all_pieces_have_one_scale_and_stand_on_their_side(body: BodyClass) -> None:
    panels = car_shapes.usual_panels(body)
    sheet = lay_out(tuple(panels.values()))
    for name, shape in pieces(tuple(panels.values())).items():
        true = Polygon(panels[name].outline_mm)
        assert shape.area == pytest.approx(true.area * sheet.scale**2, rel=1e-4)
        middle = shape.centroid.x - 210
        assert {"left": middle < -40, "right": middle > 40, "centre": True}[panels[name].side]
    assert 1 / 26 < sheet.scale < 1 / 12, "a car fills an A3 sheet"


def test_left_and_right_columns_mirror_each_other() -> None:
    shapes = pieces(tuple(car_shapes.usual_panels("suv").values()))
    for name, left in shapes.items():
        if name.endswith("-left"):
            right = shapes[name.replace("-left", "-right")]
            assert left.centroid.x + right.centroid.x == pytest.approx(420, abs=0.5)
            assert left.centroid.y == pytest.approx(right.centroid.y, abs=0.5)


def test_numbers_follow_the_order_given_and_top_comes_first() -> None:
    panels = tuple(car_shapes.usual_panels("three-box").values())
    sheet = lay_out(panels)
    assert [p.panel for p in sheet.placements] == [p.id for p in panels]
    assert [p.number for p in sheet.placements] == list(range(1, len(panels) + 1))
    shapes = pieces(panels)
    assert shapes["pillar-a-left"].bounds[1] < shapes["quarter-left"].bounds[1]
    assert shapes["quarter-left"].bounds[1] < shapes["sill-left"].bounds[1]


def test_what_cannot_be_laid_out_says_why() -> None:
    roof = car_shapes.usual_panels("suv")["roof"]
    with pytest.raises(SheetError, match="no panel to lay out"):
        lay_out(())
    with pytest.raises(SheetError, match="two panels are called 'roof'"):
        lay_out((roof, roof))
    with pytest.raises(SheetError, match="leaves 32 × 20 mm"):
        lay_out((roof,), page_mm=(50, 60))


def test_one_panel_alone_and_one_side_alone_fill_their_page() -> None:
    panels = car_shapes.usual_panels("two-box")
    assert lay_out((panels["roof"],)).scale > 1 / 10
    left = tuple(p for p in panels.values() if p.side == "left")
    assert lay_out(left).scale > lay_out(tuple(panels.values())).scale


def test_the_svg_is_whole_and_speaks() -> None:
    car = car_shapes.usual_car("three-box", label='Bell & "Sons" <1>\x00')
    svg = draw(lay_out(car.panels), car)
    root = ET.fromstring(svg)
    assert root.attrib["role"] == "img"
    assert root.attrib["aria-labelledby"] == "sheet-title sheet-desc"
    assert "Atkinson Hyperlegible" in root.attrib["font-family"]
    assert root.find(f"{SVG}title") is not None
    spoken = root.findtext(f"{SVG}desc") or ""
    assert "17 Right sill." in spoken
    assert 'Bell & "Sons" <1>' in words_of(svg)
    assert {str(n) for n in range(1, 18)} <= set(words_of(svg))
    assert {p.name for p in car.panels} <= {t.split(" ", 1)[-1] for t in told(svg)}


def test_values_are_coloured_printed_and_told_and_gaps_hatched() -> None:
    car = car_shapes.usual_car("suv")
    values = {"roof": 41.26, "bonnet": 28.0, "tailgate": None, "door-front-left": 55.0}
    svg = draw(
        lay_out(car.panels),
        car,
        values=values,
        value_name="clear coat",
        value_unit="µm",
        decimals=1,
        value_range=(20.0, 60.0),
    )
    assert {"41.3", "28.0", "55.0", "20.0", "60.0", "clear coat [µm]", "not measured"} <= set(
        words_of(svg)
    )
    assert f'fill="{CHALK.colour((41.26 - 20) / 40)}"' in svg
    assert svg.count('fill="url(#sheet-unmeasured)"') >= len(car.panels) - 3
    spoken = ET.fromstring(svg).findtext(f"{SVG}desc") or ""
    assert "1 Roof, clear coat: 41.3 µm." in spoken
    assert "Tailgate, clear coat: not measured." in spoken
    assert "1 Roof: 41.3" in told(svg)


@pytest.mark.parametrize("values", [{}, {"roof": None}, {"roof": 777.0}])
def test_few_or_equal_values_still_draw(values: dict[str, float | None]) -> None:
    car = car_shapes.usual_car("coupe")
    svg = draw(lay_out(car.panels), car, values=values)
    assert ("777" in words_of(svg)) == ("roof" in values and values["roof"] is not None)


@settings(max_examples=10, deadline=None)
@given(st.lists(st.floats(0, 100), min_size=19, max_size=19))
def test_every_printed_value_reads_on_its_ground(numbers: list[float]) -> None:
    car = car_shapes.usual_car("pickup")
    values = dict(zip([p.id for p in car.panels], numbers, strict=True))
    root = ET.fromstring(draw(lay_out(car.panels), car, values=values, value_range=(0.0, 100.0)))
    checked = 0
    for group in root.findall(f"{SVG}g"):
        ground = group.find(f"{SVG}path").attrib["fill"]  # type: ignore[union-attr]
        number = (group.findtext(f"{SVG}title") or "").split()[0]
        for words in group.findall(f"{SVG}text"):
            in_circle = words.text == number
            # source: WCAG 2.2, success criterion 1.4.3; status: seen.
            assert contrast(words.attrib["fill"], "#ffffff" if in_circle else ground) >= 4.5
            checked += not in_circle
    assert checked > 30


@pytest.mark.parametrize("body", car_shapes.CLASSES)
@pytest.mark.parametrize("page", [(420.0, 297.0), (182.0, 150.0)])
def test_names_beside_thin_pieces_cover_nothing(body: BodyClass, page: Point) -> None:
    car = car_shapes.usual_car(body)
    sheet = lay_out(car.panels, page_mm=page, head_mm=14, foot_mm=12, margin_mm=1)
    root = ET.fromstring(draw(sheet, car, values={p.id: 41.0 for p in car.panels}))
    by_id = {p.id: p for p in car.panels}
    shapes = [Polygon(on_sheet(sheet, p, by_id[p.panel].outline_mm)) for p in sheet.placements]
    names = {p.name for p in car.panels}
    seen = 0
    for words in root.findall(f"{SVG}text"):  # those inside pieces stand in groups
        if (words.text or "").split("  ")[0] in names and "transform" not in words.attrib:
            x, y, size = (float(words.attrib[k]) for k in ("x", "y", "font-size"))
            cover = box(x, y - 0.7 * size, x + 0.5 * size * len(words.text or ""), y)
            assert not any(shape.intersects(cover) for shape in shapes)
            seen += 1
    assert seen >= 3


def scale_bar_mm(svg: str) -> tuple[float, str]:
    """Return the length of the bar on paper and the words at its end."""
    rects = [
        e.attrib
        for e in ET.fromstring(svg).iter(f"{SVG}rect")
        if e.attrib.get("height") == "1.5" and e.attrib.get("stroke-width") == "0.2"
    ]
    assert len(rects) == 4
    words = [w for w in words_of(svg) if re.fullmatch(r"[\d.]+\xa0(m|mm|ft|in)", w)]
    return sum(float(r["width"]) for r in rects), words[-1]


@pytest.mark.parametrize(("units", "metres"), [("metric", 1.0), ("us", 0.3048)])
def test_the_scale_bar_is_true(units: str, metres: float) -> None:
    car = car_shapes.usual_car("three-box")
    sheet = lay_out(car.panels)
    svg = draw(sheet, car, units=units)  # type: ignore[arg-type]
    paper, words = scale_bar_mm(svg)
    number, unit = words.split("\xa0")
    assert unit == ("m" if units == "metric" else "ft")
    assert paper == pytest.approx(float(number) * metres * 1000 * sheet.scale, abs=0.05)


def test_area_is_shown_in_the_readers_units() -> None:
    car = car_shapes.usual_car("three-box")
    sheet = lay_out(car.panels)
    metric, us = (" ".join(words_of(draw(sheet, car, units=u))) for u in ("metric", "us"))
    m2 = float(re.search(r"([\d.]+)\xa0m²", metric)[1])  # type: ignore[index]
    ft2 = float(re.search(r"([\d.]+)\xa0ft²", us)[1])  # type: ignore[index]
    assert ft2 * 0.09290304 == pytest.approx(m2, abs=0.1)


def test_cells_are_drawn_and_numbered_in_place() -> None:
    car = car_shapes.usual_car("two-box")
    halves = {
        "roof": [
            ("A", ((0, 0), (500, 0), (500, 900), (0, 900))),
            ("B", ((500, 0), (990, 0), (990, 900))),
        ]
    }
    svg = draw(lay_out(car.panels), car, cells=halves)
    assert {"A", "B", "Roof", "Bonnet"} <= set(words_of(svg))


def test_one_notch_in_front_and_two_behind() -> None:
    from leastcut.car._marks import notches

    panels = car_shapes.usual_panels("three-box")
    for name in ("door-front-left", "door-front-right", "bonnet", "roof"):
        panel = panels[name]
        axis = 0 if panel.facing == "side" else 1
        middle = max(p[axis] for p in panel.outline_mm) / 2
        marks = notches(panel, size_mm=20)
        low = [m for m in marks if max(p[axis] for p in m) < middle]
        front_is_low = panel.side != "right"
        assert len(marks) == 3
        assert len(low) == (1 if front_is_low else 2), name
    assert notches(panels["bumper-front"], size_mm=20) == ()
    assert notches(panels["pillar-a-left"], size_mm=20) == (), "a bent strip"


def test_paper_without_head_or_foot_has_none() -> None:
    car = car_shapes.usual_car("van")
    bare = draw(
        lay_out(car.panels, head_mm=0, foot_mm=0), car, values={"roof": 3.0}, value_name="x"
    )
    assert "keep off" not in words_of(bare)
    assert car.label not in words_of(bare)
    assert "Sliding door".lower() in " ".join(told(bare)).lower()


def test_panels_of_no_known_place_have_no_key_figure() -> None:
    car = car_shapes.usual_car("van")
    placeless = tuple(msgspec.structs.replace(p, place_mm=None) for p in car.panels)
    other = msgspec.structs.replace(car, panels=placeless)
    sheet = lay_out(car.panels)
    left = sum(p.side == "left" for p in car.panels)
    assert draw(sheet, car).count("<path") - draw(sheet, other).count("<path") == left


def odd_car(*outlines: tuple[Point, ...]) -> Car:
    panels = tuple(
        Panel(id=f"p{i}", name=f"Piece {i}", side="centre", facing="rear", outline_mm=outline)
        for i, outline in enumerate(outlines)
    )
    return Car(
        label="Parts",
        body="van",
        length_mm=5000,
        width_mm=2000,
        height_mm=2000,
        wheelbase_mm=3000,
        panels=panels,
    )


def test_strips_rings_and_specks_are_labelled_too() -> None:
    post = ((0.0, 0.0), (60.0, 0.0), (60.0, 1500.0), (0.0, 1500.0))
    bar = ((0.0, 0.0), (1500.0, 0.0), (1500.0, 60.0), (0.0, 60.0))
    cee = (
        (0.0, 0.0), (800.0, 0.0), (800.0, 60.0), (60.0, 60.0),
        (60.0, 700.0), (800.0, 700.0), (800.0, 760.0), (0.0, 760.0),
    )  # fmt: skip
    car = odd_car(post, bar, cee, ((0.0, 0.0), (30.0, 0.0), (30.0, 30.0), (0.0, 30.0)))
    large = draw(lay_out(car.panels), car, values={"p0": 5.0, "p1": 6.0})
    assert {"1", "2", "3", "4", "5", "Piece 0", "6", "Piece 1"} <= set(words_of(large))
    small = draw(lay_out(car.panels, page_mm=(148, 105)), car, values={"p0": 55.0, "p1": 66.0})
    assert "Piece 0  55" in words_of(small), "the value goes out with the name"


def test_one_panel_large_shows_what_it_is_given() -> None:
    door = car_shapes.usual_panels("three-box")["door-front-left"]
    svg = draw_panel(
        door,
        sections=[("1", ((0, 0), (500, 0), (500, 600), (0, 600)))],
        strokes=[((50, 50), (450, 50)), ((450, 100), (50, 100))],
        readings=[((300, 300), "112 µm")],
        taped=door.body_lines_mm[:1],
        tiles=[(((0, 0), (100, 0), (100, 100), (0, 100)), 40.0)],
        tile_name="clear coat [µm]",
        decimals=1,
    )
    assert {"Left front door", "1", "112 µm", "handle", "clear coat [µm]", "40.0", "41.0"} <= set(
        words_of(svg)
    )
    assert svg.count('stroke-width="1.1"') == 1, "one taped edge, a double line"
    paper, words = scale_bar_mm(svg)
    assert paper == pytest.approx(float(words.split("\xa0")[0]) * 164 / 1058, rel=0.05)


@pytest.mark.parametrize("name", ["bonnet", "roof", "tailgate", "bumper-front", "pillar-a-right"])
def test_a_bare_panel_shows_its_grain(name: str) -> None:
    panel = car_shapes.usual_panels("suv")[name]
    words = words_of(draw_panel(panel, units="us", title="One"))
    assert "One" in words
    assert ("front" in words) == (panel.facing == "top" or name.startswith("pillar"))
    assert any(w.endswith(("in", "ft")) for w in words)


def test_a_flat_strip_seen_from_behind_has_no_room_for_an_arrow() -> None:
    strip = odd_car(((0.0, 0.0), (1500.0, 0.0), (1500.0, 20.0), (0.0, 20.0))).panels[0]
    assert "up" not in words_of(draw_panel(strip))


def test_linked_pieces_lead_where_they_should_and_can_be_reached() -> None:
    panels = tuple(car_shapes.usual_panels("two-box").values())
    car = Car(
        label="x",
        body="two-box",
        length_mm=4200,
        width_mm=1800,
        height_mm=1450,
        wheelbase_mm=2600,
        panels=panels,
    )
    links = {panel.id: f"/there/{panel.id}?a=1&b=2" for panel in panels[:-1]}
    root = ET.fromstring(draw(lay_out(panels), car, links=links))
    assert root.get("role") == "group", "a picture would hide its links"
    led = {a.get("href") for a in root.iter(f"{SVG}a")}
    assert led == set(links.values())
    plain = ET.fromstring(draw(lay_out(panels), car))
    assert plain.get("role") == "img"
    assert not list(plain.iter(f"{SVG}a"))


def test_linked_sections_can_be_tapped_all_over() -> None:
    panel = next(iter(car_shapes.usual_panels("two-box").values()))
    cell = ("A1", panel.outline_mm)
    root = ET.fromstring(draw_panel(panel, sections=[cell], links={"A1": "/there"}))
    (led,) = root.iter(f"{SVG}a")
    assert led.get("href") == "/there"
    assert led.find(f"{SVG}path").get("pointer-events") == "all"
