"""The command's memory and pictures."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from leastcut.cli.testspot import testspot as command
from leastcut.shop import lessonsfile

TRIALS = """
format = 1
budget = "7 µm"
[paint]
label = "black"
[[trial]]
process = "polishing foam + medium liquid"
sets = 4
gauge_before = ["121.0 µm", "121.2 µm", "120.8 µm"]
gauge_after = ["117.1 µm", "117.0 µm", "117.2 µm"]
gauge_sd = "0.4 µm"
"""

DAMAGED = (
    '{"format":1,"lessons":[{"car":"x","paint":"","year":1,"processes":["a"],'
    '"precision":[[1]],"pull":[1,2]}]}'
)


def run(*arguments: str) -> str:
    done = CliRunner().invoke(command, arguments, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


@pytest.fixture
def trials(tmp_path: Path) -> Path:
    path = tmp_path / "trials.toml"
    path.write_text(TRIALS)
    return path


def test_lessons_move_the_next_car_and_can_be_forgotten(trials: Path, tmp_path: Path) -> None:
    lessons = str(tmp_path / "lessons.json")
    empty = tmp_path / "empty.toml"
    empty.write_text(TRIALS.split("[[trial]]", maxsplit=1)[0])
    before = json.loads(run(str(empty), "--json"))["paint"]["softness"]
    run(str(trials), "--lessons", lessons, "--keep", "one", "--year", "2026.5")
    run(str(trials), "--lessons", lessons, "--keep", "two", "--year", "2026.6")
    run(str(trials), "--lessons", lessons, "--keep", "two", "--year", "2026.7")
    assert [taught.car for taught in lessonsfile.read(Path(lessons))] == ["one", "two"]
    after = json.loads(run(str(empty), "--json", "--lessons", lessons))["paint"]["softness"]
    assert after > 1.1 * before
    run("--lessons", lessons, "--forget", "one")
    run("--lessons", lessons, "--forget", "two")
    again = json.loads(run(str(empty), "--json", "--lessons", lessons))["paint"]["softness"]
    assert again == pytest.approx(before)


def test_forgetting_a_stranger_says_who_is_known(trials: Path, tmp_path: Path) -> None:
    path = tmp_path / "lessons.json"
    run(str(trials), "--lessons", str(path), "--keep", "one", "--year", "2026")
    with pytest.raises(lessonsfile.LessonsError, match="no lesson") as caught:
        run("--lessons", str(path), "--forget", "other")
    assert "one" in caught.value.do


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "not a lessons file"),
        ('{"format": 1, "lessons": [], "more": 1}', "not a lessons file"),
        (
            DAMAGED,
            "damaged",
        ),
    ],
)
def test_a_broken_lessons_file_is_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "lessons.json"
    path.write_text(text)
    with pytest.raises(lessonsfile.LessonsError, match=words):
        lessonsfile.read(path)


def test_pictures_and_schema_and_us_units(trials: Path, tmp_path: Path) -> None:
    text = run(str(trials), "--pictures", str(tmp_path / "out"), "--units", "us")
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == ["cost.svg", "depth.svg", "ladder.svg"]
    assert "mil" in text
    assert json.loads(run("--schema"))["$ref"]


@pytest.mark.parametrize("arguments", [(), ("--keep", "x"), ("--forget", "x")])
def test_arguments_that_make_no_sense_are_refused(arguments: tuple[str, ...]) -> None:
    done = CliRunner().invoke(command, arguments)
    assert done.exit_code == 2
    assert "Error" in done.output
