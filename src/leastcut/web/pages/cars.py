"""The cars of the shop, and a new one in three fields with its body drawn at once."""

import time
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from leastcut.car import sheet
from leastcut.car.bodies import DEFAULTS
from leastcut.car.records import Car
from leastcut.errors import InputError
from leastcut.job.again import facts_again
from leastcut.job.carfrom import car_of
from leastcut.shop.facts import NewFact
from leastcut.shop.jobschema import CarTable, JobFile
from leastcut.shop.quantities import Millimetres, decode
from leastcut.web import forms
from leastcut.web.pages.choices import CHOICES
from leastcut.web.pages.drawings import in_language, page_for, silhouette
from leastcut.web.reply import Trouble, reader_of, render
from leastcut.web.who import need

PER_PAGE = 20
SIZES = ("length", "width", "height", "wheelbase")


def cars(request: Request) -> Response:
    """Show the cars, newest first, with search and pages."""
    given = request.query_params
    page = forms.whole(given.get("page", ""), most=100_000) or 1
    search = given.get("search", "")[:80]
    found = request.app.state.shop.cars(search=search, page=page, per_page=PER_PAGE)
    return render(
        request,
        "cars.html",
        title=reader_of(request).say("Cars"),
        found=found,
        search=search,
        page=found.page,
        pages=found.pages,
    )


def new(request: Request) -> Response:
    """Show the form for a new car."""
    reader = reader_of(request)
    bodies = [(body, reader.say(name), silhouette(body)) for body, name in CHOICES["car.body"]]
    return render(request, "new.html", title=reader.say("A new car"), bodies=bodies)


async def take_new(request: Request) -> Response:
    """Make the car and its first visit, and lead to its pattern sheet."""
    from starlette.concurrency import run_in_threadpool

    async with request.form(max_files=0, max_fields=60) as form:
        typed = forms.texts(form)
    reader = reader_of(request)
    facts, problems = forms.set_facts(
        {f"car.{name}": typed.get(name, "") for name in ("label", "body", *SIZES)},
        key=typed.get("key") or f"new-{time.time_ns():x}",
        known={},
        units=reader.units,
        bases={},
        now_s=time.time(),
    )
    problems = {name.removeprefix("car."): problem for name, problem in problems.items()}
    for name in ("label", "body"):
        if not typed.get(name, "").strip():
            problems[name] = InputError(
                "nothing was typed", where=name, do="Fill this in"
            ).problem()
    if not problems:
        try:
            _drawn({fact.field.removeprefix("car."): fact.body for fact in facts})
        except InputError as error:
            problems[error.where if error.where in SIZES else "length"] = error.problem()
    if problems:
        request.state.trouble = Trouble(problems=problems, typed=typed)
        return await run_in_threadpool(new, request)
    visit = await run_in_threadpool(_make, request, facts, typed["label"].strip())
    return RedirectResponse(f"/v/{visit}", 303)


def _make(request: Request, facts: list[NewFact], label: str) -> int:
    shop, now_s, who = request.app.state.shop, time.time(), need(request, "write")
    car = shop.new_car(label, now_s=now_s)
    visit = int(shop.new_visit(car, now_s=now_s))
    shop.append(visit, facts, device=who.device, person=who.person, now_s=now_s)
    request.app.state.analyst.poke(visit)
    return visit


def another_visit(request: Request) -> Response:
    """Open a new visit of a car that was here before, with what stays true of it.

    Raises
    ------
    HTTPException
        If there is no such car.
    """
    shop, now_s, who = request.app.state.shop, time.time(), need(request, "write")
    car = int(request.path_params["car"])
    if not shop.visits(car):
        raise HTTPException(404, "no such car")
    facts = facts_again(shop, car)
    visit = int(shop.new_visit(car, now_s=now_s))
    shop.append(visit, facts, device=who.device, person=who.person, now_s=now_s)
    request.app.state.analyst.poke(visit)
    return RedirectResponse(f"/v/{visit}", 303)


def draw(request: Request) -> Response:
    """Draw a body from what has been typed so far; typical sizes where that makes no car.

    Raises
    ------
    HTTPException
        If there is no such body class.
    """
    body, reader = request.path_params["body"], reader_of(request)
    if body not in DEFAULTS:
        raise HTTPException(404, "no such body")
    given: dict[str, Any] = {"label": "·", "body": body}
    for name in SIZES:
        if text := request.query_params.get(name, "").strip()[:40]:
            given[name] = forms.with_unit(text, Millimetres, reader.units)
    try:
        car = _drawn(given)
    except InputError:
        car = _drawn({"label": "·", "body": body})
    named = in_language(car, reader)
    laid = sheet.lay_out(named.panels, page_mm=page_for(named), head_mm=0, foot_mm=0, margin_mm=3)
    drawing = sheet.draw(laid, named, units=reader.units)
    return Response(drawing, media_type="image/svg+xml", headers={"Cache-Control": "max-age=3600"})


def _drawn(given: dict[str, Any]) -> Car:
    """Return the car that these fields make.

    Raises
    ------
    InputError
        If they make none.
    """
    import msgspec

    try:
        table = msgspec.convert(given, CarTable, dec_hook=decode)
    except msgspec.ValidationError as error:
        raise InputError(str(error), where="length", do="Type it again") from None
    return car_of(JobFile(format=1, car=table), {})


routes = [
    Route("/", cars),
    Route("/new", new, methods=["GET"]),
    Route("/new", take_new, methods=["POST"]),
    Route("/draw/{body}.svg", draw),
    Route("/cars/{car:int}/visit", another_visit, methods=["POST"]),
]
