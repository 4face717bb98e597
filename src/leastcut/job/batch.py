"""Many photos or videos to one table, by any executor, and again where it stopped."""

import csv
import io
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Protocol

from leastcut.errors import InputError
from leastcut.shop.executors import Executor, Lost, each
from leastcut.shop.files import write_whole

AHEAD = 2  # lots handed out for each worker, so that none waits for the next

Row = Mapping[str, str]


class BatchError(InputError):
    """A folder or table that cannot be used."""


class Asked(Protocol):
    """What every file is asked: a record of a few numbers that a worker can be sent.

    Attributes
    ----------
    thing : str
        What one file is, as the first column is called.
    endings : frozenset of str
        Of the files' names.
    columns : tuple of str
        Of what is found, before ``why`` and ``do``.
    small : bool
        Whether several go to a worker in one sending.
    remedy : str
        What to do with a file that ends its worker.
    """

    thing: ClassVar[str]
    endings: ClassVar[frozenset[str]]
    columns: ClassVar[tuple[str, ...]]
    small: ClassVar[bool]
    remedy: ClassVar[str]

    @property
    def name(self) -> str:
        """What rows of this analysis are marked with."""

    def found(self, path: Path, content: bytes | None) -> dict[str, Any]:
        """Measure one file, or its bytes where the worker does not see the file.

        Raises
        ------
        InputError
            If it is no such file.
        """


@dataclass(frozen=True, kw_only=True)
class Done:
    """What a batch came to: rows in the table, those made now, and those that name a fault."""

    rows: int
    fresh: int
    refused: int


def run(
    folder: Path,
    out: Path,
    *,
    executor: Executor,
    asked: Asked,
    carried: bool = False,
    progress: Callable[[int, int], None] = lambda *_: None,
) -> Done:
    """Measure every photo (or video) in a folder and below it, one row each.

    Rows that stand in the table already, made of the same file in the same way, are not made again;
    a table cut short by an interruption is taken up where it ends.

    Parameters
    ----------
    folder : Path
        Holds the files.
    out : Path
        The table, as CSV; its lines are in the order of the files' names at the end.
    executor : Executor
        Who does the work.
    asked : Asked
        What every file is asked.
    carried : bool
        Send the files along: for workers that do not see this machine's files.
    progress : callable
        Told how many rows there are, of how many.

    Raises
    ------
    BatchError
        If the folder holds no such file, or the table is of another kind.
    WriteError
        If the table cannot be written.
    """
    files = list_files(folder, asked)
    kept = _kept(out, files, asked)
    table = _Table(asked)
    write_whole(out, table.text(kept))
    rows = dict(kept)
    todo = [name for name in files if name not in kept]
    with out.open("a", encoding="utf-8", newline="") as file:
        for name, result in each(
            executor,
            measure,
            todo,
            arguments=lambda name: _arguments(files[name][0], asked, carried=carried),
            ahead=AHEAD,
            together=executor.lot if asked.small else 1,
        ):
            found = _lost(asked) if isinstance(result, Lost) else result
            made = {asked.thing: name, "bytes": str(files[name][1]), "analysis": asked.name}
            rows[name] = {**made, **found}
            file.write(table.line(rows[name]))
            file.flush()
            progress(len(rows), len(files))
    write_whole(out, table.text(rows))
    return Done(rows=len(rows), fresh=len(todo), refused=sum(bool(r["why"]) for r in rows.values()))


def list_files(folder: Path, asked: Asked) -> dict[str, tuple[Path, int]]:
    """Return the files in a folder and below it by their names in it, with their sizes.

    A name that is no UTF-8 is written with its bytes as escapes.

    Raises
    ------
    BatchError
        If there is none.
    """
    found = {}
    for place, _, names in os.walk(folder):
        for name in names:
            path = Path(place) / name
            if path.suffix.lower() in asked.endings and path.is_file():
                shown = os.fsencode(path.relative_to(folder).as_posix())
                known = shown.decode("utf-8", "backslashreplace")
                found[known] = (path, path.stat().st_size)
    if not found:
        do = "Name another folder"
        raise BatchError(f"no {asked.thing} in this folder", where=str(folder), do=do)
    return dict(sorted(found.items()))


def _arguments(path: Path, asked: Asked, *, carried: bool) -> tuple[Any, ...]:
    return str(path), asked, path.read_bytes() if carried else None


def measure(path: str, asked: Asked, content: bytes | None = None) -> Row:
    """Measure one file; what is wrong with it stands in its row."""
    try:
        found = asked.found(Path(path), content)
    except InputError as error:
        found = {"why": error.what, "do": error.do}
    return _row(found, asked)


def _row(found: Mapping[str, Any], asked: Asked) -> Row:
    names = (*asked.columns, "why", "do")
    return {name: "" if found.get(name) is None else str(found[name]) for name in names}


def _lost(asked: Asked) -> Row:
    why = "looking at it ended the process that looked"
    return _row({"why": why, "do": asked.remedy}, asked)


def _kept(out: Path, files: Mapping[str, tuple[Path, int]], asked: Asked) -> dict[str, Row]:
    """Return the whole rows of an earlier run that still hold, by file."""
    if not out.exists():
        return {}
    text = out.read_text(encoding="utf-8", errors="replace")
    whole = text[: text.rfind("\n") + 1]
    lines = csv.DictReader(io.StringIO(whole, newline=""))
    if whole and tuple(lines.fieldnames or ()) != _Table(asked).columns:
        do = "Name another file with --out; this one stays as it is"
        raise BatchError("the file is there and is no such table", where=str(out), do=do)
    return {row[asked.thing]: row for row in lines if _holds(row, files, asked)}


def _holds(row: dict[str, Any], files: Mapping[str, tuple[Path, int]], asked: Asked) -> bool:
    whole = None not in row and None not in row.values()
    return (
        whole
        and row["analysis"] == asked.name
        and row[asked.thing] in files
        and row["bytes"] == str(files[row[asked.thing]][1])
    )


class _Table:
    """The table's text."""

    def __init__(self, asked: Asked) -> None:
        self.columns = (asked.thing, "bytes", "analysis", *asked.columns, "why", "do")

    def text(self, rows: Mapping[str, Row]) -> str:
        lines: Iterator[str] = (self.line(rows[name]) for name in sorted(rows))
        return _csv(self.columns) + "".join(lines)

    def line(self, row: Row) -> str:
        return _csv([row[column] for column in self.columns])


def _csv(cells: Any) -> str:
    held = io.StringIO()
    csv.writer(held, lineterminator="\n").writerow(str(cell).replace("\n", " ") for cell in cells)
    return held.getvalue()
