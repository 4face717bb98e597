"""The command as a process and the trials file as a format."""

import json
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from leastcut.shop import trialsfile

FILE = """
format = 1
target = "daily"
budget = "6 µm"
[paint]
scratch_width = "9 µm"
[[trial]]
process = "finishing foam + finishing liquid"
sets = 2
removed = 0.2
[[trial]]
process = "polishing foam + medium liquid"
spot = "2"
sets = 3
removed = 0.9
removed_low = 0.85
removed_high = 0.94
gauge_before = ["121.0 µm", "4.74 mil"]
gauge_after = ["119.5 µm", "119.0 µm"]
wipe = "40 s"
verdict = "clean"
"""


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "leastcut", "testspot", *arguments],
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.process
def test_command_prints_one_json_document_with_the_contract_keys(tmp_path: Path) -> None:
    path = tmp_path / "trials.toml"
    path.write_text(FILE)
    done = run("--json", "-o", str(tmp_path / "out.json"), str(path))
    answer = json.loads(done.stdout)
    assert done.returncode == 0
    assert done.stderr == ""
    assert set(answer["paint"]) == {"softness", "low", "high"}
    assert set(answer["depth_um"]) == {"median", "p95"}
    assert {"process", "sets", "p_target", "cut_um", "p_within_budget"} <= set(
        answer["candidates"][0]
    )
    assert answer["next"]["do"] == "use"
    assert answer["next"]["process"] == "polishing foam + medium liquid"
    assert json.loads((tmp_path / "out.json").read_text()) == answer


@pytest.mark.process
def test_unknown_field_is_refused_with_line_and_suggestion(tmp_path: Path) -> None:
    path = tmp_path / "trials.toml"
    path.write_text(FILE.replace("verdict", "verdct"))
    done = run("--json", str(path))
    assert done.returncode == 2
    assert done.stdout == ""
    assert "trials.toml:21" in done.stderr
    assert "Did you mean 'verdict'?" in done.stderr


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"6 µm"', "6", "has no unit"),
        ('"6 µm"', '"6 kg"', "does not measure this"),
        ("finishing foam +", "finish foam +", "Did you mean"),
        ("finishing foam + finishing liquid", "zzzz", "The ladder has"),
        ("sets = 2", "", "'sets' is missing"),
        ("format = 1", "format = ", "not valid TOML"),
        ("removed = 0.9", "removed = 90", "<= 1.0"),
        ("[paint]", "[pint]", "Did you mean 'paint'?"),
        ("scratch_width", "zzzzz", "Known here: label, scratch_width"),
    ],
)
def test_faults_in_the_file_say_what_and_where(old: str, new: str, words: str) -> None:
    with pytest.raises(trialsfile.TrialsFileError) as caught:
        trialsfile.parse(FILE.replace(old, new, 1), "trials.toml")
    assert words in str(caught.value)
    assert "trials.toml" in caught.value.where


def test_schema_describes_the_file_and_refuses_unknown_fields() -> None:
    import tomllib

    schema = trialsfile.json_schema()
    jsonschema.validate(tomllib.loads(FILE), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tomllib.loads(FILE.replace("verdict", "verdct")), schema)


def test_quantities_become_numbers_in_stated_units() -> None:
    file = trialsfile.parse(FILE, "trials.toml")
    trial = trialsfile.trials(file)[1]
    assert file.budget_um == pytest.approx(6.0)
    assert trial.wipe_s == pytest.approx(40.0)
    assert trial.cut_um is not None
    # source: 1 mil = 25.4 µm exactly (international inch, 1959); status: memory
    assert trial.cut_um.value == pytest.approx((121.0 + 4.74 * 25.4) / 2 - 119.25)
    assert trial.cut_um.sd == pytest.approx(1.0)
