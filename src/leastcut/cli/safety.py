"""``leastcut safety``: vibration, noise, vapour and the cord, from typed quantities."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from leastcut.cli.typed import (
    AMPERES,
    CELSIUS,
    CUBIC_METRES,
    METRES,
    MILLILITRES,
    MINUTES,
    VOLTS,
    WATTS,
)

if TYPE_CHECKING:
    from leastcut.safety.records import Solvent, ToolUse

_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
_PICTURE = click.option(
    "-o", "--out", type=click.Path(path_type=Path), help="Write the picture here, SVG."
)
_TOOLS = click.option(
    "--tool",
    "tools",
    multiple=True,
    required=True,
    metavar="MAGNITUDE:MINUTES[:K]",
    help="Vibration in m/s², trigger minutes, and K in m/s² (40 % if left out). Repeatable.",
)


@click.group(name="safety")
def group() -> None:
    """Work out vibration, noise, vapour and voltage for the person and the room.

    General figures; local codes, data sheets and licensed trades go first.
    """


def _numbers(text: str, names: tuple[str, ...], option: str, *, least: int) -> list[float]:
    """Read ``MAGNITUDE:MINUTES`` and its kin, or say which part is wrong."""
    from leastcut.safety.check import ExposureError

    parts = text.split(":")
    do = f"Write {option} {':'.join(names)}, such as {option} {_EXAMPLES[option]}"
    if not least <= len(parts) <= len(names):
        raise ExposureError(f"cannot read {text!r}", where=option, do=do)
    values = []
    for part in parts:
        try:
            values.append(float(part))
        except ValueError:
            raise ExposureError(f"{part!r} is not a number", where=option, do=do) from None
    return values


_EXAMPLES = {"--tool": "6:300", "--source": "88:240"}


def _print(record: Any, lines: list[str], *, as_json: bool) -> None:
    import msgspec

    if as_json:
        click.echo(msgspec.json.encode(record).decode())
    else:
        click.echo("\n".join(lines))


def _clock(minutes: float) -> str:
    """Return minutes as hours and minutes, or ``no limit``."""
    if minutes == float("inf"):
        return "no limit"
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60:02d} min"


def _uses(tools: tuple[str, ...]) -> "list[ToolUse]":
    from leastcut.safety.records import ToolUse

    uses = []
    for text in tools:
        values = _numbers(text, ("MAGNITUDE", "MINUTES", "K"), "--tool", least=2)
        k = values[2] if len(values) == 3 else None
        uses.append(ToolUse(magnitude_m_s2=values[0], minutes=values[1], k_m_s2=k))
    if any(use.k_m_s2 is None for use in uses):
        click.echo("K taken as 40 % where it was not given", err=True)
    return uses


def _draw(out: Path | None, svg: str) -> None:
    """Write a picture where one was asked for."""
    from leastcut.shop.files import write_whole

    if out is not None:
        click.echo(f"wrote {write_whole(out, svg)}", err=True)


@group.command()
@_TOOLS
@_PICTURE
@_JSON
def vibration(tools: tuple[str, ...], out: Path | None, *, as_json: bool) -> None:
    """Daily hand-arm vibration A(8), exposure points and the time left."""
    from leastcut.safety.charts import draw_points, points_gauge
    from leastcut.safety.vibration import exposure

    day = exposure(_uses(tools))
    lines = [
        (
            f"A(8) {day.a8_m_s2:.2f} m/s² ({day.a8_high_m_s2:.2f} with K), "
            f"{day.points:.0f} points ({day.points_high:.0f}): {day.band}, with K {day.band_high}"
        ),
        (
            f"action value {day.action_m_s2:g} m/s² after {_clock(day.minutes_to_action)}, "
            f"limit value {day.limit_m_s2:g} m/s² after {_clock(day.minutes_to_limit)}"
        ),
        (
            f"left today: {_clock(day.minutes_left_to_action)} to action, "
            f"{_clock(day.minutes_left_to_limit)} to limit"
        ),
        f"source: {day.source}",
    ]
    _draw(out, draw_points(points_gauge(day)))
    _print(day, lines, as_json=as_json)


@group.command()
@_TOOLS
@click.option("--persons", type=int, default=1, show_default=True, help="Who can polish that day.")
@click.option(
    "--ceiling",
    type=click.Choice(["limit", "action"]),
    default="limit",
    show_default=True,
    help="What nobody shall pass in a day.",
)
@click.option("--stretch", type=MINUTES, default=30.0, show_default=True, help="min on, at most.")
@click.option("--rest", type=MINUTES, default=10.0, show_default=True, help="min of rest.")
@_JSON
def share(
    tools: tuple[str, ...],
    persons: int,
    ceiling: Any,
    stretch: float,
    rest: float,
    *,
    as_json: bool,
) -> None:
    """Share a car's polishing among people and days, with rests."""
    from leastcut.safety.sharing import breaks

    plan = breaks(
        _uses(tools),
        ceiling=ceiling,
        persons=persons,
        stretch_minutes=stretch,
        rest_minutes=rest,
    )
    lines = [plan.why, plan.do, *_stretches(plan), f"source: {plan.source}"]
    _print(plan, lines, as_json=as_json)


