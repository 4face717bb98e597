"""``leastcut shop batch``: a folder of photos to one table."""

import sys
import time
from pathlib import Path

import click

from leastcut.cli import options

_ABOVE = click.FloatRange(min=0, min_open=True)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="The table (CSV); rows that it has already are not made again.",
)
@click.option("--square-mm", type=_ABOVE, help="Inner side of the square in the photos, in mm.")
@click.option("--um-per-px", type=_ABOVE, help="Size of one pixel on the paint, in µm.")
@click.option(
    "--workers",
    type=click.IntRange(1, 64),
    default=2,
    show_default=True,
    help="Processes on this machine.",
)
@click.option("--cluster", metavar="ADDRESS", help="Use a Dask cluster, such as tcp://bay-2:8786.")
@options.as_json
def batch(
    folder: Path,
    out: Path,
    square_mm: float | None,
    um_per_px: float | None,
    workers: int,
    cluster: str | None,
    *,
    as_json: bool,
) -> None:
    """Measure the scratches in every photo of FOLDER and below it, one row each.

    An interrupted run goes on where it stopped.
    """
    import msgspec

    from leastcut.job.batch import Scale, run
    from leastcut.shop.executors import Cluster, Local

    executor = Local(workers) if cluster is None else Cluster(cluster)
    try:
        done = run(
            folder,
            out,
            executor=executor,
            scale=Scale(um_per_px=um_per_px, square_mm=square_mm),
            carried=cluster is not None,
            progress=_Teller(),
        )
    finally:
        executor.close()
    if as_json:
        click.echo(msgspec.json.encode(done).decode())
    else:
        click.echo(
            f"{done.rows} photos in {out}: {done.fresh} measured now, "
            f"{done.refused} could not be judged."
        )


class _Teller:
    """Says how far it is: on a terminal all the time, else every hundredth part."""

    def __init__(self) -> None:
        self.began, self.first = time.monotonic(), -1

    def __call__(self, done: int, total: int) -> None:
        if self.first < 0:
            self.first = done - 1
        if sys.stderr.isatty() or done % max(total // 100, 1) == 0 or done == total:
            speed = (done - self.first) / max(time.monotonic() - self.began, 1e-9)
            left = (total - done) / max(speed, 1e-9) / 60
            end = "" if sys.stderr.isatty() and done < total else "\n"
            start = "\r\033[K" if sys.stderr.isatty() else ""
            click.echo(
                f"{start}{done} of {total}, {speed:.1f}/s, {left:.0f} min left{end}",
                nl=False,
                err=True,
            )
