"""Commands of the plan stage: sections and strokes, and what else the stage brings."""

import importlib
import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING

import click

from leastcut.errors import InputError

if TYPE_CHECKING:
    from leastcut.car.records import Panel
    from leastcut.car.units import UnitSystem
    from leastcut.plan.records import Layout

_MORE = "leastcut.cli.plan_more"
MOST_BYTES = 20_000_000  # some 400 000 points


class OutlineFileError(InputError):
    """An outline file that cannot be read."""


class _Group(click.Group):
    """A group that takes in the commands of a second module when one is there."""

    def _others(self) -> dict[str, click.Command]:
        if importlib.util.find_spec(_MORE) is None:
            return {}
        commands: list[click.Command] = importlib.import_module(_MORE).COMMANDS
        return {command.name or "": command for command in commands}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*super().list_commands(ctx), *self._others()})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        return super().get_command(ctx, cmd_name) or self._others().get(cmd_name)


@click.group(cls=_Group)
def group() -> None:
    """Divide panels, choose the work for each section, count time and money."""


@group.command()
@click.argument("outline", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
@click.option(
    "-o", "--out", type=click.Path(path_type=Path), help="Write the section sheet here, an SVG."
)
@click.option(
    "--units", type=click.Choice(["metric", "us"]), default="metric", help="Units to show."
)
def sections(outline: Path, out: Path | None, units: "UnitSystem", *, as_json: bool) -> None:
    """Divide the panel of OUTLINE, a JSON file, into sections and lay their strokes.

    The file gives panel, outline_mm, and where wanted keep_out_mm, max_side_mm, overlap_mm,
    stroke_spacing_mm, pad_diameter_mm, edge_margin_mm, facing and body_lines_mm. Without --json
    or -o the section sheet is written beside it, ending in -sections.svg.
    """
    import msgspec

    from leastcut.plan.section_sheet import section_sheet
    from leastcut.plan.sections import lay_out
    from leastcut.shop.files import write_whole

    panel, options = _read(outline)
    try:
        layout = lay_out(panel, **options)
    except InputError as error:
        raise error.at(str(outline)) from None
    if out is not None or not as_json:
        picture = out or outline.with_name(f"{outline.stem}-sections.svg")
        write_whole(picture, section_sheet(panel, layout))
        click.echo(f"Picture: {picture}", err=True)
    if as_json:
        click.echo(msgspec.json.encode(layout).decode())
    else:
        click.echo(_sentence(layout, units))


def _read(path: Path) -> tuple["Panel", dict[str, float]]:
    import msgspec

    from leastcut.car.records import KeepOut, Panel
    from leastcut.cli.plan_input import OutlineInput

    try:
        if path.stat().st_size > MOST_BYTES:
            raise OutlineFileError(
                f"{path.stat().st_size / 1e6:.0f} MB are more than an outline needs",
                where=str(path),
                do="Simplify the outline; points 1 mm apart are fine enough",
            )
        given = msgspec.json.decode(path.read_bytes(), type=OutlineInput)
    except OSError as error:
        raise OutlineFileError(
            f"cannot read it: {error.strerror or error}",
            where=str(path),
            do="Give the path of a JSON file",
        ) from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise OutlineFileError(
            str(error), where=str(path), do="Write one JSON object with panel and outline_mm"
        ) from None
    holes = tuple(
        KeepOut(name=str(index), outline_mm=hole)
        for index, hole in enumerate(given.keep_out_mm, start=1)
    )
    panel = Panel(
        id=given.panel,
        name=given.panel,
        side="centre",
        facing=given.facing,
        outline_mm=given.outline_mm,
        keep_outs=holes,
        body_lines_mm=given.body_lines_mm,
    )
    return panel, given.options()


def _sentence(layout: "Layout", units: "UnitSystem") -> str:
    """Say the layout in a few lines."""
    from leastcut.car.units import show

    if not layout.sections:
        return f"{layout.panel}: nothing may be worked, so there is no section"
    count = len(layout.sections)
    lines = [f"{layout.panel}: {count} sections in order of work; at least {layout.lower_bound}"]
    for section in layout.sections:
        note = f"; {section.note}" if section.note else ""
        lines.append(
            f"  {section.id}: {show(section.width_mm, 'millimeter', units)} × "
            f"{show(section.height_mm, 'millimeter', units)}, "
            f"{len(section.strokes_mm)} strokes{note}"
        )
    return "\n".join(lines)
