"""The polish commands as a user runs them."""

import json
import math
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from click.testing import CliRunner
from polish_bruteforce import Tool, stepped_removal

from leastcut.cli.polish import group
from leastcut.errors import InputError

SETTINGS = {
    "pad_diameter_mm": 80,
    "orbit_mm": 12,
    "orbits_per_min": 4800,
    "spin_rpm": 287.3,
    "force_n": 40,
    "arm_speed_mm_s": 90,
    "stroke_spacing_mm": 30,
    "sets": 2,
    "width_mm": 180,
    "height_mm": 150,
    "preston_um_per_kpa_m": 2e-3,
    "grid_mm": 3,
}


def written(folder: Path, **changes: object) -> Path:
    path = folder / "set.toml"
    path.write_text("\n".join(f"{k} = {v}" for k, v in (SETTINGS | changes).items()))
    return path


def ask(*words: object) -> str:
    result = CliRunner().invoke(group, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == 0
    return result.stdout


def test_the_document_and_the_map_agree_with_a_brute_force_walk(tmp_path: Path) -> None:
    """A second program reads the strokes as walked and steps the pad along them."""
    out = tmp_path / "map.npy"
    told = json.loads(ask("removal", written(tmp_path), "--json", "--map", out))
    depth = np.load(out)
    tool = Tool(80, 12, 4800, 287.3, 40, 2e-3, 90)
    truth = stepped_removal(
        told["strokes_mm"], tool, origin=tuple(told["origin_mm"]), shape=depth.shape, cell=3
    )
    xs = told["origin_mm"][0] + 3 * np.arange(depth.shape[1])
    ys = told["origin_mm"][1] + 3 * np.arange(depth.shape[0])
    inside = np.ix_((ys >= 40) & (ys <= 110), (xs >= 40) & (xs <= 140))
    assert depth.dtype == np.float32
    assert np.sqrt(np.mean((depth - truth)[inside] ** 2)) < 0.01 * told["mean_um"]
    assert told["mean_um"] == pytest.approx(depth[inside].mean(), rel=1e-5)
    assert told["p05_um"] == pytest.approx(np.percentile(depth[inside], 5), rel=1e-5)
    assert told["volume_mm3"] == pytest.approx(truth.sum() * 9e-3, rel=1e-3)
    assert told["volume_mm3"] == pytest.approx(float(depth.sum()) * 9e-3, rel=1e-5)
    lengths = [math.dist(a, b) for a, b in told["strokes_mm"]]
    assert told["seconds"] == pytest.approx(sum(lengths) / 90)
    assert not list(tmp_path.glob("*.svg"))


def test_a_summary_and_a_picture_without_json(tmp_path: Path) -> None:
    said = ask("removal", written(tmp_path))
    assert "Mean cut" in said
    assert "µm" in said
    assert "mil" in ask("removal", written(tmp_path), "--units", "us", "-o", tmp_path / "a.svg")
    for name in ("set-cut.svg", "a.svg"):
        root = ET.fromstring((tmp_path / name).read_text())
        assert root.tag.endswith("svg")
    assert "narrower than the pad" in ask("removal", written(tmp_path, width_mm=50))


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"sets": 0}, "sets"),
        ({"sets": 1.5}, "sets"),
        ({"force_n": '"much"'}, "force_n"),
        ({"colour": 3}, "colour"),
        ({"pad_diameter_mm": "nan"}, "pad_diameter_mm"),
    ],
)
def test_bad_settings_say_which(tmp_path: Path, changes: dict[str, object], says: str) -> None:
    with pytest.raises(InputError, match=says):
        ask("removal", written(tmp_path, **changes), "--json", "--map", tmp_path / "m.npy")
    assert not (tmp_path / "m.npy").exists()
    with pytest.raises(InputError, match=says):
        ask("pictures", written(tmp_path, **changes), "-o", tmp_path / "p")
    assert not (tmp_path / "p").exists()


def test_missing_and_broken_files(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot read"):
        ask("removal", tmp_path / "none.toml", "--json")
    broken = tmp_path / "broken.toml"
    broken.write_bytes(b"pad = \xff")
    with pytest.raises(InputError):
        ask("removal", broken, "--json")


def test_spacing_table() -> None:
    rows = json.loads(ask("spacing", "--pad-mm", 75, "--pad-mm", 150, "--json"))["spacings"]
    assert [row["pad_diameter_mm"] for row in rows] == [75, 150]
    assert all(row["ripple_fraction"] <= 0.05 for row in rows)
    assert ask("spacing", "--ripple", 0.1).count("mm apart") == 6
    with pytest.raises(InputError, match="pad"):
        ask("spacing", "--pad-mm", 5)


def test_pictures(tmp_path: Path) -> None:
    said = ask("pictures", written(tmp_path), "-o", tmp_path / "drawn").split()
    assert len(said) == 4
    for name in said:
        root = ET.fromstring(Path(name).read_text())
        assert root.find("{http://www.w3.org/2000/svg}title") is not None
