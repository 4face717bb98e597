"""The one place where typed quantities of the safety and protect stages are checked."""

import math

from leastcut.errors import InputError


class ExposureError(InputError):
    """A quantity of a person's exposure or of a room that cannot be true."""


def within(name: str, value: float, low: float, high: float, *, unit: str, why: str = "") -> float:
    """Return `value` if it is finite and low <= value <= high.

    Parameters
    ----------
    name : str
        What the quantity is called on the command line or in the job file.
    value, low, high : float
        The quantity and its bounds, in `unit`.
    unit : str
        Unit, for the message.
    why : str
        Why the bound stands, for the message.

    Returns
    -------
    float
        `value`, unchanged.

    Raises
    ------
    ExposureError
        If it is not a number or outside the bounds.

    Examples
    --------
    >>> within("minutes", 30.0, 0.0, 1440.0, unit="min")
    30.0
    """
    if not (math.isfinite(value) and low <= value <= high):
        reason = f": {why}" if why else ""
        raise ExposureError(
            f"{value:g} {unit} is outside {low:g} to {high:g} {unit}{reason}",
            where=name,
            do=f"Give {name.replace('_', ' ')} in {unit}, from {low:g} to {high:g}",
        )
    return value
