"""``leastcut inspect``: measure the finish from photos and readings."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

_SCALE = (
    click.option(
        "--um-per-px",
        type=click.FloatRange(min=0, min_open=True),
        help="Scale: micrometres per pixel.",
    ),
    click.option(
        "--square-mm",
        type=click.FloatRange(min=0, min_open=True),
        help="Inner side of the taped or printed square in the photo, in mm.",
    ),
)
_PATH = click.Path(path_type=Path)


def _with_scale(command: Any) -> Any:
    for option in reversed(_SCALE):
        command = option(command)
    return command


class _InspectGroup(click.Group):
    """Adds the commands that stand in files of their own when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*super().list_commands(ctx), "film", "gloss"})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name == "film":
            from leastcut.cli.inspect_film import film

            return film
        if cmd_name == "gloss":
            from leastcut.cli.inspect_gloss import gloss

            return gloss
        return super().get_command(ctx, cmd_name)


@click.group(cls=_InspectGroup)
def group() -> None:
    """Measure the finish: scratches, proof, clarity, film."""


@group.command()
@click.argument("photos", nargs=-1, required=True, type=_PATH)
@_with_scale
@click.option("--centrelines", type=_PATH, help="Write the centre lines as a PNG (one photo only).")
@click.option(
    "--overlay", type=_PATH, help="Write the photo with its scratches drawn (one photo only)."
)
@click.option("-o", "--out", type=_PATH, help="Folder for the pictures of every photo.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def scratches(
    photos: tuple[Path, ...],
    um_per_px: float | None,
    square_mm: float | None,
    centrelines: Path | None,
    overlay: Path | None,
    out: Path | None,
    as_json: bool,  # noqa: FBT001 - click passes options by name
) -> None:
    """Measure the scratches in each photo."""
    if (centrelines or overlay) and len(photos) > 1:
        raise click.UsageError("--centrelines and --overlay take one photo; use -o for several")
    from leastcut.inspect.scratches import find
    from leastcut.shop import photos as reading

    results = []
    for path in photos:
        photo = reading.load(path)
        finding = find(photo.linear, um_per_px=um_per_px, square_mm=square_mm)
        results.append((photo.name, finding))
        _pictures(photo, finding, {"centrelines": centrelines, "overlay": overlay}, out)
    _print_scratches(results, as_json=as_json)
    if any(finding.refused for _, finding in results):
        raise click.exceptions.Exit(3)


def _pictures(photo: Any, finding: Any, single: dict[str, Path | None], out: Path | None) -> None:
    """Write the pictures asked for; a refusal has none."""
    if finding.refused:
        return
    from leastcut.inspect import pictures

    made: dict[str, Callable[[], Any]] = {
        "centrelines": lambda: pictures.centrelines(finding, photo.linear.shape),
        "overlay": lambda: pictures.overlay(photo.linear, finding),
    }
    stem = Path(photo.name).stem
    if out:
        from leastcut.inspect import charts
        from leastcut.shop.files import write_whole

        _write_png(out / f"{stem}-load.png", charts.load_picture(photo.linear, finding))
        write_whole(out / f"{stem}-widths.svg", charts.widths_svg(finding))
        write_whole(out / f"{stem}-directions.svg", charts.rose_svg(finding))
    for name, make in made.items():
        for target in (single[name], out and out / f"{stem}-{name}.png"):
            if target:
                _write_png(target, make())


def _write_png(path: Path, image: Any) -> None:
    import cv2

    from leastcut.shop.files import write_whole

    data = cv2.imencode(".png", image[..., ::-1] if image.ndim == 3 else image)[1]
    write_whole(path, data.tobytes())
    click.echo(f"wrote {path}", err=True)


def _print_scratches(results: list[tuple[str, Any]], *, as_json: bool) -> None:
    import msgspec

    if as_json:
        rows = [{"photo": name, **msgspec.to_builtins(finding)} for name, finding in results]
        for row in rows:
            point = row.pop("light_px")
            row["light"] = None if point is None else {"x_px": point[0], "y_px": point[1]}
        document = rows[0] if len(rows) == 1 else rows
        click.echo(msgspec.json.encode(document).decode())
        return
    for name, finding in results:
        click.echo(_summary(name, finding))
    measured = [finding for _, finding in results if finding.refused is None]
    if len(measured) > 1:
        click.echo(_together(measured))


def _together(findings: list[Any]) -> str:
    """Say the one load of several photos, which the user may or may not have taken of one panel."""
    from leastcut.inspect.combine import panel_load

    load = panel_load(findings)
    assert load is not None
    return (
        f"together, if all {len(findings)} show one panel: {load.mean:.1f} mm/cm² "
        f"(95 %: {load.low:.1f} to {load.high:.1f})"
    )


