"""``leastcut shop batch``: a folder of photos or videos to one table."""

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from leastcut.cli import options
from leastcut.errors import InputError

if TYPE_CHECKING:
    from leastcut.job.batch import Asked

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
@click.option(
    "--shared", is_flag=True, help="The cluster's workers see FOLDER too: nothing is sent along."
)
@click.option("--takes", is_flag=True, help="Measure the technique in videos instead of photos.")
@click.option("--pad-mm", type=_ABOVE, help="With --takes: pad diameter, in mm.")
@options.as_json
def batch(
    folder: Path,
    out: Path,
    *,
    workers: int,
    cluster: str | None,
    shared: bool,
    as_json: bool,
    **asked: Any,
) -> None:
    """Measure the scratches in every photo of FOLDER and below it, one row each.

    With --takes the technique in every video. An interrupted run goes on where it stopped.
    """
    import msgspec

    from leastcut.job.batch import run
    from leastcut.shop.executors import Cluster, Local

    question = _asked(**asked)
    executor = Local(workers) if cluster is None else Cluster(cluster)
    try:
        done = run(
            folder,
            out,
            executor=executor,
            asked=question,
            carried=cluster is not None and not shared,
            progress=_Teller(),
        )
    finally:
        executor.close()
    if as_json:
        click.echo(msgspec.json.encode(done).decode())
    else:
        click.echo(
            f"{done.rows} {question.thing}s in {out}: {done.fresh} measured now, "
            f"{done.refused} could not be judged."
        )


class AskedError(InputError):
    """Options that do not go together."""


def _asked(
    *, takes: bool, square_mm: float | None, um_per_px: float | None, pad_mm: float | None
) -> "Asked":
    from leastcut.job.batch_kinds import Scratches, Takes

    if not takes and pad_mm is None:
        return Scratches(um_per_px=um_per_px, square_mm=square_mm)
    if not takes:
        raise AskedError("a pad shows only in videos", where="--pad-mm", do="Add --takes")
    if um_per_px is not None:
        do = "Give --square-mm, the inner side of the square taped round the section"
        raise AskedError("a video has no size of a pixel", where="--um-per-px", do=do)
    if square_mm is None:
        do = "Give the inner side of the square taped round the section, in mm"
        raise AskedError("takes need the square's size", where="--square-mm", do=do)
    return Takes(square_mm=square_mm, pad_mm=pad_mm)


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
