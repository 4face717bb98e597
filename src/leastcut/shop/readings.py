"""Read a CSV file of gauge readings; what the rows mean is decided in :mod:`leastcut.inspect`."""

import csv
from pathlib import Path

from leastcut.errors import InputError
from leastcut.shop.jobfile import read_text

_DO = "Write a first line with the columns panel,spot,reading_um and one reading a line"


def read_rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    """Return the rows of a CSV file with their line numbers.

    Parameters
    ----------
    path : Path
        UTF-8 file with a header; comma, semicolon or tab; lines that begin with ``#`` are skipped.

    Returns
    -------
    list of (int, dict)
        1-based line of the file, and text by column; names in lower case without spaces around.

    Raises
    ------
    InputError
        If the file cannot be read, is empty, or has no header that names columns.
    """
    lines = [
        (number, line)
        for number, line in enumerate(read_text(path).splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise InputError("empty file", where=path.name, do=_DO)
    delimiter = max(",;\t", key=lines[0][1].count)
    try:
        table = list(csv.reader([line for _, line in lines], delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise InputError(f"not a table: {error}", where=path.name, do=_DO) from None
    header = [name.strip().lower() for name in table[0]]
    if not all(header) or len(set(header)) != len(header):
        raise InputError(
            "the first line has an empty or repeated column name",
            where=f"{path.name}:{lines[0][0]}",
            do=_DO,
        )
    if len(table) == 1:
        raise InputError("no readings below the first line", where=path.name, do=_DO)
    return _rows(lines, table, header, path.name)


def _rows(
    lines: list[tuple[int, str]], table: list[list[str]], header: list[str], name: str
) -> list[tuple[int, dict[str, str]]]:
    if len(table) != len(lines):
        raise InputError("a quoted field runs over several lines", where=name, do=_DO)
    rows: list[tuple[int, dict[str, str]]] = []
    for (number, _), cells in zip(lines[1:], table[1:], strict=True):
        if len(cells) > len(header):
            raise InputError(
                f"{len(cells)} values under {len(header)} columns",
                where=f"{name}:{number}",
                do="Use a decimal point, or separate the columns with semicolons",
            )
        rows.append((number, {k: v.strip() for k, v in zip(header, cells, strict=False)}))
    return rows
