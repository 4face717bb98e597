"""Many photos at once: a folder of them to one table, by any executor, and again where it stopped."""

import csv
import io
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from leastcut.errors import InputError
from leastcut.inspect.records import ScratchFinding
from leastcut.job.look import ANALYSIS
from leastcut.shop.executors import Executor, Lost, each
from leastcut.shop.files import write_whole

COLUMNS = (
    "photo", "bytes", "analysis", "um_per_px", "scale_from", "area_cm2", "load_mm_per_cm2",
    "load_low", "load_high", "load_seen_mm_per_cm2", "swirl", "trail", "deep", "haze", "why", "do",
)  # fmt: skip
ENDINGS = {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"}
AHEAD = 2  # lots handed out for each worker, so that none waits for the next

Row = Mapping[str, str]


class BatchError(InputError):
    """A folder or table that cannot be used."""


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How the photos tell their scale: typed, by a square, or by a printed target (neither)."""

    um_per_px: float | None = None
    square_mm: float | None = None

    @property
    def name(self) -> str:
        """What rows of this analysis are marked with."""
        if self.um_per_px is not None:
            return f"{ANALYSIS} {self.um_per_px:g} um/px"
        return (
            f"{ANALYSIS} target" if self.square_mm is None else f"{ANALYSIS} {self.square_mm:g} mm"
        )


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
    scale: Scale,
    carried: bool = False,
    progress: Callable[[int, int], None] = lambda *_: None,
) -> Done:
    """Measure every photo in a folder and below it, one row each.

    Rows that stand in the table already, made of the same file in the same way, are not made again;
    a table cut short by an interruption is taken up where it ends.

    Parameters
    ----------
    folder : Path
        Holds the photos.
    out : Path
        The table, as CSV; its lines are in the order of the photos' names at the end.
    executor : Executor
        Who does the work.
    scale : Scale
        How the photos tell their scale.
    carried : bool
        Send the photos along: for workers that do not see this machine's files.
    progress : callable
        Told how many rows there are, of how many.

    Raises
    ------
    BatchError
        If the folder holds no photo, or the table is of another kind.
    WriteError
        If the table cannot be written.
    """
    photos = list_photos(folder)
    kept = _kept(out, photos, scale)
    _write(out, kept)
    rows = dict(kept)
    todo = [name for name in photos if name not in kept]
    with out.open("a", encoding="utf-8", newline="") as file:
        for name, result in each(
            executor,
            measure,
            todo,
            arguments=lambda name: _arguments(photos[name][0], scale, carried=carried),
            ahead=AHEAD,
            together=executor.lot,
        ):
            found = _lost() if isinstance(result, Lost) else result
            made = {"photo": name, "bytes": str(photos[name][1]), "analysis": scale.name}
            rows[name] = {**made, **found}
            file.write(_line(rows[name]))
            file.flush()
            progress(len(rows), len(photos))
    _write(out, rows)
    return Done(rows=len(rows), fresh=len(todo), refused=sum(bool(r["why"]) for r in rows.values()))


def list_photos(folder: Path) -> dict[str, tuple[Path, int]]:
    """Return the photos in a folder and below it by their names in it, with their sizes.

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
            if path.suffix.lower() in ENDINGS and path.is_file():
                shown = os.fsencode(path.relative_to(folder).as_posix())
                known = shown.decode("utf-8", "backslashreplace")
                found[known] = (path, path.stat().st_size)
    if not found:
        raise BatchError("no photo in this folder", where=str(folder), do="Name another folder")
    return dict(sorted(found.items()))


def _arguments(path: Path, scale: Scale, *, carried: bool) -> tuple[Any, ...]:
    return str(path), scale, path.read_bytes() if carried else None


def measure(path: str, scale: Scale, content: bytes | None = None) -> Row:
    """Measure one photo; what is wrong with it stands in its row."""
    from leastcut.inspect import scratches
    from leastcut.shop import photos

    try:
        photo = photos.load(Path(path)) if content is None else photos.decode(content, path)
        finding = scratches.find(photo.linear, um_per_px=scale.um_per_px, square_mm=scale.square_mm)
    except InputError as error:
        return _row({}, why=error.what, do=error.do)
    return _found(finding)


def _found(finding: ScratchFinding) -> Row:
    kinds, refused = finding.by_kind, finding.refused
    names = ("um_per_px", "scale_from", "area_cm2", "load_mm_per_cm2", "load_low", "load_high")
    values = {name: getattr(finding, name) for name in (*names, "load_seen_mm_per_cm2", "haze")}
    if kinds is not None:
        values |= {"swirl": kinds.swirl, "trail": kinds.trail, "deep": kinds.deep}
    return _row(values, why=refused.why if refused else "", do=refused.do if refused else "")


def _row(values: Mapping[str, Any], *, why: str, do: str) -> Row:
    told = {name: "" if values.get(name) is None else str(values[name]) for name in COLUMNS[3:]}
    return {**told, "why": why, "do": do}


def _lost() -> Row:
    do = "Save it anew as a JPEG of at most 50 megapixels"
    return _row({}, why="looking at it ended the process that looked", do=do)


def _kept(out: Path, photos: Mapping[str, tuple[Path, int]], scale: Scale) -> dict[str, Row]:
    """Return the whole rows of an earlier run that still hold, by photo."""
    if not out.exists():
        return {}
    text = out.read_text(encoding="utf-8", errors="replace")
    whole = text[: text.rfind("\n") + 1]
    lines = csv.DictReader(io.StringIO(whole, newline=""))
    if whole and tuple(lines.fieldnames or ()) != COLUMNS:
        do = "Name another file with --out; this one stays as it is"
        raise BatchError("the file is there and is no such table", where=str(out), do=do)
    return {row["photo"]: row for row in lines if _holds(row, photos, scale)}


def _holds(row: dict[str, Any], photos: Mapping[str, tuple[Path, int]], scale: Scale) -> bool:
    whole = None not in row and None not in row.values()
    return (
        whole
        and row["analysis"] == scale.name
        and row["photo"] in photos
        and row["bytes"] == str(photos[row["photo"]][1])
    )


def _write(out: Path, rows: Mapping[str, Row]) -> None:
    write_whole(out, "".join(_table(rows)))


def _table(rows: Mapping[str, Row]) -> Iterator[str]:
    yield _csv(COLUMNS)
    for name in sorted(rows):
        yield _line(rows[name])


def _line(row: Row) -> str:
    return _csv([row[column] for column in COLUMNS])


def _csv(cells: Any) -> str:
    held = io.StringIO()
    csv.writer(held, lineterminator="\n").writerow(str(cell).replace("\n", " ") for cell in cells)
    return held.getvalue()
