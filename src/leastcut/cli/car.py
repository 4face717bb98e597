"""``leastcut car``: bodies, outlines from a photo, the pattern sheet."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from leastcut.errors import InputError

_BODIES = ("two-box", "three-box", "estate", "suv", "pickup", "van", "coupe")
_PATH = click.Path(path_type=Path, dir_okay=False)
_UNITS = click.option(
    "--units", type=click.Choice(["metric", "us"]), default="metric", help="Units shown."
)
_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")


class TraceError(InputError):
    """A file of traced points that cannot be read."""


def _json(document: object) -> None:
    import msgspec

    click.echo(msgspec.json.encode(document).decode())


@click.group()
def group() -> None:
    """Bodies in true size, outlines from a photo, the pattern sheet."""


@group.command("bodies")
@click.option("-o", "--out", type=_PATH, help="Write the classes side by side as SVG.")
@_UNITS
@_JSON
def bodies_(out: Path | None, units: Any, *, as_json: bool) -> None:
    """List the body classes with their usual size and painted area."""
    from leastcut.car import bodies
    from leastcut.car.units import show

    if out is not None:
        _write(out, _gallery(units))
    rows = [_body_row(bodies, body) for body in bodies.DEFAULTS]
    if as_json:
        _json(rows)
        return
    for row in rows:
        sides = " × ".join(
            show(row[f"{side}_mm"], "millimeter", units) for side in ("length", "width", "height")
        )
        area = show(row["painted_area_m2"], "meter**2", units)
        wheelbase = show(row["wheelbase_mm"], "millimeter", units)
        click.echo(
            f"{row['body']:<10} {row['doors']} doors  {sides}, wheelbase {wheelbase}, "
            f"{row['panels']} panels, {area} of paint"
        )


def _gallery(units: Any) -> str:
    from leastcut.car.gallery import draw_gallery

    sides = dict.fromkeys(("length", "width", "height", "wheelbase"))
    return draw_gallery([_car(body, None, body, dict(sides)) for body in _BODIES], units=units)


def _write(out: Path, content: bytes | str) -> None:
    from leastcut.shop.files import write_whole

    write_whole(out, content)
    click.echo(f"wrote {out}", err=True)


def _body_row(bodies: Any, body: str) -> dict[str, Any]:
    from leastcut.car.outline import painted_area_m2

    size = bodies.DEFAULTS[body]
    sides = {
        f"{side}_mm": getattr(size, f"{side}_mm")
        for side in ("length", "width", "height", "wheelbase")
    }
    panels = bodies.build(body, **sides)
    area = round(sum(painted_area_m2(p) for p in panels), 3)
    return {
        "body": body,
        "doors": size.doors,
        **sides,
        "panels": len(panels),
        "painted_area_m2": area,
    }


def _size_options(command: Callable[..., None]) -> Callable[..., None]:
    for side in ("wheelbase", "height", "width", "length"):
        command = click.option(f"--{side}", help=f'{side.capitalize()}, such as "4.25 m".')(command)
    return command


@group.command()
@click.option("--body", type=click.Choice(_BODIES), required=True, help="Body class.")
@_size_options
@click.option("--doors", type=int, help="As the trade counts: 2 to 5.")
@click.option("--label", default="", help="Title of the sheet.")
@click.option("-o", "--out", type=_PATH, help="Write the sheet as SVG.")
@_UNITS
@_JSON
def sheet(
    body: Any,
    doors: int | None,
    label: str,
    out: Path | None,
    units: Any,
    *,
    as_json: bool,
    **sizes: str | None,
) -> None:
    """Lay all panels of a body out on one pattern sheet."""
    from leastcut.car.outline import painted_area_m2
    from leastcut.car.sheet import draw, lay_out

    car = _car(body, doors, label, sizes)
    laid = lay_out(car.panels)
    if out is not None:
        _write(out, draw(laid, car, units=units))
    if as_json:
        areas = {p.id: round(painted_area_m2(p), 4) for p in car.panels}
        _json({"car": car, "painted_area_m2": areas, "sheet": laid})
        return
    click.echo(_summary(car, units))


def _car(body: Any, doors: int | None, label: str, sizes: dict[str, str | None]) -> Any:
    from leastcut.car import bodies
    from leastcut.car.records import Car
    from leastcut.car.units import QuantityError, parse

    size: dict[str, Any] = {}
    for side, written in sizes.items():
        usual = getattr(bodies.DEFAULTS[body], f"{side}_mm")
        try:
            size[f"{side}_mm"] = usual if written is None else parse(written, "millimeter")
        except QuantityError as error:
            raise error.at(f"--{side}") from None
    panels = bodies.build(body, doors=doors, **size)
    return Car(label=label or f"A {body}", body=body, panels=panels, **size)


def _summary(car: Any, units: Any) -> str:
    from leastcut.car.outline import painted_area_m2
    from leastcut.car.units import show

    lines = [
        f"{number:>2} {panel.name:<26} {show(painted_area_m2(panel), 'meter**2', units):>8}"
        for number, panel in enumerate(car.panels, start=1)
    ]
    total = show(sum(map(painted_area_m2, car.panels)), "meter**2", units)
    return "\n".join([*lines, f"   {'painted area':<26} {total:>8}"])


@group.command()
@click.argument("points", type=_PATH)
@click.option(
    "--square-mm",
    type=click.FloatRange(min=0, min_open=True),
    required=True,
    help="Inner side of the square in the photo, in mm.",
)
@click.option("--click-px", type=click.FloatRange(min=0), default=1.0, help="Error of one click.")
@click.option("-o", "--out", type=_PATH, help="Write the outline as JSON for other commands.")
@_JSON
def trace(
    points: Path, square_mm: float, click_px: float, out: Path | None, *, as_json: bool
) -> None:
    """Turn an outline traced on a photo into millimetres.

    POINTS is a JSON file with "outline_px" and "square_px", the four corners of a square of known
    size that lies flat on the panel, and where wanted "panel".
    """
    import msgspec

    result = _rectified(points, square_mm, click_px)
    if out is not None:
        kept = {key: result[key] for key in ("panel", "outline_mm")}
        _write(out, msgspec.json.encode(kept))
    if as_json:
        _json(result)
        return
    click.echo(
        f"{result['panel']}: {result['width_mm']:.0f} × {result['height_mm']:.0f} mm, "
        f"±{result['click_error_mm']:.1f} mm where the clicks count most"
    )


def _rectified(path: Path, square_mm: float, click_px: float) -> dict[str, Any]:
    from leastcut.car.outline import click_error_mm, rectify

    data = _traced(path)
    given = {"square_px": data["square_px"], "square_mm": square_mm}
    try:
        outline = rectify(data["outline_px"], **given)
        error_mm = click_error_mm(data["outline_px"], click_px=click_px, **given)
    except InputError as error:
        raise error.at(str(path)) from None
    return {
        "panel": str(data.get("panel") or "panel"),
        "outline_mm": [[round(x, 1), round(y, 1)] for x, y in outline],
        "width_mm": round(max(x for x, _ in outline), 1),
        "height_mm": round(max(y for _, y in outline), 1),
        "click_error_mm": round(error_mm, 2),
    }


def _traced(path: Path) -> dict[str, Any]:
    import msgspec

    do = 'Write {"panel": …, "outline_px": [[x, y], …], "square_px": [[x, y], …]}'
    try:
        data = msgspec.json.decode(path.read_bytes())
    except OSError as error:
        why = error.strerror or str(error)
        raise TraceError(f"cannot read it: {why}", where=str(path), do="Check the path") from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise TraceError(f"this is no JSON: {error}", where=str(path), do=do) from None
    for key in ("outline_px", "square_px"):
        if not isinstance(data, dict) or not isinstance(data.get(key), list):
            raise TraceError(f'"{key}" is missing or no list', where=str(path), do=do)
    return dict(data)
