"""The commands as a person runs them: documents written, one JSON document, bad input in a line."""

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

JOB = Path(__file__).parent / "handover_min.toml"


def run(*words: object) -> Any:
    return subprocess.run(
        [sys.executable, "-m", "leastcut", "handover", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("job")
    return Path(shutil.copy(JOB, folder / "small.toml"))


@pytest.mark.process
def test_report_is_written_beside_the_job(job: Path) -> None:
    done = run("report", job, "--json")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["kind"] == "Condition report and proposal"
    assert Path(answer["file"]).read_bytes().startswith(b"%PDF")


@pytest.mark.process
def test_ledger_is_written_sealed_and_merged(job: Path) -> None:
    key = job.with_name("key")
    key.write_bytes(b"our secret")
    done = run("ledger", job, "--json", "--key-file", key)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["car"] == "Small test car"
    merged = run(
        "ledger", job, "--merge", answer["ledger"], "--key-file", key, "-o", job.with_name("b.json")
    )
    assert merged.returncode == 0, merged.stderr
    assert job.with_name("b.json").read_bytes() == Path(answer["ledger"]).read_bytes()


@pytest.mark.process
def test_a_ledger_that_was_altered_or_is_missing_is_one_line_and_no_file(job: Path) -> None:
    bad = job.with_name("bad.json")
    bad.write_text("{}")
    for other, said in ((bad, "no ledger file"), (job.with_name("none.json"), "cannot read it")):
        out = job.with_name("out.json")
        done = run("ledger", job, "--merge", other, "-o", out)
        assert done.returncode == 2
        assert said in done.stderr
        assert done.stderr.count("\n") == 1
        assert not out.exists()


@pytest.mark.process
def test_a_passport_is_written_and_shared_without_the_person(job: Path) -> None:
    full, bare = job.with_name("car.zip"), job.with_name("public.zip")
    done = run("passport", job, "-o", full, "--plate", "QX-11 ABC", "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["visits"] == 1
    assert b"A test client" in full.read_bytes()
    shared = run("share", full, "-o", bare)
    assert shared.returncode == 0, shared.stderr
    for secret in (b"A test client", b"QX-11 ABC"):
        assert secret not in bare.read_bytes()
    again = run("share", job, "-o", job.with_name("no.zip"))
    assert again.returncode == 2
    assert "no archive" in again.stderr
    assert not job.with_name("no.zip").exists()
