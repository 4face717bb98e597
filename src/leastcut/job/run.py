"""The use cases that the commands and the pages share: gather, decide, apply."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import msgspec
import numpy as np

from leastcut.car.outline import painted_area_m2
from leastcut.car.units import UnitSystem
from leastcut.errors import Problem
from leastcut.handover import plan_pdf, report_pdf
from leastcut.handover.records import Dossier, Help
from leastcut.job.contract import JobAnswer, answer
from leastcut.job.decide import decide
from leastcut.job.evidence import Evidence
from leastcut.job.gather import Progress, Sights, gather
from leastcut.job.reader import for_reader
from leastcut.shop.files import write_whole
from leastcut.shop.jobfile import JobFileError

# One seed for the Monte Carlo: the same evidence gives the same quote.
SEED = 20


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """A job run: the dossier, its JSON document, and the files written."""

    dossier: Dossier
    answer: JobAnswer
    files: tuple[Path, ...]


def run(
    path: Path,
    out: Path,
    *,
    now: datetime,
    units: UnitSystem | None = None,
    progress: Progress = lambda _: None,
    truth: Mapping[str, object] | None = None,
    known: Sights | None = None,
) -> Outcome:
    """Take a job file through every stage and write plan, report, pictures and JSON.

    Parameters
    ----------
    path : Path
        The job file.
    out : Path
        Folder for the results.
    now : datetime
        Time of the run, for the documents.
    units : {"metric", "us"}, optional
        Units to show instead of those that the job file names.
    progress : callable
        Told in a few words what is being done.
    truth : mapping, optional
        The hidden truth of an invented scenario, for a page of found against true.
    known : mapping, optional
        What was found in some of the photos already.

    Returns
    -------
    Outcome
        What was found and written.

    Raises
    ------
    InputError
        If anything named in the job file cannot be used; nothing is written then.
    """
    evidence = gather(path, progress=progress, known=known)
    progress("deciding")
    dossier = decide(evidence, rng=np.random.default_rng(SEED))
    if units is not None:
        dossier = msgspec.structs.replace(dossier, units=units)
    dossier = for_reader(dossier, dossier.units)
    progress("typesetting")
    contents = documents(dossier, evidence, now=now, truth=truth)
    files = tuple(out / name for name in contents)
    result = answer(
        dossier,
        painted_area_m2=sum(painted_area_m2(panel) for panel in evidence.car.panels),
        files=tuple(str(file) for file in (*files, out / "job.json")),
    )
    contents["job.json"] = encode(result)
    for name, content in contents.items():
        write_whole(out / name, content)
    return Outcome(dossier=dossier, answer=result, files=(*files, out / "job.json"))


def documents(
    dossier: Dossier,
    evidence: Evidence,
    *,
    now: datetime,
    truth: Mapping[str, object] | None,
) -> dict[str, bytes]:
    """Make every file of the result in memory, so that a failure leaves nothing behind."""
    plan = plan_pdf.manuscript(dossier, now=now)
    with ThreadPoolExecutor(1) as beside:  # the typesetter leaves the interpreter to the report
        plan_set = beside.submit(plan.set)
        report = report_pdf.make(dossier, now=now, truth=truth, photos=evidence.pictures)
        return {"plan.pdf": plan_set.result(), "handover.pdf": report, **evidence.pictures}


def encode(document: msgspec.Struct) -> bytes:
    """Return a record as the JSON that programs rely on: decimals and quantities as numbers."""
    return msgspec.json.Encoder(decimal_format="number", enc_hook=float).encode(document)


class CheckAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What ``leastcut check --json`` prints."""

    valid: bool
    problems: tuple[Problem, ...]
    missing: tuple[Help, ...]


def check(path: Path, *, progress: Progress = lambda _: None) -> CheckAnswer:
    """Say what is wrong in a job file and its evidence, and what evidence would help most.

    Parameters
    ----------
    path : Path
        The job file.
    progress : callable
        Told in a few words what is being done.

    Returns
    -------
    CheckAnswer
        Problems, or the missing evidence, most valuable first.

    Raises
    ------
    InputError
        If the job file itself cannot be read.
    """
    try:
        evidence = gather(path, progress=progress)
        dossier = decide(evidence, rng=np.random.default_rng(SEED))
    except JobFileError as error:
        return CheckAnswer(valid=False, problems=error.problems, missing=())
    return CheckAnswer(valid=True, problems=(), missing=dossier.would_help_most)
