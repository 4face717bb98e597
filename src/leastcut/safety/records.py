"""Cautions and the facts behind them, as immutable records."""

import msgspec


class Caution(msgspec.Struct, frozen=True, kw_only=True):
    """One caution, shown at the stage where it matters, with its source.

    ``stage`` is one of the stage words; ``panel`` narrows it to a panel where it applies to one.
    """

    id: str
    stage: str
    what: str
    do: str
    source: str
    panel: str | None = None
