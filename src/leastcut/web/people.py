"""People and their devices, links for clients, what was done: the owner's pages."""

import time
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from leastcut.errors import InputError
from leastcut.shop import keys
from leastcut.shop.access import CODE_LIFE_S, ROLES, Access
from leastcut.shop.audit import Audit
from leastcut.shop.links import LINK_LIFE_S, Links
from leastcut.shop.trouble import NoRowError
from leastcut.web import qr
from leastcut.web.reply import Trouble, render
from leastcut.web.rules import local
from leastcut.web.who import Right, Who, need
from leastcut.web.words import mark

ROLE_NAMES = {
    "owner": mark("Owner: everything"),
    "detailer": mark("Detailer: everything on cars"),
    "learner": mark("Learner: looks, measures and works; no prices, no client links"),
}
# What stands in the audit, in words; anything else is shown as it stands.
DEEDS = {
    "person in": mark("Person added"),
    "person out": mark("Person shut out"),
    "role": mark("Role changed"),
    "password set": mark("Password set"),
    "password off": mark("Password taken away"),
    "code": mark("Code made"),
    "pair": mark("Device paired"),
    "pair refused": mark("Pairing refused"),
    "sign in": mark("Signed in"),
    "sign in refused": mark("Sign-in refused"),
    "device out": mark("Device shut out"),
    "link": mark("Client link made"),
    "link off": mark("Client link shut"),
    "POST /v/{visit:int}/facts": mark("Facts written"),
    "POST /api/visits/{visit:int}/facts": mark("Facts written"),
    "POST /new": mark("Car begun"),
    "POST /cars/{car:int}/visit": mark("Visit begun"),
    "POST /settings": mark("Settings chosen"),
    "POST /api/uploads/{upload}/finish": mark("Photo sent"),
    "POST /api/uploads": mark("Photo begun"),
    "PUT /api/uploads/{upload}": mark("Piece of a photo sent"),
}
AUDIT_ROWS = 40
DAY_S = 86400.0

Work = Callable[[Request, Who, dict[str, str]], Response | None]


def _text(form: FormData) -> dict[str, str]:
    return {name: value for name, value in form.items() if isinstance(value, str)}


def _posts(right: Right, work: Work, back: str = "/people") -> Any:
    """Return an endpoint that does `work` with a form for who has the right, and leads back."""

    async def endpoint(request: Request) -> Response:
        who = need(request, right)
        form = _text(await request.form(max_files=0, max_fields=12))
        try:
            made = await run_in_threadpool(work, request, who, form)
        except NoRowError as error:
            raise HTTPException(404, error.what) from None
        except InputError as error:
            if not who.may("people"):
                raise
            problem = error.problem()
            request.state.trouble = Trouble(problems={problem.where: problem}, typed=form)
            made = await run_in_threadpool(_people, request)
        return made or RedirectResponse(back or _came_from(request), 303)

    return endpoint


def _came_from(request: Request) -> str:
    """Return the page of ours that the form stood on."""
    return local(urlsplit(request.headers.get("referer", "")).path or "/")


def _access(request: Request) -> Access:
    return Access(request.app.state.shop.database)


def _links(request: Request) -> Links:
    return Links(request.app.state.shop.database)


def _people(request: Request) -> Response:
    now_s, access = time.time(), _access(request)
    shop = request.app.state.shop
    links = [
        {
            "link": link,
            "car": shop.visit(link.visit),
            "days": max(1, round((link.expires_s - now_s) / DAY_S)),
        }
        for link in _links(request).all(now_s=now_s)
    ]
    return render(
        request,
        "people.html",
        title=mark("People"),
        people=[person for person in access.people() if person.revoked_s is None],
        devices=access.devices(),
        links=links,
        roles=[(role, ROLE_NAMES[role]) for role in ROLES],
        here=request.state.who.device,
        ago=lambda at_s: _ago(request, at_s, now_s),
        shortest=keys.SHORTEST_PASSWORD,
    )


def _ago(request: Request, at_s: float | None, now_s: float) -> str:
    """Return how long ago something was, in the reader's language."""
    from leastcut.web.reply import reader_of

    say = reader_of(request).say
    if at_s is None:
        return say(mark("never"))
    minutes = max(0, round((now_s - at_s) / 60))
    if minutes < 2:
        return say(mark("just now"))
    if minutes < 120:
        return say(mark("{n} minute ago|{n} minutes ago"), n=minutes)
    if minutes < 2 * 1440:
        return say(mark("{n} hour ago|{n} hours ago"), n=round(minutes / 60))
    return say(mark("{n} day ago|{n} days ago"), n=round(minutes / 1440))


