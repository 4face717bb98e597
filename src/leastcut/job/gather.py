"""Gather: read the job file and everything it names, analyse the photos, decide nothing."""

import json
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import msgspec

from leastcut.car.records import Car
from leastcut.errors import InputError, Problem
from leastcut.handover.records import PhotoFinding
from leastcut.inspect.records import CompareFinding, EarlierCut, GaugeCheck, Reading
from leastcut.job import references
from leastcut.job.carfrom import PanelTableError, car_of
from leastcut.job.evidence import Evidence
from leastcut.job.look import compared, look_at, trial_of
from leastcut.shop import jobfile
from leastcut.shop.jobschema import JobFile, PhotoTable, ProcessTable, TrialTable
from leastcut.shop.tomlwhere import Key, field_name, line_of
from leastcut.testspot import ladder as rungs
from leastcut.testspot.records import Process, Trial

Progress = Callable[[str], None]

# Photos are decoded two at a time: enough for two cores, and memory stays bounded.
WORKERS = 2


def gather(path: Path, *, progress: Progress = lambda _: None) -> Evidence:
    """Read a job file and all evidence beside it.

    Parameters
    ----------
    path : Path
        The ``.toml`` file; files it names are looked for in its folder.
    progress : callable
        Told in a few words what is being done.

    Returns
    -------
    Evidence
        Complete: every file named was read.

    Raises
    ------
    JobFileError
        With every problem found, if there is any.
    InputError
        If the job file itself cannot be read.
    """
    text = jobfile.read_text(path)
    job, problems = jobfile.parse(text, path.name)
    if job is None:
        raise jobfile.JobFileError(problems)
    reader = _Reader(path, text, job)
    car = reader.car()
    if car is None:
        raise jobfile.JobFileError(tuple(reader.problems))
    ladder = reader.ladder()
    readings = reader.readings(car)
    for fault in references.check(
        job,
        panels=[panel.id for panel in car.panels],
        processes=[process.label for process in ladder],
        exists=lambda name: (path.parent / name).is_file(),
    ):
        reader.report(*fault)
    if reader.problems:
        raise jobfile.JobFileError(tuple(reader.problems))
    photos, pictures = reader.photos(progress)
    trials = reader.trials(progress)
    if reader.problems:
        raise jobfile.JobFileError(tuple(reader.problems))
    return Evidence(
        job=job,
        car=car,
        ladder=ladder,
        photos=photos,
        readings=readings,
        checks=tuple(GaugeCheck(known_um=c.known_um, shown_um=c.shown_um) for c in job.film.check),
        earlier=tuple(
            EarlierCut(panel=e.panel, cut_um=e.cut_um, sd_um=e.sd_um, when=e.when)
            for e in job.film.earlier
        ),
        trials=trials,
        pictures=pictures,
    )


class _Reader:
    """Reads what one job file names and collects problems with their places."""

    def __init__(self, path: Path, text: str, job: JobFile) -> None:
        self.path, self.text, self.job = path, text, job
        self.problems: list[Problem] = []

    def report(self, keys: Sequence[Key], what: str, do: str) -> None:
        line = line_of(self.text, keys)
        place = f"{self.path.name}:{line}" if line else self.path.name
        self.problems.append(Problem(where=f"{place} {field_name(keys)}", what=what, do=do))

    def fault(self, keys: Sequence[Key], error: InputError) -> None:
        """Report an error from deeper down at the field that led to it."""
        what = f"{error.where}: {error.what}" if error.where else error.what
        self.report(keys, what, error.do)

    def car(self) -> Car | None:
        outlines: dict[str, Any] = {}
        for number, table in enumerate(self.job.panel):
            if table.outline_file is not None:
                try:
                    outlines[table.outline_file] = read_json(self.path.parent / table.outline_file)
                except InputError as error:
                    self.fault(["panel", number, "outline_file"], error)
        if self.problems:
            return None
        try:
            return car_of(self.job, outlines)
        except PanelTableError as error:
            self.fault(["panel", error.number], error)
        except InputError as error:
            self.fault(["car"], error)
        return None

    def ladder(self) -> tuple[Process, ...]:
        own = tuple(_process(table) for table in self.job.process)
        try:
            return rungs.ordered(rungs.check(own)) if own else rungs.DEFAULT
        except InputError as error:
            self.fault(["process"], error)
            return own

    def readings(self, car: Car) -> tuple[Reading, ...]:
        from leastcut.inspect.readings import parse_rows
        from leastcut.shop.readings import read_rows

        name = self.job.film.readings
        if name is None:
            return ()
        try:
            rows = read_rows(self.path.parent / name)
            ids = {panel.id for panel in car.panels}
            found, problems = parse_rows(rows, where=name, panels=ids)
        except InputError as error:
            self.fault(["film", "readings"], error)
            return ()
        self.problems += problems
        return found

    def photos(self, progress: Progress) -> tuple[tuple[PhotoFinding, ...], dict[str, bytes]]:
        pictures: dict[str, bytes] = {}
        findings: list[PhotoFinding] = []

        def look(item: tuple[int, PhotoTable]) -> tuple[PhotoFinding, bytes] | InputError:
            number, table = item
            try:
                return look_at(self.path.parent, table, number)
            except InputError as error:
                return error

        with ThreadPoolExecutor(WORKERS) as pool:
            for number, (table, found) in enumerate(
                zip(self.job.photo, pool.map(look, enumerate(self.job.photo)), strict=True)
            ):
                progress(f"looked at {table.file} ({number + 1} of {len(self.job.photo)})")
                if isinstance(found, InputError):
                    self.fault(["photo", number, "file"], found)
                else:
                    findings.append(found[0])
                    pictures[str(found[0].overlay)] = found[1]
        return tuple(findings), pictures

    def trials(self, progress: Progress) -> tuple[Trial, ...]:
        trials: list[Trial] = []

        def look(table: TrialTable) -> CompareFinding | InputError | None:
            try:
                return compared(self.path.parent, table)
            except InputError as error:
                return error

        with ThreadPoolExecutor(WORKERS) as pool:
            found = pool.map(look, self.job.trial)
            for number, (table, change) in enumerate(zip(self.job.trial, found, strict=True)):
                progress(f"compared trial {number + 1} of {len(self.job.trial)}")
                if isinstance(change, InputError):
                    self.fault(["trial", number], change)
                else:
                    trials.append(trial_of(table, change))
        return tuple(trials)


def read_json(path: Path) -> Any:
    """Return a decoded JSON object that a person or program wrote.

    Raises
    ------
    InputError
        If the file cannot be read or holds no JSON object.
    """
    text = jobfile.read_text(path)
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"not JSON: {error}", where=path.name, do="Check the brackets and commas"
        ) from None
    if not isinstance(data, dict):
        raise InputError(
            "not a JSON object", where=path.name, do='Write {"outline_mm": [[x, y], …]}'
        )
    return data


def _process(table: ProcessTable) -> Process:
    given = {f: getattr(table, f) for f in table.__struct_fields__}
    plain = {k: float(v) if isinstance(v, float) else v for k, v in given.items() if v is not None}
    return msgspec.convert(plain, Process)
