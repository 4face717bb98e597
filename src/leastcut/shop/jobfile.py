"""Read a job file: every fault with file, line, field and what to do."""

import difflib
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
from msgspec.structs import FieldInfo

from leastcut.errors import InputError, Problem
from leastcut.shop.jobschema import JobFile
from leastcut.shop.quantities import SEPARATOR, decode
from leastcut.shop.tomlwhere import Key, field_name, line_of, path_keys

# A job file is written by hand; a bigger one is something else.
MAX_BYTES = 4_000_000

LOOK = "See the chapter on the job file for the fields"


# The parser's words for types, and ours.
_WORDS = {
    "'array'": "a list",
    "'object'": "a table",
    "'str'": "text",
    "'int'": "a whole number",
    "'float'": "a number",
    "'bool'": "true or false",
    "'null'": "nothing",
    "Invalid enum value": "unknown word",
}


class JobFileError(InputError):
    """A job file that cannot be used; carries every problem found."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        first = problems[0]
        super().__init__(first.what, where=first.where, do=first.do)
        self.problems = problems


def read_text(path: Path) -> str:
    """Return the text of a small UTF-8 file that a person wrote.

    Raises
    ------
    InputError
        If it is missing, a folder, too big, or not UTF-8.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError(
                f"too big for a file written by hand ({path.stat().st_size} bytes)",
                where=path.name,
                do=f"Give the right file (at most {MAX_BYTES} bytes)",
            )
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"not UTF-8 text (byte {error.start})",
            where=path.name,
            do="Save the file as UTF-8",
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot read it: {reason}",
            where=str(path),
            do="Check the name and that the file may be read",
        ) from None


def read(path: Path) -> tuple[JobFile | None, tuple[Problem, ...]]:
    """Read a job file.

    Parameters
    ----------
    path : Path
        The ``.toml`` file.

    Returns
    -------
    job : JobFile or None
        None when there are problems.
    problems : tuple of Problem
        Every fault of form, at most one for each table.

    Raises
    ------
    InputError
        If the file cannot be read at all.
    """
    return parse(read_text(path), path.name)


def parse(text: str, name: str) -> tuple[JobFile | None, tuple[Problem, ...]]:
    r"""Read the text of a job file called `name`; as :func:`read` without the disk.

    Examples
    --------
    >>> job, problems = parse('format = 1\n[car]\nlabel = "mine"\nbody = "suv"', "a.toml")
    >>> job.car.label, problems
    ('mine', ())
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, (_syntax(str(error), name),)
    except RecursionError:
        return None, (Problem(where=name, what="nested too deep", do=LOOK),)
    try:
        return msgspec.convert(raw, JobFile, dec_hook=decode), ()
    except msgspec.ValidationError:
        return None, tuple(
            _problem(str(error), prefix, text, name) for prefix, error in _errors(raw)
        )


def _errors(raw: dict[str, Any]) -> Iterator[tuple[list[Key], msgspec.ValidationError]]:
    """Yield one error for each table that has any, with the keys that lead to it."""
    fields = {f.encode_name: f for f in msgspec.structs.fields(JobFile)}
    skeleton: dict[str, Any] = {"format": 1, "car": {"label": "x", "body": "suv"}}
    for key in [*raw, *(k for k, f in fields.items() if f.required and k not in raw)]:
        value = raw.get(key)
        items = value if isinstance(value, list) and value else [value]
        for number, item in enumerate(items):
            trial = {**skeleton, key: [item] if isinstance(value, list) and value else item}
            if key not in raw:
                del trial[key]
            try:
                msgspec.convert(trial, JobFile, dec_hook=decode)
            except msgspec.ValidationError as error:
                yield ([key, number] if isinstance(value, list) else []), error


def _syntax(message: str, name: str) -> Problem:
    place = re.search(r"\(at line (\d+), column (\d+)\)", message)
    what, _, _ = message.partition(" (at ")
    return Problem(
        where=f"{name}:{place[1]}" if place else name,
        what=f"not valid TOML: {what[:1].lower()}{what[1:]}",
        do="Mend the line; text needs quotes, tables need [brackets]",
    )


def _problem(message: str, prefix: list[Key], text: str, name: str) -> Problem:
    """Turn msgspec's message into where, what and do."""
    keys, what, do = explain(message, prefix)
    line = line_of(text, keys)
    where = f"{name}:{line}" if line else name
    return Problem(where=f"{where} {field_name(keys)}".strip(), what=what, do=do)


