"""Forms to facts: what a person typed becomes new facts, or problems beside the fields.

A form names its inputs as the job file names its fields (``car.length``), carries a key of its own
(sent twice, it counts once) and, for each field, the last fact on it that the page had seen.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any, get_args

import msgspec

from leastcut.car.units import UnitSystem
from leastcut.errors import InputError, Problem
from leastcut.inspect.readings import MIL_UM, MOST_UM
from leastcut.job.values import TABLES, keys_of, leaf_type
from leastcut.shop.facts import NewFact
from leastcut.shop.quantities import SEPARATOR, UNITS, Amount, decode

# The unit that a bare number is taken in, by the unit inside and the reader's system.
_BARE: Mapping[str, tuple[str, str]] = {
    "millimeter": ("mm", "in"),
    "micrometer": ("µm", "mil"),
    "newton": ("N", "lbf"),
    "1/minute": ("rpm", "rpm"),
    "millimeter/second": ("mm/s", "in/s"),
    "watt": ("W", "W"),
    "volt": ("V", "V"),
    "ampere": ("A", "A"),
    "meter/second**2": ("m/s²", "m/s²"),
    "meter**3": ("m³", "ft3"),
    "milliliter": ("ml", "fl oz"),
    "meter": ("m", "ft"),
    "millimeter**2": ("mm²", "mm²"),
    "degC": ("°C", "°F"),
    "minute": ("min", "min"),
}
_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?")
_YES, _NO = {"yes", "true"}, {"no", "false"}
LONGEST = 20_000


class FieldError(InputError):
    """Something typed into a form that its field cannot take."""


def kind_at(path: str) -> Any:
    """Return the annotation of a field of the job file, or of an item of one of its lists.

    Parameters
    ----------
    path : str
        ``car.length``, ``car.materials.bonnet`` or ``trial/KEY.verdict``.

    Raises
    ------
    InputError
        If there is no such field.

    Examples
    --------
    >>> kind_at("trial/k12.verdict") is not None
    True
    """
    name, slash, inner = path.partition("/")
    if not slash:
        return leaf_type(keys_of(path))
    leaf = inner.partition(".")[2]
    for field in msgspec.structs.fields(TABLES[name]) if name in TABLES else ():
        if field.encode_name == leaf:
            return field.type
    raise FieldError(f"no field '{path}'", where=path, do="Load the page again")


def _leaves(kind: Any) -> Iterator[Any]:
    """Yield the classes that an annotation is made of; a dictionary stays whole."""
    inner = get_args(kind)
    if not inner or getattr(kind, "__origin__", None) is dict:
        yield kind
        return
    for part in inner:
        yield from _leaves(part)


def bare_unit(kind: Any, units: UnitSystem) -> str:
    """Return the unit in which a field takes a bare number, or nothing."""
    for leaf in _leaves(kind):
        if isinstance(leaf, type) and leaf in UNITS:
            return _BARE[UNITS[leaf][0]][units == "us"]
    return ""


def value_of(text: str, path: str, kind: Any, units: UnitSystem) -> Any:
    """Return what was typed in job-file form, checked against the field's type.

    Parameters
    ----------
    text : str
        As typed; quantities with a unit, or bare in the reader's usual unit.
    path : str
        The field, for the message.
    kind : annotation
        From :func:`kind_at`.
    units : {"metric", "us"}
        The reader's system.

    Raises
    ------
    FieldError
        If the field cannot take it.

    Examples
    --------
    >>> value_of("15 ft", "car.length", kind_at("car.length"), "metric")
    '15 ft'
    >>> value_of("4,5", "car.length", kind_at("car.length"), "metric")
    '4.5 mm'
    """
    text = text.strip()
    if len(text) > LONGEST:
        raise FieldError(f"{len(text)} characters", where=path, do=f"Write at most {LONGEST}")
    value = _read(text, kind, units)
    check(value, path, kind)
    return value


def _read(text: str, kind: Any, units: UnitSystem) -> Any:
    leaves = [leaf for leaf in _leaves(kind) if leaf is not type(None)]
    if text.startswith("[["):
        return _points(text)
    quantity = any(isinstance(leaf, type) and leaf in UNITS for leaf in leaves)
    if quantity and _is_list(kind):
        parts = [p.strip() for p in re.split(r"[;\n]|,\s+|\s+(?=[-+]?\d)", text) if p.strip()]
        return [with_unit(part, kind, units) for part in parts]
    if quantity:
        return with_unit(text, kind, units)
    if bool in leaves and text.lower() in _YES | _NO:
        return text.lower() in _YES
    if Amount in leaves or ({int, float} & set(leaves) and _NUMBER.fullmatch(text)):
        return _plain_number(text, whole=int in leaves, exact=Amount in leaves)
    return text


def _points(text: str) -> Any:
    """Return corner points typed as JSON; the text itself where it is none."""
    try:
        return msgspec.json.decode(text.encode())
    except msgspec.DecodeError:
        return text


def _is_list(kind: Any) -> bool:
    origins = [getattr(kind, "__origin__", None)]
    origins += [getattr(part, "__origin__", None) for part in get_args(kind)]
    return tuple in origins


def _plain_number(text: str, *, whole: bool, exact: bool) -> Any:
    point = text.replace(",", ".")
    if exact:
        return point
    number = float(point)
    return int(number) if whole and number == int(number) else number


def with_unit(text: str, kind: Any, units: UnitSystem) -> str:
    """Return a quantity as typed, with the usual unit where only a number was typed."""
    if not _NUMBER.fullmatch(text):
        return text
    return f"{text.replace(',', '.')} {bare_unit(kind, units)}".strip()


def check(value: Any, path: str, kind: Any) -> None:
    """Check a value in job-file form against the field's type.

    Raises
    ------
    FieldError
        If the field cannot take it.
    """
    try:
        msgspec.convert(value, kind, dec_hook=decode)
    except msgspec.ValidationError as error:
        what, _, do = str(error).partition(" - at `")[0].partition(SEPARATOR)
        raise FieldError(_plain(what, value), where=path, do=do or _choices(kind)) from None


def _plain(what: str, value: object) -> str:
    if value == "":
        return "nothing was typed"
    if what.startswith(("Expected", "Invalid enum")):
        return f"'{value}' does not fit here"
    return what[:1].lower() + what[1:]


def _choices(kind: Any) -> str:
    words = [leaf for leaf in _leaves(kind) if isinstance(leaf, str)]
    limits = list(_limits(kind))
    if words:
        return f"Use one of: {', '.join(words)}"
    return f"Use a number {' and '.join(limits)}" if limits else "Type it again"


def _limits(kind: Any) -> Iterator[str]:
    for note in [*getattr(kind, "__metadata__", ()), *_inner_notes(kind)]:
        if getattr(note, "ge", None) is not None:
            yield f"from {note.ge:g}"
        if getattr(note, "le", None) is not None:
            yield f"to {note.le:g}"


def _inner_notes(kind: Any) -> Iterator[Any]:
    for part in get_args(kind):
        yield from getattr(part, "__metadata__", ())
        yield from _inner_notes(part)


def set_facts(
    typed: Mapping[str, str],
    *,
    key: str,
    known: Mapping[str, Any],
    units: UnitSystem,
    bases: Mapping[str, int | None],
    now_s: float,
) -> tuple[list[NewFact], dict[str, Problem]]:
    """Turn typed fields into ``set`` facts for what has changed.

    Parameters
    ----------
    typed : mapping
        Field path to what was typed; an empty text takes the field back.
    key : str
        The form's own key.
    known : mapping
        What each field says now, in job-file form.
    units : {"metric", "us"}
        The reader's system.
    bases : mapping
        Field to the last fact on it that the page had seen.
    now_s : float
        The time [Unix s].

    Returns
    -------
    facts, problems
        Facts for the fields that could be taken, problems by field for the others.
    """
    facts: list[NewFact] = []
    problems: dict[str, Problem] = {}
    for number, (path, text) in enumerate(typed.items()):
        before = known.get(path)
        try:
            kind = kind_at(path)
            value = None if not text.strip() else value_of(text, path, kind, units)
        except InputError as error:
            problems[path] = error.problem()
            continue
        if value == before or (value is None and before is None):
            continue
        facts.append(
            NewFact(
                key=f"{key}-{number}",
                kind="set",
                field=path,
                body=value,
                base=bases.get(path),
                made_s=now_s,
            )
        )
    return facts, problems


def item_of(
    name: str, typed: Mapping[str, str], *, units: UnitSystem
) -> tuple[dict[str, Any], dict[str, Problem]]:
    """Return a new item of a list in job-file form, and what is wrong with it, by field."""
    table = TABLES[name]
    kinds = {field.encode_name: field for field in msgspec.structs.fields(table)}
    item: dict[str, Any] = {}
    problems: dict[str, Problem] = {}
    for field, text in typed.items():
        if field not in kinds or not text.strip():
            continue
        try:
            item[field] = value_of(text, field, kinds[field].type, units)
        except FieldError as error:
            problems[field] = error.problem()
    for field, info in kinds.items():
        if info.required and field not in item and field not in problems:
            problems[field] = Problem(where=field, what="nothing was typed", do="Fill this in")
    return item, problems


def reading_of(
    typed: Mapping[str, str], *, units: UnitSystem
) -> tuple[dict[str, Any], dict[str, Problem]]:
    """Return a gauge reading as a fact's body: what was typed on the keypad, µm or mil.

    Examples
    --------
    >>> reading_of({"panel": "roof", "spot": "2", "reading": "4,7 mil"}, units="metric")[0]
    {'panel': 'roof', 'spot': '2', 'reading_mil': 4.7}
    """
    text = typed.get("reading", "").strip().lower()
    found = re.fullmatch(r"([-+]?\d+(?:[.,]\d+)?)\s*([µμ]m|um|microns?|mils?|thou)?", text)
    if not found:
        what = f"'{text}' is no reading" if text else "nothing was typed"
        do = "Type the number on the gauge, such as 118 or 4.6 mil"
        return {}, {"reading": Problem(where="reading", what=what, do=do)}
    number = float(found[1].replace(",", "."))
    unit = found[2] or typed.get("unit") or ("mil" if units == "us" else "um")
    in_mil = unit.startswith(("mil", "thou"))
    if not 0 < (MIL_UM * number if in_mil else number) <= MOST_UM:
        what = f"{text} is no paint"
        do = "Check the number and the unit"
        return {}, {"reading": Problem(where="reading", what=what, do=do)}
    item: dict[str, Any] = {"panel": typed.get("panel", ""), "spot": typed.get("spot") or "1"}
    item["reading_mil" if in_mil else "reading_um"] = number
    for axis in ("x_mm", "y_mm"):
        if _NUMBER.fullmatch(typed.get(axis, "")):
            item[axis] = float(typed[axis].replace(",", "."))
    if typed.get("layer") in {"total", "clear"}:
        item["layer"] = typed["layer"]
    return item, {}


def whole(text: str, *, most: int = 2**31) -> int | None:
    """Return a whole number from 0 up to `most` that stands in an address or a hidden input.

    Examples
    --------
    >>> whole("12"), whole("²"), whole("-1"), whole("9" * 30)
    (12, None, None, None)
    """
    if not (text.isascii() and text.isdecimal() and len(text) <= 12):
        return None
    return number if (number := int(text)) <= most else None


def shown(value: object) -> str:
    """Return a job-file value as it stands in an input."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return "; ".join(map(shown, value))
    return "" if value is None else str(value)


def texts(form: Mapping[str, object]) -> dict[str, str]:
    """Return the text inputs of a posted form."""
    return {name: value for name, value in form.items() if isinstance(value, str)}
