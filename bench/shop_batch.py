"""A folder of photos to one table: two workers against one, here and on a cluster, one killed.

Run with ``python bench/shop_batch.py [PHOTOS]`` on a machine that does nothing else.
"""

import json
import os
import signal
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image

from leastcut.job.batch import run
from leastcut.job.batch_kinds import Scratches
from leastcut.shop.executors import Cluster, Executor, Local

PHOTOS, KINDS = 1000, 20
SCALE = Scratches(um_per_px=60.0)


def photo(rng: np.random.Generator) -> Image.Image:
    """Draw a small dark picture with some bright hairs and noise."""
    light = np.full((240, 320), 30.0)
    for _ in range(30):
        x, y, turn = rng.uniform(20, 300), rng.uniform(20, 220), rng.uniform(0, np.pi)
        along = np.arange(-25, 25, 0.5)
        columns = np.clip(x + along * np.cos(turn), 0, 319).astype(int)
        rows = np.clip(y + along * np.sin(turn), 0, 239).astype(int)
        light[rows, columns] += rng.uniform(20, 80)
    light += rng.normal(0, 1.5, light.shape)
    return Image.fromarray(np.clip(light, 0, 255).astype(np.uint8)).convert("RGB")


def write(folder: Path, count: int) -> None:
    """Write `count` photos, a few pictures again and again under names of their own."""
    rng = np.random.default_rng(4)
    for kind in range(KINDS):
        photo(rng).save(folder / f"{kind:05d}.png")
    for number in range(KINDS, count):
        (folder / f"{number:05d}.png").hardlink_to(folder / f"{number % KINDS:05d}.png")


def timed(folder: Path, out: Path, workers: int) -> float:
    """Return how long it took on this machine's processes, their own start left out [s]."""
    return _timed(folder, out, Local(workers), workers)


def timed_on_cluster(folder: Path, out: Path, workers: int) -> float:
    """Return how long it took on a Dask cluster, its own start left out [s]."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=workers, threads_per_worker=1, host="127.0.0.1", dashboard_address=None
    ) as cluster:
        return _timed(folder, out, Cluster(cluster.scheduler_address), workers)


def _timed(folder: Path, out: Path, executor: Executor, workers: int) -> float:
    for future in [executor.submit(time.sleep, 1.5) for _ in range(workers)]:
        future.result()
    began = time.perf_counter()
    run(folder, out, executor=executor, asked=SCALE)
    spent = time.perf_counter() - began
    executor.close()
    return spent


def killed(folder: Path, out: Path) -> None:
    """Make the table while a worker is killed every hundred photos."""
    executor = Local(2)

    def kill(done: int, _: int) -> None:
        pool = executor._pool  # noqa: SLF001 - there is no other way to do somebody this harm
        if done % 100 == 0 and pool is not None:
            for pid in list(pool._processes)[:1]:  # noqa: SLF001
                os.kill(pid, signal.SIGKILL)

    run(folder, out, executor=executor, asked=SCALE, progress=kill)
    executor.close()


def main() -> dict[str, float]:
    """Print and return seconds on one and two workers, and what killing a worker did."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 and sys.argv[1].isdigit() else PHOTOS
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "photos"
        folder.mkdir()
        write(folder, count)
        one = timed(folder, Path(place) / "one.csv", 1)
        two = timed(folder, Path(place) / "two.csv", 2)
        far_one = timed_on_cluster(folder, Path(place) / "far-one.csv", 1)
        far_two = timed_on_cluster(folder, Path(place) / "far-two.csv", 2)
        killed(folder, Path(place) / "killed.csv")
        names = ("one", "two", "far-one", "far-two", "killed")
        tables = [(Path(place) / f"{name}.csv").read_text() for name in names]
    found = {
        "photos": count,
        "one_worker_s": one,
        "two_workers_s": two,
        "two_over_half_of_one": two / (one / 2),
        "cluster_one_worker_s": far_one,
        "cluster_two_workers_s": far_two,
        "cluster_two_over_half_of_one": far_two / (far_one / 2),
        "rows_after_kills": len(tables[-1].splitlines()) - 1,
        "same_tables": float(len(set(tables)) == 1),
    }
    print(json.dumps(found, indent=1))
    return found


if __name__ == "__main__":
    main()
