"""Gather: read what a job names, have the photos looked at, decide nothing.

A job in a folder must be whole: its person reads every problem and mends the file. A visit in the
shop goes on with what is good, and what could not be used comes along as problems.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import chain
from pathlib import Path
from typing import Any

import msgspec

from leastcut.car.records import Car
from leastcut.errors import InputError, Problem
from leastcut.handover.records import PhotoFinding
from leastcut.inspect.records import EarlierCut, GaugeCheck
from leastcut.job import references
from leastcut.job.carfrom import PanelTableError, car_of
from leastcut.job.evidence import Evidence, ProofSight
from leastcut.job.look import Look, Sight, groups, looks, see_together, trial_of
from leastcut.job.sources import Folder, Source
from leastcut.shop.jobfile import JobFileError
from leastcut.shop.jobschema import CarTable, JobFile, ProcessTable
from leastcut.shop.tomlwhere import Key
from leastcut.testspot import ladder as rungs
from leastcut.testspot.records import Process, Trial

Progress = Callable[[str], None]
Look1 = tuple[str, int]  # kind and number of a look
Sights = Mapping[Look1, Sight]

# Photos are decoded two at a time: enough for two cores, and memory stays bounded.
WORKERS = 2

_SIZES = ("length_mm", "width_mm", "height_mm", "wheelbase_mm")


def gather(
    path: Path, *, progress: Progress = lambda _: None, known: Sights | None = None
) -> Evidence:
    """Read a job file and all evidence beside it.

    Parameters
    ----------
    path : Path
        The ``.toml`` file; files it names are looked for in its folder.
    progress : callable
        Told in a few words what is being done.
    known : mapping, optional
        What was found in some of the photos already, by kind and number of the look.

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
    folder = Folder.open(path)
    gathered = Gathering(folder)
    _whole(gathered)
    evidence = gathered.evidence(look_all(folder, gathered.job, progress=progress, known=known))
    _whole(gathered)
    return evidence


def _whole(gathered: "Gathering") -> None:
    if gathered.problems:
        raise JobFileError(tuple(gathered.problems))


def look_all(
    folder: Folder,
    job: JobFile,
    *,
    progress: Progress = lambda _: None,
    known: Sights | None = None,
) -> Sights:
    """Look at every photo that a job in a folder names, less those that are known."""
    sights: dict[Look1, Sight] = dict(known or {})
    wanted = [look for look in looks(job) if (look.kind, look.number) not in sights]

    def one(group: list[Look]) -> Iterator[tuple[Look, Sight]]:
        contents = {name: folder.read(name) for look in group for name in look.files}
        for look, (seen, pictures) in zip(group, see_together(group, contents), strict=True):
            names = picture_names(job, look)[: len(pictures)]
            yield look, Sight(seen=seen, names=names, pictures=pictures)

    with ThreadPoolExecutor(WORKERS) as pool:
        found = pool.map(lambda group: list(one(group)), groups(wanted))
        for number, (look, sight) in enumerate(chain.from_iterable(found)):
            progress(f"looked at {look.files[-1]} ({number + 1} of {len(wanted)})")
            sights[look.kind, look.number] = sight
    asked = ((look.kind, look.number) for look in wanted)
    return {key: sights[key] for key in (*(known or {}), *asked)}


def picture_names(job: JobFile, look: Look) -> tuple[str, ...]:
    """Return what the pictures made of a look are called beside the results."""
    number = look.number + 1
    if look.kind == "photo":
        return (f"pictures/{job.photo[look.number].panel}-{number}.jpg",)
    return (f"pictures/proof-{number}-before.jpg", f"pictures/proof-{number}-after.jpg")


