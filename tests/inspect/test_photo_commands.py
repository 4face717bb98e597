"""The photo commands as processes and through the group."""

import json
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from render import render
from render_scene import Scene, after

from leastcut.cli.inspect import group

SCENE = Scene(
    seed=4, width_px=1200, height_px=1000, um_per_px=40.0, tape_mm=32.0, swirl_load=90.0,
    roughness_deg=1.5, lamp_radius_mm=4.0, glint_gain=3.0,
)  # fmt: skip


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("photos")
    for name, scene in (("before", SCENE), ("after", after(SCENE, 1.0))):
        cv2.imwrite(str(folder / f"{name}.jpg"), render(scene)[0][..., ::-1])
    cv2.imwrite(str(folder / "white.png"), np.full((400, 500, 3), 255, np.uint8))
    return folder


def call(*words: object) -> Result:
    return CliRunner().invoke(group, [str(w) for w in words])


def test_scratches_as_json_with_pictures(photos: Path, tmp_path: Path) -> None:
    lines, drawn = tmp_path / "lines.png", tmp_path / "overlay.png"
    made = call(
        "scratches", photos / "before.jpg", "--square-mm", 32, "--json",
        "--centrelines", lines, "--overlay", drawn, "-o", tmp_path / "all",
    )  # fmt: skip
    assert made.exit_code == 0, made.output
    answer = json.loads(made.stdout)
    wanted = {"photo", "um_per_px", "scale_from", "area_cm2", "load_mm_per_cm2", "load_low"}
    wanted |= {"load_high", "load_seen_mm_per_cm2", "by_kind", "haze", "direction", "light"}
    assert wanted | {"scratches", "refused"} <= set(answer)
    assert answer["refused"] is None
    assert set(answer["light"]) == {"x_px", "y_px"}
    assert answer["load_low"] < answer["load_mm_per_cm2"] < answer["load_high"]
    assert cv2.imread(str(lines), cv2.IMREAD_UNCHANGED).shape == (1000, 1200)
    assert cv2.imread(str(drawn)).shape == (1000, 1200, 3)
    made = {path.name for path in (tmp_path / "all").iterdir()}
    wanted = {"widths.svg", "directions.svg", "load.png", "centrelines.png", "overlay.png"}
    assert made == {f"before-{name}" for name in wanted}


def test_several_photos_give_a_list_and_a_refusal_exit_3(photos: Path) -> None:
    made = call(
        "scratches", photos / "before.jpg", photos / "white.png", "--um-per-px", 40, "--json"
    )
    assert made.exit_code == 3
    good, bad = json.loads(made.stdout)
    assert good["refused"] is None
    assert bad["refused"]["do"]
    assert bad["load_mm_per_cm2"] is None
    assert bad["light"] is None
    both = call("scratches", photos / "before.jpg", photos / "white.png", "--overlay", "x.png")
    assert both.exit_code == 2


def test_several_photos_are_told_together_too(photos: Path) -> None:
    one = call("scratches", photos / "before.jpg", "--square-mm", 32)
    assert "together" not in one.stdout
    made = call("scratches", photos / "before.jpg", photos / "before.jpg", "--um-per-px", 40)
    lines = made.stdout.splitlines()
    assert len(lines) == 3
    assert lines[2].startswith("together, if all 2 show one panel: ")
    load = [float(line.split(": ")[1].split(" mm/cm²")[0]) for line in lines]
    assert load[2] == pytest.approx(load[0], abs=0.1)


def test_words_for_people(photos: Path) -> None:
    made = call("scratches", photos / "before.jpg", "--square-mm", 32)
    assert "mm/cm²" in made.stdout
    refused = call("scratches", photos / "before.jpg", "--um-per-px", 900)
    assert refused.exit_code == 3
    assert "not measured" in refused.stdout
    compared = call("compare", photos / "before.jpg", photos / "after.jpg", "--square-mm", 32)
    assert compared.exit_code == 0
    assert compared.stdout.startswith("removed ")
    assert call("compare", photos / "before.jpg", photos / "white.png").exit_code == 3
    assert call("clarity", photos / "white.png").exit_code == 3


def test_compare_and_clarity_as_json(photos: Path, tmp_path: Path) -> None:
    made = call(
        "compare", photos / "before.jpg", photos / "after.jpg", "--square-mm", 32, "--json",
        "-o", tmp_path,
    )  # fmt: skip
    page = (tmp_path / "before-after.html").read_text("utf-8")
    assert page.count("data:image/jpeg;base64,") == 2
    assert 'type="range"' in page
    assert "removed " in page
    beside = cv2.imread(str(tmp_path / "before-after.png"))
    assert beside.shape == (1000, 1200 * 2 + 6, 3)
    answer = json.loads(made.stdout)
    assert answer["removed_low"] <= answer["removed_fraction"] <= answer["removed_high"]
    assert answer["removed_fraction"] > 0.5
    made = call("clarity", photos / "before.jpg", "--json")
    assert json.loads(made.stdout)["refused"]["why"]
    assert made.exit_code == 3


@pytest.mark.process
def test_as_a_process(photos: Path, tmp_path: Path) -> None:
    def run(*words: object) -> subprocess.CompletedProcess[str]:
        code = "import sys; from leastcut.cli import main; sys.argv = ['leastcut', *sys.argv[1:]]; main()"
        command = [sys.executable, "-c", code, "inspect", *map(str, words)]
        return subprocess.run(command, capture_output=True, text=True, check=False)

    made = run("target", "-o", tmp_path / "sheet.pdf", "--paper", "letter")
    assert made.returncode == 0, made.stderr
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")
    for words in (("target", "-o", tmp_path / "x.pdf", "--paper", "a0"), ("scratches", photos)):
        bad = run(*words)
        assert bad.returncode == 2
        assert bad.stdout == ""
        assert len(bad.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "x.pdf").exists()
