"""What every answer carries, and how long its reader may take."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

from leastcut.web.asks import Ask

Message = dict[str, Any]
Send = Callable[[Message], Awaitable[None]]

# Style may stand inline: the drawings' attributes need it; script may not, ever.
CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' blob: data:; media-src 'self' blob:; font-src 'self'; connect-src 'self'; "
    "worker-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    b"content-security-policy": CSP.encode(),
    b"x-content-type-options": b"nosniff",
    b"x-frame-options": b"DENY",
    # Not "no-referrer": browsers would then hide the origin of our own forms from us.
    b"referrer-policy": b"same-origin",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"permissions-policy": b"camera=(self), geolocation=(), microphone=(), payment=(), usb=()",
}
SLOWEST_READER_S = 60.0


class Answer:
    """The way out: adds headers, notes the status, gives up on a reader who takes nothing.

    Parameters
    ----------
    send : callable
        The server's.
    ask : Ask
        The request that is answered.
    """

    def __init__(self, send: Send, ask: Ask) -> None:
        self._send = send
        self._kept = b"no-cache" if ask.path.startswith(("/static/", "/fonts/")) else b"no-store"
        self.status = 0
        self.started = False
        self.gave_up = False

    async def send(self, message: Message) -> None:
        """Pass a message on."""
        if message["type"] == "http.response.start":
            self.started, self.status = True, message["status"]
            given = list(message.get("headers", ()))
            names = {name.lower() for name, _ in given}
            ours = {**HEADERS, b"cache-control": self._kept}
            more = [(name, value) for name, value in ours.items() if name not in names]
            message = {**message, "headers": [*given, *more]}
        try:
            async with asyncio.timeout(SLOWEST_READER_S):
                await self._send(message)
        except TimeoutError:
            self.gave_up = True
            raise
