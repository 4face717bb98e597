"""Many videos to one table: the same as each by itself, sent along or not."""

import csv
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from takes import Take, write

from at_once import AtOnce
from leastcut.cli.shop_batch import batch
from leastcut.errors import InputError
from leastcut.job.batch import run
from leastcut.job.batch_kinds import Takes
from leastcut.shop import video
from leastcut.work.follow import Ask
from leastcut.work.technique import technique

TAKE = Take(square_mm=240.0, pad_mm=110.0, speed_mm_s=260.0, fps=24.0, size=(480, 270), seed=8)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("class")
    write(made / "ada.mp4", TAKE)
    (made / "monday").mkdir()
    (made / "monday" / "cut short.mov").write_bytes(b"\0\0\0\x14ftypqt  no more")
    (made / "notes.txt").write_text("no video")
    return made


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("carried", [False, True])
def test_a_row_says_what_the_take_says(folder: Path, tmp_path: Path, *, carried: bool) -> None:
    out = tmp_path / "t.csv"
    done = run(folder, out, executor=AtOnce(), asked=Takes(square_mm=240.0), carried=carried)
    assert (done.rows, done.fresh, done.refused) == (2, 2, 1)
    good, bad = table(out)
    alone = technique(video.frames(folder / "ada.mp4"), Ask(square_mm=240.0)).finding
    assert alone.arm_speed_mm_s is not None
    assert float(good["arm_speed_mm_s"]) == alone.arm_speed_mm_s.median
    assert float(good["arm_speed_p95_mm_s"]) == alone.arm_speed_mm_s.p95
    assert float(good["arm_speed_mm_s"]) == pytest.approx(260.0, rel=0.05)  # as drawn
    assert (good["sets"], good["why"]) == (str(alone.sets), "")
    assert (bad["video"], bad["sets"]) == ("monday/cut short.mov", "")
    assert bad["why"]
    assert bad["do"]


def test_another_question_is_asked_anew(folder: Path, tmp_path: Path) -> None:
    few = tmp_path / "few"
    shutil.copytree(folder / "monday", few)
    out = tmp_path / "t.csv"
    for asked, fresh in (
        (Takes(square_mm=240.0), 1),
        (Takes(square_mm=240.0), 0),
        (Takes(square_mm=300.0), 1),
        (Takes(square_mm=300.0, pad_mm=110.0), 1),
    ):
        assert run(few, out, executor=AtOnce(), asked=asked).fresh == fresh


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--takes"], "takes need the square's size"),
        (["--takes", "--square-mm", "300", "--um-per-px", "30"], "a video has no size of a pixel"),
        (["--square-mm", "300", "--pad-mm", "130"], "a pad shows only in videos"),
        (["--takes", "--square-mm", "300"], "no video in this folder"),
    ],
)
def test_what_does_not_go_together_is_said(tmp_path: Path, words: list[str], told: str) -> None:
    asked = [str(tmp_path), "--out", str(tmp_path / "t.csv"), *words]
    with pytest.raises(InputError, match=told) as caught:
        CliRunner().invoke(batch, asked, catch_exceptions=False)
    assert caught.value.do
    assert not (tmp_path / "t.csv").exists()
