"""Quantity types for files that people write: ``"4.25 m"`` in the file, a float inside.

Each class is a float in the unit that its name says. :func:`decode` is the hook that msgspec calls
for them, :func:`schema` the one that describes them in a JSON Schema.
"""

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from types import MappingProxyType
from typing import Any

from leastcut.car.units import QuantityError, parse

# Between the two halves of a message: what is wrong, what to do.
SEPARATOR = "\x1f"


class Millimetres(float):
    """A length [mm]."""


class Micrometres(float):
    """A thickness [µm]."""


class ShownMicrometres(float):
    """What a gauge shows [µm]; on bare metal it may be a little below zero."""


class Newtons(float):
    """A force [N]."""


class PerMinute(float):
    """A rate of turning [1/min]."""


class MillimetresPerSecond(float):
    """A speed [mm/s]."""


class Watts(float):
    """A power [W]."""


class Volts(float):
    """A voltage [V]."""


class Amperes(float):
    """A current [A]."""


class MetresPerSecondSquared(float):
    """A vibration magnitude [m/s²]."""


class CubicMetres(float):
    """A volume of air [m³]."""


class Millilitres(float):
    """A volume of liquid [ml]."""


class Metres(float):
    """A length of cord [m]."""


class SquareMillimetres(float):
    """A cross-section of a conductor [mm²]."""


class Celsius(float):
    """A temperature [°C]."""


class Amount(Decimal):
    """An exact amount of money or a percentage, written as text or as a number."""


class Minutes(float):
    """A duration [min]."""


UNITS: Mapping[type, tuple[str, str]] = MappingProxyType({
    Millimetres: ("millimeter", "4250 mm"),
    Micrometres: ("micrometer", "120 µm"),
    ShownMicrometres: ("micrometer", "-1 µm"),
    Newtons: ("newton", "45 N"),
    PerMinute: ("1/minute", "4800 rpm"),
    MillimetresPerSecond: ("millimeter/second", "40 mm/s"),
    Watts: ("watt", "500 W"),
    Volts: ("volt", "230 V"),
    Amperes: ("ampere", "4 A"),
    MetresPerSecondSquared: ("meter/second**2", "6 m/s²"),
    CubicMetres: ("meter**3", "60 m³"),
    Millilitres: ("milliliter", "250 ml"),
    Metres: ("meter", "25 m"),
    SquareMillimetres: ("millimeter**2", "1.5 mm²"),
    Celsius: ("degC", "18 °C"),
    Minutes: ("minute", "45 min"),
})  # fmt: skip

# Quantities that may be below zero; every other is a size.
_SIGNED = frozenset({Celsius, ShownMicrometres})


def decode(kind: type, value: object) -> object:
    """Read a quantity of one of the classes above; msgspec's hook for types it does not know.

    Raises
    ------
    ValueError
        If it cannot be read or is below zero; the text is ``what`` + SEPARATOR + ``do``.
    NotImplementedError
        If `kind` is none of the classes above.
    """
    if kind is Amount:
        return _amount(value)
    if kind not in UNITS:
        raise NotImplementedError(kind)
    unit, example = UNITS[kind]
    try:
        number = parse(value, unit)
    except QuantityError as error:
        raise ValueError(f"{error.what}{SEPARATOR}{error.do}") from None
    if number < 0 and kind not in _SIGNED:
        raise ValueError(f'{value!r} is below zero{SEPARATOR}Write a size, such as "{example}"')
    return kind(number)


def _amount(value: object) -> Amount:
    do = 'Write it as text or a number with a decimal point, such as "48.50"'
    try:
        amount = Amount(str(value))
    except InvalidOperation:
        raise ValueError(f"cannot read {value!r} as an amount{SEPARATOR}{do}") from None
    if not amount.is_finite() or amount < 0:
        raise ValueError(f"{value!r} is not an amount of zero or more{SEPARATOR}{do}")
    return amount


def schema(kind: type) -> dict[str, Any]:
    """Describe a quantity in JSON Schema: a string with number and unit."""
    if kind is Amount:
        return {
            "type": ["string", "number"],
            "description": "An exact amount.",
            "examples": ["48.50"],
        }
    _, example = UNITS[kind]
    return {"type": "string", "description": (kind.__doc__ or "").strip(), "examples": [example]}
