"""Teaching sheets to scale, the shop's dossier complete."""

import io
import math
import re
import xml.etree.ElementTree as ET
from datetime import datetime
from typing import Any

import msgspec
import pypdf
import pytest
from handover_job import MEDIUM, STRONG

from leastcut.handover import dossier_pdf, teaching_pdf
from leastcut.handover.account import reserve_um
from leastcut.handover.drill import draw_section, drill_rows, proof_words, teaching_sheet
from leastcut.handover.film_left import RESERVE_UM
from leastcut.handover.records import Dossier
from leastcut.handover.shop_sheet import shop_sheet
from leastcut.handover.visits import visit
from leastcut.inspect.records import Gauge


def text_of(pdf: bytes) -> Any:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def test_the_section_is_drawn_to_scale(dossier: Dossier) -> None:
    section = dossier.layouts[1].sections[0]
    drill = draw_section(section, MEDIUM)
    root = ET.fromstring(drill.svg)
    width = float(root.get("width").removesuffix("mm"))
    assert root.get("viewBox").split()[2] == root.get("width").removesuffix("mm")
    worked = max(x for x, _ in section.worked_mm) - min(x for x, _ in section.worked_mm)
    assert (width - 14.0) * drill.scale == pytest.approx(worked, abs=0.05 * drill.scale)
    circles = root.findall("{http://www.w3.org/2000/svg}circle")
    assert len(circles) == len(section.strokes_mm) == drill.strokes
    x0 = min(x for x, _ in section.worked_mm)
    assert float(circles[3].get("cx")) == pytest.approx(7 + (section.strokes_mm[3][0][0] - x0) / drill.scale, abs=0.01)  # fmt: skip


def test_a_set_takes_the_length_of_its_strokes_over_the_arm_speed(dossier: Dossier) -> None:
    section = dossier.layouts[0].sections[0]
    walked = sum(math.dist(a, b) for a, b in section.strokes_mm)
    drill = draw_section(section, MEDIUM)
    assert drill.seconds_a_set == pytest.approx(walked / MEDIUM.arm_speed_mm_s)


def test_the_drill_s_numbers_follow_from_the_settings() -> None:
    process = msgspec.structs.replace(
        MEDIUM, arm_speed_mm_s=50, stroke_spacing_mm=65, pad_diameter_mm=130, force_n=49.03325
    )
    rows = {row[0]: row[1:] for row in drill_rows(process, "metric")}
    assert "10 s" in rows["Arm speed"][1]
    assert rows["Overlap"][0] == "50\u00a0%"
    assert "5.0\u00a0kg" in rows["Push"][1]
    assert "50 turns in 10 s" in rows["Spin"][1]
    us = {row[0]: row[1:] for row in drill_rows(process, "us")}
    # source: NIST SP 811, B.8: 1 lbf = 4.448 222 N; status: memory
    assert f"{49.03325 / 4.448222:.1f}\u00a0lb" in us["Push"][1]
    assert "Spin" not in {row[0] for row in drill_rows(STRONG, "metric")}


def test_the_card_says_what_the_test_spot_proved(dossier: Dossier) -> None:
    said = proof_words(dossier, MEDIUM)
    assert said.startswith("Tried once on this paint. 2 sets take 1.2\u00a0µm (0.7–1.9\u00a0µm)")
    assert proof_words(dossier, STRONG) == "Not tried on this paint."


def test_teaching_sheets_have_a_card_for_each_process_and_one_drill(
    dossier: Dossier, now: datetime
) -> None:
    pdf = teaching_pdf.make(dossier, now=now)
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert len(reader.pages) == 3
    assert "One section, 1 : " in reader.pages[2].extract_text()
    assert pdf == teaching_pdf.make(dossier, now=now)


def test_without_work_there_is_nothing_to_practise(dossier: Dossier, now: datetime) -> None:
    plan = msgspec.structs.replace(dossier.plan, sections=())
    idle = msgspec.structs.replace(dossier, plan=plan)
    assert teaching_sheet(idle)[1] == {}
    assert "nothing to practise" in text_of(teaching_pdf.make(idle, now=now))


def test_the_dossier_shows_evidence_sections_and_balance(dossier: Dossier, now: datetime) -> None:
    book = visit(dossier, when="2026-03-14")
    text = re.sub(r"\s+", " ", text_of(dossier_pdf.make(dossier, now=now, ledger=book)))
    for needed in (
        "Corrections left",
        "15 at 5 places",
        "roof-before.jpg",
        "Orange foam, one-step × 3, White foam, fine × 1",
        "The gauge reads 0.8 µm too much",
        "no work recorded yet",
    ):
        assert needed in text
    assert text.count("Bar: planned cut") == 7


def test_the_dossier_says_when_nothing_is_known(dossier: Dossier, now: datetime) -> None:
    film = dossier.panels[0].film
    one = msgspec.structs.replace(dossier.photos[0].finding, load_mm_per_cm2=None)
    from leastcut.errors import Refusal

    two = msgspec.structs.replace(one, refused=Refusal(why="It is blurred.", do="Hold it still."))
    odd = msgspec.structs.replace(
        dossier,
        gauge=Gauge(bias_um=0, sd_um=2, checked=False),
        panels=(msgspec.structs.replace(dossier.panels[0], film=film),),
        photos=tuple(msgspec.structs.replace(dossier.photos[0], finding=f) for f in (one, two)),
        trials=(),
    )
    sheet = shop_sheet(odd)
    assert "not checked" in sheet["gauge"]
    assert sheet["balance"] == []
    roof = next(p for p in sheet["panels"] if p["name"] == "Roof")
    assert [row[-1] for row in roof["photos"]] == [
        "no scale",
        "refused: It is blurred. Hold it still.",
    ]
    assert text_of(dossier_pdf.make(odd, now=now))


def test_the_reserve_of_the_balance_is_the_car_s_own(dossier: Dossier) -> None:
    assert reserve_um(dossier) == 35.6
    assert reserve_um(msgspec.structs.replace(dossier, panels=())) == RESERVE_UM
