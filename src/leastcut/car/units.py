"""Units at the edges: read what a person writes, show what a person reads.

Inside, every number is in the unit that its name ends with (``_um``, ``_mm``, ``_s``). A person
writes ``"4.5 mil"``, ``"13 ft 11 in"`` or ``"4.25 m"``; :func:`parse` turns that into one number
by way of the pint library. What most files say, a metric quantity in its usual symbol, is read
without loading it, which takes a third of a second; a test holds each of those to the library.
"""

import math
import re
from functools import cache, lru_cache
from typing import Any, Literal

from leastcut.errors import InputError

UnitSystem = Literal["metric", "us"]

# Written forms that pint reads differently or not at all.
_SPELLINGS = {
    '"': "inch",
    "'": "foot",
    "µm": "micrometer",
    "μm": "micrometer",
    "mil": "thou",  # the coating trade's mil is a thousandth of an inch
    "mils": "thou",
    "micron": "micrometer",
    "microns": "micrometer",
    "fl oz": "US_fluid_ounce",
    "floz": "US_fluid_ounce",
    "gal": "US_liquid_gallon",
    "°C": "degC",
    "°F": "degF",
    "C": "degC",
    "F": "degF",
    "cfm": "foot**3/minute",
    "rpm": "1/minute",
    "opm": "1/minute",
    "m²": "m**2",
    "ft²": "ft**2",
    "m2": "m**2",
    "ft2": "ft**2",
    "m³": "m**3",
    "m3": "m**3",
    "ft3": "ft**3",
    "m³/h": "m**3/hour",
    "m3/h": "m**3/hour",
    "m/s²": "m/s**2",
    "m/s2": "m/s**2",
}

# Metric symbols of the inside units and how many of the unit one is: read without the library.
_METRIC: dict[tuple[str, str], float] = {
    ("µm", "micrometer"): 1.0,
    ("μm", "micrometer"): 1.0,
    ("mm", "millimeter"): 1.0,
    ("cm", "millimeter"): 10.0,
    ("m", "millimeter"): 1000.0,
    ("m", "meter"): 1.0,
    ("mm²", "millimeter**2"): 1.0,
    ("m²", "meter**2"): 1.0,
    ("m2", "meter**2"): 1.0,
    ("m³", "meter**3"): 1.0,
    ("m3", "meter**3"): 1.0,
    ("ml", "milliliter"): 1.0,
    ("mm/s", "millimeter/second"): 1.0,
    ("m/s²", "meter/second**2"): 1.0,
    ("m/s2", "meter/second**2"): 1.0,
    ("s", "second"): 1.0,
    ("min", "minute"): 1.0,
    ("rpm", "1/minute"): 1.0,
    ("N", "newton"): 1.0,
    ("W", "watt"): 1.0,
    ("V", "volt"): 1.0,
    ("A", "ampere"): 1.0,
    ("°C", "degC"): 1.0,
}

# What a quantity is called when it is missing its unit: kind -> (unit of the result, example).
_EXAMPLES = {
    "micrometer": '"120 µm" or "4.7 mil"',
    "millimeter": '"4250 mm", "4.25 m" or "13 ft 11 in"',
    "second": '"90 s" or "5 min"',
    "degC": '"18 °C" or "64 °F"',
    "newton": '"40 N" or "9 lbf"',
    "milliliter": '"250 ml" or "8 fl oz"',
    "watt": '"900 W"',
    "volt": '"230 V"',
    "1/minute": '"4800 rpm"',
    "millimeter/second": '"40 mm/s" or "1.6 in/s"',
    "meter**3": '"60 m³" or "2100 ft3"',
    "meter**3/hour": '"120 m³/h" or "70 cfm"',
    "meter/second**2": '"6 m/s²"',
}

_PART = re.compile(
    r"\s*([-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)"  # a number, comma or point
    r"\s*(fl\s?oz|[°µμ\"'A-Za-z%][^\s\d]*(?:[23](?!\d))?(?:/[a-z]+[23²³]?)?)"  # its unit
)

# A comma before exactly three digits: a decimal comma here, a thousands comma there.
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")

# How each inside unit is shown: system -> (unit for pint, symbol, decimals).
_SHOWN: dict[str, dict[UnitSystem, tuple[str, str, int]]] = {
    "micrometer": {"metric": ("micrometer", "µm", 1), "us": ("thou", "mil", 2)},
    "millimeter": {"metric": ("millimeter", "mm", 0), "us": ("inch", "in", 1)},
    "meter**2": {"metric": ("meter**2", "m²", 1), "us": ("foot**2", "ft²", 0)},
    "milliliter": {"metric": ("milliliter", "ml", 0), "us": ("US_fluid_ounce", "fl oz", 1)},
    "degC": {"metric": ("degC", "°C", 0), "us": ("degF", "°F", 0)},
    "newton": {"metric": ("newton", "N", 0), "us": ("pound_force", "lbf", 1)},
    "millimeter/second": {
        "metric": ("millimeter/second", "mm/s", 0),
        "us": ("inch/second", "in/s", 1),
    },
    "meter": {"metric": ("meter", "m", 1), "us": ("foot", "ft", 0)},
}


class QuantityError(InputError):
    """A quantity that cannot be read: no number, no unit, or a unit of the wrong kind."""


@cache
def _registry() -> Any:
    """Return the one unit registry; loading it takes a third of a second, so only when needed."""
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)


