"""On which line of a TOML file does a field stand? For messages only.

The values come from the standard library's parser; this only finds where the person wrote them.
"""

import re
from collections.abc import Sequence

Key = str | int

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"^\s*((?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*=")
_STEP = re.compile(r"\.?([A-Za-z0-9_-]+)|\[(\d+|\.\.\.)\]|\[\.\.\.\]")


def path_keys(path: str) -> list[Key]:
    """Cut a path such as ``$.photo[2].square`` into its keys and numbers.

    Examples
    --------
    >>> path_keys("$.photo[2].square")
    ['photo', 2, 'square']
    """
    keys: list[Key] = []
    for match in _STEP.finditer(path.removeprefix("$")):
        if match[1]:
            keys.append(match[1])
        elif match[2] and match[2].isdigit():
            keys.append(int(match[2]))
    return keys


def field_name(keys: Sequence[Key]) -> str:
    """Write keys as a person counts: ``photo 3 square``.

    Examples
    --------
    >>> field_name(["photo", 2, "square"])
    'photo 3 square'
    >>> field_name(["car", "paint", "shade"])
    'car.paint.shade'
    """
    words = ""
    for key in keys:
        if isinstance(key, int):
            words += f" {key + 1}"
        else:
            words += (" " if words[-1:].isdigit() else "." if words else "") + key
    return words


def line_of(text: str, keys: Sequence[Key]) -> int | None:
    r"""Return the 1-based line of the field `keys`, or of the deepest table that leads to it.

    Parameters
    ----------
    text : str
        The whole TOML file.
    keys : sequence of str or int
        Path of the field; numbers count the tables of an array of tables from 0.

    Returns
    -------
    int or None
        The line, or None if not even the outermost key is written.

    Examples
    --------
    >>> line_of('[car]\nlabel = "x"\n', ["car", "label"])
    2
    """
    best: tuple[int, int] = (0, 0)
    for number, written in _written(text):
        depth = _common(written, keys)
        if depth == len(written) and depth > best[0]:
            best = (depth, number)
    return best[1] or None


def _common(written: Sequence[Key], keys: Sequence[Key]) -> int:
    depth = 0
    for left, right in zip(written, keys, strict=False):
        if left != right:
            break
        depth += 1
    return depth


def _written(text: str) -> list[tuple[int, list[Key]]]:
    """List every header and key with its line."""
    found: list[tuple[int, list[Key]]] = []
    table: list[Key] = []
    counts: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = _names(header[2])
            if header[1] == "[[":
                name = header[2]
                counts[name] = counts.get(name, -1) + 1
                table = [*table, counts[name]]
            elif table and str(table[0]) in counts:
                table = [table[0], counts[str(table[0])], *table[1:]]
            found.append((number, table))
        elif key := _KEY.match(line):
            found.append((number, [*table, *_names(key[1])]))
    return found


def _names(dotted: str) -> list[Key]:
    return [part.strip().strip("\"'") for part in dotted.split(".")]