def _stretches(plan: Any) -> list[str]:
    """Return one line for each person's day."""
    days: dict[tuple[int, int], list[Any]] = {}
    for stretch in plan.stretches:
        days.setdefault((stretch.day, stretch.person), []).append(stretch)
    return [
        f"day {day}, person {person}: {len(found)} x {found[0].minutes:.0f} min, "
        f"{sum(s.points for s in found):.0f} points with K, then {found[-1].then}"
        for (day, person), found in days.items()
    ]


@group.command()
@click.option(
    "--source",
    "sources",
    multiple=True,
    required=True,
    metavar="LEVEL:MINUTES",
    help="Level at the ear in dB(A) and its minutes today. Repeatable.",
)
@_JSON
def noise(sources: tuple[str, ...], *, as_json: bool) -> None:
    """Daily noise dose by OSHA, NIOSH and EU rules."""
    from leastcut.safety.noise import exposure
    from leastcut.safety.records import NoiseUse

    uses = []
    for text in sources:
        level, minutes = _numbers(text, ("LEVEL", "MINUTES"), "--source", least=2)
        uses.append(NoiseUse(level_dba=level, minutes=minutes))
    day = exposure(uses)
    level_8h = "silent" if day.lex_8h_dba is None else f"{day.lex_8h_dba:.1f} dB(A)"
    lines = [
        (
            f"dose: OSHA {day.osha_dose_percent:.0f} %, NIOSH {day.niosh_dose_percent:.0f} %; "
            f"L_EX,8h {level_8h}"
        ),
        f"hearing protection: {day.protection}: {day.why}",
        f"left at the loudest level: {_clock(day.minutes_left)}",
        f"source: {day.source}",
    ]
    _print(day, lines, as_json=as_json)


