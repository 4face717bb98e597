"""Many photos to one table: exactly one row each, whatever is interrupted, killed or damaged."""

import csv
import os
import signal
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from at_once import AtOnce
from leastcut.job import batch
from leastcut.job.batch import BatchError, run
from leastcut.job.batch_kinds import Scratches
from leastcut.job.evidence import Evidence
from leastcut.shop.executors import Cluster, ClusterError, Local

SCALE = Scratches(um_per_px=60.0)


class Here(AtOnce):
    """Does the work at once, and stops after some."""

    def __init__(self, most: int = 999) -> None:
        self.most, self.done = most, 0

    def submit(self, work: Any, /, *arguments: Any) -> Future[Any]:
        if self.done >= self.most:
            raise KeyboardInterrupt
        self.done += 1
        return super().submit(work, *arguments)


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    folder = tmp_path / "photos"
    (folder / "below").mkdir(parents=True)
    rng = np.random.default_rng(1)
    for number in range(8):
        noise = rng.integers(20, 60, (160, 200, 3), dtype=np.uint8)
        name = f"below/{number}.png" if number % 2 else f"{number}, it is.JPG"
        Image.fromarray(noise).save(folder / name)
    (folder / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 cut short")
    (folder / "notes.txt").write_text("no photo")
    return folder


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_one_row_for_each_photo(photos: Path, tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    out = tmp_path / "t.csv"
    done = run(
        photos, out, executor=Here(), asked=SCALE, progress=lambda n, of: told.append((n, of))
    )
    rows = table(out)
    names = sorted(p.relative_to(photos).as_posix() for p in photos.rglob("*") if p.is_file())
    assert [row["photo"] for row in rows] == [n for n in names if n != "notes.txt"]
    assert (done.rows, done.fresh) == (9, 9)
    assert told == [(n, 9) for n in range(1, 10)]
    (bad,) = [row for row in rows if row["photo"] == "broken.jpg"]
    assert bad["do"]
    assert done.refused == sum(bool(row["why"]) for row in rows)


def test_a_row_says_what_the_job_says(demo: Any, evidence: Evidence, tmp_path: Path) -> None:
    folder = tmp_path / "one"
    folder.mkdir()
    (folder / "bonnet.jpg").symlink_to(demo.folder / "photos" / "bonnet.jpg")
    run(folder, tmp_path / "t.csv", executor=Here(), asked=Scratches(square_mm=60.0))
    (row,) = table(tmp_path / "t.csv")
    found = next(p.finding for p in evidence.photos if p.panel == "bonnet")
    for name in ("load_mm_per_cm2", "load_low", "load_high", "area_cm2", "um_per_px"):
        assert float(row[name]) == pytest.approx(getattr(found, name), rel=1e-9)


def test_an_interrupted_run_goes_on(photos: Path, tmp_path: Path) -> None:
    out, whole = tmp_path / "t.csv", tmp_path / "whole.csv"
    run(photos, whole, executor=Here(), asked=SCALE)
    with pytest.raises(KeyboardInterrupt):
        run(photos, out, executor=Here(5), asked=SCALE)
    begun = len(table(out))
    assert 1 <= begun <= 5
    with out.open("a") as file:
        file.write('"torn, li')
    here = Here()
    assert run(photos, out, executor=here, asked=SCALE).fresh == here.done == 9 - begun
    assert out.read_text() == whole.read_text()
    assert run(photos, out, executor=Here(0), asked=SCALE).fresh == 0


def test_what_changed_is_measured_again(photos: Path, tmp_path: Path) -> None:
    out = tmp_path / "t.csv"
    run(photos, out, executor=Here(), asked=SCALE)
    (photos / "broken.jpg").write_bytes(b"other bytes")
    (photos / "below" / "1.png").unlink()
    assert run(photos, out, executor=Here(), asked=SCALE).fresh == 1
    assert len(table(out)) == 8
    assert run(photos, out, executor=Here(), asked=Scratches()).fresh == 8


def test_an_odd_name_has_its_row(tmp_path: Path) -> None:
    folder = tmp_path / "odd"
    folder.mkdir()
    (folder / os.fsdecode(b"a\xff.jpg")).write_bytes(b"x")
    run(folder, tmp_path / "t.csv", executor=Here(), asked=SCALE)
    assert [row["photo"] for row in table(tmp_path / "t.csv")] == ["a\\xff.jpg"]
    assert run(folder, tmp_path / "t.csv", executor=Here(0), asked=SCALE).fresh == 0


def test_another_file_is_not_written_over(photos: Path, tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("mine,own\n1,2\n")
    with pytest.raises(BatchError, match="no such table"):
        run(photos, tmp_path / "t.csv", executor=Here(), asked=SCALE)
    assert (tmp_path / "t.csv").read_text() == "mine,own\n1,2\n"
    (tmp_path / "empty").mkdir()
    with pytest.raises(BatchError, match="no photo"):
        run(tmp_path / "empty", tmp_path / "u.csv", executor=Here(), asked=SCALE)


def _worker_pids(executor: Local) -> list[int]:
    pool = executor._pool
    return [] if pool is None else list(pool._processes)


def test_a_worker_killed_midway_loses_nothing(photos: Path, tmp_path: Path) -> None:
    executor, killed = Local(2), threading.Event()

    def kill(done: int, _: int) -> None:
        if done == 2 and not killed.is_set():
            killed.set()
            os.kill(_worker_pids(executor)[0], signal.SIGKILL)

    run(photos, tmp_path / "t.csv", executor=executor, asked=SCALE, progress=kill)
    executor.close()
    run(photos, tmp_path / "whole.csv", executor=Here(), asked=SCALE)
    assert killed.is_set()
    assert (tmp_path / "t.csv").read_text() == (tmp_path / "whole.csv").read_text()


def test_a_photo_that_ends_its_worker_has_its_row(
    photos: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from leastcut.shop.executors import Lost

    monkeypatch.setattr(batch, "each", lambda _, __, items, **___: ((i, Lost(i)) for i in items))
    done = run(photos, tmp_path / "t.csv", executor=Here(), asked=SCALE)
    assert (done.rows, done.refused) == (9, 9)
    assert "ended the process" in table(tmp_path / "t.csv")[0]["why"]


@pytest.fixture
def address() -> Iterator[str]:
    """A cluster of two processes on this machine."""
    distributed = pytest.importorskip("distributed")
    cluster = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    )
    yield cluster.scheduler_address
    cluster.close()


def test_a_cluster_makes_the_same_table(photos: Path, tmp_path: Path, address: str) -> None:
    executor = Cluster(address)
    began = time.monotonic()
    run(photos, tmp_path / "t.csv", executor=executor, asked=SCALE, carried=True)
    executor.close()
    run(photos, tmp_path / "whole.csv", executor=Here(), asked=SCALE)
    assert time.monotonic() - began < 60.0
    assert (tmp_path / "t.csv").read_text() == (tmp_path / "whole.csv").read_text()


def test_no_scheduler_is_said_plainly() -> None:
    pytest.importorskip("distributed")
    with pytest.raises(ClusterError, match="no scheduler"):
        Cluster("nonsense://x")
