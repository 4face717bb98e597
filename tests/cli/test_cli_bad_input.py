"""Bad input to `leastcut job`: exit 2, one line with place and remedy, nothing half-written."""

import json
import struct
import subprocess
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

pytestmark = pytest.mark.process

Run = Callable[..., subprocess.CompletedProcess[str]]

SMALL = """\
format = 1
[car]
label = "small"
body = "two-box"
[film]
readings = "readings.csv"
[[panel]]
id = "roof"
outline_mm = [[0, 0], [1000, 0], [1000, 800], [0, 800]]
[[photo]]
panel = "bonnet"
file = "bonnet.png"
pixel = "60 µm"
"""
READINGS = "panel,spot,reading_um\nbonnet,1,118\nroof,1,121\n"


def huge_png(side: int) -> bytes:
    """Return a PNG that claims side × side pixels without holding them."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    rows = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


@pytest.fixture
def small(tmp_path: Path, demo) -> Path:  # noqa: ANN001 - the shared fixture's class is in conftest
    """A job file of one photo and two readings."""
    (tmp_path / "small.toml").write_text(SMALL, encoding="utf-8")
    (tmp_path / "readings.csv").write_text(READINGS)
    photo = demo.folder / "photos" / "bonnet.jpg"
    (tmp_path / "bonnet.png").write_bytes(photo.read_bytes())
    return tmp_path


def spoil(folder: Path, name: str, old: str, new: str) -> None:
    text = (folder / name).read_text(encoding="utf-8")
    assert old in text
    (folder / name).write_text(text.replace(old, new), encoding="utf-8")


CASES: list[tuple[str, Callable[[Path], object], str, str]] = [
    ("missing photo", lambda f: (f / "bonnet.png").unlink(), "small.toml:12 photo 1 file", "no file"),
    ("missing readings", lambda f: (f / "readings.csv").unlink(), "small.toml:6", "cannot read it"),
    ("wrong unit", lambda f: spoil(f, "small.toml", "60 µm", "60 kg"), ":13 photo 1 pixel", "'kg'"),
    ("crossing outline", lambda f: spoil(f, "small.toml", "[1000, 800], [0, 800]", "[0, 800], [1000, 800]"), "small.toml:7 panel", "cross"),
    ("negative reading", lambda f: spoil(f, "readings.csv", "118", "-118"), "readings.csv:2", "-118"),
    ("absurd reading", lambda f: spoil(f, "readings.csv", "118", "1.2e9"), "readings.csv:2", "1.2e+09"),
    ("reading of words", lambda f: spoil(f, "readings.csv", "118", "thick"), "readings.csv:2", "thick"),
    ("unknown panel", lambda f: spoil(f, "readings.csv", "roof", "rooof"), "readings.csv:3", "rooof"),
    ("no photo at all", lambda f: (f / "bonnet.png").write_bytes(b"not a picture"), "photo 1 file", ""),
    ("empty photo", lambda f: (f / "bonnet.png").write_bytes(b""), "photo 1 file", "empty"),
    ("huge photo", lambda f: (f / "bonnet.png").write_bytes(huge_png(60000)), "photo 1 file", "pixels"),
    ("unknown field", lambda f: spoil(f, "small.toml", "pixel =", "pixle ="), "photo 1 pixle", "Did you mean 'pixel'"),
    ("empty CSV", lambda f: (f / "readings.csv").write_text(""), "small.toml:6", "empty file"),
    ("wrong encoding", lambda f: (f / "small.toml").write_bytes(SMALL.encode("utf-16")), "small.toml", "not UTF-8"),
    ("impossible car", lambda f: spoil(f, "small.toml", "label =", 'wheelbase = "9 m"\nlabel ='), "small.toml:2 car", "wheelbase"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "where", "what"), [case[1:] for case in CASES], ids=[case[0] for case in CASES]
)
def test_one_line_says_where_and_what_to_do(
    small: Path, run: Run, change: Callable[[Path], object], where: str, what: str
) -> None:
    change(small)
    done = run("job", small / "small.toml", "-o", small / "out", "--json")
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert line.startswith("leastcut: ")
    assert where in line
    assert what in line
    assert line.rstrip().rpartition(". ")[2], "no remedy"
    assert not (small / "out").exists()


def test_the_small_job_itself_is_good(small: Path, run: Run) -> None:
    done = run("job", small / "small.toml", "-o", small / "out", "--json", "--units", "us")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    (load,) = [p for p in answer["panels"] if p["panel"] == "bonnet"]
    assert load["load_assumed"] is False
    assert (small / "out" / "plan.pdf").is_file()


def test_a_folder_that_cannot_be_written(small: Path, run: Run) -> None:
    (small / "out").write_text("a file stands here")
    done = run("job", small / "small.toml", "-o", small / "out")
    assert done.returncode == 2
    assert "cannot write it" in done.stderr
    assert (small / "out").read_text() == "a file stands here"


@pytest.mark.parametrize("as_json", [True, False])
def test_check_lists_every_problem(small: Path, run: Run, *, as_json: bool) -> None:
    spoil(small, "readings.csv", "118", "-118")
    spoil(small, "readings.csv", "121", "0")
    done = run("check", small / "small.toml", *(["--json"] if as_json else []))
    assert done.returncode == 2
    if as_json:
        found = json.loads(done.stdout)
        assert found["valid"] is False
        assert [p["where"].split()[0] for p in found["problems"]] == [
            "readings.csv:2",
            "readings.csv:3",
        ]
        assert all(p["what"] and p["do"] for p in found["problems"])
    else:
        assert done.stdout.count("readings.csv:") == 2


def test_check_of_a_good_job_names_what_would_help(small: Path, run: Run) -> None:
    done = run("check", small / "small.toml", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["valid"] is True
    assert {"trial", "photo", "film readings"} <= {item["evidence"] for item in found["missing"]}
