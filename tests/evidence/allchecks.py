"""Every check of every chapter."""

from functools import cache

import filmvalues
import planvalues
import safetyvalues
from published import Check, checks

FILES = {
    "checks.csv": safetyvalues.QUANTITIES,
    "safety.csv": safetyvalues.QUANTITIES,
    "film.csv": filmvalues.QUANTITIES,
    "optics.csv": filmvalues.QUANTITIES,
    "plan.csv": planvalues.QUANTITIES,
    "testspot.csv": planvalues.QUANTITIES,
    "car.csv": planvalues.QUANTITIES,
    "polish.csv": planvalues.QUANTITIES,
}


@cache
def every() -> tuple[Check, ...]:
    """Return the checks in the order of the files."""
    return tuple(check for file, known in FILES.items() for check in checks(file, known))
