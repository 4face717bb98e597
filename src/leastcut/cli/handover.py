"""``leastcut handover``: the client's report, the clear-coat ledger."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from leastcut.handover.ledger import Ledger
    from leastcut.handover.records import Dossier

JOB_FILE = click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path))
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
UNITS = click.option("--units", type=click.Choice(["metric", "us"]), help="Units to show.")


@click.group(name="handover")
def group() -> None:
    """Write the client's report; keep the clear-coat ledger."""


def _dossier(job_file: Path, units: str | None) -> "Dossier":
    """Take the job through every stage without writing anything."""
    import msgspec
    import numpy as np

    from leastcut.job.decide import decide
    from leastcut.job.gather import gather
    from leastcut.job.run import SEED

    dossier = decide(gather(job_file), rng=np.random.default_rng(SEED))
    return dossier if units is None else msgspec.structs.replace(dossier, units=units)


@group.command()
@JOB_FILE
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The PDF to write.")
@UNITS
@JSON
def report(job_file: Path, out: Path | None, units: str | None, *, as_json: bool) -> None:
    """Write the client's report as a PDF.

    It goes beside the job file as <job>-report.pdf unless -o names another place. While no work is
    recorded it is a condition report and proposal, and says so.
    """
    from datetime import UTC, datetime

    import msgspec

    from leastcut.handover import report_pdf
    from leastcut.handover.client import report_sheet
    from leastcut.shop.files import write_whole

    dossier = _dossier(job_file, units)
    target = out or job_file.with_name(f"{job_file.stem}-report.pdf")
    write_whole(target, report_pdf.make(dossier, now=datetime.now(UTC)))
    kind = report_sheet(dossier)["kind"]
    if as_json:
        click.echo(msgspec.json.encode({"report": str(target), "kind": kind}))
        return
    click.echo(f"{kind}: {target}")


@group.command()
@JOB_FILE
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The ledger file to write.")
@click.option(
    "--merge",
    "others",
    multiple=True,
    type=click.Path(path_type=Path),
    help="An earlier ledger of this car, or another shop's; may be given several times.",
)
@click.option(
    "--date", "when", help="Date of the visit, as 2026-03-14; else the job's, else today."
)
@click.option(
    "--key-file",
    type=click.Path(path_type=Path),
    help="A secret of the shop: seal what is written, and check the seal of what is merged.",
)
@UNITS
@JSON
def ledger(
    job_file: Path,
    out: Path | None,
    others: tuple[Path, ...],
    when: str | None,
    key_file: Path | None,
    units: str | None,
    *,
    as_json: bool,
) -> None:
    """Write the car's clear-coat ledger and say what every panel can still pay for."""
    from functools import reduce

    from leastcut.handover.ledger import merge
    from leastcut.handover.ledger_file import from_json, to_json
    from leastcut.handover.visits import visit
    from leastcut.shop.files import write_whole

    key = None if key_file is None else _read(key_file)
    earlier = [from_json(_read(path), where=str(path), key=key) for path in others]
    dossier = _dossier(job_file, units)
    book = reduce(merge, earlier, visit(dossier, when=when or _date(dossier)))
    target = out or job_file.with_name(f"{job_file.stem}-ledger.json")
    write_whole(target, to_json(book, key=key))
    _show(book, dossier, target, as_json=as_json)


def _read(path: Path) -> bytes:
    from leastcut.handover.ledger import LedgerError

    try:
        return path.read_bytes()
    except OSError as error:
        raise LedgerError(
            f"cannot read it: {error.strerror}", where=str(path), do="Give a file that exists"
        ) from None


def _date(dossier: "Dossier") -> str:
    """Return the job's date when it is one, else today."""
    from datetime import UTC, date, datetime

    try:
        return date.fromisoformat(dossier.people.date).isoformat()
    except ValueError:
        return datetime.now(UTC).date().isoformat()


def _show(book: "Ledger", dossier: "Dossier", target: Path, *, as_json: bool) -> None:
    import msgspec

    from leastcut.handover.account import account

    rows = account(book)
    if as_json:
        answer: dict[str, Any] = {"car": book.car, "ledger": str(target), "panels": rows}
        click.echo(msgspec.json.encode(answer))
        return
    from leastcut.handover.words import thickness, thickness_between

    for row in rows:
        film = row.clear_um
        known = "assumed" if row.assumed else f"{row.n_readings} readings, {row.n_cuts} cuts"
        click.echo(
            f"{row.panel:<22} {thickness(film.mean, dossier.units):>8} left "
            f"({thickness_between(film, dossier.units)}; {known}): "
            f"{row.corrections.promised} corrections"
        )
    click.echo(f"Written: {target}")
