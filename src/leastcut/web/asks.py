"""One request as the door sees it, and what is wrong with its shape before anybody reads it."""

import re
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import msgspec

METHODS = ("GET", "HEAD", "POST", "PUT", "DELETE")
READS = ("GET", "HEAD")
LONGEST_PATH, LONGEST_QUERY, MOST_HEADERS = 512, 2048, 80
# What the record's numbers of rows can be at most, by far.
LONGEST_NUMBER = 15
# Headers that make some servers take another path, method or address than the one written.
TRICKS = (
    "x-http-method-override",
    "x-http-method",
    "x-method-override",
    "x-original-url",
    "x-rewrite-url",
    "upgrade",
    "http2-settings",
)
ONCE = (
    "host",
    "content-length",
    "content-type",
    "transfer-encoding",
    "origin",
    "x-leastcut-csrf",
    "range",
)
_RANGE = re.compile(r"bytes=(?:\d{1,15}-\d{0,15}|-\d{1,15})")
_PLAIN = re.compile(r"[\x21-\x7e]+")
# What a browser or a person may write into a path of ours: nothing that another layer could read
# as a step up, a separator or the end of a string.
_BAD_RAW = re.compile(rb"%2f|%5c|%00|%2e|\\|//|;|[^\x21-\x7e]", re.IGNORECASE)


class Refused(msgspec.Struct, frozen=True, kw_only=True):
    """A request that goes no further: status, why, what to do instead."""

    status: int
    why: str
    do: str
    wait_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Ask:
    """A request's head.

    Attributes
    ----------
    method, path : str
        As asked for.
    headers : dict
        By small name; of repeated ones the last.
    repeated : frozenset
        Names that came more than once.
    address : str
        Where the connection comes from.
    scheme : str
        ``http`` or ``https``.
    """

    method: str
    path: str
    raw_path: bytes
    query: bytes
    headers: dict[str, str]
    repeated: frozenset[str]
    n_headers: int
    address: str
    scheme: str

    @property
    def reads(self) -> bool:
        """Whether the method only reads."""
        return self.method in READS

    @property
    def api(self) -> bool:
        """Whether a program asks rather than a person."""
        return self.path.startswith("/api/")

    @property
    def media(self) -> str:
        """The body's media type without parameters."""
        return self.headers.get("content-type", "").split(";")[0].strip().lower()

    @property
    def length(self) -> int | None:
        """The body's declared length; None when it comes in pieces."""
        told = self.headers.get("content-length", "")
        return int(told) if told.isdecimal() and len(told) < 16 else None

    @property
    def has_body(self) -> bool:
        """Whether a body is announced."""
        return "transfer-encoding" in self.headers or self.headers.get("content-length", "0") != "0"


def ask_of(scope: Any) -> Ask:
    """Return the head of a request from what the server tells."""
    headers: dict[str, str] = {}
    repeated: set[str] = set()
    for raw_name, raw_value in scope["headers"]:
        name = raw_name.decode("latin-1").lower()
        if name in headers:
            repeated.add(name)
        headers[name] = raw_value.decode("latin-1")
    client = scope.get("client")
    return Ask(
        method=scope["method"],
        path=scope["path"],
        raw_path=scope.get("raw_path") or scope["path"].encode(),
        query=scope["query_string"],
        headers=headers,
        repeated=frozenset(repeated),
        n_headers=len(scope["headers"]),
        address=client[0] if client else "",
        scheme=scope.get("scheme", "http"),
    )


def _refused(status: int, why: str, do: str = "Open the page again from the workbench") -> Refused:
    return Refused(status=status, why=why, do=do)


def wrong_shape(ask: Ask, hosts: tuple[str, ...]) -> Refused | None:
    """Return what is wrong with a request's head, or None."""
    return _wrong_line(ask) or _wrong_headers(ask) or _wrong_host(ask, hosts) or _wrong_body(ask)


def _wrong_line(ask: Ask) -> Refused | None:
    if ask.method not in METHODS:
        return _refused(405, "this method is not answered here")
    if len(ask.raw_path) > LONGEST_PATH or len(ask.query) > LONGEST_QUERY:
        return _refused(414, "the address is too long")
    steps = ask.path.split("/")
    odd = not ask.path.isprintable() or "�" in ask.path or not ask.path.startswith("/")
    if _BAD_RAW.search(ask.raw_path) or odd or ".." in steps or "." in steps:
        return _refused(400, "the address holds what no address of ours does")
    if any(step.isdigit() and len(step) > LONGEST_NUMBER for step in steps):
        return _refused(404, "there is no such number")
    if re.search(rb"%(?![0-9A-Fa-f]{2})|[^\x21-\x7e]", ask.query):
        return _refused(400, "the address holds what no address of ours does")
    return None


def _wrong_headers(ask: Ask) -> Refused | None:
    if ask.n_headers > MOST_HEADERS:
        return _refused(431, "too many headers")
    if ask.repeated.intersection(ONCE):
        return _refused(400, "a header came twice")
    if any(name in ask.headers for name in TRICKS):
        return _refused(400, "a header asks for another request than the one written")
    asked = ask.headers.get("range")
    if asked is not None and _RANGE.fullmatch(asked) is None:
        return _refused(416, "this range of bytes cannot be given")
    if ask.headers.get("expect", "100-continue").lower() != "100-continue":
        return _refused(417, "nothing of this kind is answered")
    return None


def _wrong_host(ask: Ask, hosts: tuple[str, ...]) -> Refused | None:
    """Refuse other names: a page elsewhere may point its own name at this machine."""
    host = ask.headers.get("host", "")
    if _PLAIN.fullmatch(host) is None or host_name(host) not in hosts:
        return _refused(421, "this workbench does not go by that name", "Use the address it shows")
    return None


def host_name(host: str) -> str:
    """Return a host header's name without its port, small; empty when it is none.

    >>> host_name("Bay.Local:8136"), host_name("[::1]:8136"), host_name("a@b")
    ('bay.local', '[::1]', '')
    """
    found = re.fullmatch(r"(\[[0-9a-fA-F:]+\]|[A-Za-z0-9.-]+)(?::\d{1,5})?", host)
    return found[1].lower() if found else ""


def _wrong_body(ask: Ask) -> Refused | None:
    if "content-length" in ask.headers and "transfer-encoding" in ask.headers:
        return _refused(400, "the body has two ends")
    if ask.reads and ask.has_body:
        return _refused(400, "a request that reads has no body")
    if "content-length" in ask.headers and ask.length is None:
        return _refused(400, "the length of the body is no number")
    if ask.headers.get("content-encoding", "identity").lower() != "identity":
        return _refused(415, "bodies are taken as they are, not packed")
    return None


def own_origin(ask: Ask) -> bool:
    """Tell whether a browser says that the request comes from a page of ours.

    A program that is no browser says nothing; it must bring the token all the same.
    """
    site = ask.headers.get("sec-fetch-site", "")
    if site not in {"", "same-origin", "none"}:
        return False
    origin = ask.headers.get("origin")
    if origin is None:
        return True
    try:
        parts = urlsplit(origin)
        return parts.scheme == ask.scheme and parts.netloc.lower() == ask.headers["host"].lower()
    except ValueError:
        return False
