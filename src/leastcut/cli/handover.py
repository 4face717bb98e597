"""``leastcut handover``: reports, teaching sheets, clear-coat ledger, car passport."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from leastcut.handover.ledger import Ledger
    from leastcut.handover.passport import Passport
    from leastcut.handover.records import Dossier

JOB_FILE = click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path))
OUT = click.option("-o", "--out", type=click.Path(path_type=Path), help="The file to write.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
UNITS = click.option("--units", type=click.Choice(["metric", "us"]), help="Units to show.")
DATE = click.option("--date", "when", help="Date of the visit, as 2026-03-14; else the job's.")
KEY = click.option(
    "--key-file",
    type=click.Path(path_type=Path),
    help="A secret of the shop: seal what is written, check the seal of what is read.",
)


@click.group(name="handover")
def group() -> None:
    """Write reports and teaching sheets; keep the clear-coat ledger and the car's passport."""


def _dossier(job_file: Path, units: str | None) -> "tuple[Dossier, dict[str, bytes]]":
    """Take the job through every stage without writing anything; return it with its overlays."""
    import msgspec
    import numpy as np

    from leastcut.job.decide import decide
    from leastcut.job.gather import gather
    from leastcut.job.run import SEED

    evidence = gather(job_file)
    dossier = decide(evidence, rng=np.random.default_rng(SEED))
    if units is not None:
        dossier = msgspec.structs.replace(dossier, units=units)
    return dossier, dict(evidence.pictures)


def _write(target: Path, content: bytes | str, *, as_json: bool, **more: Any) -> None:
    """Write one document and say where it is."""
    import msgspec

    from leastcut.shop.files import write_whole

    write_whole(target, content)
    if as_json:
        click.echo(msgspec.json.encode({"file": str(target), **more}))
    else:
        facts = [f"{name.replace('_', ' ')}: {value}" for name, value in more.items()]
        click.echo("\n".join([*facts, f"Written: {target}"]))


@group.command()
@JOB_FILE
@OUT
@click.option("--html", is_flag=True, help="One HTML file with a before/after slider, not a PDF.")
@UNITS
@JSON
def report(
    job_file: Path, out: Path | None, units: str | None, *, html: bool, as_json: bool
) -> None:
    """Write the client's report.

    It goes beside the job file as <job>-report.pdf (or .html) unless -o names another place. While
    no work is recorded it is a condition report and proposal, and says so.
    """
    from datetime import UTC, datetime

    from leastcut.handover import report_html, report_pdf
    from leastcut.handover.client import report_kind

    dossier, photos = _dossier(job_file, units)
    make: Callable[..., bytes | str] = report_html.make if html else report_pdf.make
    content = make(dossier, now=datetime.now(UTC), photos=photos)
    target = out or job_file.with_name(f"{job_file.stem}-report.{'html' if html else 'pdf'}")
    _write(target, content, as_json=as_json, kind=report_kind(dossier))


@group.command()
@JOB_FILE
@OUT
@UNITS
@JSON
def dossier(job_file: Path, out: Path | None, units: str | None, *, as_json: bool) -> None:
    """Write the shop's dossier: the evidence behind every number, panel by panel."""
    from datetime import UTC, datetime

    from leastcut.handover import dossier_pdf
    from leastcut.handover.visits import visit

    job, _ = _dossier(job_file, units)
    content = dossier_pdf.make(job, now=datetime.now(UTC), ledger=visit(job, when=_date(job, None)))
    _write(out or job_file.with_name(f"{job_file.stem}-dossier.pdf"), content, as_json=as_json)


@group.command()
@JOB_FILE
@OUT
@UNITS
@JSON
def teach(job_file: Path, out: Path | None, units: str | None, *, as_json: bool) -> None:
    """Write process cards and a drill sheet with a section drawn to scale."""
    from datetime import UTC, datetime

    from leastcut.handover import teaching_pdf

    content = teaching_pdf.make(_dossier(job_file, units)[0], now=datetime.now(UTC))
    _write(out or job_file.with_name(f"{job_file.stem}-teach.pdf"), content, as_json=as_json)


@group.command()
@JOB_FILE
@OUT
@click.option(
    "--merge",
    "others",
    multiple=True,
    type=click.Path(path_type=Path),
    help="An earlier ledger of this car, or another shop's; may be given several times.",
)
@DATE
@KEY
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
    job, _ = _dossier(job_file, units)
    book = reduce(merge, earlier, visit(job, when=_date(job, when)))
    target = out or job_file.with_name(f"{job_file.stem}-ledger.json")
    write_whole(target, to_json(book, key=key))
    _show(book, job, target, as_json=as_json)


