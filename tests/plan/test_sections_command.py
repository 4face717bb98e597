"""The sections command as a user runs it, and the sheet it draws."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
import shapely
from click.testing import CliRunner
from sections_outlines import box, panel

from leastcut.cli.plan import group
from leastcut.errors import InputError
from leastcut.plan.section_sheet import section_sheet
from leastcut.plan.sections import lay_out

DOOR = {
    "panel": "door",
    "outline_mm": [[0, 0], [1100, 0], [1150, 400], [1000, 700], [100, 720]],
    "keep_out_mm": [[[850, 520], [1000, 520], [1000, 560], [850, 560]]],
    "max_side_mm": 610,
    "overlap_mm": 50,
    "stroke_spacing_mm": 40,
}


def written(folder: Path, **changes: object) -> Path:
    path = folder / "door.json"
    path.write_text(json.dumps(DOOR | changes))
    return path


def ask(*words: object) -> str:
    result = CliRunner().invoke(group, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == 0
    return result.stdout


def test_the_document_has_the_promised_keys(tmp_path: Path) -> None:
    told = json.loads(ask("sections", written(tmp_path), "--json"))
    assert {"sections", "order", "covered_fraction", "lower_bound"} <= set(told)
    assert told["order"] == [section["id"] for section in told["sections"]]
    assert told["covered_fraction"] == pytest.approx(1.0, abs=1e-5)
    for section in told["sections"]:
        assert max(section["width_mm"], section["height_mm"]) <= 610
        for key in ("cell_mm", "worked_mm"):
            ring = shapely.LinearRing(section[key])
            assert ring.is_ccw
            assert section[key][0] != section[key][-1]
        assert section["area_mm2"] == pytest.approx(shapely.Polygon(section["cell_mm"]).area)
        assert all(len(stroke) == 2 for stroke in section["strokes_mm"])
    assert not list(tmp_path.glob("*.svg"))


def test_a_summary_and_a_sheet_without_json(tmp_path: Path) -> None:
    assert "4 sections" in ask("sections", written(tmp_path))
    assert " in" in ask("sections", written(tmp_path), "--units", "us", "-o", tmp_path / "s.svg")
    for name in ("door-sections.svg", "s.svg"):
        ET.fromstring((tmp_path / name).read_text())
    all_kept = written(tmp_path, keep_out_mm=[[[-9, -9], [2000, -9], [2000, 2000], [-9, 2000]]])
    assert "nothing may be worked" in ask("sections", all_kept)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"outline_mm": [[0, 0], [500, 500], [500, 0], [0, 500]]}, "crosses"),
        ({"outline_mm": [[0, 0], [500, 500]]}, "enclose"),
        ({"outline_mm": [[0, 0, 0], [500, 500, 1]]}, "outline_mm"),
        ({"outline_mm": "round"}, "outline_mm"),
        ({"max_side_mm": 5}, "max_side_mm"),
        ({"maxside": 5}, "maxside"),
    ],
)
def test_bad_input_says_what(tmp_path: Path, changes: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        ask("sections", written(tmp_path, **changes), "-o", tmp_path / "s.svg")
    assert not (tmp_path / "s.svg").exists()


def test_missing_and_broken_files(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot read"):
        ask("sections", tmp_path / "none.json", "--json")
    broken = tmp_path / "broken.json"
    broken.write_bytes(b'{"panel": "\xff')
    with pytest.raises(InputError):
        ask("sections", broken, "--json")


def test_a_file_of_ten_million_points_is_refused_unread(tmp_path: Path) -> None:
    huge = tmp_path / "huge.json"
    with huge.open("wb") as file:
        file.truncate(400_000_000)
    with pytest.raises(InputError, match="400 MB"):
        ask("sections", huge, "--json")


def test_the_group_lists_its_commands() -> None:
    assert "sections" in ask("--help")


@pytest.mark.process
def test_as_a_process(tmp_path: Path, run: Callable[..., Any]) -> None:
    done = run("plan", "sections", written(tmp_path), "--json")
    assert done.returncode == 0
    assert json.loads(done.stdout)["panel"] == "door"
    bad = run("plan", "sections", written(tmp_path, outline_mm=[[0, 0], [1, 1]]), "--json")
    assert bad.returncode == 2
    assert bad.stdout == ""
    assert "Traceback" not in bad.stderr
    assert len(bad.stderr.strip().splitlines()) == 1


def test_the_sheet_numbers_every_section_and_names_its_notes() -> None:
    one = panel(box(1500, 100), body_lines_mm=(((0.0, 50.0), (1500.0, 50.0)),), name="Sill & <co>")
    root = ET.fromstring(section_sheet(one, lay_out(one)))
    texts = [t.text or "" for t in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"1", "2", "3"} <= set(texts)
    assert any("75 mm" in t for t in texts)
    wide = panel(box(560, 560), [box(60, 60, 200, 200)])
    sheet = section_sheet(wide, lay_out(wide))
    assert "sections-keepout" in sheet
    assert sheet.count("<circle") == len(lay_out(wide).sections[0].strokes_mm) + 1
