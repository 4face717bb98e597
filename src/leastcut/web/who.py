"""Who asks: one record beside every request, and the token that their forms carry."""

import hmac
from hashlib import sha256
from typing import Literal

import msgspec
from starlette.exceptions import HTTPException
from starlette.requests import Request

Role = Literal["owner", "detailer", "learner", "client"]
Right = Literal["read", "write", "settle", "price", "share", "people"]

COOKIE = "leastcut_device"
CSRF_HEADER = "x-leastcut-csrf"
CSRF_FIELD = "csrf"

RIGHTS: dict[Role, frozenset[Right]] = {
    "owner": frozenset({"read", "write", "settle", "price", "share", "people"}),
    "detailer": frozenset({"read", "write", "settle", "price", "share"}),
    "learner": frozenset({"read", "write"}),
    "client": frozenset(),
}


class Who(msgspec.Struct, frozen=True, kw_only=True):
    """The person behind a request.

    Attributes
    ----------
    person : str
        Name, as it stands beside facts.
    role : {"owner", "detailer", "learner", "client"}
        What they may do, see `RIGHTS`.
    device, person_id : int or None
        Numbers in the shop's record; None for a client.
    csrf : str
        The token that every form of theirs carries; empty for a client, who sends none.
    lang, units : str
        As chosen by the person; empty when they did not.
    visit : int or None
        The one visit that a client's link shows.
    """

    person: str
    role: Role
    device: int | None = None
    person_id: int | None = None
    csrf: str = ""
    lang: str = ""
    units: str = ""
    visit: int | None = None

    def may(self, right: Right) -> bool:
        """Tell whether they have a right."""
        return right in RIGHTS[self.role]

    def sees(self, visit: int) -> bool:
        """Tell whether they may see a visit."""
        return self.may("read") or self.visit == visit


def who_of(request: Request) -> Who:
    """Return who asks.

    Raises
    ------
    HTTPException
        401 if nobody is known.
    """
    who = getattr(request.state, "who", None)
    if not isinstance(who, Who):
        raise HTTPException(401, "this device is not paired with the shop")
    return who


def need(request: Request, right: Right) -> Who:
    """Return who asks if they have a right.

    Raises
    ------
    HTTPException
        401 if nobody is known, 403 if they may not.
    """
    who = who_of(request)
    if not who.may(right):
        raise HTTPException(403, "your role in the shop does not allow this")
    return who


def csrf_of(device_key: str) -> str:
    """Return the token that a device's forms carry: made from its key, of which it tells nothing."""
    return hmac.new(device_key.encode(), b"leastcut form", sha256).hexdigest()


def same(one: str, other: str) -> bool:
    """Compare two secrets in a time that does not depend on where they differ."""
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode("utf-8", "replace"))
