"""The ledger as an open file: JSON that a person can read, sealed so that a change shows.

Every entry carries the first 16 hex digits of the SHA-256 of its own content, the file the SHA-256
of all of it. A checksum shows accidents and careless edits; whoever recomputes it can still forge.
Against that a shop may seal with a secret key (HMAC-SHA-256; source: RFC 2104; status: memory).
"""

import hashlib
import hmac
from typing import Any

import msgspec

from leastcut.handover.ledger import UNITS, Ledger, LedgerEntry, LedgerError, add

FORMAT = 1


class LedgerFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What stands in a ledger file."""

    leastcut_ledger: int
    car: str
    units: dict[str, str]
    entries: tuple["FiledEntry", ...]
    sha256: str
    sealed: str | None = None


class FiledEntry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One entry with the hash of its content as `id`."""

    id: str
    entry: LedgerEntry


def to_json(ledger: Ledger, *, key: bytes | None = None) -> bytes:
    """Return the ledger as JSON in UTF-8, indented, with its checksums; sealed when `key` is given.

    The same ledger gives the same bytes.
    """
    content = _content(ledger)
    body: dict[str, Any] = {
        "leastcut_ledger": FORMAT,
        "car": ledger.car,
        "units": UNITS,
        "entries": [{"id": e.id, "entry": e} for e in ledger.entries],
        "sha256": hashlib.sha256(content).hexdigest(),
    }
    if key is not None:
        body["sealed"] = _seal(content, key)
    return msgspec.json.format(msgspec.json.encode(body), indent=2) + b"\n"


def from_json(data: bytes, *, where: str = "ledger", key: bytes | None = None) -> Ledger:
    """Read a ledger file and check it.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        Its name, for messages.
    key : bytes, optional
        The shop's secret; when given, a file without a fitting seal is refused.

    Returns
    -------
    Ledger
        Its entries, in order.

    Raises
    ------
    LedgerError
        If it is no ledger file, an entry was altered (the message names it), entries were added
        or removed, or the seal does not fit.
    """
    try:
        filed = msgspec.json.decode(data, type=LedgerFile)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise LedgerError(
            f"it is no ledger file: {error}", where=where, do="Give a file that leastcut wrote"
        ) from None
    _check_format(filed, where)
    for n, one in enumerate(filed.entries, 1):
        if one.id != one.entry.id:
            raise _altered(f"entry {n} ({one.entry.panel}, {one.entry.when})", where)
    ledger = _rebuilt(filed, where)
    content = _content(ledger)
    if hashlib.sha256(content).hexdigest() != filed.sha256:
        raise _altered("the list of entries", where)
    if key is not None and not hmac.compare_digest(filed.sealed or "", _seal(content, key)):
        raise LedgerError(
            "its seal does not fit the key",
            where=where,
            do="Ask the shop that wrote it, or open it without a key",
        )
    return ledger


def schema() -> dict[str, Any]:
    """Return the JSON Schema of the ledger file."""
    return msgspec.json.schema(LedgerFile)


def _rebuilt(filed: LedgerFile, where: str) -> Ledger:
    try:
        return add(Ledger(car=filed.car), (one.entry for one in filed.entries))
    except LedgerError as error:
        raise error.at(where) from None


def _check_format(filed: LedgerFile, where: str) -> None:
    if filed.leastcut_ledger != FORMAT:
        raise LedgerError(
            f"format {filed.leastcut_ledger} is not known",
            where=where,
            do=f"Use a leastcut that reads format {filed.leastcut_ledger}",
        )


def _altered(what: str, where: str) -> LedgerError:
    return LedgerError(
        f"{what} was altered after it was written",
        where=where,
        do="Use an untouched copy; enter a correction as a new entry",
    )


def _content(ledger: Ledger) -> bytes:
    return msgspec.json.encode(ledger, order="sorted")


def _seal(content: bytes, key: bytes) -> str:
    return hmac.new(key, content, hashlib.sha256).hexdigest()
