"""Numbers on the command line: a bare number is in the option's own unit, another may be written."""

from typing import Any

import click


class Typed(click.ParamType[float]):
    """A quantity in `unit` (the unit library's word), such as ``25`` or ``"82 ft"`` for metres."""

    name = "number"

    def __init__(self, unit: str) -> None:
        self.unit = unit

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number in the option's unit.

        Raises
        ------
        QuantityError
            If it is no number, or its unit measures something else.
        """
        del ctx
        from leastcut.car.units import QuantityError, parse

        try:
            return float(value)
        except ValueError:
            pass
        try:
            return parse(value, self.unit)
        except QuantityError as error:
            raise error.at(param.opts[0] if param else "") from None


METRES, CUBIC_METRES = Typed("meter"), Typed("meter**3")
MILLILITRES, MINUTES = Typed("milliliter"), Typed("minute")
CELSIUS, SQUARE_METRES, MICROMETRES = Typed("degC"), Typed("meter**2"), Typed("micrometer")
VOLTS, AMPERES, WATTS = Typed("volt"), Typed("ampere"), Typed("watt")