def parse(text: object, unit: str) -> float:
    """Read one quantity and return it as a number in `unit`.

    Parameters
    ----------
    text : object
        What the person wrote: a number with its unit, or several to be added
        (``"13 ft 11 in"``). A bare number is refused: its unit would be a guess.
    unit : str
        Unit of the result in the unit library's words, for example ``"micrometer"``.

    Returns
    -------
    float
        The quantity in `unit`; finite.

    Raises
    ------
    QuantityError
        If there is no number, no unit, an unknown unit, a unit of another kind, or a comma that
        may part thousands or decimals.

    Examples
    --------
    >>> round(parse("4.0 mil", "micrometer"), 6)
    101.6
    >>> round(parse("13 ft 11 in", "millimeter"), 3)
    4241.8
    """
    example = _EXAMPLES.get(unit, f"a number of {unit}")
    do = f"Write a number with its unit, such as {example}"
    if not isinstance(text, str):
        raise QuantityError(f"{text!r} has no unit", do=do)
    parts = _split(text)
    if parts is None:
        raise QuantityError(f"cannot read {text!r} as a quantity", do=do)
    if len(parts) > 1 and unit == "degC":
        raise QuantityError(f"{text!r} holds more than one temperature", do=do)
    try:
        value = sum(_convert(number, name, unit) for number, name in parts)
    except QuantityError as error:
        error.do = do
        raise
    if not math.isfinite(value):
        raise QuantityError(f"{text!r} is not a finite quantity", do=do)
    return value


def _split(text: str) -> list[tuple[float, str]] | None:
    """Cut ``"13 ft 11 in"`` into its numbers and units, or return None.

    A sign stands before the first number only, and holds for all: ``"-1 ft 6 in"`` is -18 in.
    """
    parts: list[tuple[float, str]] = []
    position = 0
    for match in _PART.finditer(text):
        if match.start() != position or (parts and match[1][0] in "+-"):
            return None
        parts.append((_number(match[1]), match[2].strip()))
        position = match.end()
    if not parts or text[position:].strip():
        return None
    sign = math.copysign(1.0, parts[0][0])
    return [parts[0], *((sign * number, name) for number, name in parts[1:])]


def _number(written: str) -> float:
    """Return a number with point or comma; refuse ``4,250``, which is read two ways."""
    if _THOUSANDS.fullmatch(written):
        plain = written.replace(",", "")
        raise QuantityError(
            f"{written!r} may mean {plain} or {written.replace(',', '.')}",
            do=f"Write {plain} or {written.replace(',', '.')}0, with its unit",
        )
    return float(written.replace(",", "."))


@lru_cache(8192)
def _convert(number: float, name: str, unit: str) -> float:
    if (name, unit) in _METRIC:
        return number * _METRIC[name, unit]
    import pint

    registry = _registry()
    try:
        return float(registry.Quantity(number, _SPELLINGS.get(name, name)).to(unit).magnitude)
    except pint.DimensionalityError:
        raise QuantityError(f"{name!r} does not measure this") from None
    except Exception:  # noqa: BLE001 - the unit library raises many kinds on odd unit names
        raise QuantityError(f"unknown unit {name!r}") from None


def convert(value: float, unit: str, to: str) -> float:
    """Return `value` in `unit` as a number in the unit `to`.

    Examples
    --------
    >>> convert(25.4, "micrometer", "thou")
    1.0
    """
    if unit == to:
        return value
    return float(_registry().Quantity(value, unit).to(to).magnitude)


def show(value: float, unit: str, units: UnitSystem = "metric") -> str:
    r"""Return `value` (in `unit`) as a person reads it in the unit system `units`.

    Parameters
    ----------
    value : float
        The number, in `unit`.
    unit : str
        One of the inside units that have a shown form, such as ``"micrometer"``.
    units : {"metric", "us"}
        Which system the reader uses.

    Returns
    -------
    str
        Number and symbol with a no-break space.

    Examples
    --------
    >>> show(101.6, "micrometer", "us")
    '4.00\xa0mil'
    >>> show(0.8, "micrometer", "us")
    '0.031\xa0mil'
    """
    target, symbol, decimals = _SHOWN[unit][units]
    number = convert(value, unit, target)
    if target == "thou" and 0.0005 <= abs(number) < 0.0995:
        decimals += 1  # a cut of less than a tenth of a mil: two figures that count
    return f"{number:.{decimals}f}\u00a0{symbol}"


def symbol(unit: str, units: UnitSystem = "metric") -> str:
    """Return the symbol that :func:`show` writes for an inside unit."""
    return _SHOWN[unit][units][1]


def prose(text: str, units: UnitSystem) -> str:
    r"""Return a sentence with its metric quantities as the reader's system shows them.

    Temperatures stay as they are: a sentence does not tell a level from a difference.

    Parameters
    ----------
    text : str
        A sentence that may hold quantities such as ``2.1 µm``.
    units : {"metric", "us"}
        Which system the reader uses.

    Examples
    --------
    >>> prose("at most 2.54 µm on 10.0 m², 99 mm/cm² seen", "us")
    'at most 0.10\xa0mil on 108\xa0ft², 99 mm/cm² seen'
    """
    if units == "metric":
        return text
    return _written().sub(lambda m: show(float(m[1]), _written_units()[m[2]], units), text)


@cache
def _written_units() -> dict[str, str]:
    """Return the inside unit of each metric symbol that is translated in prose."""
    return {shown["metric"][1]: unit for unit, shown in _SHOWN.items() if unit != "degC"}


@cache
def _written() -> re.Pattern[str]:
    symbols = "|".join(sorted(map(re.escape, _written_units()), key=len, reverse=True))
    return re.compile(rf"(\d+(?:\.\d+)?)[ \u00a0]({symbols})(?![\w/²³])")
