"""The report once work is recorded: measured instead of planned, before and after."""

import io
import re
from datetime import datetime
from typing import Any

import msgspec
import pypdf
import pytest

from leastcut.car.records import Interval
from leastcut.handover import report_html, report_pdf
from leastcut.handover.charts import film_chart, left_after
from leastcut.handover.client import report_sheet
from leastcut.handover.records import Dossier, PanelCut, PanelProof
from leastcut.handover.truth import read_truth


@pytest.fixture(scope="module")
def finished(dossier: Dossier) -> Any:
    stages = tuple(
        msgspec.structs.replace(s, done=True) if s.stage == "work" else s for s in dossier.stages
    )
    cut = PanelCut(
        panel="roof", cut_um=Interval(mean=1.5, low=0.7, high=2.3), sd_um=0.4, how="measured"
    )
    small = msgspec.structs.replace(cut, cut_um=Interval(mean=0.4, low=0.1, high=0.9), section="2")
    proof = PanelProof(
        panel="roof",
        before_mm_per_cm2=Interval(mean=9, low=7, high=12),
        after_mm_per_cm2=Interval(mean=0.6, low=0.3, high=1.1),
    )
    return msgspec.structs.replace(dossier, stages=stages, cuts=(cut, small), proofs=(proof,))


def test_clear_coat_after_is_before_less_the_largest_cut(finished: Any) -> None:
    roof = finished.panels[0]
    left = left_after(finished, roof)
    film = roof.film.clear_um
    assert left.mean == pytest.approx(film.mean - 1.5)
    # source: JCGM 100:2008, 5.1.2, independent inputs; status: memory
    sd = ((film.high - film.low) / 3.919928) ** 2 + 0.4**2
    assert (left.high - left.low) / 3.919928 == pytest.approx(sd**0.5, rel=1e-6)
    assert left_after(finished, finished.panels[1]) is None


def test_the_sheet_says_what_was_measured(finished: Any) -> None:
    sheet = report_sheet(finished)
    roof = next(row for row in sheet["panels"] if row[0] == "Roof")
    assert roof[3] == "1.5 (0.7–2.3), measured"
    assert roof[4] == f"{left_after(finished, finished.panels[0]).low:.0f}"
    assert film_chart(finished).rows[0].after is not None


def test_both_reports_show_it(finished: Any, now: datetime) -> None:
    pdf = pypdf.PdfReader(io.BytesIO(report_pdf.make(finished, now=now)))
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pdf.pages))
    page = report_html.make(finished, now=now)
    for said in ("What was done, and why so little", "Pale: before. Dark: after.", "July 2026"):
        assert said in text
        assert said in page


def test_months_run_over_the_end_of_the_year(dossier: Dossier, now: datetime) -> None:
    late = now.replace(month=11)
    assert report_sheet(dossier, now=late)["care"]["by"] == "March 2027"
    assert report_sheet(dossier)["care"]["by"] == ""


def test_a_panel_nobody_planned_or_looked_at_says_so(dossier: Dossier) -> None:
    plan = msgspec.structs.replace(
        dossier.plan, sections=tuple(s for s in dossier.plan.sections if s.panel != "roof")
    )
    trial = msgspec.structs.replace(dossier.trials[0], removed=None, cut_um=None, verdict=None)
    odd = msgspec.structs.replace(dossier, plan=plan, panels=dossier.panels[1:], trials=(trial,))
    sheet = report_sheet(odd)
    roof = next(row for row in sheet["panels"] if row[0] == "Roof")
    assert roof == ["Roof", "not looked at", "left as it is", "0", "–", "–"]
    assert ["Roof", "not in the plan."] in sheet["left"]
    assert sheet["trials"][0][2:] == ["–", "–", "–"]
    kept = msgspec.structs.replace(odd, panels=dossier.panels)
    assert next(r for r in report_sheet(kept)["panels"] if r[0] == "Roof")[4] == "40"


def test_a_truth_without_softness_compares_what_it_has(dossier: Dossier, now: datetime) -> None:
    truth = {"roof": {"load_mm_per_cm2": 9.0}}
    sheet = report_sheet(dossier, truth=read_truth(truth))
    assert sheet["truth"]["words"].startswith("1 of 1 intervals")
    assert report_pdf.make(dossier, now=now, truth=truth)


def test_a_car_with_nothing_taped_off_has_no_line_for_it(dossier: Dossier) -> None:
    panels = tuple(msgspec.structs.replace(p, keep_outs=()) for p in dossier.car.panels)
    plain = msgspec.structs.replace(
        dossier, car=msgspec.structs.replace(dossier.car, panels=panels)
    )
    assert not any("taped off" in row[0] for row in report_sheet(plain)["left"])
