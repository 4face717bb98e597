"""``leastcut protect``: may the last layer go on, and how much of it."""

import click


@click.group(name="protect")
def group() -> None:
    """Say when the last layer may go on, how much of it, how long to wait."""


@group.command()
@click.option("--air-c", type=float, required=True, help="Air temperature, °C.")
@click.option("--rh", "rh_percent", type=float, required=True, help="Relative humidity, %.")
@click.option("--surface-c", type=float, required=True, help="Surface temperature, °C.")
@click.option("--margin-c", type=float, default=3.0, show_default=True, help="Above dew point.")
@click.option("--rh-max", type=float, default=85.0, show_default=True, help="From the data sheet.")
@click.option("--rh-min", type=float, default=0.0, show_default=True, help="From the data sheet.")
@click.option("--air-min-c", type=float, default=5.0, show_default=True, help="From the sheet.")
@click.option("--air-max-c", type=float, default=35.0, show_default=True, help="From the sheet.")
@click.option("--surface-min-c", type=float, default=5.0, show_default=True, help="From the sheet.")
@click.option(
    "--surface-max-c", type=float, default=40.0, show_default=True, help="From the sheet."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
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
    import msgspec

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
    if as_json:
        click.echo(msgspec.json.encode(found).decode())
        return
    click.echo(
        f"{'yes' if found.ok else 'not now'}: {found.why}\n"
        f"dew point {found.dew_point_c:.1f} °C, surface {found.margin_c:.1f} °C above it"
    )


@group.command()
@click.option("--area-m2", type=float, required=True, help="Painted area, m².")
@click.option(
    "--product",
    type=click.Choice(["wax", "sealant", "coating", "film"]),
    default="sealant",
    show_default=True,
)
@click.option("--wet-um", type=float, default=None, help="Wet film from the data sheet, µm.")
@click.option("--layers", type=int, default=1, show_default=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def quantity(
    area_m2: float, product: str, wet_um: float | None, layers: int, *, as_json: bool
) -> None:
    """Return how much of the product the car takes."""
    import msgspec

    from leastcut.protect import quantity as core

    amount = core.millilitres(area_m2, core.product_class(product), wet_um=wet_um, layers=layers)
    if as_json:
        click.echo(msgspec.json.encode({"millilitres": amount}).decode())
        return
    click.echo(f"{amount:.0f} ml for {area_m2:g} m²")
