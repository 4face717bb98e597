"""Make room: what can be worked out again, and blobs that nothing points at. Never evidence."""

from contextlib import suppress

import msgspec
from sqlalchemy import Connection, delete, func, select, text

from leastcut.shop.copying import linked
from leastcut.shop.derived import hold
from leastcut.shop.store import Shop
from leastcut.shop.tables import DERIVED, photos, pictures
from leastcut.shop.trouble import ShopBusyError, ShopFullError, sorting

DAY_S = 86_400.0
_AT_ONCE = 200


class Pruned(msgspec.Struct, frozen=True, kw_only=True):
    """What went: blobs with their size, remains of interrupted uploads, results and pictures."""

    blobs: int
    bytes: int
    remains: int
    derived: int


def prune(
    shop: Shop, *, now_s: float, grace_s: float = DAY_S, derived: bool = False, dry: bool = False
) -> Pruned:
    """Remove unlinked blobs, and on request everything that can be worked out again.

    Parameters
    ----------
    shop : Shop
        May be in use.
    now_s : float
        The clock [Unix s].
    grace_s : float
        Blobs younger than this stay [s]: their upload may be under way.
    derived : bool
        Whether findings, pictures and results go too; the workbench works them out anew.
    dry : bool
        Only say what would go.

    Returns
    -------
    Pruned
        What went, or would go.
    """
    n_derived = _drop_derived(shop, dry=dry) if derived else 0
    with shop.database.snapshot() as reader:
        kept = {bytes.fromhex(digest) for digest, _ in linked(reader)}
        if not (derived and dry):
            kept |= {bytes.fromhex(d) for d in reader.execute(select(pictures.c.digest)).scalars()}
    before_s = now_s - grace_s
    idle = [
        (digest, size)
        for digest, size, written_s in shop.blobs.all()
        if written_s < before_s and bytes.fromhex(digest) not in kept
    ]
    if dry:
        return Pruned(blobs=len(idle), bytes=_sum(idle), remains=0, derived=n_derived)
    gone: list[tuple[str, int]] = []
    for start in range(0, len(idle), _AT_ONCE):
        gone += _drop_blobs(shop, idle[start : start + _AT_ONCE])
    remains = shop.blobs.sweep(before_s)
    _shrink(shop)
    return Pruned(blobs=len(gone), bytes=_sum(gone), remains=remains, derived=n_derived)


def _sum(blobs: list[tuple[str, int]]) -> int:
    return sum(size for _, size in blobs)


def _drop_derived(shop: Shop, *, dry: bool) -> int:
    n = 0
    with shop.writing() as connection:
        for table in DERIVED:
            n += int(connection.execute(select(func.count()).select_from(table)).scalar_one())
            if not dry:
                connection.execute(delete(table))
    return n


def _drop_blobs(shop: Shop, idle: list[tuple[str, int]]) -> list[tuple[str, int]]:
    """Drop what is still unlinked, while nobody can link it."""
    with shop.writing() as connection:
        hold(shop.database, connection, alone=True)
        taken = _linked_meanwhile(connection, [digest for digest, _ in idle])
        gone = [(digest, size) for digest, size in idle if digest not in taken]
        for digest, _ in gone:
            shop.blobs.drop(digest)
    return gone


def _linked_meanwhile(connection: Connection, digests: list[str]) -> set[str]:
    return {
        found
        for table in (photos, pictures)
        for found in connection.execute(
            select(table.c.digest).where(table.c.digest.in_(digests))
        ).scalars()
    }


def _shrink(shop: Shop) -> None:
    """Give the database's own free space back to the disk."""
    database = shop.database
    if database.sqlite:
        # Where there is no room for the smaller copy, the free pages are used again anyway.
        with suppress(ShopFullError, ShopBusyError), database.outside() as ask:
            if ask("PRAGMA freelist_count") > ask("PRAGMA page_count") // 10:
                ask("VACUUM")
            ask("PRAGMA wal_checkpoint(TRUNCATE)")
        return
    with sorting(database.where), database.engine.connect() as connection:
        alone = connection.execution_options(isolation_level="AUTOCOMMIT")
        for table in DERIVED:
            alone.execute(text(f"VACUUM {table.name}"))
