"""Commands on takes already measured: two side by side, one against the plan, a class."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from leastcut.cli import options
from leastcut.errors import InputError

if TYPE_CHECKING:
    from leastcut.polish.records import Stroke
    from leastcut.work.records import Attempt, Progress, Takes, TechniqueFinding, Wanted

_PATH = click.Path(path_type=Path)
_ABOVE = click.FloatRange(min=0, min_open=True)
_SPEED = click.option("--arm-speed", type=_ABOVE, help="Arm speed asked for [mm/s].")
_SPACING = click.option("--spacing", type=_ABOVE, help="Stroke spacing asked for [mm].")


class TakeError(InputError):
    """A file or folder that holds no measured take."""


class PlanError(InputError):
    """A file that holds no planned strokes."""


@click.command()
@click.argument("first", type=_PATH)
@click.argument("second", type=_PATH)
@_SPEED
@_SPACING
@options.as_json
def compare(
    first: Path, second: Path, *, as_json: bool, arm_speed: float | None, spacing: float | None
) -> None:
    """Set two takes side by side: FIRST and SECOND are what `technique --json` printed."""
    from leastcut.work.compare import compare as judge

    found = judge(_take(first), _take(second), wanted=_wanted(arm_speed, spacing))
    _tell(found, as_json=as_json)


@click.command()
@click.argument("take", type=_PATH)
@click.argument("plan", type=_PATH)
@click.option("--section", help="Id of the section, where the plan holds several.")
@_SPEED
@click.option("--sets", type=click.IntRange(min=1), help="Sets asked for.")
@options.as_json
def against(
    take: Path,
    plan: Path,
    *,
    as_json: bool,
    section: str | None,
    arm_speed: float | None,
    sets: int | None,
) -> None:
    """Set a TAKE beside the strokes of a PLAN.

    TAKE is what `technique --json` printed, PLAN what `plan sections --json` or `polish removal
    --json` printed. The plan's lower left corner is laid on the square's, unturned.
    """
    import msgspec

    from leastcut.work.compare import against_plan

    wanted = msgspec.structs.replace(_wanted(arm_speed, None), sets=sets)
    found = against_plan(_take(take), _strokes(plan, section), wanted=wanted)
    _tell(found, as_json=as_json)


@click.command("class")
@click.argument("folder", type=_PATH)
@_SPEED
@_SPACING
@click.option("-o", "--out", type=_PATH, help="Write the picture here, as SVG.")
@options.as_json
def school(
    folder: Path,
    *,
    as_json: bool,
    arm_speed: float | None,
    spacing: float | None,
    out: Path | None,
) -> None:
    """Show how the learners of a class move along, week by week.

    FOLDER holds one folder per learner with what `technique --json` printed, the week in the name:
    kim/week-1.json, kim/week-2.json.
    """
    from leastcut.shop.files import write_whole
    from leastcut.work.class_picture import draw
    from leastcut.work.compare import progress

    found = progress(_attempts(folder), wanted=_wanted(arm_speed, spacing))
    target = out or (None if as_json else Path(f"{folder.resolve().name}-class.svg"))
    if target is not None:
        write_whole(target, draw(found))
        click.echo(f"wrote {target}", err=True)
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode({"learners": found}).decode())
    else:
        click.echo("\n".join(_told(one) for one in found))


def _told(one: "Progress") -> str:
    from leastcut.work.class_picture import state

    return f"{one.learner}: {state(one)}. {one.next}"


def _wanted(arm_speed: float | None, spacing: float | None) -> "Wanted":
    from leastcut.work.records import Wanted

    wanted = Wanted()
    return Wanted(
        arm_speed_mm_s=arm_speed or wanted.arm_speed_mm_s,
        stroke_spacing_mm=spacing or wanted.stroke_spacing_mm,
    )


def _tell(found: "Takes", *, as_json: bool) -> None:
    import msgspec

    if as_json:
        click.echo(msgspec.json.encode(found).decode())
    else:
        click.echo("\n".join([*(m.say for m in found.measures), found.say]))
    if found.refused:
        raise click.exceptions.Exit(3)


def _take(path: Path) -> "TechniqueFinding":
    import msgspec

    from leastcut.work.records import TechniqueFinding

    do = "Give a file written by `leastcut work technique VIDEO --json > FILE`"
    try:
        return msgspec.json.decode(path.read_bytes(), type=TechniqueFinding)
    except OSError as error:
        why = f"cannot read it: {error.strerror or error}"
        raise TakeError(why, where=str(path), do=do) from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise TakeError(f"it holds no take: {error}", where=str(path), do=do) from None


def _attempts(folder: Path) -> "list[Attempt]":
    """Read a class: one folder per learner, the week as the first number of a file's name."""
    from leastcut.work.records import Attempt

    do = "Make a folder per learner and name the files by week: kim/week-1.json"
    files = sorted(folder.glob("*/*.json"))
    if not files:
        raise TakeError("there are no takes of learners in it", where=str(folder), do=do)
    found = []
    for path in files:
        week = re.search(r"\d{1,4}", path.stem)
        if week is None:
            raise TakeError("the name says no week", where=str(path), do=do)
        found.append(Attempt(learner=path.parent.name, week=int(week[0]), finding=_take(path)))
    return found


def _strokes(path: Path, section: str | None) -> "tuple[Stroke, ...]":
    """Read planned strokes, the lower left corner of what they work laid on the origin."""
    import msgspec

    do = "Give what `leastcut plan sections OUTLINE.json --json` or `polish removal` printed"
    try:
        plan = msgspec.json.decode(path.read_bytes(), type=_plan_type())
    except OSError as error:
        why = f"cannot read it: {error.strerror or error}"
        raise PlanError(why, where=str(path), do=do) from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise PlanError(f"it holds no plan: {error}", where=str(path), do=do) from None
    own = [s for s in plan.sections if section is None or s.id == section]
    if not plan.strokes_mm and len(own) != 1:
        known = ", ".join(s.id for s in plan.sections) or "none"
        raise PlanError(
            f"which section was filmed? The plan holds: {known}",
            where=str(path),
            do="Say --section ID",
        )
    if plan.strokes_mm:
        return tuple(plan.strokes_mm)
    x, y = (min(p[k] for p in own[0].worked_mm) for k in (0, 1))
    return tuple(((a - x, b - y), (c - x, d - y)) for (a, b), (c, d) in own[0].strokes_mm)


def _plan_type() -> Any:
    """Return what is read of a plan: the strokes of one set, or of sections with their outlines."""
    import msgspec

    point = tuple[float, float]
    stroke = tuple[point, point]
    section = msgspec.defstruct(
        "Section", [("id", str), ("worked_mm", list[point]), ("strokes_mm", list[stroke])]
    )
    return msgspec.defstruct(
        "Plan",
        [
            ("strokes_mm", list[stroke], msgspec.field(default_factory=list)),
            ("sections", list[section], msgspec.field(default_factory=list)),  # type: ignore[valid-type]
        ],
    )


COMMANDS = (compare, against, school)
