"""``leastcut inspect film``: clear coat left and budget per panel, from a file of gauge readings."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from leastcut.car.records import Material, Panel, Side
    from leastcut.car.units import UnitSystem
    from leastcut.errors import Problem
    from leastcut.inspect.layers import LayerPrior
    from leastcut.inspect.records import EarlierCut, FilmFinding, Gauge, GaugeCheck, Reading


@click.command(name="film")
@click.argument("readings", type=click.Path(path_type=Path))
@click.option("--history", type=click.Path(path_type=Path), help="CSV: panel,cut_um,sd_um,when.")
@click.option("--checked-days-ago", type=click.FloatRange(min=0), help="Age of the checks, days.")
@click.option("--check", "checks", multiple=True, metavar="KNOWN=SHOWN", help="Gauge check, µm.")
@click.option(
    "--paint",
    type=click.Choice(["factory", "repainted", "unknown"]),
    default="unknown",
    show_default=True,
    help="What is known of the paint's history.",
)
@click.option(
    "--clear-um",
    type=(float, float),
    default=None,
    metavar="LOW HIGH",
    help="Range of this maker's factory clear coat, µm, if you know it.",
)
@click.option("--reserve", default=None, help='Clear coat to keep everywhere, such as "1.2 mil".')
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", show_default=True)
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Write the picture, an SVG.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def film(
    readings: Path,
    history: Path | None,
    checks: tuple[str, ...],
    checked_days_ago: float | None,
    paint: str,
    clear_um: tuple[float, float] | None,
    reserve: str | None,
    units: "UnitSystem",
    out: Path | None,
    *,
    as_json: bool,
) -> None:
    """Say how much clear coat each panel has and how much may be cut today."""
    import msgspec

    from leastcut.car.records import Paint
    from leastcut.inspect.film import assess
    from leastcut.inspect.gauge import calibrate

    rows = _readings(readings)
    panels = panels_of(rows)
    gauge = calibrate([_check(text) for text in checks], days_since=checked_days_ago)
    findings = assess(
        panels,
        rows,
        paint=Paint(history=paint),  # type: ignore[arg-type]
        gauge=gauge,
        earlier=_history(history, {panel.id for panel in panels}),
        reserve=_rule(reserve),
        prior=_prior(paint, clear_um),
    )
    if out is not None:
        _picture(out, findings, units)
    if as_json:
        click.echo(msgspec.json.encode(contract(findings, gauge)).decode())
    else:
        click.echo("\n".join(table(findings, gauge, units)))


def _picture(out: Path, findings: "tuple[FilmFinding, ...]", units: "UnitSystem") -> None:
    from leastcut.inspect.film_pictures import draw_intervals, interval_plot
    from leastcut.shop.files import write_whole

    write_whole(out, draw_intervals(interval_plot(findings), units=units))


def contract(findings: "tuple[FilmFinding, ...]", gauge: "Gauge") -> dict[str, Any]:
    """Return the documented JSON document as built-in types."""
    import msgspec

    return {
        "panels": [msgspec.to_builtins(finding) for finding in findings],
        "gauge": msgspec.to_builtins(gauge),
    }


def table(findings: "tuple[FilmFinding, ...]", gauge: "Gauge", units: "UnitSystem") -> list[str]:
    """Return the human summary: a line per panel, its notes below it, the gauge's notes once."""
    from leastcut.car.units import show

    def um(value: float | None) -> str:
        return "–" if value is None else show(value, "micrometer", units)

    wide = max(len(finding.panel) for finding in findings)
    lines = [f"{'panel':{wide}}  {'mean':>9}  {'clear, 95 %':>22}  {'may cut':>9}  finding"]
    for f in findings:
        span = f"{um(f.clear_um.low)} to {um(f.clear_um.high)}"
        lines.append(
            f"{f.panel:{wide}}  {um(f.mean_um):>9}  {span:>22}  {um(f.budget_um):>9}  {f.finding}"
        )
        lines += [f"  {note}" for note in f.notes if note not in gauge.notes]
    lines += gauge.notes
    lines.append(
        f"kept with {findings[0].confidence:.0%} probability at the thinnest place: "
        f"{um(findings[0].reserve_um)}"
    )
    return lines


def _readings(path: Path) -> "tuple[Reading, ...]":
    from leastcut.inspect.readings import parse_rows
    from leastcut.shop.readings import read_rows

    good, problems = parse_rows(read_rows(path), where=path.name, panels=None)
    tell(problems, nothing_left=not good)
    return good


def _history(path: Path | None, panels: set[str]) -> "tuple[EarlierCut, ...]":
    from leastcut.inspect.readings import parse_history
    from leastcut.shop.readings import read_rows

    if path is None:
        return ()
    good, problems = parse_history(read_rows(path), where=path.name, panels=panels)
    tell(problems, nothing_left=not good)
    return good


def tell(problems: "tuple[Problem, ...]", *, nothing_left: bool) -> None:
    """Warn of the rows left out; when no row is left, that is bad input."""
    from leastcut.errors import InputError

    if problems and nothing_left:
        first = problems[0]
        raise InputError(
            f"no usable row; the first fault: {first.what}", where=first.where, do=first.do
        )
    for problem in problems:
        click.echo(f"leastcut: {problem} (row left out)", err=True)


def _check(text: str) -> "GaugeCheck":
    from leastcut.errors import InputError
    from leastcut.inspect.records import GaugeCheck

    known, _, shown = text.partition("=")
    try:
        return GaugeCheck(known_um=float(known), shown_um=float(shown))
    except ValueError:
        raise InputError(
            f"cannot read {text!r}",
            where="--check",
            do="Write known=shown in µm, such as 125=126.5",
        ) from None


def _rule(reserve: str | None) -> Any:
    from leastcut.car.units import parse
    from leastcut.inspect.budget import reserve_rule

    return reserve_rule(None if reserve is None else parse(reserve, "micrometer"))


def _prior(paint: str, clear_um: tuple[float, float] | None) -> "LayerPrior":
    from leastcut.inspect.layers import prior_for, with_clear

    prior = prior_for(paint)  # type: ignore[arg-type]
    return prior if clear_um is None else with_clear(prior, *clear_um, source="--clear-um")


def panels_of(readings: "tuple[Reading, ...]") -> "tuple[Panel, ...]":
    """Return stand-ins for the panels that the readings name: no outline beyond the readings."""
    from leastcut.car.records import Panel

    named: dict[str, list[Reading]] = {}
    for reading in readings:
        named.setdefault(reading.panel, []).append(reading)
    return tuple(
        Panel(
            id=name,
            name=name.replace("-", " ").capitalize(),
            side=_side(name),
            facing="side",
            outline_mm=_around(rows),
            material=_material(rows),
        )
        for name, rows in named.items()
    )


def _side(name: str) -> "Side":
    words = name.split("-")
    return "left" if "left" in words else "right" if "right" in words else "centre"


def _material(rows: "list[Reading]") -> "Material":
    stated = {row.substrate for row in rows} - {"unknown"}
    return stated.pop() if len(stated) == 1 else "unknown"


def _around(rows: "list[Reading]") -> tuple[tuple[float, float], ...]:
    """Return the smallest upright rectangle around the places read, at least 1 mm on a side."""
    places = [(r.x_mm or 0.0, r.y_mm or 0.0) for r in rows]
    (x0, x1), (y0, y1) = ((min(c), max(c) + 1.0) for c in zip(*places, strict=True))
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
