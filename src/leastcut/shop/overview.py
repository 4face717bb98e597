"""How much the record holds, and where."""

import msgspec
from sqlalchemy import func, select

from leastcut.shop.store import Shop
from leastcut.shop.tables import VERSION, cars, facts, photos, visits


class Overview(msgspec.Struct, frozen=True, kw_only=True):
    """Places and counts; no place shows a password."""

    database: str
    blobs: str
    tables: str
    cars: int
    visits: int
    facts: int
    photos: int
    photo_bytes: int


def look(shop: Shop) -> Overview:
    """Return where the record is and what it holds."""
    each = select(photos.c.digest, func.max(photos.c.bytes).label("n")).group_by(photos.c.digest)
    once = each.subquery()
    with shop.database.snapshot() as reader:
        n_cars, n_visits, n_facts = (
            int(reader.execute(select(func.count()).select_from(table)).scalar_one())
            for table in (cars, visits, facts)
        )
        n_photos, n_bytes = reader.execute(
            select(func.count(), func.coalesce(func.sum(once.c.n), 0)).select_from(once)
        ).one()
    return Overview(
        database=shop.database.where,
        blobs=shop.blobs.where,
        tables=VERSION,
        cars=n_cars,
        visits=n_visits,
        facts=n_facts,
        photos=int(n_photos),
        photo_bytes=int(n_bytes),
    )
