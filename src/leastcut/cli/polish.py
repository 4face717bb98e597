"""Commands of the polish stage: what the pad will cut."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from leastcut.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from leastcut.car.units import UnitSystem
    from leastcut.polish.records import RemovalSet, RemovalSummary
    from leastcut.polish.removal import RemovalMap


class SettingsError(InputError):
    """A settings file that cannot be read."""


@click.group()
def group() -> None:
    """Compute the cut before anyone touches the paint."""


@group.command()
@click.argument("settings", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
@click.option(
    "--map",
    "map_path",
    type=click.Path(path_type=Path),
    help="Write the removal map here: NumPy float32, µm, row 0 at the lowest y.",
)
@click.option(
    "-o", "--out", type=click.Path(path_type=Path), help="Write the map's picture here, an SVG."
)
@click.option(
    "--units", type=click.Choice(["metric", "us"]), default="metric", help="Units to show."
)
def removal(
    settings: Path, map_path: Path | None, out: Path | None, units: "UnitSystem", *, as_json: bool
) -> None:
    """Compute the cut of a worked rectangle from SETTINGS, a TOML file.

    The file gives pad_diameter_mm, orbit_mm (diameter of the throw), orbits_per_min, spin_rpm,
    force_n, arm_speed_mm_s, stroke_spacing_mm, sets, width_mm, height_mm, preston_um_per_kpa_m
    and grid_mm. Without --json or -o the picture is written beside it, ending in -cut.svg.
    """
    import msgspec
    import numpy as np

    from leastcut.polish.removal import simulate_set
    from leastcut.shop.files import write_whole

    work = _read(settings)
    try:
        summary, result = simulate_set(work)
    except InputError as error:
        raise error.at(str(settings)) from None
    if map_path is not None:
        _save_map(map_path, result.depth_um.astype(np.float32))
    if out is not None or not as_json:
        picture = out or settings.with_name(f"{settings.stem}-cut.svg")
        write_whole(picture, _map_picture(work, result))
        click.echo(f"Picture: {picture}", err=True)
    if as_json:
        click.echo(msgspec.json.encode(summary).decode())
    else:
        click.echo(_sentence(summary, units))


@group.command()
@click.option("--pad-mm", "pads_mm", type=float, multiple=True, help="Pad diameter; repeat it.")
@click.option("--orbit-mm", default=15.0, show_default=True, help="Diameter of the throw.")
@click.option("--spin-rpm", default=300.0, show_default=True, help="Spin of the pad under load.")
@click.option("--ripple", default=0.05, show_default=True, help="Crest to trough over mean.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def spacing(
    pads_mm: tuple[float, ...], orbit_mm: float, spin_rpm: float, ripple: float, *, as_json: bool
) -> None:
    """Say how far apart strokes may lie before the cut ripples, for each pad size."""
    import msgspec

    from leastcut.polish.records import PadSettings
    from leastcut.polish.ripple import spacing_table

    sizes = pads_mm or (75.0, 100.0, 125.0, 130.0, 150.0, 165.0)
    if not all(20 <= size <= 500 and 0 <= orbit_mm < size for size in sizes) or not ripple > 0:
        raise SettingsError(
            "a pad size, throw or ripple is out of range",
            where="--pad-mm, --orbit-mm, --ripple",
            do="Give pads of 20 to 500 mm, a throw smaller than the pad and a ripple above 0",
        )
    settings = PadSettings(orbit_mm=orbit_mm, spin_rpm=spin_rpm)
    rows = spacing_table(sizes, settings, limit=ripple)
    if as_json:
        click.echo(msgspec.json.encode({"spacings": rows}).decode())
        return
    for row in rows:
        click.echo(
            f"pad {row.pad_diameter_mm:g} mm: strokes up to {row.spacing_mm:.0f} mm apart "
            f"(ripple {100 * row.ripple_fraction:.1f} %)"
        )


@group.command()
@click.argument("settings", type=click.Path(path_type=Path))
@click.option(
    "-o", "--out", required=True, type=click.Path(path_type=Path), help="Folder for the pictures."
)
@click.option("--radius-mm", default=50.0, show_default=True, help="Which point of the pad.")
def pictures(settings: Path, out: Path, radius_mm: float) -> None:
    """Draw the cut, the pad's path, its speed, and cut against arm speed for SETTINGS."""
    from leastcut.polish import pictures as drawn
    from leastcut.polish.charts import chart_svg
    from leastcut.polish.removal import pad_of, simulate_set
    from leastcut.shop.files import write_whole

    work = _read(settings)
    try:
        _, result = simulate_set(work)
    except InputError as error:
        raise error.at(str(settings)) from None
    pad = pad_of(work)
    rate, apart = work.preston_um_per_kpa_m, work.stroke_spacing_mm
    files = {
        "cut-map.svg": _map_picture(work, result),
        "pad-path.svg": chart_svg(drawn.path_chart(pad, r_mm=radius_mm), size_mm=(120.0, 120.0)),
        "pad-speed.svg": chart_svg(drawn.speed_chart(pad)),
        "cut-by-speed.svg": chart_svg(
            drawn.cut_chart(pad, preston_um_per_kpa_m=rate, spacing_mm=apart)
        ),
    }
    for name, content in files.items():
        click.echo(str(write_whole(out / name, content)))


def _map_picture(work: "RemovalSet", result: "RemovalMap") -> str:
    from leastcut.polish.pictures import map_svg

    w, h = work.width_mm, work.height_mm
    sets = "1 set" if work.sets == 1 else f"{work.sets} sets"
    return map_svg(
        result,
        title=f"Cut of {sets} over {w:g} × {h:g} mm",
        along_mm=h / 2,
        outline_mm=((0.0, 0.0), (w, 0.0), (w, h), (0.0, h)),
    )


def _read(path: Path) -> "RemovalSet":
    import msgspec

    from leastcut.polish.records import RemovalSet

    try:
        return msgspec.toml.decode(path.read_bytes(), type=RemovalSet, strict=True)
    except OSError as error:
        raise SettingsError(
            f"cannot read it: {error.strerror or error}",
            where=str(path),
            do="Give the path of a TOML file",
        ) from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise SettingsError(
            str(error), where=str(path), do="Write every setting as name = number, once"
        ) from None


def _save_map(path: Path, depth_um: "npt.NDArray[np.float32]") -> None:
    import io

    import numpy as np

    from leastcut.shop.files import write_whole

    buffer = io.BytesIO()
    np.save(buffer, depth_um, allow_pickle=False)
    write_whole(path, buffer.getvalue())


def _sentence(summary: "RemovalSummary", units: "UnitSystem") -> str:
    """Say the result in a few lines."""
    from leastcut.car.units import convert, symbol

    time = f"{len(summary.strokes_mm)} strokes, {summary.seconds:.0f} s on the paint"
    if summary.mean_um is None or summary.p05_um is None or summary.p95_um is None:
        return f"{time}. The section is narrower than the pad: no even middle to speak of"
    sign, to = symbol("micrometer", units), "micrometer" if units == "metric" else "thou"
    mean, low, high = (
        f"{convert(value, 'micrometer', to):.3g}"
        for value in (summary.mean_um, summary.p05_um, summary.p95_um)
    )
    ripple = 100.0 * (summary.ripple_fraction or 0.0)
    return (
        f"{time}. Mean cut {mean} {sign} inside the section, nine tenths of it between {low} and "
        f"{high} {sign}, ripple {ripple:.1f} % from trough to crest"
    )
