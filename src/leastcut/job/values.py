"""Is one value fit for one field of the job file? Judged alone, so that a bad one costs no other."""

from collections.abc import Callable, Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from leastcut.errors import InputError, Problem
from leastcut.inspect.readings import parse_rows
from leastcut.inspect.records import Reading
from leastcut.shop import jobfile, jobschema
from leastcut.shop.quantities import decode
from leastcut.work.runs import Event

# Fields that name a file beside a job file: a visit holds what they lead to as facts.
FILES = frozenset({"run", "film.readings", "film.readings_after"})


class Note(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A remark, on a panel or on the whole car."""

    text: Annotated[str, Meta(min_length=1, max_length=4000)]
    panel: str = ""


class FieldError(InputError):
    """A value that does not fit its field."""


# Lists of the job file, with the record of one item.
TABLES: Mapping[str, type[msgspec.Struct]] = MappingProxyType({
    "photo": jobschema.PhotoTable,
    "trial": jobschema.TrialTable,
    "process": jobschema.ProcessTable,
    "panel": jobschema.PanelTable,
    "film.check": jobschema.GaugeCheckTable,
    "film.earlier": jobschema.EarlierTable,
    "proof": jobschema.ProofTable,
})  # fmt: skip
LISTS = frozenset({*TABLES, "reading", "event", "note"})


@lru_cache(4096)
def leaf_type(path: tuple[str, ...]) -> Any:
    """Return the type of a field of the job file.

    Raises
    ------
    FieldError
        If there is no such field, or it is a table or list and not one value.
    """
    table: type[msgspec.Struct] = jobschema.JobFile
    for depth, name in enumerate(path):
        found = {f.encode_name: f.type for f in msgspec.structs.fields(table)}
        if name not in found:
            raise FieldError(f"no field '{name}'", do=jobfile.suggest(list(path[: depth + 1])))
        last, inner = depth == len(path) - 1, _record(found[name])
        if inner is not None and not last:
            table = inner
        elif inner is None and last:
            return found[name]
        elif inner is None and depth == len(path) - 2 and (kind := _named(found[name])):
            return kind
        else:
            break
    raise FieldError("this is not one field", do="Set the fields of a table one by one")


def _record(kind: Any) -> type[msgspec.Struct] | None:
    """Return the record that an annotation leads to, if it leads to one."""
    parts = [kind, *getattr(kind, "__args__", ())]
    records = [p for p in parts if isinstance(p, type) and issubclass(p, msgspec.Struct)]
    return records[0] if records else None


def _named(kind: Any) -> Any:
    """Return the type of the values where a field takes names with values."""
    bare = getattr(kind, "__origin__", kind) if hasattr(kind, "__metadata__") else kind
    return bare.__args__[1] if getattr(bare, "__origin__", None) is dict else None


def keys_of(field: str) -> tuple[str, ...]:
    """Cut a dotted path into keys; whatever follows a field of names is one name.

    Examples
    --------
    >>> keys_of("car.paint.shade")
    ('car', 'paint', 'shade')
    >>> keys_of("prices.stock.tape, 19 mm (1.5 rolls)")
    ('prices', 'stock', 'tape, 19 mm (1.5 rolls)')
    """
    parts = field.split(".")
    for depth in range(1, len(parts)):
        if ".".join(parts[:depth]) in {"car.materials", "prices.stock", "prices.materials"}:
            return (*parts[:depth], ".".join(parts[depth:]))
    return tuple(parts)


def check(field: str, value: Any) -> None:
    """See whether `value` fits `field`; None empties it.

    Raises
    ------
    FieldError
        If it does not, or there is no such field.
    """
    if field in FILES or field == "format":
        raise FieldError("a visit has no such file", do="Add readings and events one by one")
    keys = keys_of(field)
    kind = leaf_type(keys)
    if value is not None:
        _fit(value, kind, list(keys))


def _fit(value: Any, kind: Any, keys: list[Any]) -> None:
    try:
        msgspec.convert(value, kind, dec_hook=decode)
    except msgspec.ValidationError as error:
        _, what, do = jobfile.explain(str(error), [])
        raise FieldError(what, do=jobfile.meaning(keys) if do == jobfile.LOOK else do) from None


Checked = tuple[dict[str, Any], list[Problem]]


def item(name: str, key: str, body: Any) -> Checked:
    """Return what is good of an added item, and what is wrong with the rest of it."""
    where = f"{name}/{key}"
    if not isinstance(body, dict):
        return {}, [Problem(where=where, what="not a table", do="Write names with values")]
    if name in TABLES:
        return _table(name, where, body)
    found: InputError | None = None
    try:
        _CHECKS[name](body, key)
    except InputError as error:
        found = error
    return (dict(body), []) if found is None else ({}, [found.at(where).problem()])


def _table(name: str, where: str, body: dict[str, Any]) -> Checked:
    good, problems = {}, []
    kinds = {f.encode_name: f.type for f in msgspec.structs.fields(TABLES[name])}
    path: list[Any] = [*name.split("."), 0]
    for field, value in body.items():
        try:
            if field not in kinds:
                do = jobfile.suggest([*path, field])
                raise FieldError(f"unknown field '{field}'", do=do)
            if value is not None:
                _fit(value, kinds[field], [*path, field])
                good[field] = value
        except FieldError as error:
            problems.append(error.at(f"{where}.{field}").problem())
    return good, problems


def reading(body: Mapping[str, Any], key: str) -> Reading:
    """Return a gauge reading from a fact's body.

    Raises
    ------
    InputError
        If it is none.
    """
    row = {name: str(value) for name, value in body.items() if value is not None}
    row.pop("after", None)
    row["spot"] = row.get("spot") or key
    found, problems = parse_rows([(0, row)], where="", panels=None)
    if problems:
        told = problems[0]
        raise FieldError(told.what, do=told.do)
    return msgspec.structs.replace(found[0], line=None)


def event(body: Mapping[str, Any], key: str) -> Event:
    """Return a work event from a fact's body; it goes by the fact's key.

    Raises
    ------
    InputError
        If it is none.
    """
    try:
        found: Event = msgspec.convert({**body, "id": key}, Event)
    except msgspec.ValidationError as error:
        _, what, _ = jobfile.explain(str(error), [])
        raise FieldError(what, do="Send the event as the work screen makes it") from None
    if not 0 <= found.at_s < float("inf"):
        raise FieldError(f"time {found.at_s}", do="Give seconds from 0 on")
    return found


def _note(body: Mapping[str, Any], key: str) -> Note:
    del key
    try:
        return msgspec.convert(body, Note)
    except msgspec.ValidationError as error:
        _, what, _ = jobfile.explain(str(error), [])
        raise FieldError(what, do="Write a text, and a panel if it is about one") from None


_CHECKS: Mapping[str, Callable[[Mapping[str, Any], str], object]] = MappingProxyType({
    "reading": reading,
    "event": event,
    "note": _note,
})  # fmt: skip
