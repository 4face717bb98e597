"""The server with patience that ends: who sends a request's head too slowly is told to go.

The server's own library waits for a head for ever; a hundred half-written requests would then
keep everybody else out.
"""

import asyncio
import signal
import socket
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from leastcut.web.settings import Settings

# Connections at a time; more are told to come again.
MOST_OPEN = 400
LONGEST_HEAD = 24_000
IDLE_S = 20
STOP_S = 10
_LATE = (
    b"HTTP/1.1 408 Request Timeout\r\ncontent-type: text/plain\r\n"
    b"content-length: 9\r\nconnection: close\r\n\r\ntoo slow\n"
)


class PatientProtocol(H11Protocol):
    """HTTP/1.1 with a time for each request's head."""

    head_s = 10.0
    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first head."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take bytes; the wait ends when a head is whole, and begins with the next one's start."""
        super().data_received(data)
        if self.conn.their_state is h11.IDLE and not self.transport.is_closing():
            self._wait()
        else:
            self._rest()

    def connection_lost(self, exc: Exception | None) -> None:
        """End every wait."""
        self._rest()
        super().connection_lost(exc)

    def _wait(self) -> None:
        # Once begun it runs: a byte now and then shall not prolong it.
        if self._late is None:
            self._late = self.loop.call_later(self.head_s, self._too_late)

    def _rest(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _too_late(self) -> None:
        self._late = None
        if self.conn.their_state is h11.IDLE and not self.transport.is_closing():
            self.transport.write(_LATE)
            self.transport.close()


def server(
    app: Any,
    settings: Settings,
    *,
    host: str,
    port: int,
    key: Path | None = None,
    certificate: Path | None = None,
) -> uvicorn.Server:
    """Return a server that is ready to run.

    Parameters
    ----------
    app : callable
        ASGI application.
    settings : Settings
        Its limits.
    host, port : str, int
        Where it listens.
    key, certificate : Path or None
        For https: files of the private key and of the chain.
    """
    patient = type("Patient", (PatientProtocol,), {"head_s": settings.limits.head_s})
    return uvicorn.Server(
        uvicorn.Config(
            app,
            host=host,
            port=port,
            http=patient,
            ws="none",
            lifespan="on",
            access_log=False,
            log_config=None,
            proxy_headers=False,
            server_header=False,
            limit_concurrency=MOST_OPEN,
            timeout_keep_alive=IDLE_S,
            timeout_graceful_shutdown=STOP_S,
            h11_max_incomplete_event_size=LONGEST_HEAD,
            ssl_keyfile=key,
            ssl_certfile=certificate,
            ssl_context_factory=_modern if certificate else None,
        )
    )


def run(served: uvicorn.Server, door: socket.socket, *, told: Callable[[], None]) -> None:
    """Serve until this process is told to stop, and return then.

    The server's library ends the process with the signal that stopped it; what is open (photos
    under way, the database) would then not be closed by those who opened it.

    Parameters
    ----------
    served : uvicorn.Server
        Ready to run.
    door : socket.socket
        Bound to its address.
    told : callable
        Called when who knocks will be answered.
    """

    def stop(signum: int, frame: object) -> None:
        # The server passes on what stopped it when it has ended; earlier, this keeps it from
        # beginning.
        del signum, frame
        served.should_exit = True

    before = {asked: signal.signal(asked, stop) for asked in (signal.SIGINT, signal.SIGTERM)}
    try:
        door.listen(256)
        told()
        served.run(sockets=[door])
    finally:
        for asked, handler in before.items():
            signal.signal(asked, handler)


def _modern(config: uvicorn.Config, default: Callable[[], ssl.SSLContext]) -> ssl.SSLContext:
    del config
    context = default()
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    return context