def explain(message: str, prefix: list[Key]) -> tuple[list[Key], str, str]:
    """Turn msgspec's message into the keys of the field, what is wrong, and what to do.

    `prefix` leads to the item of a list whose table alone was converted.
    """
    what, _, path = message.rpartition(" - at `")
    keys = path_keys(path.rstrip("`")) if what else []
    what = what or message
    if prefix:
        keys = [*prefix, *keys[2:]]
    do = meaning(keys)
    if unknown := re.match(r"Object contains unknown field `(.*)`$", what):
        keys = [*keys, unknown[1]]
        what, do = f"unknown field '{unknown[1]}'", suggest(keys)
    elif missing := re.match(r"Object missing required field `(.*)`$", what):
        keys = [*keys, missing[1]]
        what, do = f"'{missing[1]}' is missing", f"Write {missing[1]} = …"
    elif SEPARATOR in what:
        what, do = what.split(SEPARATOR, 1)
    else:
        what = _plain(what)
    return keys, what, do


def _plain(what: str) -> str:
    """Say a type error in words of the file."""
    what = what.replace("`", "'").replace(" | null", "")
    for formal, plain in _WORDS.items():
        what = what.replace(formal, plain)
    what = re.sub(r"Expected text matching regex.*", "wrong form", what)
    return what[:1].lower() + what[1:]


def suggest(keys: list[Key]) -> str:
    """Name the known field that is nearest to the last key, or list the known ones."""
    known = [f.encode_name for f in _fields(keys[:-1])]
    near = difflib.get_close_matches(str(keys[-1]), known, n=1)
    if near:
        return f"Did you mean '{near[0]}'?"
    return f"Known here: {', '.join(known)}" if known else LOOK


def meaning(keys: list[Key]) -> str:
    """Say what the field at `keys` is for, and the words it takes if there is a list of them."""
    for f in _fields(keys[:-1]) if keys else ():
        if f.encode_name == keys[-1]:
            words = [leaf for leaf in _leaves(f.type) if isinstance(leaf, str)]
            notes = [getattr(m, "description", "") for m in getattr(f.type, "__metadata__", ())]
            listed = f" (one of: {', '.join(words)})" if words else ""
            return (" ".join(filter(None, notes)).rstrip(".") + listed).strip() or LOOK
    return LOOK


def _fields(keys: list[Key]) -> tuple[FieldInfo, ...]:
    """Return the fields of the table that `keys` lead to; empty if they lead to none."""
    table: type[msgspec.Struct] | None = JobFile
    for key in keys:
        if isinstance(key, str) and table is not None:
            table = _child(table, key)
    return msgspec.structs.fields(table) if table else ()


def _child(table: type[msgspec.Struct], key: str) -> type[msgspec.Struct] | None:
    for f in msgspec.structs.fields(table):
        if f.encode_name == key:
            leaves = [leaf for leaf in _leaves(f.type) if isinstance(leaf, type)]
            return next((leaf for leaf in leaves if issubclass(leaf, msgspec.Struct)), None)
    return None


def _leaves(kind: Any) -> Iterator[Any]:
    """Yield what an annotation is made of: classes, and the words of a Literal."""
    inner = getattr(kind, "__args__", ())
    if not inner:
        yield kind
    for part in inner:
        yield from _leaves(part)
