"""Where the evidence of a job lies: a folder with a job file, or a visit in the shop."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import msgspec

from leastcut.errors import InputError, Problem
from leastcut.inspect.readings import parse_rows
from leastcut.inspect.records import Reading
from leastcut.job.look import looks
from leastcut.job.visit import Visit
from leastcut.shop import jobfile
from leastcut.shop.jobschema import JobFile
from leastcut.shop.readings import read_rows
from leastcut.shop.tomlwhere import Key, field_name, line_of
from leastcut.work.runs import Event

Readings = tuple[tuple[Reading, ...], tuple[Problem, ...]]

# A day's work makes a few thousand events; a longer file is something else.
MOST_EVENTS = 100_000


class EvidenceError(InputError):
    """A file of evidence that cannot be used."""


class Source(Protocol):
    """What gathering asks of a place where evidence lies."""

    @property
    def job(self) -> JobFile:
        """The job file, or what a visit comes to as one."""

    def where(self, keys: Sequence[Key]) -> str:
        """Return where a person finds the field `keys`."""

    def exists(self, name: str) -> bool:
        """Tell whether there is a file of that name."""

    def read(self, name: str) -> bytes:
        """Return the content of a file; an `InputError` if it cannot be read."""

    def readings(self, panels: Collection[str], *, after: bool) -> Readings:
        """Return the gauge readings before or after the work, and what is wrong with others."""

    def events(self) -> tuple[tuple[Event, ...], tuple[Problem, ...]]:
        """Return the record of the work, and what in it cannot be used."""


@dataclass(frozen=True)
class Folder:
    """A job file with its evidence beside it."""

    path: Path
    text: str
    job: JobFile

    @classmethod
    def open(cls, path: Path) -> "Folder":
        """Read the job file at `path`.

        Raises
        ------
        leastcut.shop.jobfile.JobFileError
            With every fault of form, if there is any.
        leastcut.errors.InputError
            If it cannot be read at all.
        """
        text = jobfile.read_text(path)
        job, problems = jobfile.parse(text, path.name)
        if job is None:
            raise jobfile.JobFileError(problems)
        return cls(path, text, job)

    def where(self, keys: Sequence[Key]) -> str:
        """Return where a person finds the field `keys`."""
        line = line_of(self.text, keys)
        place = f"{self.path.name}:{line}" if line else self.path.name
        return f"{place} {field_name(keys)}"

    def exists(self, name: str) -> bool:
        """Tell whether there is such a file."""
        return (self.path.parent / name).is_file()

    def read(self, name: str) -> bytes:
        """Return the content of a file.

        Raises
        ------
        EvidenceError
            If it cannot be read.
        """
        path = self.path.parent / name
        try:
            return path.read_bytes()
        except (OSError, ValueError) as error:
            what = f"cannot read it: {getattr(error, 'strerror', None) or error}"
            do = "Check the name and that the file may be read"
            raise EvidenceError(what, where=str(path), do=do) from None

    def readings(self, panels: Collection[str], *, after: bool) -> Readings:
        """Return the readings, and what is wrong with others."""
        name = self.job.film.readings_after if after else self.job.film.readings
        if name is None:
            return (), ()
        return parse_rows(read_rows(self.path.parent / name), where=name, panels=panels)

    def events(self) -> tuple[tuple[Event, ...], tuple[Problem, ...]]:
        """Return the record of the work."""
        name = self.job.run
        if name is None:
            return (), ()
        return read_events(jobfile.read_text(self.path.parent / name), name)


def read_events(text: str, name: str) -> tuple[tuple[Event, ...], tuple[Problem, ...]]:
    r"""Read the record of the work: one event a line, as JSON; empty lines are passed over.

    Examples
    --------
    >>> events, problems = read_events('{"kind":"stopped","id":"a","at_s":5}\nno\n', "run.jsonl")
    >>> events[0].at_s, str(problems[0])[:12]
    (5.0, 'run.jsonl:2:')
    """
    events: list[Event] = []
    problems: list[Problem] = []
    known: dict[str, Event] = {}
    for number, line in enumerate(text.splitlines()[:MOST_EVENTS], start=1):
        if not line.strip():
            continue
        what = ""
        try:
            event: Event = msgspec.json.decode(line, type=Event)
            if not 0 <= event.at_s < float("inf"):
                what = f"time {event.at_s}"
            elif known.setdefault(event.id, event) != event:
                what = f"the id '{event.id}' stands for another event already"
        except msgspec.DecodeError as error:
            what = jobfile.explain(str(error), [])[1]
        if what:
            do = "Mend the line: one work event with id, kind and at_s in seconds"
            problems.append(Problem(where=f"{name}:{number}", what=what, do=do))
        else:
            events.append(event)
    return tuple(events), tuple(problems)


@dataclass(frozen=True)
class InShop:
    """A visit in the shop: all in memory, so that it can be sent to another process.

    Attributes
    ----------
    visit : Visit
        Folded; its job must be there.
    contents : mapping of str to bytes
        Small files that the job names by digest: outlines.
    photos : collection of str
        Digests of the photos that the shop holds.
    name : str
        What the visit goes by.
    before : Visit or None
        The same as it stood when the work began; None while it has not.
    """

    visit: Visit
    contents: Mapping[str, bytes] = field(default_factory=dict)
    photos: Collection[str] = ()
    name: str = "visit"
    before: Visit | None = None

    @property
    def job(self) -> JobFile:
        """What the visit comes to as a job file."""
        assert self.visit.job is not None
        return self.visit.job

    def where(self, keys: Sequence[Key]) -> str:
        """Return where a person finds the field `keys`."""
        numbers = [n for n, step in enumerate(keys) if isinstance(step, int)]
        if not numbers:
            return ".".join(map(str, keys))
        name, rest = ".".join(map(str, keys[: numbers[0]])), keys[numbers[0] + 1 :]
        number = keys[numbers[0]]
        assert isinstance(number, int)
        return ".".join([f"{name}/{self.visit.order[name][number]}", *map(str, rest)])

    def exists(self, name: str) -> bool:
        """Tell whether there is such a file."""
        return name in self.contents or name in self.photos

    def read(self, name: str) -> bytes:
        """Return the content of a file.

        Raises
        ------
        EvidenceError
            If it cannot be read.
        """
        if name not in self.contents:
            raise EvidenceError("no such file in the shop", where=name, do="Send it again")
        return self.contents[name]

    def readings(self, panels: Collection[str], *, after: bool) -> Readings:
        """Return the readings, and what is wrong with others."""
        held = self.visit.readings_after if after else self.visit.readings
        good = tuple(one for one in held if one.panel in panels)
        return good, tuple(_elsewhere(held, panels))

    def events(self) -> tuple[tuple[Event, ...], tuple[Problem, ...]]:
        """Return the record of the work."""
        return self.visit.events, ()


def _elsewhere(held: Sequence[Reading], panels: Collection[str]) -> Iterator[Problem]:
    for name in dict.fromkeys(one.panel for one in held if one.panel not in panels):
        what = f"readings on '{name}', which is no panel of this car"
        yield Problem(where="reading", what=what, do="Take them back, or correct the panel")


def outlines(job: JobFile) -> tuple[str, ...]:
    """Return the outline files that a job names."""
    return tuple(dict.fromkeys(t.outline_file for t in job.panel if t.outline_file is not None))


def shop_source(
    visit: Visit,
    *,
    content: Callable[[str], bytes | None],
    holds: Callable[[str], bool],
    name: str = "visit",
    before: Visit | None = None,
) -> InShop:
    """Put a visit together with what gathering will ask for.

    Parameters
    ----------
    visit : Visit
        With a job.
    content : callable
        Gives the content of a small file by its digest, None where there is none.
    holds : callable
        Tells whether the shop holds a photo of that digest.
    name : str
        What the visit goes by.
    before : Visit, optional
        The same as it stood when the work began.
    """
    assert visit.job is not None
    read = {file: content(file) for file in outlines(visit.job)}
    named = dict.fromkeys(file for look in looks(visit.job) for file in look.files)
    return InShop(
        visit=visit,
        contents={file: held for file, held in read.items() if held is not None},
        photos=frozenset(file for file in named if holds(file)),
        name=name,
        before=before,
    )
