"""Commands of the work stage on a job file: actual against planned, and the proof."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from leastcut.cli import options
from leastcut.cli.options import Units

if TYPE_CHECKING:
    import msgspec

    from leastcut.handover.records import Dossier
    from leastcut.job.actual import ProveAnswer, RunAnswer

_OUT = click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for the pictures; without it beside the job file.",
)


@click.command()
@options.job_file
@_OUT
@click.option(
    "--pace",
    "log",
    type=click.Path(path_type=Path),
    help="Put the time on the paint into this CSV log, from which plan learns your pace.",
)
@options.as_json
@options.units
def run(
    job_file: Path, out: Path | None, log: Path | None, *, as_json: bool, units: Units | None
) -> None:
    """Set the recorded work of JOB.toml against its plan: pace by section, cut against budget."""
    from leastcut.handover.plots import draw_bars
    from leastcut.job.actual import cut_plot, pace_plot, run_answer

    dossier = _dossier(job_file, units)
    found = run_answer(dossier, job=job_file.stem)
    if found.refused is None and (out is not None or not as_json):
        drawn = {
            "pace": draw_bars(pace_plot(found)),
            "cut": draw_bars(cut_plot(found, dossier)),
        }
        _write(job_file, out, drawn)
    if log is not None and found.refused is None:
        _log(log, found, job_file.stem)
    _answer(found, _run_words(found, dossier), as_json=as_json)


@click.command()
@options.job_file
@_OUT
@options.as_json
@options.units
def prove(job_file: Path, out: Path | None, *, as_json: bool, units: Units | None) -> None:
    """Say of each panel in JOB.toml that was photographed after the work whether its target is met."""
    from leastcut.handover.plots import draw_intervals
    from leastcut.job.actual import proof_plot, prove_answer

    dossier = _dossier(job_file, units)
    found = prove_answer(dossier)
    if found.refused is None and (out is not None or not as_json):
        _write(job_file, out, {"proof": draw_intervals(proof_plot(found))})
    _answer(found, _prove_words(found, dossier), as_json=as_json)


def _dossier(job_file: Path, units: Units | None) -> "Dossier":
    import msgspec
    import numpy as np

    from leastcut.job.decide import decide
    from leastcut.job.gather import gather
    from leastcut.job.reader import for_reader
    from leastcut.job.run import SEED

    dossier = decide(gather(job_file), rng=np.random.default_rng(SEED))
    if units is not None:
        dossier = msgspec.structs.replace(dossier, units=units)
    return for_reader(dossier, dossier.units)


def _write(job_file: Path, out: Path | None, drawn: dict[str, str]) -> None:
    from leastcut.shop.files import write_whole

    for name, content in drawn.items():
        target = (out or job_file.parent) / f"{job_file.stem}-{name}.svg"
        click.echo(f"wrote {write_whole(target, content)}", err=True)


def _log(path: Path, found: "RunAnswer", job: str) -> None:
    """Put a run into the log of operation times, in the place of an earlier entry of the job."""
    import csv
    import io

    from leastcut.cli.plan_job import COLUMNS, log_of
    from leastcut.plan.learn import SETS, Timed
    from leastcut.shop.files import write_whole

    totals = found.totals
    if totals is None or not totals.actual_minutes:
        return
    now = Timed(
        job=job,
        operation=SETS,
        planned_minutes=totals.planned_minutes,
        actual_minutes=totals.actual_minutes,
    )
    before = log_of(path) if path.exists() else []
    kept = [one for one in before if (one.job, one.operation) != (job, SETS)]
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([getattr(one, name) for name in COLUMNS] for one in (*kept, now))
    click.echo(f"wrote {write_whole(path, held.getvalue())}", err=True)


def _answer(found: "RunAnswer | ProveAnswer", lines: Iterator[str], *, as_json: bool) -> None:
    from leastcut.job.run import encode

    answer: msgspec.Struct = found
    click.echo(encode(answer).decode() if as_json else "\n".join(lines))
    if found.refused is not None:
        raise click.exceptions.Exit(3)


def _run_words(found: "RunAnswer", dossier: "Dossier") -> Iterator[str]:
    from leastcut.car.units import show

    if found.refused is not None:
        yield f"not judged: {found.refused.why}. {found.refused.do}."
        return
    for s in found.sections:
        if s.done or s.actual_s or s.reason:
            pace = "" if s.pace is None else f", {s.pace:.2f} of the plan"
            sets = ", ".join(f"{n} × {process}" for process, n in s.done.items()) or s.reason
            yield f"{s.panel:20} {s.id:6} {s.status:8} {s.actual_s / 60:5.1f} min{pace}  {sets}"
    for p in found.panels:
        if p.cut_um is not None:
            low, mean, high, budget = (
                show(um, "micrometer", dossier.units)
                for um in (p.cut_um.low, p.cut_um.mean, p.cut_um.high, p.budget_um)
            )
            more = "  More than it could afford." if p.over else ""
            yield f"{p.panel:20} cut {mean} ({low} – {high}, {p.how}) of {budget}{more}"
    assert found.totals is not None
    t = found.totals
    yield (
        f"{t.sections_done} of {t.sections_planned} sections done, {t.sections_skipped} skipped; "
        f"{t.actual_minutes:.0f} min where {t.planned_minutes:.0f} were planned."
    )
    if t.next_pace is not None:
        yield (
            f"Next time reckon with {t.next_pace.mean:.2f} of the planned minutes "
            f"({t.next_pace.low:.2f}–{t.next_pace.high:.2f})."
        )
    yield from (f"Now: {prompt.say}." for prompt in found.prompts)
    yield from (str(problem) for problem in found.problems)


def _prove_words(found: "ProveAnswer", dossier: "Dossier") -> Iterator[str]:
    from leastcut.car.units import show

    if found.refused is not None:
        yield f"not judged: {found.refused.why}. {found.refused.do}."
        return
    said = {True: "met", False: "not met", None: "cannot be told yet"}
    for one in found.panels:
        gone = ""
        if one.removed is not None:
            share = one.removed
            gone = (
                f": {100 * share.mean:.0f} % of the scratches gone "
                f"({100 * share.low:.0f}–{100 * share.high:.0f})"
            )
        sure = "" if one.p_met is None else f", chance {100 * one.p_met:.0f} %"
        yield f"{one.panel:20} {said[one.met]}{sure}{gone}"
        yield from (f"  stays: {what}" for what in one.remains)
        yield f"  {one.next}."
    for cut in found.cuts:
        mean = show(cut.cut_um.mean, "micrometer", dossier.units)
        yield f"{cut.panel:20} cut {mean}, {cut.how}"


COMMANDS: list[click.Command] = [run, prove]
