"""``leastcut shop take-in`` and ``write-out``: job files into the shop and out again."""

import time
from pathlib import Path

import click

from leastcut.cli import options

_SHOP = click.option(
    "--shop",
    "shop_place",
    metavar="FOLDER|URL",
    help="The shop's folder, or its database's address.",
)


@click.command("take-in")
@options.job_file
@_SHOP
@options.as_json
def take_in(job_file: Path, shop_place: str | None, *, as_json: bool) -> None:
    """Carry JOB.toml with its photos, readings and record into the shop; once, however often asked."""
    import msgspec

    from leastcut.cli.shop import opened
    from leastcut.job.carry import into_shop

    with opened(shop_place, None, create=True) as shop:
        carried = into_shop(job_file, shop, now_s=time.time())
    if as_json:
        click.echo(msgspec.json.encode(carried).decode())
    else:
        was = "is now" if carried.fresh else "was already"
        click.echo(f"{job_file.name} {was} visit {carried.visit} of car {carried.car}.")


@click.command("write-out")
@click.argument("visit", type=click.IntRange(min=1))
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="Folder for the job file and its evidence.",
)
@_SHOP
@options.as_json
def write_out(visit: int, out: Path, shop_place: str | None, *, as_json: bool) -> None:
    """Write VISIT as a job file with its evidence beside it, as a person would have written it."""
    import msgspec

    from leastcut.cli.shop import opened
    from leastcut.job.carry import into_folder

    with opened(shop_place, None) as shop:
        shop.head(visit)  # says so if there is no such visit
        path = into_folder(visit, shop, out)
    if as_json:
        click.echo(msgspec.json.encode({"visit": visit, "job_file": str(path)}).decode())
    else:
        click.echo(f"Visit {visit} is written to {path}.")


COMMANDS: list[click.Command] = [take_in, write_out]
