"""Commands of the polish stage: what the pad will cut."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from leastcut.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from leastcut.polish.records import RemovalSet, RemovalSummary


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
def removal(settings: Path, *, as_json: bool, map_path: Path | None) -> None:
    """Compute the cut of a worked rectangle from SETTINGS, a TOML file.

    The file gives pad_diameter_mm, orbit_mm (diameter of the throw), orbits_per_min, spin_rpm,
    force_n, arm_speed_mm_s, stroke_spacing_mm, sets, width_mm, height_mm, preston_um_per_kpa_m
    and grid_mm.
    """
    import msgspec
    import numpy as np

    from leastcut.polish.removal import simulate_set

    work = _read(settings)
    try:
        summary, result = simulate_set(work)
    except InputError as error:
        raise error.at(str(settings)) from None
    if map_path is not None:
        _save_map(map_path, result.depth_um.astype(np.float32))
    if as_json:
        click.echo(msgspec.json.encode(summary).decode())
    else:
        click.echo(_sentence(summary))


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


def _sentence(summary: "RemovalSummary") -> str:
    """Say the result in a few lines."""
    time = f"{len(summary.strokes_mm)} strokes, {summary.seconds:.0f} s on the paint"
    if summary.mean_um is None:
        return f"{time}. The section is narrower than the pad: no even middle to speak of"
    ripple = 100.0 * (summary.ripple_fraction or 0.0)
    return (
        f"{time}. Mean cut {summary.mean_um:.3g} µm inside the section, "
        f"nine tenths of it between {summary.p05_um:.3g} and {summary.p95_um:.3g} µm, "
        f"ripple {ripple:.1f} % from trough to crest"
    )
