"""Bodies of requests: measured and timed while they come in, kept no longer than they must be."""

import asyncio
import re
import tempfile
from collections.abc import Awaitable, Callable
from typing import IO, Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request

from leastcut.web.asks import Ask, Refused
from leastcut.web.settings import Limits
from leastcut.web.who import CSRF_FIELD

Message = dict[str, Any]
Receive = Callable[[], Awaitable[Message]]

FORM, PHOTOS, JSON, RAW = (
    "application/x-www-form-urlencoded",
    "multipart/form-data",
    "application/json",
    "application/octet-stream",
)
IN_MEMORY = 1_000_000
PIECE = 64 * 1024
DEEPEST_JSON = 32
MOST_FIELDS = 600
_TOKENS = re.compile(rb'"(?:[^"\\]|\\.)*+(?:"|\\?\Z)|[\[{]|[\]}]', re.DOTALL)


class BodyRefusedError(Exception):
    """A body that is too long or comes too slowly, found while it is read."""

    def __init__(self, refused: Refused) -> None:
        super().__init__(refused.why)
        self.refused = refused


def most_bytes(ask: Ask, limits: Limits) -> int | None:
    """Return how long a request's body may be; None when its kind is not taken there at all."""
    if not ask.has_body:
        return 0
    if ask.api and ask.method == "PUT":
        return limits.chunk_bytes if ask.media == RAW else None
    if ask.api:
        return limits.json_bytes if ask.media == JSON else None
    with_photos = limits.photos_bytes if ask.path.endswith("/facts") else limits.form_bytes
    return {FORM: limits.form_bytes, PHOTOS: with_photos}.get(ask.media)


def timed(receive: Receive, *, most: int, length: int | None, limits: Limits) -> Receive:
    """Return `receive` with an end: by bytes, by pauses, and by the slowest rate that is taken.

    Parameters
    ----------
    receive : callable
        As the server gives it.
    most : int
        Bytes that may come.
    length : int or None
        Bytes that were announced.
    limits : Limits
        The times.

    Raises
    ------
    BodyRefusedError
        From the returned callable, when the body goes beyond its limits.
    """
    clock = asyncio.get_running_loop().time
    expected = most if length is None else length
    end = clock() + limits.body_s + expected / limits.slowest_bytes_s
    seen, whole = 0, False

    async def piece() -> Message:
        nonlocal seen, whole
        if whole:
            return await receive()
        try:
            async with asyncio.timeout_at(min(end, clock() + limits.idle_s)):
                message = await receive()
        except TimeoutError:
            raise BodyRefusedError(
                Refused(status=408, why="the body came too slowly", do="Send it again")
            ) from None
        seen += len(message.get("body", b""))
        whole = not message.get("more_body", False)
        if seen > most:
            raise BodyRefusedError(too_long(most))
        return message

    return piece


def too_long(most: int) -> Refused:
    """Return the refusal of a body beyond its limit."""
    why = f"more than {most / 1e6:g} MB were sent"
    return Refused(status=413, why=why, do="Send less at a time")


async def keep(receive: Receive) -> IO[bytes]:
    """Read a body whole: small ones into memory, larger ones into a nameless file.

    Raises
    ------
    BodyRefusedError
        If it breaks off.
    """
    kept = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - outlives this call
    try:
        while True:
            message = await receive()
            if message["type"] != "http.request":
                raise BodyRefusedError(
                    Refused(status=400, why="the body was cut off", do="Send it again")
                )
            await run_in_threadpool(kept.write, message.get("body", b""))
            if not message.get("more_body", False):
                break
    except BaseException:
        kept.close()
        raise
    return kept


def again(kept: IO[bytes], receive: Receive) -> Receive:
    """Return a `receive` that gives a kept body from its start, then what the server tells."""
    kept.seek(0)
    whole = False

    async def piece() -> Message:
        nonlocal whole
        if whole:
            return await receive()
        body = kept.read(PIECE)
        whole = len(body) < PIECE
        return {"type": "http.request", "body": body, "more_body": not whole}

    return piece


async def form_token(scope: Any, kept: IO[bytes]) -> str | None:
    """Return the token that a form carries, None when the body is no form or has none."""
    request = Request({"type": "http", "headers": scope["headers"]}, again(kept, _end))
    try:
        async with request.form(max_files=8, max_fields=MOST_FIELDS) as form:
            found = form.getlist(CSRF_FIELD)
    except (MultiPartException, HTTPException, ValueError, KeyError):
        return None
    one = found[0] if len(found) == 1 else None
    return None if isinstance(one, UploadFile) else one


def wrong_json(body: bytes) -> Refused | None:
    """Refuse JSON that no decoder should be troubled with."""
    try:
        body.decode()
    except UnicodeDecodeError:
        return Refused(status=400, why="the JSON is not UTF-8", do="Send it as UTF-8")
    if too_deep(body):
        return Refused(status=400, why="the JSON nests too deep", do="Send it flat")
    return None


def too_deep(body: bytes) -> bool:
    """Tell whether JSON nests deeper than anything of ours.

    >>> too_deep(b"[" * 40 + b"]" * 40), too_deep(b'{"a": ["[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[["]}')
    (True, False)
    """
    if body.count(b"[") + body.count(b"{") <= DEEPEST_JSON:
        return False
    depth = 0
    for token in _TOKENS.finditer(body):
        first = body[token.start()]
        depth += first in b"[{"
        depth -= first in b"]}"
        if depth > DEEPEST_JSON:
            return True
    return False


async def _end() -> Message:
    return {"type": "http.disconnect"}
