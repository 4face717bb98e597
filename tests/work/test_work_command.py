"""The command as a process: one JSON document, pictures and maps where asked, clear exits."""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import avi
import msgspec
import numpy as np
import pytest
from takes import Take, write

from leastcut.errors import Refusal
from leastcut.work.records import Laid, Spread, TechniqueFinding

TAKE = Take(square_mm=260.0, pad_mm=120.0, speed_mm_s=240.0, fps=24.0, size=(480, 270))


def run(*words: str, folder: Path, command: str = "technique") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "leastcut", "work", command, *words],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        timeout=120,
    )


@pytest.fixture(scope="module")
def video(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("takes") / "take.mp4", TAKE)


@pytest.mark.process
def test_json_holds_the_contract_and_the_map_is_written(video: Path, tmp_path: Path) -> None:
    done = run(
        str(video), "--square-mm", "260", "--json", "--cut-map", "cut.npy", "-o", "take.svg",
        "--sets", "1", "--arm-speed", "240", "--pad-mm", "120", folder=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    keys = "fps path arm_speed_mm_s stroke_spacing_mm overlap_fraction coverage_fraction sets missed_mm refused"
    assert set(keys.split()) <= set(found)
    assert set(found["arm_speed_mm_s"]) == {"median", "p05", "p95"}
    assert found["fps"] == pytest.approx(24, abs=0.1)
    assert found["arm_speed_mm_s"]["median"] == pytest.approx(240, rel=0.05)
    assert found["sets"] == 1
    assert len(found["path"][0]) == 3
    cut = np.load(tmp_path / "cut.npy")
    assert cut.dtype == np.float32
    assert float(cut.sum()) * 16 * 1e-3 == pytest.approx(found["cut"]["volume_mm3"], rel=1e-3)
    assert (tmp_path / "take.svg").read_text().startswith("<svg")


@pytest.mark.process
def test_a_video_without_a_square_is_answered_with_a_refusal(tmp_path: Path) -> None:
    (tmp_path / "odd.avi").write_bytes(avi.pictures([avi.jpeg((320, 240))] * 20, (320, 240)))
    done = run("odd.avi", "--square-mm", "300", "--json", folder=tmp_path)
    assert done.returncode == 3
    assert "taped square" in json.loads(done.stdout)["refused"]["why"]
    told = run("odd.avi", "--square-mm", "300", folder=tmp_path)
    assert told.stdout.startswith("not judged: no taped square")
    assert [p.name for p in tmp_path.iterdir()] == ["odd.avi"]


@pytest.mark.process
@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("sound.avi", "--square-mm", "300"), "no pictures"),
        (("gone.mp4", "--square-mm", "300"), "No such file"),
        (("one.avi", "--square-mm", "300", "--pad-at", "5"), "--pad-at"),
        (("one.avi", "--square-mm", "300", "--corners", "0,0 9,9 0,0 9,9"), "do not span a square"),
    ],
)
def test_bad_input_is_one_line(tmp_path: Path, words: tuple[str, ...], why: str) -> None:
    (tmp_path / "sound.avi").write_bytes(avi.sound())
    (tmp_path / "one.avi").write_bytes(avi.pictures([avi.jpeg((320, 240))], (320, 240)))
    done = run(*words, folder=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert why in done.stderr


@pytest.mark.process
def test_a_person_reads_a_few_lines_in_the_units_asked_for(tmp_path: Path) -> None:
    plan = "pad_diameter_mm=120\norbit_mm=15\norbits_per_min=4800\nspin_rpm=300\nforce_n=45\narm_speed_mm_s=240\nstroke_spacing_mm=65\nsets=1\nwidth_mm=260\nheight_mm=260\npreston_um_per_kpa_m=0.002\n"
    (tmp_path / "set.toml").write_text(plan)
    short = replace(TAKE, square_mm=230.0)
    path = write(tmp_path / "take.avi", short, code="MJPG")
    done = run(
        path.name, "--square-mm", "230", "--set", "set.toml", "--units", "us", folder=tmp_path
    )
    assert done.returncode == 0, done.stderr
    assert "in/s" in done.stdout
    assert (tmp_path / "take-technique.svg").exists()


@pytest.mark.process
def test_two_takes_are_compared_from_their_files(tmp_path: Path) -> None:
    take = TechniqueFinding(
        arm_speed_mm_s=Spread(median=90, p05=80, p95=100), coverage_fraction=0.9, tape_s=0.0
    )
    better = msgspec.structs.replace(take, coverage_fraction=0.99)
    for name, one in (
        ("a.json", take),
        ("b.json", better),
        ("c.json", TechniqueFinding(refused=Refusal(why="dark", do="Light it"))),
    ):
        (tmp_path / name).write_bytes(msgspec.json.encode(one))
    done = run("a.json", "b.json", folder=tmp_path, command="compare")
    assert done.returncode == 0, done.stderr
    assert "Better: coverage" in done.stdout
    told = run("a.json", "c.json", "--json", folder=tmp_path, command="compare")
    assert told.returncode == 3
    assert "dark" in json.loads(told.stdout)["refused"]["why"]
    (tmp_path / "d.json").write_text("[]")
    for name in ("d.json", "gone.json"):
        bad = run("a.json", name, folder=tmp_path, command="compare")
        assert (bad.returncode, bad.stdout) == (2, "")
        assert name in bad.stderr


def _written(path: Path, take: TechniqueFinding) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(msgspec.json.encode(take))


@pytest.mark.process
def test_a_class_is_shown_from_its_folders(tmp_path: Path) -> None:
    for week, speed in enumerate((90.0, 75.0, 66.0), 1):
        spread = Spread(median=speed, p05=speed, p95=speed)
        take = TechniqueFinding(arm_speed_mm_s=spread, coverage_fraction=0.98)
        _written(tmp_path / "course" / "kim" / f"week-{week}.json", take)
    done = run("course", folder=tmp_path, command="class")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("kim: arm speed 10% off, 20% nearer each week; 2% missed")
    assert (tmp_path / "course-class.svg").read_text().startswith("<svg")
    told = run("course", "--json", "--arm-speed", "66", folder=tmp_path, command="class")
    assert json.loads(told.stdout)["learners"][0]["speed_error"][-1] == 0
    (tmp_path / "course" / "kim" / "first.json").write_text("{}")
    assert "no week" in run("course", folder=tmp_path, command="class").stderr
    assert "no takes of learners" in run("course/kim", folder=tmp_path, command="class").stderr


LINES = [[[0, 100], [300, 100]], [[300, 160], [0, 160]]]
FIRST = {
    "id": "a",
    "worked_mm": [[50, 20], [350, 20], [350, 320]],
    "strokes_mm": [[[50, 120], [350, 120]], [[350, 180], [50, 180]]],
}


@pytest.mark.process
@pytest.mark.parametrize(
    ("plan", "words"),
    [
        ({"strokes_mm": LINES}, ()),
        ({"sections": [FIRST]}, ()),
        ({"sections": [{**FIRST, "id": "b", "strokes_mm": []}, FIRST]}, ("--section", "a")),
    ],
)
def test_a_take_is_set_against_the_plan(
    tmp_path: Path, plan: dict[str, object], words: tuple[str, ...]
) -> None:
    laid = [
        Laid(t_s=4.0 * k, seconds=3.0, start_mm=a, end_mm=b, degrees=0.0, speed_mm_s=100, family=0, cover=0)
        for k, (a, b) in enumerate([((0, 101), (300, 101)), ((300, 161), (0, 161))])
    ]  # fmt: skip
    way = ((0.0, 0.0, 101.0), (3.0, 300.0, 101.0), (4.0, 300.0, 161.0), (7.0, 0.0, 161.0))
    take = TechniqueFinding(
        path=way, strokes=tuple(laid), pad_diameter_mm=130.0, sets=1,
        arm_speed_mm_s=Spread(median=100, p05=95, p95=105),
    )  # fmt: skip
    _written(tmp_path / "take.json", take)
    (tmp_path / "plan.json").write_text(json.dumps(plan))
    done = run(
        "take.json", "plan.json", *words, "--arm-speed", "100", "--sets", "1", "--json",
        folder=tmp_path, command="against",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    off, walked, speed, sets = json.loads(done.stdout)["measures"]
    assert off["second"] == pytest.approx(1.0)
    assert walked["second"] == pytest.approx(1.0)
    assert speed["better"] is sets["better"] is True


@pytest.mark.process
@pytest.mark.parametrize(
    ("text", "why"),
    [
        (None, "cannot read it"),
        ("{", "holds no plan"),
        ("{}", "The plan holds: none"),
        (json.dumps({"sections": [FIRST, {**FIRST, "id": "b"}]}), "a, b"),
    ],
)
def test_a_plan_that_is_none_is_bad_input(tmp_path: Path, text: str | None, why: str) -> None:
    _written(tmp_path / "take.json", TechniqueFinding())
    if text is not None:
        (tmp_path / "plan.json").write_text(text)
    done = run("take.json", "plan.json", folder=tmp_path, command="against")
    assert done.returncode == 2
    assert why in done.stderr
    assert len(done.stderr.splitlines()) == 1
