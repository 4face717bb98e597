"""The door's rules, each a plain question to a request's head."""

from typing import Any
from urllib.parse import urlsplit

from leastcut.errors import InputError
from leastcut.shop.trouble import (
    NoRowError,
    NoShopError,
    ShopBusyError,
    ShopDamagedError,
    ShopFullError,
    ShopReadOnlyError,
)
from leastcut.web.asks import Ask, Refused, own_origin
from leastcut.web.bodies import too_long
from leastcut.web.who import Who, same

OPEN_FOLDERS = ("/static/", "/fonts/")
# Where codes and passwords are tried.
DOORS = frozenset({"/enter", "/pair", "/sign-in"})
OPEN = DOORS | {"/healthz", "/metrics", "/favicon.ico", "/authority.crt"}
LINK = "/see/"
# Routes whose work notes itself in the audit, in its own transaction.
NOTED = ("/people", "/devices", "/links", "/v/{visit:int}/links", "/pair", "/sign-")
# Parts of a change that is noted when it begins and ends: the pieces of a photo.
PARTS = ("PUT /api/uploads/{upload}",)


def is_open(ask: Ask) -> bool:
    """Tell whether anybody may ask for this."""
    return ask.path in OPEN or ask.path.startswith(OPEN_FOLDERS)


def tries_a_secret(ask: Ask) -> bool:
    """Tell whether a request brings a code or password that may be a guess."""
    return ask.path in DOORS and (not ask.reads or (ask.path == "/enter" and bool(ask.query)))


def not_let_in(ask: Ask, who: Who | None) -> Refused | None:
    """Refuse strangers, and clients outside their link."""
    if ask.path.startswith(LINK):
        if who is None:
            do = "Ask the shop for a new link"
            return Refused(status=404, why="this link shows nothing (any more)", do=do)
        if not ask.reads:
            do = "Ask the shop if something should change"
            return Refused(status=405, why="a client's link only shows", do=do)
        return None
    if who is None and not is_open(ask):
        do = "Ask the owner for a code: Settings, People, and scan it with this device"
        return Refused(status=401, why="this device is not paired with the shop", do=do)
    return None


def wrong_body(ask: Ask, most: int | None) -> Refused | None:
    """Refuse a body of a kind or length that is not taken, before any of it is read."""
    if most is None:
        return Refused(
            status=415, why="a body of this kind is not taken here", do="Send what the page sends"
        )
    if ask.length is not None and ask.length > most:
        return too_long(most)
    return None


def foreign(ask: Ask) -> Refused | None:
    """Refuse a change that a page of another site asks for."""
    if ask.reads or own_origin(ask):
        return None
    do = "Open the workbench itself and do it there"
    return Refused(status=403, why="another site asked for this change", do=do)


def wrong_token(who: Who, token: str | None) -> Refused | None:
    """Refuse a change whose form does not carry the device's own token."""
    if who.csrf and same(token or "", who.csrf):
        return None
    do = "Load the page again, then send it once more"
    return Refused(status=403, why="the form is not one that this device was given", do=do)


def local(path: str) -> str:
    """Return a path on this server, the start page in place of any other address.

    >>> local("/v/3"), local("//elsewhere/x"), local("https://elsewhere/")
    ('/v/3', '/', '/')
    """
    parts = urlsplit(path)
    fine = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return path if fine and not parts.scheme and not parts.netloc else "/"


def route_of(scope: Any) -> str:
    """Return the template of the path that answered: no number, digest, code or link in it."""
    route = scope.get("route")
    return str(getattr(route, "path", None) or "other")


def place_of(scope: Any) -> str:
    """Return what a change was about, from the path: numbers of visits, people, devices."""
    found = scope.get("path_params", {}).items()
    return " ".join(f"{name} {value}" for name, value in found if name != "token")


_STATUS: dict[type[InputError], int] = {
    NoRowError: 404,
    ShopFullError: 507,
    ShopReadOnlyError: 503,
    ShopBusyError: 503,
    NoShopError: 503,
    ShopDamagedError: 503,
}


def status_of(error: InputError) -> int:
    """Return the status of an error: mostly the input's fault, sometimes the disk's."""
    return next((code for kind, code in _STATUS.items() if isinstance(error, kind)), 422)
