"""``leastcut protect``: when the last layer may go on, how much of it, how long to wait."""

from pathlib import Path
from typing import Any

import click

from leastcut.cli.typed import CELSIUS, MICROMETRES, MINUTES, SQUARE_METRES

_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
_PRODUCT = click.option(
    "--product",
    "kind",
    type=click.Choice(["wax", "sealant", "coating", "film"]),
    default="sealant",
    show_default=True,
    help="Class of product; its data sheet goes first.",
)
_SHEET = "From the product's data sheet."


@click.group(name="protect")
def group() -> None:
    """Say when the last layer may go on, how much of it, how long to wait.

    The product's own data sheet goes first.
    """


@group.command()
@click.option("--air-c", type=CELSIUS, required=True, help="Air temperature, °C.")
@click.option("--rh", "rh_percent", type=float, required=True, help="Relative humidity, %.")
@click.option("--surface-c", type=CELSIUS, required=True, help="Surface temperature, °C.")
@click.option("--margin-c", type=float, default=3.0, show_default=True, help="Above dew point, K.")
@click.option("--rh-max", type=float, default=85.0, show_default=True, help=_SHEET)
@click.option("--rh-min", type=float, default=0.0, show_default=True, help=_SHEET)
@click.option("--air-min-c", type=CELSIUS, default=5.0, show_default=True, help=_SHEET)
@click.option("--air-max-c", type=CELSIUS, default=35.0, show_default=True, help=_SHEET)
@click.option("--surface-min-c", type=CELSIUS, default=5.0, show_default=True, help=_SHEET)
@click.option("--surface-max-c", type=CELSIUS, default=40.0, show_default=True, help=_SHEET)
@_JSON
def window(
    air_c: float,
    rh_percent: float,
    surface_c: float,
    margin_c: float,
    rh_max: float,
    rh_min: float,
    air_min_c: float,
    air_max_c: float,
    surface_min_c: float,
    surface_max_c: float,
    *,
    as_json: bool,
) -> None:
    """Dew point, margin of the surface above it, and whether the last layer may go on."""
    from leastcut.protect import window as core
    from leastcut.protect.records import Limits

    limits = Limits(
        margin_c=margin_c,
        rh_percent_max=rh_max,
        rh_percent_min=rh_min,
        air_c_min=air_min_c,
        air_c_max=air_max_c,
        surface_c_min=surface_min_c,
        surface_c_max=surface_max_c,
    )
    found = core.window(air_c, rh_percent, surface_c, limits=limits)
    lines = [
        f"{'yes' if found.ok else 'not now'}: {found.why}",
        f"dew point {found.dew_point_c:.1f} °C, surface {found.margin_c:.1f} °C above it",
    ]
    _print(found, lines, as_json=as_json)


@group.command()
@click.argument("forecast", type=click.Path(path_type=Path))
@_PRODUCT
@click.option(
    "--needs", type=MINUTES, default=60.0, show_default=True, help="Application and flash, min."
)
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Write the picture here, SVG.")
@_JSON
def day(forecast: Path, kind: str, needs: float, out: Path | None, *, as_json: bool) -> None:
    """When in the day it may go on, from a forecast or a logger's CSV.

    FORECAST has columns time (HH:MM), air_c or air_f, rh_percent, and surface_c if measured.
    """
    from leastcut.protect.chart import draw_day
    from leastcut.protect.day import day_window
    from leastcut.protect.forecast import parse_rows
    from leastcut.protect.products import product
    from leastcut.shop.files import write_whole
    from leastcut.shop.readings import read_rows

    weather, problems = parse_rows(read_rows(forecast), where=forecast.name)
    for problem in problems:
        click.echo(f"left out: {problem}", err=True)
    found = day_window(weather, limits=product(kind).limits, needs_min=needs)
    if out is not None:
        click.echo(f"wrote {write_whole(out, draw_day(found))}", err=True)
    note = "surface taken as warm as the air; measure it before you begin"
    lines = [found.why, *([note] if found.surface_assumed else [])]
    _print(found, lines, as_json=as_json)


@group.command()
@click.option("--applied", required=True, metavar="HH:MM", help="When the first layer went on.")
@_PRODUCT
@click.option("--layers", type=int, default=1, show_default=True)
@_JSON
def clock(applied: str, kind: str, layers: int, *, as_json: bool) -> None:
    """Say what follows when: wipe off, further layers, keep dry, do not wash."""
    from leastcut.protect.clock import clock as core
    from leastcut.protect.day import time_of_day
    from leastcut.protect.forecast import minutes_of
    from leastcut.protect.products import product

    item = product(kind)
    moments = core(minutes_of(applied), item, layers=layers)
    lines = [
        f"{moment.what}: {time_of_day(moment.from_min)} to "
        f"{'no end' if moment.until_min is None else time_of_day(moment.until_min)}; {moment.why}"
        for moment in moments
    ]
    _print(moments, [*lines, f"source: {item.source}"], as_json=as_json)


@group.command()
@click.option("--area-m2", type=SQUARE_METRES, required=True, help="Painted area, m².")
@_PRODUCT
@click.option("--wet-um", type=MICROMETRES, default=None, help="Wet film from the sheet, µm.")
@click.option("--layers", type=int, default=1, show_default=True)
@_JSON
def quantity(
    area_m2: float, kind: str, wet_um: float | None, layers: int, *, as_json: bool
) -> None:
    """How much of the product the car takes."""
    from leastcut.protect.quantity import millilitres

    amount = millilitres(area_m2, kind, wet_um=wet_um, layers=layers)
    _print({"millilitres": amount}, [f"{amount:.0f} ml for {area_m2:g} m²"], as_json=as_json)


def _print(record: Any, lines: list[str], *, as_json: bool) -> None:
    import msgspec

    if as_json:
        click.echo(msgspec.json.encode(record).decode())
    else:
        click.echo("\n".join(lines))
