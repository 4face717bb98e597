"""Coming in: the first key on this machine, a code scanned by a phone, name and password."""

import time
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import Route

from leastcut.errors import InputError, Problem
from leastcut.shop.access import Access, NotLetInError
from leastcut.web import people
from leastcut.web.refusing import STRANGER
from leastcut.web.reply import Trouble, render
from leastcut.web.rules import local
from leastcut.web.who import COOKIE, Who, who_of
from leastcut.web.words import mark

# Browsers keep a cookie for 400 days at most. source: RFC 6265bis, 5.6.2; status: memory
COOKIE_LIFE_S = 400 * 86400


def access_of(request: Request) -> Access:
    """Return who may come into this workbench's shop."""
    return Access(request.app.state.shop.database)


def let_in(request: Request, key: str, then: str = "/") -> Response:
    """Return the way on, with the cookie that brings a device's key from now on."""
    answer = RedirectResponse(local(then), 303)
    answer.set_cookie(
        COOKIE,
        key,
        max_age=COOKIE_LIFE_S,
        path="/",
        secure=request.app.state.settings.https,
        httponly=True,
        samesite="strict",
    )
    return answer


def device_label(request: Request) -> str:
    """Return what a browser says it runs on, in one word, as the proposal for the device's name."""
    told = request.headers.get("user-agent", "")
    known = ("iPhone", "iPad", "Android", "Windows", "Macintosh", "CrOS", "Linux")
    return next((word for word in known if word in told), "browser").replace("Macintosh", "Mac")


def _stranger(request: Request) -> None:
    if getattr(request.state, "who", None) is None:
        request.state.who = STRANGER


async def enter(request: Request) -> Response:
    """Let the browser in that the workbench itself opened on this machine."""
    asked = request.query_params
    label = f"{device_label(request)}, here"
    try:
        key = await run_in_threadpool(
            access_of(request).redeem, asked.get("key", ""), label, now_s=time.time()
        )
    except NotLetInError as error:
        return _page(request, "pair.html", 403, error.problem(), title=mark("Pair this device"))
    return let_in(request, key, asked.get("then", "/"))


def _page(
    request: Request, template: str, status: int, problem: Problem | None, **values: Any
) -> Response:
    _stranger(request)
    if problem is not None:
        request.state.trouble = Trouble(problems={problem.where or "code": problem})
    shown = {"code": "", "label": device_label(request), "name": "", **values}
    return render(request, template, status=status, **shown)


async def pair_page(request: Request) -> Response:
    """Show what a phone sees that scanned a code: one button."""
    code = request.query_params.get("code", "")[:40]
    return _page(request, "pair.html", 200, None, title=mark("Pair this device"), code=code)


async def pair(request: Request) -> Response:
    """Take a one-time code and let the device in."""
    form = await request.form(max_files=0, max_fields=8)
    code, label = _text(form, "code"), _text(form, "label")
    try:
        key = await run_in_threadpool(
            access_of(request).redeem, code, label or device_label(request), now_s=time.time()
        )
    except InputError as error:
        _tell_audit(request, "pair refused")
        status = 403 if isinstance(error, NotLetInError) else 422
        values = {"title": mark("Pair this device"), "code": code[:40], "label": label[:80]}
        return _page(request, "pair.html", status, error.problem(), **values)
    return let_in(request, key)


async def sign_in_page(request: Request) -> Response:
    """Ask for name and password."""
    return _page(request, "signin.html", 200, None, title=mark("Sign in"))


async def sign_in(request: Request) -> Response:
    """Let a browser in by name and password."""
    form = await request.form(max_files=0, max_fields=8)
    name, password = _text(form, "name"), _text(form, "password")
    try:
        key = await run_in_threadpool(
            access_of(request).sign_in, name, password, device_label(request), now_s=time.time()
        )
    except NotLetInError as error:
        _tell_audit(request, "sign in refused")
        values = {"title": mark("Sign in"), "name": name[:80]}
        return _page(request, "signin.html", 403, error.problem(), **values)
    return let_in(request, key)


async def sign_out(request: Request) -> Response:
    """Shut this very device out."""
    who: Who = who_of(request)
    assert who.device is not None
    await run_in_threadpool(
        access_of(request).revoke_device, who.device, by=who.person_id, now_s=time.time()
    )
    answer = RedirectResponse("/pair", 303)
    answer.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
    return answer


async def authority(request: Request) -> Response:
    """Give the shop's own authority, for a phone to install; there is no secret in it.

    Raises
    ------
    HTTPException
        404 without https of our own.
    """
    file = getattr(request.app.state, "authority", None)
    if file is None:
        raise HTTPException(404, "no such page")
    return FileResponse(file, media_type="application/x-x509-ca-cert", filename="leastcut.crt")


def _tell_audit(request: Request, what: str) -> None:
    where = request.client.host if request.client else ""
    request.state.gate.audit.later(what, at_s=time.time(), where=where)


def _text(form: FormData, name: str) -> str:
    """Return a field's text; a file or nothing in its place counts as empty.

    Raises
    ------
    HTTPException
        422 if the field came twice.
    """
    found = form.getlist(name)
    if len(found) > 1:
        raise HTTPException(422, f"the field '{name}' came twice")
    return found[0] if found and isinstance(found[0], str) else ""


routes = [
    Route("/authority.crt", authority),
    Route("/enter", enter),
    Route("/pair", pair_page),
    Route("/pair", pair, methods=["POST"]),
    Route("/sign-in", sign_in_page),
    Route("/sign-in", sign_in, methods=["POST"]),
    Route("/sign-out", sign_out, methods=["POST"]),
    *people.routes,
]
