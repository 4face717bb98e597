"""``leastcut car`` as a person and as a program uses it."""

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from leastcut.car.outline import OutlineError
from leastcut.car.units import QuantityError
from leastcut.cli.car import TraceError, group

TRACED = {
    "panel": "door-front-left",
    "outline_px": [[100, 100], [500, 100], [500, 400], [100, 400]],
    "square_px": [[200, 200], [300, 200], [300, 300], [200, 300]],
}


def car(*arguments: str | Path) -> Any:
    result = CliRunner().invoke(group, [str(a) for a in arguments])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def test_bodies_are_listed_for_both_readers() -> None:
    rows = json.loads(car("bodies", "--json").stdout)
    assert rows[0]["body"] == "two-box"
    assert all(9 < row["painted_area_m2"] < 27 for row in rows)
    metric, us = car("bodies").stdout, car("bodies", "--units", "us").stdout
    assert "4700 mm" in metric.replace("\xa0", " ")
    assert "185.0 in" in us.replace("\xa0", " ")


def test_bodies_are_drawn_to_one_scale(tmp_path: Path) -> None:
    out = tmp_path / "bodies.svg"
    assert "wrote" in car("bodies", "-o", out, "--units", "us").stderr
    root = ET.parse(out).getroot()
    words = [e.text or "" for e in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"two-box", "coupe", "van"} <= set(words)
    assert any("ft² of paint" in w for w in words)
    assert "two-box, 4250 mm long" in (root.findtext("{http://www.w3.org/2000/svg}desc") or "")


def test_sheet_is_written_and_summed_up(tmp_path: Path) -> None:
    out = tmp_path / "new" / "sheet.svg"
    result = car("sheet", "--body", "suv", "--length", "4.6 m", "--label", "Family car", "-o", out)
    ET.parse(out)
    assert "Family car" in out.read_text()
    assert "painted area" in result.stdout
    assert "wrote" in result.stderr


def test_sheet_as_json_is_one_document() -> None:
    data = json.loads(
        car("sheet", "--body", "coupe", "--doors", "3", "--width", "72 in", "--json").stdout
    )
    assert data["car"]["width_mm"] == pytest.approx(1828.8)
    assert len(data["sheet"]["placements"]) == len(data["car"]["panels"])
    assert set(data["painted_area_m2"]) == {p["id"] for p in data["car"]["panels"]}


def test_a_bare_number_is_refused_at_its_option() -> None:
    with pytest.raises(QuantityError) as caught:
        car("sheet", "--body", "suv", "--length", "4600")
    assert caught.value.where == "--length"


def test_trace_gives_millimetres_and_their_error(tmp_path: Path) -> None:
    (tmp_path / "points.json").write_text(json.dumps(TRACED))
    out = tmp_path / "door.json"
    result = car("trace", tmp_path / "points.json", "--square-mm", "250", "--json", "-o", out)
    data = json.loads(result.stdout)
    assert (data["width_mm"], data["height_mm"]) == (1000.0, 750.0)
    assert data["panel"] == "door-front-left"
    assert 2.5 < data["click_error_mm"] < 100  # a pixel is 2.5 mm; the outline is far off
    assert json.loads(out.read_text()) == {k: data[k] for k in ("panel", "outline_mm")}
    assert "1000 × 750 mm" in car("trace", tmp_path / "points.json", "--square-mm", "250").stdout


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"no json", "this is no JSON"),
        (b"\xff\xfe", "this is no JSON"),
        (b"[]", '"outline_px" is missing'),
        (b'{"outline_px": [], "square_px": 3}', '"square_px" is missing'),
    ],
)
def test_a_trace_that_is_none_says_why(tmp_path: Path, content: bytes, words: str) -> None:
    (tmp_path / "points.json").write_bytes(content)
    with pytest.raises(TraceError, match=words):
        car("trace", tmp_path / "points.json", "--square-mm", "250")


def test_a_trace_names_its_file(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="cannot read it"):
        car("trace", tmp_path / "none.json", "--square-mm", "250")
    crossed = {**TRACED, "outline_px": [[0, 0], [500, 400], [500, 0], [0, 400]]}
    (tmp_path / "points.json").write_text(json.dumps(crossed))
    with pytest.raises(OutlineError, match="crosses itself") as caught:
        car("trace", tmp_path / "points.json", "--square-mm", "250")
    assert "points.json" in caught.value.where


@pytest.mark.process
def test_a_traced_outline_is_ready_for_the_plan(run: Any, tmp_path: Path) -> None:
    (tmp_path / "points.json").write_text(json.dumps(TRACED))
    traced = run("car", "trace", "points.json", "--square-mm", "250", "-o", "d.json", cwd=tmp_path)
    assert traced.returncode == 0, traced.stderr
    planned = run("plan", "sections", "d.json", "--json", cwd=tmp_path)
    assert planned.returncode == 0, planned.stderr
    assert json.loads(planned.stdout)["panel"] == "door-front-left"


@pytest.mark.process
def test_an_impossible_car_is_one_line_and_no_file(run: Any, tmp_path: Path) -> None:
    out = tmp_path / "sheet.svg"
    done = run("car", "sheet", "--body", "pickup", "--length", "40 m", "-o", out)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.strip().splitlines()) == 1
    assert "a length of 40000 mm" in done.stderr
    assert not out.exists()
