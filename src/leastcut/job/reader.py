"""The reader's units in every sentence of a dossier: numbers were translated where they are shown."""

from typing import Any, TypeVar, cast

import msgspec

from leastcut.car.units import UnitSystem, prose

T = TypeVar("T")

# Names that somebody gave: they are not sentences, even where they hold a quantity.
NAMES = frozenset({
    "client", "date", "id", "label", "name", "overlay", "panel", "photo", "process", "shop", "spot",
})  # fmt: skip


def for_reader(record: T, units: UnitSystem) -> T:
    """Return a record with the quantities in its sentences in the reader's units.

    Parameters
    ----------
    record : record, tuple or text
        Anything that a dossier is made of; what holds no sentence comes back as it is.
    units : {"metric", "us"}
        Which system the reader uses.

    Returns
    -------
    the same kind
        Equal to the record where nothing had to change.
    """
    if units == "metric":
        return record
    changed: Any = record
    if isinstance(record, str):
        changed = prose(record, units)
    elif isinstance(record, tuple):
        changed = tuple(for_reader(item, units) for item in record)
    elif isinstance(record, msgspec.Struct):
        now = {name: getattr(record, name) for name in record.__struct_fields__}
        new = {n: v if n in NAMES else for_reader(v, units) for n, v in now.items()}
        if any(new[name] is not now[name] for name in now):
            changed = msgspec.structs.replace(record, **new)
    return cast("T", changed)
