"""``leastcut job``, ``check`` and ``demo``: a job file through every stage."""

import gc
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from leastcut.cli import options
from leastcut.cli.options import Units

if TYPE_CHECKING:
    from leastcut.job.run import Outcome


def _say(words: str) -> None:
    """Show progress on stderr: one line that is overwritten on a terminal."""
    if sys.stderr.isatty():
        click.echo(f"\r\033[K{words} …", nl=False, err=True)


def _say_done() -> None:
    if sys.stderr.isatty():
        click.echo("\r\033[K", nl=False, err=True)


def _collect_seldom() -> None:
    """Look for garbage seldom: a run is over in seconds and leaves little that counting misses."""
    gc.set_threshold(50_000, 20, 100)


def _show(outcome: "Outcome", *, as_json: bool) -> None:
    from leastcut.job.run import encode
    from leastcut.job.summary import summary

    _say_done()
    if as_json:
        click.echo(encode(outcome.answer))
        return
    click.echo(summary(outcome.dossier))
    click.echo("\nWritten:")
    for file in outcome.files:
        click.echo(f"  {file}")


@click.command()
@options.job_file
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Folder for the results.")
@options.as_json
@options.units
def job(job_file: Path, out: Path | None, *, as_json: bool, units: Units | None) -> None:
    """Take a job file through every stage; write plan, report and pictures.

    The results go into a folder named after the job file unless -o names another.
    """
    _collect_seldom()
    from datetime import UTC, datetime

    from leastcut.job.run import run

    folder = out or job_file.with_suffix("")
    now = datetime.now(UTC)
    _show(run(job_file, folder, now=now, units=units, progress=_say), as_json=as_json)


@click.command()
@options.job_file
@options.as_json
def check(job_file: Path, *, as_json: bool) -> None:
    """Say what is wrong in a job file, and what evidence would help most."""
    _collect_seldom()
    from leastcut.job.run import check as look
    from leastcut.job.run import encode

    found = look(job_file, progress=_say)
    _say_done()
    if as_json:
        click.echo(encode(found))
    elif found.valid:
        click.echo(f"{job_file.name}: nothing wrong.")
        for item in found.missing[:8]:
            place = f" of {item.panel}" if item.panel else ""
            click.echo(f"  would help: {item.evidence}{place}. {item.why}")
    else:
        for problem in found.problems:
            click.echo(str(problem))
    if not found.valid:
        raise SystemExit(2)


@click.command()
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    default=Path("leastcut-demo"),
    show_default=True,
    help="Folder for the scenario and its results.",
)
@options.as_json
@options.units
def demo(out: Path, *, as_json: bool, units: Units | None) -> None:
    """Run the invented car through every stage: rendered photos, drawn readings, known truth."""
    _collect_seldom()
    from datetime import UTC, datetime

    from leastcut.demo.scenario import run_demo

    _show(run_demo(out, now=datetime.now(UTC), units=units, progress=_say), as_json=as_json)