class Gathering:
    """One job being gathered: first what can be read at once, then what its photos show.

    Attributes
    ----------
    job : JobFile
        Less what leads nowhere.
    problems : list of Problem
        What is wrong, each with its place.
    """

    def __init__(self, source: Source) -> None:
        self.source, self.job = source, source.job
        self.problems: list[Problem] = []
        self.blamed: set[tuple[str, int]] = set()
        self.car = self._car()
        self.ladder = self._ladder()
        self.readings = self._readings(after=False)
        self.readings_after = self._readings(after=True)
        self.events, odd = self._tried(["run"], source.events)
        self.problems += odd
        self._names()
        self.job = without(self.job, self.blamed)

    def report(self, keys: Sequence[Key], what: str, do: str) -> None:
        """Note a problem at a field; the item of a list that it stands in is left out."""
        self.problems.append(Problem(where=self.source.where(keys), what=what, do=do))
        number = next((n for n, step in enumerate(keys) if isinstance(step, int)), None)
        if number is not None:
            index = keys[number]
            assert isinstance(index, int)
            self.blamed.add((".".join(map(str, keys[:number])), index))

    def fault(self, keys: Sequence[Key], error: InputError) -> None:
        """Report an error from deeper down at the field that led to it."""
        what = f"{error.where}: {error.what}" if error.where else error.what
        self.report(keys, what, error.do)

    def _tried(self, keys: Sequence[Key], read: Callable[[], Any]) -> Any:
        try:
            return read()
        except InputError as error:
            self.fault(keys, error)
            return (), ()

    def _car(self) -> Car:
        read: dict[str, Any] = {}
        for number, table in enumerate(self.job.panel):
            if table.outline_file is not None:
                try:
                    read[table.outline_file] = read_json(self.source, table.outline_file)
                except InputError as error:
                    self.fault(["panel", number, "outline_file"], error)
        return self._car_of(without(self.job, self.blamed), read)

    def _car_of(self, job: JobFile, read: Mapping[str, Any]) -> Car:
        """Build the car; what cannot be is reported and left out until the rest can."""
        numbers = [n for n in range(len(self.job.panel)) if ("panel", n) not in self.blamed]
        try:
            return car_of(job, read)
        except PanelTableError as error:
            self.fault(["panel", numbers[error.number]], error)
            return self._car_of(without(self.job, self.blamed), read)
        except InputError as error:
            self.fault(["car"], error)
            plain = msgspec.structs.replace(
                job.car, **dict.fromkeys(_SIZES), materials={}, doors=None
            )
            self.job = msgspec.structs.replace(self.job, car=plain)
            return car_of(_plainest(job, plain), {})

    def _ladder(self) -> tuple[Process, ...]:
        own = tuple(_process(table) for table in self.job.process)
        try:
            return rungs.ordered(rungs.check(own)) if own else rungs.DEFAULT
        except InputError as error:
            self.fault(["process"], error)
            return rungs.DEFAULT

    def _readings(self, *, after: bool) -> Any:
        ids = {panel.id for panel in self.car.panels}
        keys = ["film", "readings_after" if after else "readings"]
        found, problems = self._tried(keys, lambda: self.source.readings(ids, after=after))
        self.problems += problems
        return found

    def _names(self) -> None:
        for fault in references.check(
            self.job,
            panels=[panel.id for panel in self.car.panels],
            processes=[process.label for process in self.ladder],
            exists=self.source.exists,
        ):
            self.report(*fault)

    def evidence(self, sights: Sights) -> Evidence:
        """Put the evidence together once the photos have been looked at.

        Parameters
        ----------
        sights : mapping
            By kind and number of the look, for this gathering's `job`.
        """
        good = {key: sight for key, sight in sights.items() if sight.seen.error is None}
        for (kind, number), sight in sights.items():
            if sight.seen.error is not None:
                self._undecoded(kind, number, sight.seen.error)
        film = self.job.film
        return Evidence(
            job=self.job,
            car=self.car,
            ladder=self.ladder,
            photos=tuple(_photos(self.job, good)),
            readings=self.readings,
            readings_after=self.readings_after,
            checks=tuple(GaugeCheck(known_um=c.known_um, shown_um=c.shown_um) for c in film.check),
            earlier=tuple(
                EarlierCut(panel=e.panel, cut_um=e.cut_um, sd_um=e.sd_um, when=e.when)
                for e in film.earlier
            ),
            trials=tuple(_trials(self.job, good)),
            proofs=tuple(_proofs(self.job, good)),
            events=self.events,
            pictures={
                n: p for s in good.values() for n, p in zip(s.names, s.pictures, strict=False)
            },
            problems=tuple(self.problems),
        )

    def _undecoded(self, kind: str, number: int, error: Problem) -> None:
        """Report a photo that cannot be decoded, at the field of the job as it was written."""
        kept = [
            n for n in range(len(getattr(self.source.job, kind))) if (kind, n) not in self.blamed
        ]
        keys: list[Key] = [kind, kept[number], *(["file"] if kind == "photo" else [])]
        where = self.source.where(keys)
        self.problems.append(Problem(where=where, what=error.what, do=error.do))


def _plainest(job: JobFile, car: CarTable) -> JobFile:
    """Return a job whose car can always be drawn: the body class alone."""
    return msgspec.structs.replace(job, car=car, panel=())


def without(job: JobFile, blamed: set[tuple[str, int]]) -> JobFile:
    """Return a job less some items of its lists, given as list and number."""
    for name in sorted({name for name, _ in blamed}):
        table, _, leaf = name.rpartition(".")
        holder = getattr(job, table) if table else job
        kept = tuple(x for n, x in enumerate(getattr(holder, leaf)) if (name, n) not in blamed)
        changed = msgspec.structs.replace(holder, **{leaf: kept})
        job = msgspec.structs.replace(job, **{table: changed}) if table else changed
    return job


def _photos(job: JobFile, sights: Sights) -> Iterator[PhotoFinding]:
    for number, table in enumerate(job.photo):
        if sight := sights.get(("photo", number)):
            yield PhotoFinding(
                panel=table.panel,
                photo=table.file,
                finding=sight.seen.found[0],
                overlay=sight.names[0],
            )


def _trials(job: JobFile, sights: Sights) -> Iterator[Trial]:
    for number, table in enumerate(job.trial):
        sight = sights.get(("trial", number))
        yield trial_of(table, sight.seen.compared if sight else None)


def _proofs(job: JobFile, sights: Sights) -> Iterator[ProofSight]:
    for number, table in enumerate(job.proof):
        if sight := sights.get(("proof", number)):
            assert sight.seen.compared is not None
            yield ProofSight(
                panel=table.panel,
                section=table.section,
                compared=sight.seen.compared,
                before=sight.seen.found[0],
                after=sight.seen.found[1],
                photo_before=sight.names[0],
                photo_after=sight.names[1],
            )


def read_json(source: Source, name: str) -> Any:
    """Return a decoded JSON object that a person or program wrote.

    Raises
    ------
    InputError
        If the file cannot be read or holds no JSON object.
    """
    content = source.read(name)
    try:
        data = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise InputError(f"not JSON: {error}", where=name, do="Check the brackets") from None
    if not isinstance(data, dict):
        raise InputError("not a JSON object", where=name, do='Write {"outline_mm": [[x, y], …]}')
    return data


def _process(table: ProcessTable) -> Process:
    given = {f: getattr(table, f) for f in table.__struct_fields__}
    plain = {k: float(v) if isinstance(v, float) else v for k, v in given.items() if v is not None}
    return msgspec.convert(plain, Process)
