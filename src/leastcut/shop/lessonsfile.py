"""The lessons of earlier cars as a small JSON file, to carry, to show and to delete from."""

from collections.abc import Sequence
from pathlib import Path

import msgspec

from leastcut.errors import InputError
from leastcut.shop.files import write_whole
from leastcut.shop.jobfile import read_text
from leastcut.testspot.learning import Lesson


class LessonsError(InputError):
    """A lessons file that cannot be used."""


class Lessons(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The whole file."""

    format: int
    lessons: tuple[Lesson, ...]


def read(path: Path) -> tuple[Lesson, ...]:
    """Return the lessons of a file; none when there is no such file yet.

    Raises
    ------
    LessonsError
        If it is no lessons file, or a lesson's numbers do not fit its processes.
    """
    if not path.exists():
        return ()
    try:
        found = msgspec.json.decode(read_text(path), type=Lessons)
    except msgspec.DecodeError as error:
        raise LessonsError(
            f"not a lessons file: {error}", where=path.name, do="Give the file that --keep wrote"
        ) from None
    for taught in found.lessons:
        size = 1 + len(taught.processes)
        if len(taught.pull) != size or [len(row) for row in taught.precision] != [size] * size:
            raise LessonsError(
                f"the lesson of {taught.car!r} is damaged",
                where=path.name,
                do="Forget that car, or restore the file",
            )
    return found.lessons


def write(path: Path, lessons: Sequence[Lesson]) -> None:
    """Write the lessons to `path`."""
    whole = Lessons(format=1, lessons=tuple(lessons))
    write_whole(path, msgspec.json.format(msgspec.json.encode(whole), indent=1) + b"\n")
