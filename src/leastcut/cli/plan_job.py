"""From a job file to the planner's inputs, for the commands that plan again and again."""

import csv
from pathlib import Path
from typing import TYPE_CHECKING

from leastcut.errors import InputError

if TYPE_CHECKING:
    from leastcut.plan.build import Around
    from leastcut.plan.choose import Inputs
    from leastcut.plan.learn import Timed

COLUMNS = ("job", "operation", "planned_minutes", "actual_minutes")


class LogError(InputError):
    """A log of operation times that cannot be read."""


def log_of(path: Path) -> list["Timed"]:
    """Read a log of operation times: a CSV file with the columns of :data:`COLUMNS`.

    Raises
    ------
    LogError
        If the file, its columns or a number cannot be read.
    leastcut.plan.learn.TimedError
        If a duration is not above zero.
    """
    from leastcut.plan.learn import Timed, check

    try:
        rows = list(csv.DictReader(path.read_text(encoding="utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError) as error:
        raise LogError(f"cannot read it: {error}", where=str(path), do="Name a CSV file") from None
    found = []
    for number, row in enumerate(rows, start=2):
        where = f"{path.name}:{number}"
        try:
            job, operation, planned, actual = (row[name].strip() for name in COLUMNS)
            minutes = {"planned_minutes": float(planned), "actual_minutes": float(actual)}
        except (KeyError, ValueError, AttributeError):
            do = f"Give the columns {', '.join(COLUMNS)}, minutes as numbers"
            raise LogError("cannot read this line", where=where, do=do) from None
        try:
            found.append(check(Timed(job=job, operation=operation, **minutes)))
        except InputError as error:
            raise error.at(where) from None
    return found


def inputs_of(path: Path, *, log: Path | None = None) -> tuple["Inputs", "Around"]:
    """Read a job file with its evidence and return what the planner takes.

    Parameters
    ----------
    path : Path
        The job file.
    log : Path or None
        Log of operation times to learn the shop's pace from.

    Raises
    ------
    leastcut.errors.InputError
        If the job file or its evidence cannot be used.
    """
    from leastcut.job.gather import gather
    from leastcut.job.weigh import weigh
    from leastcut.plan.learn import learn

    known = weigh(gather(path), learnt=None if log is None else learn(log_of(log)))
    return known.inputs, known.around
