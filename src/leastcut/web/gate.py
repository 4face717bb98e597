"""The door: who comes in, with what, how often; and what every answer carries.

Nothing behind it is reached without a device that was let in, or a client's link. A change needs,
besides the device's cookie, that the browser names our own page as its origin and that the form
carries the device's token.
"""

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable
from contextlib import suppress
from ipaddress import ip_address
from typing import IO, Any, cast

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request, cookie_parser

from leastcut.shop.access import Access, Device
from leastcut.shop.audit import Audit
from leastcut.shop.links import Links
from leastcut.shop.trouble import ShopError
from leastcut.web import bodies, rules
from leastcut.web.answers import Answer
from leastcut.web.asks import Ask, Refused, ask_of, wrong_shape
from leastcut.web.limits import Buckets
from leastcut.web.meter import Meter
from leastcut.web.refusing import refusal
from leastcut.web.settings import Settings
from leastcut.web.who import COOKIE, CSRF_HEADER, Who, csrf_of

log = logging.getLogger("leastcut.web")

Message = dict[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]

FLUSH_S = 0.5
_OURS = Refused(status=500, why="this is our own fault", do="Try again; if it stays, report it")


class Gate:
    """ASGI middleware around the whole workbench; see the module.

    Parameters
    ----------
    app : callable
        What is behind the door.
    shop : Shop
        Whose people and devices count.
    settings : Settings
        Names, limits.
    """

    def __init__(self, app: Any, *, shop: Any, settings: Settings) -> None:
        self.app, self.settings = app, settings
        self.meter = Meter(started_s=time.time())
        self.access, self.links = Access(shop.database), Links(shop.database)
        self.audit = Audit(shop.database)
        self._flushing: asyncio.Task[None] | None = None
        limits, clock = settings.limits, time.monotonic
        self._devices = Buckets(limits.device_per_s, limits.device_burst, clock=clock)
        self._strangers = Buckets(limits.stranger_per_s, limits.stranger_burst, clock=clock)
        self._tries = Buckets(limits.tries_per_s, limits.tries_burst, clock=clock)
        self._all_tries = Buckets(limits.all_tries_per_s, limits.all_tries_burst, clock=clock)

    def from_here(self, request: Request) -> bool:
        """Tell whether a request comes from this very machine, under one of its own names."""
        client = request.client
        return client is not None and _loopback(client.host)

    async def __call__(self, scope: Any, receive: Receive, send: Send) -> None:
        """Answer one connection of the server."""
        if scope["type"] == "http":
            await self._http(scope, receive, send)
        elif scope["type"] == "lifespan":
            await self.app(scope, receive, self._last_words(send))
        else:
            await send({"type": "websocket.close", "code": 1008})

    def _last_words(self, send: Send) -> Send:
        async def told(message: Message) -> None:
            if message["type"] == "lifespan.shutdown.complete":
                await run_in_threadpool(self.audit.flush)
            await send(message)

        return told

    async def _http(self, scope: Any, receive: Receive, send: Send) -> None:
        ask, begun = ask_of(scope), time.perf_counter()
        answer = Answer(send, ask)
        self.meter.now_open += 1
        try:
            await self._through(scope, receive, answer, ask)
        except bodies.BodyRefusedError as error:
            await self._refuse(scope, answer, ask, error.refused)
        except ShopError as error:
            log.warning("%s %s: %s", ask.method, rules.route_of(scope), error)
            told = Refused(status=503, why=error.what, do=error.do, wait_s=5.0)
            await self._refuse(scope, answer, ask, told)
        except Exception:
            if answer.gave_up:
                return
            await self._refuse(scope, answer, ask, _OURS)
            raise
        finally:
            self.meter.now_open -= 1
            spent = time.perf_counter() - begun
            self.meter.request(ask.method, rules.route_of(scope), answer.status, spent)

    async def _through(self, scope: Any, receive: Receive, answer: Answer, ask: Ask) -> None:
        state = scope.setdefault("state", {})
        state["gate"] = self
        refused = wrong_shape(ask, self.settings.hosts)
        if refused is None:
            who = await self._who(ask)
            refused = self._too_often(ask, who) or rules.not_let_in(ask, who)
            if who is not None:
                state["who"] = who
        most = bodies.most_bytes(ask, self.settings.limits)
        refused = refused or rules.wrong_body(ask, most) or rules.foreign(ask)
        if refused is not None:
            await self._refuse(scope, answer, ask, refused)
        elif ask.reads:
            await self.app(scope, receive, answer.send)
        else:
            await self._change(scope, receive, answer, ask)

    async def _who(self, ask: Ask) -> Who | None:
        """Return who holds the link in the path, or the device whose key the cookie brings."""
        now_s = time.time()
        if ask.path.startswith(rules.LINK):
            token = ask.path.removeprefix(rules.LINK).split("/")[0]
            visit = await run_in_threadpool(self.links.visit, token, now_s=now_s)
            return None if visit is None else Who(person="", role="client", visit=visit)
        key = cookie_parser(ask.headers.get("cookie", "")).get(COOKIE, "")
        if not 20 <= len(key) <= 100:
            return None
        found = await run_in_threadpool(self.access.device, key, now_s=now_s)
        return None if found is None else _who(found, key)

    def _too_often(self, ask: Ask, who: Who | None) -> Refused | None:
        wait_s = 0.0
        if who is not None:
            wait_s = self._devices.wait_s(str(who.device or ask.address))
        elif ask.path.startswith(rules.LINK):
            wait_s = self._tries.wait_s(ask.address)
        elif not ask.path.startswith(rules.OPEN_FOLDERS):
            wait_s = self._strangers.wait_s(ask.address)
        if not wait_s and rules.tries_a_secret(ask):
            wait_s = self._tries.wait_s(ask.address)
            if not wait_s and not _loopback(ask.address):
                wait_s = self._all_tries.wait_s("all")
        if not wait_s:
            return None
        self.meter.event("limited")
        do = "Wait a little, then try again"
        return Refused(status=429, why="too many requests from here", do=do, wait_s=wait_s)

    async def _change(self, scope: Any, receive: Receive, answer: Answer, ask: Ask) -> None:
        """Let a request through that changes something, once its token and body are in order."""
        limits, who = self.settings.limits, scope["state"].get("who")
        most = bodies.most_bytes(ask, limits) or 0
        if ask.has_body:
            receive = bodies.timed(receive, most=most, length=ask.length, limits=limits)
        kept: IO[bytes] | None = None
        if ask.has_body and ask.media != bodies.RAW:
            kept = await bodies.keep(receive)
        try:
            refused = await self._wrong_content(scope, ask, who, kept)
            if refused is not None:
                await self._refuse(scope, answer, ask, refused)
                return
            passed = receive if kept is None else bodies.again(kept, receive)
            await self.app(scope, passed, answer.send)
        finally:
            if kept is not None:
                kept.close()
            self._note(scope, ask, who, answer.status)

    async def _wrong_content(
        self, scope: Any, ask: Ask, who: Who | None, kept: IO[bytes] | None
    ) -> Refused | None:
        if kept is not None and ask.media == bodies.JSON:
            kept.seek(0)
            wrong = await run_in_threadpool(bodies.wrong_json, kept.read())
            if wrong is not None:
                return wrong
        if who is None or ask.path in rules.DOORS:
            return None
        token = ask.headers.get(CSRF_HEADER)
        if token is None and kept is not None and ask.media in {bodies.FORM, bodies.PHOTOS}:
            token = await bodies.form_token(scope, kept)
        return rules.wrong_token(who, token)

    async def _refuse(self, scope: Any, answer: Answer, ask: Ask, refused: Refused) -> None:
        if answer.started:
            return
        self.meter.event("refused")
        made = await run_in_threadpool(refusal, Request(scope), ask, refused)
        await made(scope, _nothing, cast("Any", answer.send))

    def _note(self, scope: Any, ask: Ask, who: Who | None, status: int) -> None:
        """Have the audit keep a change, and whatever was refused; some work notes itself."""
        route = rules.route_of(scope)
        what = f"{ask.method} {route}"
        if status < 400 and (route.startswith(rules.NOTED) or what in rules.PARTS):
            return
        self.audit.later(
            what,
            at_s=time.time(),
            where=rules.place_of(scope),
            detail=f"{status} from {ask.address}",
            person=who.person_id if who else None,
            device=who.device if who else None,
        )
        if self._flushing is None or self._flushing.done():
            self._flushing = asyncio.get_running_loop().create_task(self._flush_soon())

    async def _flush_soon(self) -> None:
        await asyncio.sleep(FLUSH_S)
        # What a full disk refuses goes on waiting; facts name their device anyway.
        with suppress(ShopError):
            await run_in_threadpool(self.audit.flush)


async def _nothing() -> Message:
    return {"type": "http.request", "body": b"", "more_body": False}


def _loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False


def _who(found: Device, key: str) -> Who:
    return Who(
        person=found.name,
        role=found.role,
        device=found.device,
        person_id=found.person,
        csrf=csrf_of(key),
        lang=found.lang,
        units=found.units,
    )
