"""Links for clients: each shows the handover of one visit, to whoever holds it, for a while."""

import msgspec
from sqlalchemy import and_, insert, select, update

from leastcut.shop import audit, keys
from leastcut.shop.opening import Database
from leastcut.shop.tables import links, visits
from leastcut.shop.trouble import NoRowError, ShopError

LINK_LIFE_S = 30 * 86400.0
LONGEST_LINK_S = 366 * 86400.0


class LinkError(ShopError):
    """A link that cannot be made."""


class Link(msgspec.Struct, frozen=True, kw_only=True):
    """A client's link, without what opens it."""

    link: int
    visit: int
    expires_s: float
    revoked_s: float | None


class Links:
    """The links of one shop; safe from several threads.

    Parameters
    ----------
    database : Database
        The shop's.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def new(self, visit: int, *, by: int | None, now_s: float, life_s: float = LINK_LIFE_S) -> str:
        """Make a link and return its token, which is not kept and cannot be shown again.

        Raises
        ------
        NoRowError
            If there is no such visit.
        LinkError
            If it shall live too long or not at all.
        """
        if not 0 < life_s <= LONGEST_LINK_S:
            raise LinkError(
                "a link lives for a minute to a year", where="days", do="Give a number of days"
            )
        token = keys.new_key()
        with self._database.writing() as connection:
            if connection.execute(select(visits.c.id).where(visits.c.id == visit)).first() is None:
                raise NoRowError("there is no such visit", where=f"visit {visit}", do="Choose one")
            row = insert(links).values(
                token_hash=keys.hashed(token), visit=visit, expires=now_s + life_s, made_by=by
            )
            link = int(connection.execute(row.returning(links.c.id)).scalar_one())
            told = {"where": f"visit {visit}", "detail": f"link {link}", "person": by}
            audit.note(connection, "link", at_s=now_s, **told)
        return token

    def visit(self, token: str, *, now_s: float) -> int | None:
        """Return the visit that a link shows, None when it shows none (any more)."""
        c = links.c
        good = and_(c.token_hash == keys.hashed(token), c.revoked.is_(None), c.expires > now_s)
        with self._database.reading() as connection:
            found = connection.execute(select(c.visit).where(good)).scalar()
        return None if found is None else int(found)

    def all(self, *, now_s: float, visit: int | None = None) -> tuple[Link, ...]:
        """Return the links that still open something, of one visit or of all; the newest first."""
        c = links.c
        query = select(
            c.id.label("link"),
            c.visit,
            c.expires.label("expires_s"),
            c.revoked.label("revoked_s"),
        ).where(c.revoked.is_(None), c.expires > now_s)
        if visit is not None:
            query = query.where(c.visit == visit)
        with self._database.reading() as connection:
            rows = connection.execute(query.order_by(c.id.desc())).mappings().all()
        return tuple(Link(**found) for found in rows)

    def revoke(self, link: int, *, by: int | None, now_s: float) -> None:
        """Shut a link.

        Raises
        ------
        NoRowError
            If there is no such link.
        """
        with self._database.writing() as connection:
            row = update(links).where(links.c.id == link).values(revoked=now_s)
            if connection.execute(row).rowcount != 1:
                raise NoRowError("there is no such link", where=f"link {link}", do="See the list")
            audit.note(connection, "link off", at_s=now_s, where=f"link {link}", person=by)
