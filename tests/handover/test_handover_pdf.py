"""The two PDFs: complete, accessible, reproducible, and robust against client data."""

import io
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec
import pypdf
import pytest

from leastcut.handover import plan_pdf, report_pdf
from leastcut.handover.drawings import Drawings
from leastcut.handover.records import Dossier
from leastcut.handover.typeset import TypesetError, clean, set_pdf


def read(pdf: bytes) -> Any:
    return pypdf.PdfReader(io.BytesIO(pdf))


def words(reader: Any) -> Any:
    return "\n".join(page.extract_text() for page in reader.pages)


def squeezed(text: Any) -> Any:
    return "".join(text.replace("\u200b", "").split())


def embedded(reader: Any) -> Any:
    """Return every font's name with whether its file is inside (ISO 32000-1, 9.9)."""
    found = {}
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            for part in font.get_object().get("/DescendantFonts", [font]):
                described = part.get_object()["/FontDescriptor"].get_object()
                name = described["/FontName"]
                found[name] = any(k in described for k in ("/FontFile2", "/FontFile3"))
    return found


@pytest.fixture(scope="module")
def plan(dossier: Dossier, drawings: Drawings, moment: datetime) -> Any:
    return plan_pdf.make(dossier, now=moment, drawings=drawings)


@pytest.fixture(scope="module")
def report(dossier: Dossier, drawings: Drawings, moment: datetime) -> Any:
    return report_pdf.make(dossier, now=moment, drawings=drawings)


def test_plan_has_the_car_the_kit_and_a_page_for_every_panel_with_work(
    plan: bytes, dossier: Dossier
) -> None:
    worked = {s.panel for s in dossier.plan.sections if s.steps}
    reader = read(plan)
    assert len(reader.pages) == 2 + len(worked) + 1  # the last: panels left as they are
    names = [panel.name for panel in dossier.car.panels if panel.id in worked]
    for page, name in zip(reader.pages[2:-1], names, strict=True):
        assert name in page.extract_text()


def test_plan_says_every_section_with_its_minutes_cut_and_what_is_left(plan: bytes) -> None:
    text = words(read(plan))
    for needed in (
        "2.8\u00a0µm",
        "549.90",
        "Change hands",
        "Orange foam, one-step",
        "Gauge readings",
    ):
        assert needed in text
    assert squeezed("1.8 (≤ 2.8)") in squeezed(text)


def test_report_tells_the_status_before_and_after_work(
    report: bytes, dossier: Dossier, drawings: Drawings, now: datetime
) -> None:
    assert "Condition report and proposal" in words(read(report))
    stages = tuple(
        msgspec.structs.replace(s, done=True) if s.stage == "work" else s for s in dossier.stages
    )
    done = report_pdf.make(
        msgspec.structs.replace(dossier, stages=stages), now=now, drawings=drawings
    )
    text = words(read(done))
    assert "Handover report" in text
    assert "Condition report" not in text


def test_both_are_tagged_archival_and_carry_their_fonts(plan: bytes, report: bytes) -> None:
    # source: ISO 14289-1 (PDF/UA-1) 7.1: tagged, title shown, language; status: memory
    for pdf in (plan, report):
        reader = read(pdf)
        root = reader.trailer["/Root"]
        assert root["/MarkInfo"]["/Marked"]
        assert root["/Lang"] == "en"
        assert root["/ViewerPreferences"]["/DisplayDocTitle"]
        fonts = embedded(reader)
        assert len(fonts) >= 2
        assert all(fonts.values())
        xmp = root["/Metadata"].get_object().get_data().decode()
        assert "pdfuaid:part" in xmp
        assert "pdfaid:conformance" in xmp


def alternatives(reader: Any) -> Any:
    """Return the alternative texts of all figures in the structure tree."""
    found, queue = [], [reader.trailer["/Root"]["/StructTreeRoot"]]
    while queue:
        node = queue.pop()
        if node.get("/S") == "/Figure":
            found.append(node.get("/Alt"))
        kids = node.get("/K", [])
        kids = kids if isinstance(kids, list) else [kids]
        resolved = [kid.get_object() for kid in kids]
        queue += [kid for kid in resolved if isinstance(kid, dict)]
    return found


