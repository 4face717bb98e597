"""Commands of the work stage: technique from video."""

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from leastcut.cli import options, work_job, work_takes
from leastcut.errors import InputError

if TYPE_CHECKING:
    from leastcut.work.follow import Ask
    from leastcut.work.records import TechniqueFinding, Wanted

_PATH = click.Path(path_type=Path)
_ABOVE = click.FloatRange(min=0, min_open=True)


class PointsError(InputError):
    """Typed pixel places that cannot be used."""


@click.group()
def group() -> None:
    """Measure the run: technique from video, records, proof."""


for _command in (*work_takes.COMMANDS, *work_job.COMMANDS):
    group.add_command(_command)


@group.command()
@click.argument("video", type=_PATH)
@click.option(
    "--square-mm", type=_ABOVE, required=True, help="Inner side of the taped square, in mm."
)
@click.option("--corners", help="Its inner corners in the first frame: x,y x,y x,y x,y [px].")
@click.option("--pad-at", help="A point on the pad in the first frame: x,y [px].")
@click.option("--pad-mm", type=_ABOVE, help="Pad diameter; without it as seen in the video.")
@click.option(
    "--set", "set_file", type=_PATH, help="TOML of the planned set, as for polish removal."
)
@click.option("--arm-speed", type=_ABOVE, help="Arm speed asked for [mm/s].")
@click.option("--spacing", type=_ABOVE, help="Stroke spacing asked for [mm].")
@click.option("--sets", type=click.IntRange(min=1), help="Sets asked for.")
@click.option("--cut-map", type=_PATH, help="Write the removal map: NumPy float32, µm, row 0 low.")
@click.option("-o", "--out", type=_PATH, help="Write the picture here, as SVG.")
@options.as_json
@options.units
def technique(video: Path, *, as_json: bool, units: str | None, **asked: Any) -> None:
    """Measure arm speed, spacing, coverage and cut from a VIDEO of one section.

    Tape a square round the section, put the phone on a tripod so that all of it shows, and film
    one or more sets.
    """
    from leastcut.shop import video as reading
    from leastcut.work.technique import technique as measure

    clip = reading.probe(video)
    ask = _ask(asked, clip.shrink)
    wanted = _wanted(asked)
    result = measure(reading.frames(video), ask, wanted=wanted)
    finding = result.finding
    if result.cut is not None and asked["cut_map"]:
        _save_map(asked["cut_map"], result.cut.depth_um)
    _write_picture(video, finding, asked["out"], wanted_by_default=not as_json)
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode(finding).decode())
    else:
        click.echo(_told(finding, units or "metric"))
    if finding.refused:
        raise click.exceptions.Exit(3)


def _ask(asked: dict[str, Any], shrink: float) -> "Ask":
    import numpy as np

    from leastcut.work.follow import Ask

    corners = _points(asked["corners"], 4, "--corners") if asked["corners"] else None
    click_at = _points(asked["pad_at"], 1, "--pad-at")[0] if asked["pad_at"] else None
    return Ask(
        square_mm=asked["square_mm"],
        corners_px=None if corners is None else np.array(corners) * shrink,
        pad_at_px=None if click_at is None else (click_at[0] * shrink, click_at[1] * shrink),
        pad_diameter_mm=asked["pad_mm"],
    )


def _points(text: str, count: int, where: str) -> list[tuple[float, float]]:
    """Read ``x,y`` pairs; corners are put in order from the top left clockwise."""
    import math

    try:
        pairs = [tuple(float(v) for v in pair.split(",")) for pair in text.split()]
        points = [(x, y) for x, y in pairs if math.isfinite(x + y)]
    except ValueError:
        points = []
    if len(points) != count:
        do = "Write pixels as " + " ".join(["x,y"] * count)
        raise PointsError(f"cannot read {text!r}", where=where, do=do)
    if count == 1:
        return points
    mx, my = sum(p[0] for p in points) / 4, sum(p[1] for p in points) / 4
    points.sort(key=lambda p: math.atan2(p[1] - my, p[0] - mx))
    first = min(range(4), key=lambda k: sum(points[k]))
    points = points[first:] + points[:first]
    _check_convex(points, where)
    return points


def _check_convex(points: list[tuple[float, float]], where: str) -> None:
    for k in range(4):
        (ax, ay), (bx, by), (cx, cy) = (points[(k + j) % 4] for j in range(3))
        if (bx - ax) * (cy - by) - (by - ay) * (cx - bx) <= 1.0:
            raise PointsError(
                "the four corners do not span a square", where=where, do="Click the inner corners"
            )


def _wanted(asked: dict[str, Any]) -> "Wanted":
    import msgspec

    from leastcut.polish.records import PadSettings
    from leastcut.work.records import Wanted

    wanted = Wanted()
    if asked["set_file"]:
        from leastcut.cli.polish import _read

        plan = _read(asked["set_file"])
        names = PadSettings.__struct_fields__
        wanted = Wanted(
            arm_speed_mm_s=plan.arm_speed_mm_s,
            stroke_spacing_mm=plan.stroke_spacing_mm,
            sets=plan.sets,
            settings=PadSettings(**{name: getattr(plan, name) for name in names}),
            preston_um_per_kpa_m=plan.preston_um_per_kpa_m,
        )
    typed = {
        "arm_speed_mm_s": asked["arm_speed"],
        "stroke_spacing_mm": asked["spacing"],
        "sets": asked["sets"],
    }
    if asked["pad_mm"]:
        typed["settings"] = msgspec.structs.replace(
            wanted.settings, pad_diameter_mm=asked["pad_mm"]
        )
    return msgspec.structs.replace(wanted, **{k: v for k, v in typed.items() if v is not None})


def _save_map(path: Path, depth_um: Any) -> None:
    import io

    import numpy as np

    from leastcut.shop.files import write_whole

    buffer = io.BytesIO()
    np.save(buffer, depth_um.astype(np.float32), allow_pickle=False)
    write_whole(path, buffer.getvalue())
    click.echo(f"wrote {path}", err=True)


def _write_picture(
    video: Path, finding: "TechniqueFinding", out: Path | None, *, wanted_by_default: bool
) -> None:
    """Write the picture where asked; beside the caller when a person reads the summary."""
    if finding.refused or (out is None and not wanted_by_default):
        return
    from leastcut.shop.files import write_whole
    from leastcut.work.picture import draw, take_picture

    target = out or Path(f"{video.stem}-technique.svg")
    write_whole(target, draw(take_picture(finding)))
    click.echo(f"wrote {target}", err=True)


def _told(finding: "TechniqueFinding", units: str) -> str:
    """Say the finding in a few lines."""
    from leastcut.car.units import show

    if finding.refused:
        return f"not judged: {finding.refused.why}. {finding.refused.do}."
    system: Literal["metric", "us"] = "us" if units == "us" else "metric"
    lines = []
    speed = finding.arm_speed_mm_s
    if speed is not None:
        low, middle, high = (
            show(v, "millimeter/second", system) for v in (speed.p05, speed.median, speed.p95)
        )
        lines.append(f"arm speed {middle} (nine tenths between {low} and {high})")
    if finding.stroke_spacing_mm is not None:
        spacing = show(finding.stroke_spacing_mm, "millimeter", system)
        lines.append(f"strokes {spacing} apart, overlap {finding.overlap_fraction:.0%}")
    lines.append(
        f"{finding.sets} sets ({finding.covers[0]} and {finding.covers[1]} coverings), "
        f"{finding.coverage_fraction:.1%} of the section covered"
    )
    return "\n".join([*lines, "", *finding.advice])