@group.command()
@click.option("--ml", type=MILLILITRES, required=True, help="Liquid that evaporates, ml.")
@click.option("--room-m3", type=CUBIC_METRES, required=True, help="Volume of the room, m³.")
@click.option("--minutes", type=MINUTES, default=30.0, show_default=True, help="Time of wiping.")
@click.option(
    "--air-changes", type=float, default=0.0, show_default=True, help="Air changes per hour."
)
@click.option("--solvent", "name", default="isopropanol", show_default=True)
@click.option("--molar-mass", type=float, default=None, help="Another liquid's, g/mol.")
@click.option("--density", type=float, default=None, help="Another liquid's, g/ml.")
@click.option("--lel", type=float, default=None, help="Lower explosive limit from the sheet, %.")
@click.option("--limit-ppm", type=float, default=None, help="Your country's 8 h limit, ppm.")
@click.option("--short-limit-ppm", type=float, default=None, help="15 min limit, ppm.")
@click.option(
    "--mixing", type=float, default=3.0, show_default=True, help="1 mixes perfectly, 10 badly."
)
@click.option("--surface-c", type=CELSIUS, default=None, help="Hottest surface near the cloth, °C.")
@_PICTURE
@_JSON
def vapour(
    ml: float,
    room_m3: float,
    minutes: float,
    air_changes: float,
    name: str,
    molar_mass: float | None,
    density: float | None,
    lel: float | None,
    limit_ppm: float | None,
    short_limit_ppm: float | None,
    mixing: float,
    surface_c: float | None,
    out: Path | None,
    *,
    as_json: bool,
) -> None:
    """Solvent vapour in the room against limits for people and for fire."""
    from leastcut.safety.charts import draw_vapour, vapour_curve
    from leastcut.safety.vapour import room

    liquid = _liquid(
        name,
        molar_mass_g_mol=molar_mass,
        density_g_ml=density,
        lel_percent=lel,
        limit_ppm=limit_ppm,
        short_limit_ppm=short_limit_ppm,
    )
    found = room(
        ml,
        liquid,
        room_m3=room_m3,
        air_changes_per_h=air_changes,
        minutes=minutes,
        mixing=mixing,
        surface_c=surface_c,
    )
    if out is not None:
        curve = vapour_curve(
            ml,
            liquid,
            room_m3=room_m3,
            air_changes_per_h=air_changes,
            minutes=minutes,
            mixing=mixing,
        )
        _draw(out, draw_vapour(curve))
    clear = "never" if found.minutes_to_clear is None else _clock(found.minutes_to_clear)
    lines = [
        (
            f"{found.solvent}: peak {found.peak_ppm:.0f} ppm, {found.peak_percent_lel:.1f} % of the "
            f"lower explosive limit; 8 h mean {found.twa_8h_ppm:.0f} ppm"
        ),
        f"{'ok' if found.ok else 'too much'}: {found.why}",
        f"clears to a tenth of the limit in {clear}",
        f"source: {found.source}",
    ]
    if found.air_needed_m3_h is not None:
        lines.insert(2, f"fresh air for a steady release: {found.air_needed_m3_h:.0f} m³/h")
    _print(found, lines, as_json=as_json)


def _liquid(name: str, **typed: float | None) -> "Solvent":
    """Return the solvent of the table, with what the user typed from a sheet in its place."""
    import msgspec

    from leastcut.safety.solvents import check, solvent

    changed = {key: value for key, value in typed.items() if value is not None}
    if not changed:
        return solvent(name)
    own: dict[str, str | None] = {"source": f"typed from a data sheet; the rest as {name}"}
    if {"molar_mass_g_mol", "lel_percent"} & set(changed):  # another liquid, not another limit
        own |= {"name": "own liquid", "autoignition_c": None, "flash_point_c": None}
    return check(msgspec.structs.replace(solvent(name), **changed, **own))


@group.command()
@click.option("--conductor", required=True, help='Printed on the cord: "14 AWG" or "1.5 mm2".')
@click.option("--length-m", type=METRES, required=True, help="Length of the cord, one way, m.")
@click.option("--amps", type=AMPERES, default=0.0, help="Current of everything on it, A.")
@click.option(
    "--watts",
    type=WATTS,
    multiple=True,
    help="Or the power of each machine and lamp, W. Repeatable.",
)
@click.option("--volts", type=VOLTS, required=True, help="Voltage at the outlet, V.")
@click.option("--circuit-amps", type=AMPERES, default=None, help="Rating of the breaker, A.")
@click.option("--copper-c", type=CELSIUS, default=None, help="Copper temperature, °C.")
@click.option("--limit-percent", type=float, default=3.0, show_default=True)
@_JSON
def cord(
    conductor: str,
    length_m: float,
    amps: float,
    watts: tuple[float, ...],
    volts: float,
    circuit_amps: float | None,
    copper_c: float | None,
    limit_percent: float,
    *,
    as_json: bool,
) -> None:
    """Voltage lost in the cord, and the load on the circuit."""
    from leastcut.safety.check import within
    from leastcut.safety.cord import amps_of, drop

    found = drop(
        conductor,
        length_m,
        amps=within("--amps or --watts", amps + amps_of(watts, volts), 0.01, 200.0, unit="A"),
        volts=volts,
        circuit_amps=circuit_amps,
        temperature_c=copper_c,
        limit_percent=limit_percent,
    )
    lines = [
        (
            f"{found.conductor}: {found.drop_v:.2f} V lost, {found.drop_percent:.2f} %, "
            f"{found.loss_w:.0f} W of heat in the cord"
        ),
        f"{'ok' if found.ok else 'too much'}: {found.why}",
        f"longest for {found.limit_percent:g} %: {found.longest_m:.1f} m",
        f"source: {found.source}",
    ]
    _print(found, lines, as_json=as_json)