@group.command()
@JOB_FILE
@OUT
@click.option("--into", type=click.Path(path_type=Path), help="The car's passport so far.")
@click.option("--plate", default="", help="Number plate; kept apart, removable.")
@click.option("--location", default="", help="Where the car lives; kept apart, removable.")
@click.option("--photos/--no-photos", default=True, show_default=True, help="Take the photos in.")
@DATE
@KEY
@JSON
def passport(
    job_file: Path,
    out: Path | None,
    into: Path | None,
    plate: str,
    location: str,
    when: str | None,
    key_file: Path | None,
    *,
    photos: bool,
    as_json: bool,
) -> None:
    """Add this visit to the car's passport: its whole history in one archive."""
    from leastcut.handover.passport import Personal, add_visit, new_passport
    from leastcut.handover.passport_file import pack, unpack

    key = None if key_file is None else _read(key_file)
    old = None if into is None else unpack(_read(into), where=str(into), key=key)
    job, _ = _dossier(job_file, None)
    personal = Personal(client=job.people.client, plate=plate, location=location)
    before, kept = old or (new_passport(job.car.label, personal=personal), {})
    files = _photos(job, job_file.parent) if photos else {}
    after, fresh = add_visit(before, job, when=_date(job, when), photos=files)
    listed = {ref.name for ref in after.photos}
    together = {name: c for name, c in (kept | fresh).items() if name in listed}
    target = out or into or job_file.with_name(f"{job_file.stem}-passport.zip")
    _write(target, pack(after, together, key=key), as_json=as_json, **_counted(after))


def _photos(job: "Dossier", folder: Path) -> dict[str, bytes]:
    return {one.photo: _read(folder / one.photo) for one in job.photos}


def _counted(book: "Passport") -> dict[str, int]:
    entries = len(book.ledger.entries)
    return {"visits": len(book.visits), "photos": len(book.photos), "ledger_entries": entries}


@group.command()
@click.argument("archive", metavar="PASSPORT.zip", type=click.Path(path_type=Path))
@click.option("-o", "--out", required=True, type=click.Path(path_type=Path), help="Where to write.")
@click.option("--keep-photos", is_flag=True, help="Keep photos, stripped; look at each afterwards.")
@KEY
@JSON
def share(
    archive: Path, out: Path, key_file: Path | None, *, keep_photos: bool, as_json: bool
) -> None:
    """Write a copy of a passport without the client's name, plate, place and photo data."""
    from leastcut.handover.passport_file import pack, unpack
    from leastcut.handover.privacy import without_person

    key = None if key_file is None else _read(key_file)
    found, photos = unpack(_read(archive), where=str(archive), key=key)
    bare, kept, problems = without_person(found, photos, keep_photos=keep_photos)
    for problem in problems:
        click.echo(str(problem), err=True)
    _write(out, pack(bare, kept, key=key), as_json=as_json, **_counted(bare))


def _read(path: Path) -> bytes:
    from leastcut.handover.ledger import LedgerError

    try:
        return path.read_bytes()
    except OSError as error:
        raise LedgerError(
            f"cannot read it: {error.strerror}", where=str(path), do="Give a file that exists"
        ) from None


def _date(job: "Dossier", when: str | None) -> str:
    """Return the given date, else the job's when it is one, else today."""
    from datetime import UTC, date, datetime

    if when is not None:
        return when
    try:
        return date.fromisoformat(job.people.date).isoformat()
    except ValueError:
        return datetime.now(UTC).date().isoformat()


def _show(book: "Ledger", job: "Dossier", target: Path, *, as_json: bool) -> None:
    import msgspec

    from leastcut.handover.account import account, reserve_um
    from leastcut.handover.words import thickness, thickness_between

    rows = account(book, reserve_um=reserve_um(job))
    if as_json:
        answer: dict[str, Any] = {"car": book.car, "ledger": str(target), "panels": rows}
        click.echo(msgspec.json.encode(answer))
        return
    for row in rows:
        film = row.clear_um
        known = "assumed" if row.assumed else f"{row.n_readings} readings, {row.n_cuts} cuts"
        click.echo(
            f"{row.panel:<22} {thickness(film.mean, job.units):>8} left "
            f"({thickness_between(film, job.units)}; {known}): "
            f"{row.corrections.promised} corrections"
        )
    click.echo(f"Written: {target}")