async def people_page(request: Request) -> Response:
    """Show who works here, with which devices, and the clients' links."""
    need(request, "people")
    return await run_in_threadpool(_people, request)


def _new(request: Request, who: Who, form: dict[str, str]) -> Response:
    person = _access(request).new_person(
        form.get("name", ""), form.get("role", ""), by=who.person_id, now_s=time.time()
    )
    return _show_code(request, who, person)


def _show_code(request: Request, who: Who, person: int) -> Response:
    code = _access(request).new_code(person, by=who.person_id, now_s=time.time())
    address = request.app.state.settings.address
    name = next(one.name for one in _access(request).people() if one.person == person)
    return render(
        request,
        "code.html",
        title=mark("Pair a device"),
        name=name,
        code=keys.shown_code(code),
        drawing=qr.svg(f"{address}/pair?code={code}"),
        address=f"{address}/pair",
        minutes=round(CODE_LIFE_S / 60),
        lan=request.app.state.settings.lan,
        https=request.app.state.settings.https,
    )


def _code(request: Request, who: Who, form: dict[str, str]) -> Response:
    del form
    return _show_code(request, who, int(request.path_params["person"]))


def _role(request: Request, who: Who, form: dict[str, str]) -> None:
    _access(request).set_role(
        int(request.path_params["person"]),
        form.get("role", ""),
        by=who.person_id,
        now_s=time.time(),
    )


def _person_out(request: Request, who: Who, form: dict[str, str]) -> None:
    del form
    _access(request).revoke_person(
        int(request.path_params["person"]), by=who.person_id, now_s=time.time()
    )


def _device_out(request: Request, who: Who, form: dict[str, str]) -> None:
    del form
    _access(request).revoke_device(
        int(request.path_params["device"]), by=who.person_id, now_s=time.time()
    )


def _password(request: Request, who: Who, form: dict[str, str]) -> None:
    """Set one's own password; nobody sets another's."""
    assert who.person_id is not None
    typed = form.get("password", "")
    _access(request).set_password(who.person_id, typed or None, by=who.person_id, now_s=time.time())


def _link(request: Request, who: Who, form: dict[str, str]) -> Response:
    days = form.get("days", "")
    life_s = float(days) * DAY_S if days.isdecimal() and len(days) < 5 else LINK_LIFE_S
    visit = int(request.path_params["visit"])
    token = _links(request).new(visit, by=who.person_id, now_s=time.time(), life_s=life_s)
    address = f"{request.app.state.settings.address}/see/{token}"
    return render(
        request,
        "link.html",
        title=mark("A link for the client"),
        visit=visit,
        car_label=request.app.state.shop.visit(visit).label,
        address=address,
        drawing=qr.svg(address),
        days=round(life_s / DAY_S),
        lan=request.app.state.settings.lan,
    )


def _link_off(request: Request, who: Who, form: dict[str, str]) -> None:
    del form
    _links(request).revoke(int(request.path_params["link"]), by=who.person_id, now_s=time.time())


async def audit_page(request: Request) -> Response:
    """Show what was done, the newest first.

    Raises
    ------
    HTTPException
        404 if the page is no number.
    """
    need(request, "people")
    asked = request.query_params.get("page", "1")
    if not asked.isdecimal() or len(asked) > 9:
        raise HTTPException(404, "no such page")
    await run_in_threadpool(request.state.gate.audit.flush)
    audit = Audit(request.app.state.shop.database)
    found = await run_in_threadpool(audit.page, page=int(asked), per_page=AUDIT_ROWS)
    now_s = time.time()
    return render(
        request,
        "audit.html",
        title=mark("What was done"),
        found=found,
        deed=lambda what: DEEDS.get(what, what),
        ago=lambda at_s: _ago(request, at_s, now_s),
    )


routes = [
    Route("/people", people_page),
    Route("/people/new", _posts("people", _new), methods=["POST"]),
    Route("/people/audit", audit_page),
    Route("/people/password", _posts("read", _password, "/settings"), methods=["POST"]),
    Route("/people/{person:int}/code", _posts("people", _code), methods=["POST"]),
    Route("/people/{person:int}/role", _posts("people", _role), methods=["POST"]),
    Route("/people/{person:int}/out", _posts("people", _person_out), methods=["POST"]),
    Route("/devices/{device:int}/out", _posts("people", _device_out), methods=["POST"]),
    Route("/v/{visit:int}/links", _posts("share", _link), methods=["POST"]),
    Route("/links/{link:int}/off", _posts("share", _link_off, ""), methods=["POST"]),
]
