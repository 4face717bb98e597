"""``leastcut protect``: when the last layer may go on, how much of it, how long to wait."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from leastcut.cli.typed import CELSIUS, MICROMETRES, MINUTES, SQUARE_METRES

if TYPE_CHECKING:
    from leastcut.protect.records import Limits

_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
_PRODUCT = click.option(
    "--product",
    "kind",
    type=click.Choice(["wax", "sealant", "coating", "film"]),
    default="sealant",
    show_default=True,
    help="Class of product; its data sheet goes first.",
)


@click.group(name="protect")
def group() -> None:
    """Say when the last layer may go on, how much of it, how long to wait.

    The product's own data sheet goes first.
    """


# option, its type, help: a data sheet's own limits, in place of the class's usual ones
_LIMITS: tuple[tuple[str, Any, str], ...] = (
    ("--margin-c", float, "Surface above the dew point, K."),
    ("--rh-max", float, "Highest humidity, %."),
    ("--rh-min", float, "Lowest humidity, %."),
    ("--air-min-c", CELSIUS, "Coldest air, °C."),
    ("--air-max-c", CELSIUS, "Warmest air, °C."),
    ("--surface-min-c", CELSIUS, "Coldest surface, °C."),
    ("--surface-max-c", CELSIUS, "Warmest surface, °C."),
)
# option, field of the product: a data sheet's own times
_TIMES = {
    "--flash-from": "flash_min_low",
    "--flash-until": "flash_min_high",
    "--recoat-from": "recoat_min_low",
    "--recoat-until": "recoat_min_high",
    "--touch": "touch_min",
    "--dry": "dry_min",
    "--wash": "wash_min",
}
_FIELDS = {
    "margin_c": "margin_c",
    "rh_max": "rh_percent_max",
    "rh_min": "rh_percent_min",
    "air_min_c": "air_c_min",
    "air_max_c": "air_c_max",
    "surface_min_c": "surface_c_min",
    "surface_max_c": "surface_c_max",
}


def _sheet_limits(command: Any) -> Any:
    """Give a command the options of a data sheet's limits."""
    for name, kind, words in reversed(_LIMITS):
        command = click.option(name, type=kind, default=None, help=f"From the sheet. {words}")(
            command
        )
    return command


def _sheet_times(command: Any) -> Any:
    """Give a command the options of a data sheet's times."""
    for name in reversed(_TIMES):
        words = "From the sheet, min, or with its unit (12 h)."
        command = click.option(name, type=MINUTES, default=None, help=words)(command)
    return command


def _limits(typed: dict[str, float | None], base: "Limits") -> "Limits":
    """Return the limits with what was typed from a sheet in its place."""
    import msgspec

    changed = {_FIELDS[key]: value for key, value in typed.items() if value is not None}
    return msgspec.structs.replace(base, **changed)


@group.command()
@click.option("--air-c", type=CELSIUS, required=True, help="Air temperature, °C.")
@click.option("--rh", "rh_percent", type=float, required=True, help="Relative humidity, %.")
@click.option("--surface-c", type=CELSIUS, required=True, help="Surface temperature, °C.")
@_sheet_limits
@_JSON
def window(
    air_c: float, rh_percent: float, surface_c: float, *, as_json: bool, **typed: float | None
) -> None:
    """Dew point, margin of the surface above it, and whether the last layer may go on."""
    from leastcut.protect import window as core
    from leastcut.protect.records import Limits

    found = core.window(air_c, rh_percent, surface_c, limits=_limits(typed, Limits()))
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
@_sheet_limits
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Write the picture here, SVG.")
@_JSON
def day(
    forecast: Path,
    kind: str,
    needs: float,
    out: Path | None,
    *,
    as_json: bool,
    **typed: float | None,
) -> None:
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
    limits = _limits(typed, product(kind).limits)
    found = day_window(weather, limits=limits, needs_min=needs)
    if out is not None:
        click.echo(f"wrote {write_whole(out, draw_day(found))}", err=True)
    note = "surface taken as warm as the air; measure it before you begin"
    lines = [found.why, *([note] if found.surface_assumed else [])]
    _print(found, lines, as_json=as_json)


@group.command()
@click.option("--applied", required=True, metavar="HH:MM", help="When the first layer went on.")
@_PRODUCT
@click.option("--layers", type=int, default=1, show_default=True)
@_sheet_times
@_JSON
def clock(applied: str, kind: str, layers: int, *, as_json: bool, **typed: float | None) -> None:
    """Say what follows when: wipe off, further layers, keep dry, do not wash."""
    import msgspec

    from leastcut.protect.clock import clock as core
    from leastcut.protect.day import time_of_day
    from leastcut.protect.forecast import minutes_of
    from leastcut.protect.products import product

    names = {name.removeprefix("--").replace("-", "_"): field for name, field in _TIMES.items()}
    changed = {names[key]: value for key, value in typed.items() if value is not None}
    item = msgspec.structs.replace(product(kind), **changed)
    moments = core(minutes_of(applied), item, layers=layers)
    lines = [
        f"{moment.what}: {time_of_day(moment.from_min)} to {time_of_day(moment.until_min)}; "
        f"{moment.why}"
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
