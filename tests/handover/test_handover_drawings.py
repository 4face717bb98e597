"""The drawings in the PDFs, and that no letter leaves the page whatever the client is called."""

import xml.etree.ElementTree as ET
from datetime import datetime
from typing import Any

import msgspec
import pypdfium2
import pytest

from leastcut.handover import dossier_pdf, plan_pdf, report_pdf, teaching_pdf
from leastcut.handover.drawings import draw, draw_film, one_way
from leastcut.handover.records import Dossier, People
from leastcut.handover.wall import sheet_height_mm

SVG = "{http://www.w3.org/2000/svg}"


def texts(svg: Any) -> Any:
    return [t.text for t in ET.fromstring(svg).iter(f"{SVG}text")]


def test_every_panel_is_drawn_with_its_sections_in_order_of_work(dossier: Dossier) -> None:
    drawings = draw(dossier)
    assert set(drawings.panels) == {p.id for p in dossier.car.panels}
    for layout in dossier.layouts:
        assert {str(n) for n in range(1, len(layout.order) + 1)} <= set(
            texts(drawings.panels[layout.panel])
        )
    assert texts(drawings.car).count("1") >= len(dossier.layouts)


def test_the_film_sheet_prints_the_lower_bound_of_every_measured_panel(dossier: Dossier) -> None:
    shown = texts(draw_film(dossier))
    for state in dossier.panels:
        if not state.film.assumed:
            assert f"{state.film.clear_um.low:.0f}" in shown
    us = texts(draw_film(msgspec.structs.replace(dossier, units="us")))
    # source: 1 mil = 25.4 µm, exact
    assert f"{dossier.panels[0].film.clear_um.low / 25.4:.2f}" in us


def test_only_one_direction_of_the_crosshatch_is_drawn() -> None:
    strokes = [((0, 0), (9, 1)), ((9, 2), (0, 1)), ((1, 0), (1, 9)), ((2, 9), (2, 0))]
    assert one_way(strokes) == strokes[:2]
    assert one_way([]) == []


def test_a_panel_without_a_layout_is_still_drawn(dossier: Dossier) -> None:
    bare = msgspec.structs.replace(dossier, layouts=())
    assert len(draw(bare).panels) == len(dossier.car.panels)


def test_a_long_table_leaves_the_sheet_room() -> None:
    assert sheet_height_mm(40) == 80.0
    assert sheet_height_mm(3) == 150.0


def outside(pdf: bytes, edge_pt: Any = 34.0) -> Any:
    """Return the letters that stand nearer to the paper's left or right edge than the margin."""
    found = []
    for page in pypdfium2.PdfDocument(pdf):
        text, width = page.get_textpage(), page.get_width()
        for i in range(text.count_chars()):
            left, _, right, _ = text.get_charbox(i)
            if right > left and (left < edge_pt or right > width - edge_pt):
                found.append(text.get_text_range(i, 1))
    return found


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize(
    "make", [plan_pdf.make, report_pdf.make, dossier_pdf.make, teaching_pdf.make]
)
def test_no_letter_leaves_the_page_with_hostile_names(
    odd_dossier: Dossier, now: datetime, make: Any, units: Any
) -> None:
    long = "Donaudampfschifffahrtsgesellschaftskapitän" * 3
    car = msgspec.structs.replace(
        odd_dossier.car,
        label=f"{long} עם שם ארוך מאוד 🚗",
        panels=tuple(
            msgspec.structs.replace(p, name=f"{p.name} {long[:60]}") for p in odd_dossier.car.panels
        ),
    )
    people = People(client=long * 3, shop=f"{long} ورشة", date="the second Tuesday of next month")
    hostile = msgspec.structs.replace(odd_dossier, car=car, people=people, units=units)
    assert outside(make(hostile, now=now)) == []


def test_a_panel_with_many_sections_goes_on_to_another_page(
    dossier: Dossier, now: datetime
) -> None:
    layout = dossier.layouts[0]
    more = tuple(
        msgspec.structs.replace(section, id=f"roof-{n}-{section.id}")
        for n in range(3)
        for section in layout.sections
    )
    long = msgspec.structs.replace(layout, sections=more, order=tuple(s.id for s in more))
    step = dossier.plan.sections[0]
    idle = msgspec.structs.replace(step, steps=(), note="Left: too thin.")
    plan = tuple(msgspec.structs.replace(step if n else idle, id=s.id) for n, s in enumerate(more))
    rest = tuple(s for s in dossier.plan.sections if s.panel != "roof")
    big = msgspec.structs.replace(
        dossier,
        layouts=(long, *dossier.layouts[1:]),
        plan=msgspec.structs.replace(dossier.plan, sections=(*plan, *rest)),
    )
    pages = list(pypdfium2.PdfDocument(plan_pdf.make(big, now=now)))
    texts_ = [page.get_textpage().get_text_range() for page in pages]
    roof = next(i for i, text in enumerate(texts_) if "Roof" in text and "Gauge" in text)
    assert "Left: too thin." in texts_[roof]
    assert "27" in texts_[roof + 1]
    assert "Gauge" in texts_[roof + 1]  # the head of the table stands on both
