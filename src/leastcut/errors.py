"""The error tree and its gentle sibling, the problem record.

::

    LeastcutError            anything we foresaw
    └── InputError           the user's input cannot be used: exit code 2
        ├── car.units.QuantityError, car.outline.OutlineError, …
        └── (each class stands beside the code that raises it)

An error says *where* it is, *what* is wrong and what to *do*. Only the shell (command, page)
turns one into an exit code or a status. Faults in data that still leave something to work with are
not raised: they come back as :class:`Problem` values beside the result.
"""

import msgspec


class Problem(msgspec.Struct, frozen=True, kw_only=True):
    """One thing wrong in the user's data.

    Attributes
    ----------
    where : str
        File, line and field as far as known, for example ``demo.toml:12 car.length``.
    what : str
        What is wrong, with the offending value.
    do : str
        What the user can do about it.
    """

    where: str
    what: str
    do: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.do}"


class Refusal(msgspec.Struct, frozen=True, kw_only=True):
    """A measurement that cannot carry the answer: why, and what to do instead."""

    why: str
    do: str


class LeastcutError(Exception):
    """Base of every error that leastcut raises on purpose."""


class InputError(LeastcutError):
    """Input that cannot be used.

    Parameters
    ----------
    what : str
        What is wrong, with the offending value.
    where : str
        File, line, field or argument; may be filled in later by :meth:`at`.
    do : str
        What the user can do about it.
    """

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.do = do

    def at(self, where: str) -> "InputError":
        """Return the same error placed at `where`, in front of what it already knows."""
        self.where = f"{where} {self.where}".strip()
        return self

    def problem(self) -> Problem:
        """Return the error as a value."""
        return Problem(where=self.where or "input", what=self.what, do=self.do)

    def __str__(self) -> str:
        return str(self.problem())
