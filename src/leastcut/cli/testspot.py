"""``leastcut testspot``: which process to try next, which to use on the car."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from leastcut.car.units import UnitSystem


@click.command("testspot")
@click.argument("trials", type=click.Path(path_type=Path), required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Write the JSON here too.")
@click.option(
    "--pictures", type=click.Path(path_type=Path), help="Write three SVGs in this folder."
)
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", help="Units shown.")
@click.option(
    "--lessons", type=click.Path(path_type=Path), help="Start from what earlier cars taught (JSON)."
)
@click.option("--keep", metavar="CAR", help="Add what this car taught to --lessons.")
@click.option("--forget", metavar="CAR", help="Take a car's lessons out of --lessons and stop.")
@click.option(
    "--year",
    type=click.FloatRange(1950, 2200),
    help="Today as a year, such as 2026.5: old lessons fade.",
)
@click.option("--schema", is_flag=True, help="Print the JSON Schema of TRIALS.toml and stop.")
def testspot(
    trials: Path | None,
    *,
    as_json: bool,
    out: Path | None,
    pictures: Path | None,
    units: "UnitSystem",
    lessons: Path | None,
    keep: str | None,
    forget: str | None,
    year: float | None,
    schema: bool,
) -> None:
    """Say what the trials of TRIALS (a .toml file) taught, and what to try, use or stop."""
    import msgspec

    from leastcut.cli import _testspot as run
    from leastcut.shop import files, trialsfile

    if schema:
        click.echo(_pretty(msgspec.json.encode(trialsfile.json_schema())))
        return
    if (keep or forget) and lessons is None:
        raise click.UsageError("--keep and --forget need --lessons FILE.")
    if lessons is not None and forget is not None:
        run.forget(lessons, forget)
        return
    if trials is None:
        raise click.UsageError("Missing argument 'TRIALS'.")
    answer = run.answer(trials, lessons=lessons, year=year)
    document = _pretty(msgspec.json.encode(answer.contract()))
    for path, svg in answer.drawings(pictures).items() if pictures is not None else ():
        files.write_whole(path, svg)
    if lessons is not None and keep is not None:
        answer.keep(lessons, keep)
    if out is not None:
        files.write_whole(out, document + "\n")
    click.echo(document if as_json else answer.summary(units))


def _pretty(data: bytes) -> str:
    import msgspec

    return msgspec.json.format(data, indent=2).decode()
