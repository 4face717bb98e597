"""``leastcut inspect gloss``: gloss, haze, and what polishing made of them, from a file."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from leastcut.inspect.gloss import GlossChange, GlossFinding


@click.command(name="gloss")
@click.argument("readings", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def gloss(readings: Path, *, as_json: bool) -> None:
    """Average gloss meter readings per panel and compare after with before.

    The file has the columns panel, angle_deg (20, 60 or 85) and gloss_gu; optional spot and when
    (before or after).
    """
    import msgspec

    from leastcut.cli.inspect_film import tell
    from leastcut.inspect.gloss import changes, find, parse_rows
    from leastcut.shop.readings import read_rows

    good, problems = parse_rows(read_rows(readings), where=readings.name, panels=None)
    tell(problems, nothing_left=not good)
    findings, gains = find(good), changes(good)
    if as_json:
        click.echo(msgspec.json.encode(contract(findings, gains)).decode())
    else:
        click.echo("\n".join(table(findings, gains)))


def contract(
    findings: "tuple[GlossFinding, ...]", gains: "tuple[GlossChange, ...]"
) -> dict[str, Any]:
    """Return the JSON document as built-in types."""
    import msgspec

    return {
        "panels": [msgspec.to_builtins(f) for f in findings],
        "changes": [msgspec.to_builtins(g) for g in gains],
    }


def table(findings: "tuple[GlossFinding, ...]", gains: "tuple[GlossChange, ...]") -> list[str]:
    """Return the human summary: a line per panel and angle, then the changes."""
    lines = []
    for f in findings:
        for angle, span in f.gloss_gu.items():
            bounds = f"{span.low:.1f} to {span.high:.1f}"
            lines.append(f"{f.panel} {f.when} {angle}°: {span.mean:.1f} GU (95 %: {bounds})")
        if f.haze_gu is not None:
            lines.append(f"{f.panel} {f.when} haze: {f.haze_gu:.1f} GU")
        lines += [f"  {note}" for note in f.notes]
    for g in gains:
        word = "" if g.sure else ", which may be chance"
        bounds = f"{g.gain_gu.low:+.1f} to {g.gain_gu.high:+.1f}"
        lines.append(f"{g.panel} {g.angle}° gained {g.gain_gu.mean:+.1f} GU (95 %: {bounds}){word}")
    return lines