def _summary(name: str, finding: Any) -> str:
    if finding.refused:
        return f"{name}: not measured: {finding.refused.why}. {finding.refused.do}."
    kind = finding.by_kind
    return (
        f"{name}: {finding.load_mm_per_cm2:.1f} mm/cm² "
        f"(95 %: {finding.load_low:.1f} to {finding.load_high:.1f}) of scratch"
        f" on {finding.area_cm2:.1f} cm²; swirl {kind.swirl:.1f}, trail {kind.trail:.1f}, deep {kind.deep:.1f};"
        f" {finding.load_seen_mm_per_cm2:.1f} mm/cm² seen in this light"
    )


@group.command()
@click.argument("before", type=_PATH)
@click.argument("after", type=_PATH)
@_with_scale
@click.option("-o", "--out", type=_PATH, help="Folder for the pictures of before and after.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def compare(
    before: Path,
    after: Path,
    um_per_px: float | None,
    square_mm: float | None,
    out: Path | None,
    as_json: bool,  # noqa: FBT001 - click passes options by name
) -> None:
    """Compare two photos of one place: how much is gone."""
    import msgspec

    from leastcut.inspect.compare import placed
    from leastcut.shop import photos as reading

    first, second = reading.load(before), reading.load(after)
    finding, to_before = placed(
        first.linear, second.linear, um_per_px=um_per_px, square_mm=square_mm
    )
    if out and to_before is not None:
        _before_and_after(out, first, second, to_before, _change(finding))
    if as_json:
        click.echo(msgspec.json.encode(finding).decode())
    else:
        click.echo(_change(finding))
    if finding.refused:
        raise click.exceptions.Exit(3)


def _change(finding: Any) -> str:
    """Say a comparison in one sentence."""
    if finding.refused:
        return f"not compared: {finding.refused.why}. {finding.refused.do}."
    return (
        f"removed {finding.removed_fraction:.0%} (95 %: {finding.removed_low:.0%} to "
        f"{finding.removed_high:.0%}): {finding.before_load_mm_per_cm2:.1f} to "
        f"{finding.after_load_mm_per_cm2:.1f} mm/cm² on {finding.overlap_cm2:.1f} cm²; "
        f"new trails: {finding.new_trails}"
    )


def _before_and_after(out: Path, first: Any, second: Any, to_before: Any, text: str) -> None:
    """Write both photos laid over each other: a page with a slider, and side by side."""
    from leastcut.inspect import charts
    from leastcut.shop import pictures
    from leastcut.shop.files import write_whole

    pair = charts.over(first.linear, second.linear, to_before)
    stem = f"{Path(first.name).stem}-{Path(second.name).stem}"
    click.echo(
        f"wrote {write_whole(out / f'{stem}.html', pictures.slider_page(*pair, text))}", err=True
    )
    _write_png(out / f"{stem}.png", pictures.side_by_side(*pair))


@group.command()
@click.argument("photo", type=_PATH)
@click.option(
    "--side-mm",
    type=click.FloatRange(min=0, min_open=True),
    default=100.0,
    show_default=True,
    help="Inner side of the printed frame as measured on the print.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def clarity(photo: Path, side_mm: float, as_json: bool) -> None:  # noqa: FBT001 - as above
    """Measure clarity from a photo of the target's reflection in the paint."""
    import msgspec

    from leastcut.inspect.clarity import clarity as judge
    from leastcut.shop import photos as reading

    finding = judge(reading.load(photo).linear, side_mm=side_mm)
    if as_json:
        click.echo(msgspec.json.encode(finding).decode())
    elif finding.refused:
        click.echo(f"not measured: {finding.refused.why}. {finding.refused.do}.")
    else:
        for bar, value in finding.clarity_percent.items():
            shown = "the photo cannot resolve it" if value is None else f"{value:.0f} %"
            click.echo(f"bars of {bar} mm: {shown}")
    if finding.refused:
        raise click.exceptions.Exit(3)


@group.command()
@click.option("-o", "--out", type=_PATH, required=True, help="PDF to write.")
@click.option("--paper", default="a4", show_default=True, help="a4 or letter.")
def target(out: Path, paper: str) -> None:
    """Print the sheet with scale square, clarity bars and a ruler to check the print."""
    from leastcut.shop.files import write_whole
    from leastcut.shop.targets import pdf

    write_whole(out, pdf(paper))
    click.echo(f"wrote {out}", err=True)
