"""``leastcut testspot``: which process to try next, which to use on the car."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from leastcut.car.units import UnitSystem
    from leastcut.testspot.records import TestSpot


@click.command("testspot")
@click.argument("trials", type=click.Path(path_type=Path), required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Write the JSON here too.")
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", help="Units shown.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of TRIALS.toml and stop.")
def testspot(
    trials: Path | None, *, as_json: bool, out: Path | None, units: "UnitSystem", schema: bool
) -> None:
    """Say what the trials of TRIALS (a .toml file) taught, and what to try, use or stop."""
    import msgspec

    from leastcut.shop import files, trialsfile
    from leastcut.testspot import tell

    if schema:
        click.echo(_pretty(msgspec.json.encode(trialsfile.json_schema())))
        return
    if trials is None:
        raise click.UsageError("Missing argument 'TRIALS'.")
    spot = _assess(trials)
    document = _pretty(msgspec.json.encode(tell.to_contract(spot)))
    if out is not None:
        files.write_whole(out, document + "\n")
    click.echo(document if as_json else tell.summary(spot, units))


def _pretty(data: bytes) -> str:
    import msgspec

    return msgspec.json.format(data, indent=2).decode()


def _assess(path: Path) -> "TestSpot":
    from leastcut.shop import trialsfile
    from leastcut.testspot import decide
    from leastcut.testspot.rules import Rules

    file = trialsfile.read(path)
    rules = Rules(
        p_target=file.rules.p_target,
        p_within_budget=file.rules.p_within_budget,
        max_trials=file.rules.max_trials,
    )
    spot, _ = decide.assess(
        trialsfile.trials(file),
        trialsfile.ladder(file),
        target=file.target,
        budget_um=file.budget_um,
        width_hint_um=file.paint.scratch_width_um,
        rules=rules,
    )
    return spot