def test_every_picture_is_described(plan: bytes, report: bytes, dossier: Dossier) -> None:
    texts = alternatives(read(plan)) + alternatives(read(report))
    assert len(texts) >= len(dossier.car.panels) + 4
    assert all(text and len(text) > 30 for text in texts)
    assert any("must stay" in text for text in texts)


def test_the_same_dossier_and_time_give_the_same_bytes(
    plan: bytes, dossier: Dossier, drawings: Drawings, now: datetime
) -> None:
    assert plan_pdf.make(dossier, now=now, drawings=drawings) == plan


def test_us_units_use_letter_paper_and_mils(
    dossier: Dossier, drawings: Drawings, now: datetime
) -> None:
    us = msgspec.structs.replace(dossier, units="us", would_help_most=())
    advice = msgspec.structs.replace(us.testspot.next, why="Two sets reach the target.")
    spot = msgspec.structs.replace(us.testspot, next=advice)
    us = msgspec.structs.replace(us, testspot=spot)
    for made in (plan_pdf.make, report_pdf.make):
        reader = read(made(us, now=now, drawings=drawings))
        # source: ANSI/ASME Y14.1 letter, 8.5 × 11 in = 612 × 792 pt; status: memory
        assert [float(v) for v in reader.pages[0].mediabox[2:]] == [612, 792]
        text = words(reader)
        assert "mil" in text
        assert "µm" not in text


def test_client_data_in_any_script_stays_inside_the_page(
    odd_dossier: Dossier, drawings: Drawings, now: datetime
) -> None:
    for made in (plan_pdf.make, report_pdf.make):
        reader = read(made(odd_dossier, now=now, drawings=drawings))
        text = squeezed(reader.pages[0].extract_text())
        assert "#strong[x]" in text
        assert "🚗" in text
        assert "Łódź" in text
        assert "▯▯" in text
        assert "Dark" in text


def test_found_against_true_counts_the_intervals_that_hold(
    dossier: Dossier, drawings: Drawings, now: datetime
) -> None:
    state = dossier.panels[0]
    far = {"clear_um": state.film.clear_um.high + 5, "load_mm_per_cm2": 9.0, "depth": 3.0}
    truth = {state.panel: far, "paint": {"softness": 1.2}, "elsewhere": {"clear_um": 40.0}}
    text = words(read(report_pdf.make(dossier, now=now, drawings=drawings, truth=truth)))
    assert "Found against true" in text
    assert "2 of 3 intervals" in text


def test_a_broken_layout_is_our_fault_and_says_so(now: datetime) -> None:
    with pytest.raises(TypesetError, match="cannot set the report"):
        set_pdf("report", {"title": "x"}, pictures={}, units="metric", now=now)


def test_cleaning_keeps_the_shape_of_a_sheet() -> None:
    sheet = {"a": ["x\x00y", 3, None, True], "b": {"c": ("d",)}}
    assert clean(sheet) == {"a": ["x y", 3, None, True], "b": {"c": ["d"]}}


def test_a_job_with_nothing_known_still_prints(
    dossier: Dossier, drawings: Drawings, now: datetime
) -> None:
    empty = msgspec.structs.replace(
        dossier,
        panels=(),
        trials=(),
        cautions=(),
        would_help_most=(),
        window=None,
        plan=msgspec.structs.replace(
            dossier.plan, sections=(), operations=(), materials=(), price=None, notes=()
        ),
    )
    for made in (plan_pdf.make, report_pdf.make):
        assert len(read(made(empty, now=now, drawings=drawings)).pages) >= 2


def test_a_warning_of_the_typesetter_stops_the_document(
    now: datetime, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "report.typ").write_text(
        '#set document(title: "x", date: datetime(year: 2026, month: 3, day: 14))\n'
        '#set text(font: "No such face", lang: "en")\nHello'
    )
    monkeypatch.setattr("leastcut.handover.typeset.TEMPLATES", tmp_path)
    with pytest.raises(TypesetError, match="unknown font family"):
        set_pdf("report", {"title": "x"}, pictures={}, units="metric", now=now)
