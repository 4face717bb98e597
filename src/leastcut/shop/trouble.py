"""What can be wrong with the shop's record, each with what to do; the databases' errors sorted."""

from collections.abc import Iterator
from contextlib import contextmanager
from errno import EDQUOT, EFBIG, ENOSPC, EROFS

from sqlalchemy.exc import DBAPIError

from leastcut.errors import InputError


class ShopError(InputError):
    """Something about the shop's record that a person must settle."""


class NoShopError(ShopError):
    """There is no shop at this place, or it does not answer."""


class NewerShopError(ShopError):
    """The shop was written by a newer leastcut."""


class ShopBusyError(ShopError):
    """Another program holds the record."""


class ShopFullError(ShopError):
    """There is no room left; nothing of the last step was kept, all before it is safe."""


class ShopReadOnlyError(ShopError):
    """The record may be read but not written."""


class ShopDamagedError(ShopError):
    """The database file is not whole."""


class NoRowError(ShopError):
    """A car, visit or photo that the shop does not hold."""


_BACKUP = "Run `leastcut shop verify`; if it finds faults, `leastcut shop restore` the last backup"
_TOLD: dict[type[ShopError], tuple[str, str]] = {
    ShopFullError: (
        "no room left on the disk: the last entry was not kept, everything before it is safe",
        "Free some space, or run `leastcut shop prune`; then enter it again",
    ),
    ShopReadOnlyError: (
        "it may not be written: nothing was changed",
        "Give the user that runs leastcut the right to write there, or mount the disk writable",
    ),
    ShopBusyError: (
        "another program holds the record: nothing was changed",
        "Wait a moment and try again; if it stays, stop the other leastcut",
    ),
    ShopDamagedError: ("the database file is damaged", _BACKUP),
    NoShopError: (
        "the database does not answer",
        "Look whether the server runs and whether address, user and password are right",
    ),
}
_SQLITE = {
    "SQLITE_FULL": ShopFullError,
    "SQLITE_READONLY": ShopReadOnlyError,
    "SQLITE_PERM": ShopReadOnlyError,
    "SQLITE_BUSY": ShopBusyError,
    "SQLITE_LOCKED": ShopBusyError,
    "SQLITE_CORRUPT": ShopDamagedError,
    "SQLITE_NOTADB": ShopDamagedError,
    "SQLITE_CANTOPEN": NoShopError,
    # SQLite tells a refused write (quota, limit on a file's size) as an error of the disk.
    "SQLITE_IOERR_WRITE": ShopFullError,
    "SQLITE_IOERR": ShopDamagedError,
}
# Classes and codes of SQLSTATE, PostgreSQL 15 manual, appendix A (source: from memory).
_POSTGRES = {
    "53100": ShopFullError,
    "25006": ShopReadOnlyError,
    "42501": ShopReadOnlyError,
    "55P03": ShopBusyError,
    "40": ShopBusyError,
    "57014": ShopBusyError,
    "53": ShopBusyError,
    "XX": ShopDamagedError,
    "58": ShopDamagedError,
    "08": NoShopError,
    "28": NoShopError,
    "3D": NoShopError,
    "57P": NoShopError,
}


def sort_of(error: DBAPIError) -> type[ShopError] | None:
    """Return the class of trouble that a database's error tells; None when it is our own fault."""
    orig = error.orig
    name = getattr(orig, "sqlite_errorname", None)
    if name:
        return _longest(_SQLITE, name)
    state = getattr(orig, "sqlstate", None)
    if state:
        return _longest(_POSTGRES, state)
    # psycopg has no code for a server that cannot be reached or went away.
    return NoShopError if error.connection_invalidated or _away(orig) else None


def _away(orig: BaseException | None) -> bool:
    return type(orig).__name__ == "OperationalError" and type(orig).__module__ == "psycopg"


def _longest(table: dict[str, type[ShopError]], name: str) -> type[ShopError] | None:
    fits = [start for start in table if name.startswith(start)]
    return table[max(fits, key=len)] if fits else None


def told(kind: type[ShopError], where: str) -> ShopError:
    """Return the trouble as an error with its sentence."""
    what, do = _TOLD[kind]
    return kind(what, where=where, do=do)


def of_system(error: OSError, where: str) -> ShopError:
    """Return what the operating system refused as an error with its sentence."""
    if error.errno in {ENOSPC, EDQUOT, EFBIG}:
        return told(ShopFullError, where)
    if error.errno == EROFS or isinstance(error, PermissionError):
        return told(ShopReadOnlyError, where)
    what = f"cannot use it: {error.strerror or error}"
    return ShopError(what, where=where, do="Look whether the disk is there and healthy")


@contextmanager
def sorting(where: str) -> Iterator[None]:
    """Turn what a database or a disk refuses inside the block into a sentence for a person.

    Parameters
    ----------
    where : str
        The shop's place as it may be shown: no password in it.

    Raises
    ------
    ShopError
        One of the classes above.
    """
    try:
        yield
    except DBAPIError as error:
        kind = sort_of(error)
        if kind is None:
            raise
        raise told(kind, where) from error
    except OSError as error:
        raise of_system(error, where) from error
