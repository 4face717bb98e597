"""``POST /v/{visit}/facts``: a form becomes facts; what cannot be taken comes back beside its field."""

import time
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Match, Route

from leastcut.errors import InputError, Problem
from leastcut.job import values
from leastcut.job.carfrom import car_of
from leastcut.job.visit import Visit, fold
from leastcut.shop.blobs import DIGEST
from leastcut.shop.facts import Fact, NewFact
from leastcut.web import forms
from leastcut.web.pages.visit import MOST_VISITS
from leastcut.web.reply import Trouble, reader_of
from leastcut.web.who import Right, need

# What a form says about itself; every other input is a field.
OWN = frozenset({"csrf", "key", "do", "list", "item", "back", "then", "field", "value", "base"})

# Fields that name a photo by its content.
PHOTO_FIELDS = frozenset({"file", "before", "after"})

Taken = tuple[list[NewFact], dict[str, Problem]]


async def post(request: Request) -> Response:
    """Take a form's facts and lead back, or show the page again with what is wrong."""
    visit = int(request.path_params["visit"])
    async with request.form(max_files=4, max_fields=200) as form:
        files, problems = await _files(request, form, visit)
        typed = {**forms.texts(form), **files}
    if not problems:
        problems = await run_in_threadpool(_take, request, visit, typed)
    back = _local(typed.get("back", ""), f"/v/{visit}")
    if problems:
        shown = {name: text for name, text in typed.items() if name not in OWN}
        return await again(request, back, Trouble(problems=problems, typed=shown))
    return RedirectResponse(_local(typed.get("then", ""), back), 303)


async def _files(
    request: Request, form: FormData, visit: int
) -> tuple[dict[str, str], dict[str, Problem]]:
    """Store the photos of a plain form; return their addresses by input name."""
    from leastcut.web import uploads

    found: dict[str, str] = {}
    problems: dict[str, Problem] = {}
    for name, upload in form.multi_items():
        if isinstance(upload, UploadFile) and upload.filename:
            try:
                found[name] = await uploads.take(request, upload, visit=visit)
            except InputError as error:
                problems[name] = error.problem()
    return found, problems


def _local(path: str, otherwise: str) -> str:
    """Return a path on this server, never another place."""
    parts = urlsplit(path)
    safe = path.startswith("/") and not parts.scheme and not parts.netloc and "\\" not in path
    return path if safe and not path.startswith("//") else otherwise


async def again(request: Request, back: str, trouble: Trouble) -> Response:
    """Show a page again with what was wrong in the form that it holds.

    Raises
    ------
    HTTPException
        If there is no such page.
    """
    parts = urlsplit(back)
    scope = {
        **request.scope,
        "method": "GET",
        "path": parts.path,
        "raw_path": parts.path.encode(),
        "query_string": parts.query.encode(),
        "state": {**request.scope.get("state", {}), "trouble": trouble},
    }
    for route in request.app.routes:
        if isinstance(route, Route):
            match, child = route.matches(scope)
            if match is Match.FULL:
                found: Response = await run_in_threadpool(
                    route.endpoint, Request({**scope, **child})
                )
                return found
    raise HTTPException(404, "no such page")


def _take(request: Request, visit: int, typed: Mapping[str, str]) -> dict[str, Problem]:
    """Append the form's facts; return what is wrong, in which case nothing was appended."""
    shop, now_s = request.app.state.shop, time.time()
    if visit >= MOST_VISITS or shop.visit(visit) is None:
        raise HTTPException(404, "no such visit")
    known = tuple(shop.facts(visit))
    if typed.get("do") == "decide":
        need(request, "settle")
    facts, problems = _facts(typed, fold(known), reader_of(request).units, now_s)
    problems = problems or foreign_photos(shop, visit, facts)
    problems = problems or _consequences(known, facts, now_s)
    if problems or not facts:
        return problems
    who = need(request, _right(facts))
    shop.append(visit, facts, device=who.device, person=who.person, now_s=now_s)
    tell_the_list(shop, visit, facts)
    request.app.state.analyst.poke(visit)
    return {}


def _right(facts: list[NewFact]) -> Right:
    """Return what somebody must be allowed to do for these facts."""
    if any(fact.field.startswith("prices.") for fact in facts):
        return "price"
    return "write"


def tell_the_list(shop: Any, visit: int, facts: list[NewFact]) -> None:
    """Keep what the list of cars shows: label, client, how much has been measured."""
    now = fold(shop.facts(visit))
    if any(fact.field in {"car.label", "people.client"} for fact in facts):
        label = now.values.get("car.label")
        if label:
            row = shop.visit(visit)
            shop.rename_car(row.car, str(label), client=str(now.values.get("people.client", "")))
    counts = (len(now.items.get("photo", {})), len(now.items.get("reading", {})), len(now.events))
    photos, readings, events = counts
    words = [f"{photos} photos", f"{readings} readings"] + ([f"{events} steps"] if events else [])
    shop.note_summary(visit, ", ".join(words))


def foreign_photos(shop: Any, visit: int, facts: list[NewFact]) -> dict[str, Problem]:
    """Return the photos that a form names and this visit does not hold."""
    problems = {}
    for fact in facts:
        named = fact.body if fact.kind == "add" and isinstance(fact.body, dict) else {}
        for field in PHOTO_FIELDS.intersection(named):
            row = shop.photo(named[field]) if DIGEST.fullmatch(str(named[field])) else None
            if row is None or visit not in row.visits:
                what = "this photo is not here"
                problems[field] = Problem(where=field, what=what, do="Choose it again")
    return problems


def _facts(typed: Mapping[str, str], now: Visit, units: Any, now_s: float) -> Taken:
    key = typed.get("key", "")
    kind = typed.get("do", "set")
    fields = {name: text for name, text in typed.items() if name not in OWN and ":" not in name}
    if not key:
        return [], {"form": Problem(where="form", what="it has no key", do="Load the page again")}
    if kind == "set":
        bases = {
            name.removeprefix("base:"): forms.whole(text)
            for name, text in typed.items()
            if name.startswith("base:")
        }
        return forms.set_facts(
            fields, key=key, known=known_values(now), units=units, bases=bases, now_s=now_s
        )
    if kind == "decide":
        return _decided(typed, key, now_s)
    if kind == "drop":
        place = typed.get("item", "")
        base = now.heads.get(place)
        return [NewFact(key=key, kind="drop", field=place, base=base, made_s=now_s)], {}
    return _added(typed.get("list", ""), fields, key, units, now_s)


def known_values(now: Visit) -> dict[str, Any]:
    """Return what every field says now, those of added items as ``LIST/KEY.field``."""
    return {
        **now.values,
        **{
            f"{name}/{key}.{field}": value
            for name, items in now.items.items()
            for key, item in items.items()
            for field, value in item.items()
        },
    }


def _decided(typed: Mapping[str, str], key: str, now_s: float) -> Taken:
    """Settle a contradiction: the value chosen, by somebody who has seen them all."""
    field, base = typed.get("field", ""), typed.get("base", "")
    try:
        value = msgspec.json.decode(typed.get("value", "null").encode())
        if "/" not in field:
            values.check(field, value)
    except (msgspec.DecodeError, InputError) as error:
        return [], {field: Problem(where=field, what=str(error), do="Load the page again")}
    fact = NewFact(
        key=key, kind="set", field=field, body=value, base=forms.whole(base), made_s=now_s
    )
    return [fact], {}


def _added(name: str, fields: Mapping[str, str], key: str, units: Any, now_s: float) -> Taken:
    if name == "reading":
        item, problems = forms.reading_of(fields, units=units)
        if fields.get("after"):
            item["after"] = True
    elif name == "note":
        item = {k: v for k, v in fields.items() if k in {"text", "panel"} and v.strip()}
        problems = (
            {}
            if "text" in item
            else {"text": Problem(where="text", what="nothing was typed", do="Write a few words")}
        )
    elif name in values.TABLES:
        item, problems = forms.item_of(name, fields, units=units)
    else:
        return [], {"form": Problem(where=name, what="no such list", do="Load the page again")}
    if problems:
        return [], problems
    return [NewFact(key=key, kind="add", field=name, body=item, made_s=now_s)], {}


def _consequences(known: tuple[Fact, ...], new: list[NewFact], now_s: float) -> dict[str, Problem]:
    """Return what the facts would break: a table left unfinished, measures that make no car."""
    last = max((fact.id for fact in known), default=0)
    as_taken = [
        Fact(
            id=last + 1 + number,
            at_s=now_s,
            device=None,
            person="",
            **{name: getattr(fact, name) for name in NewFact.__struct_fields__},
        )
        for number, fact in enumerate(new)
    ]
    before, after = fold(known), fold((*known, *as_taken))
    old = {(problem.where, problem.what) for problem in before.problems}
    found = {p.where: p for p in after.problems if (p.where, p.what) not in old}
    if not found and after.job is not None:
        found = _no_car(after)
    return found


def _no_car(after: Visit) -> dict[str, Problem]:
    assert after.job is not None
    try:
        car_of(after.job, {})
    except InputError as error:
        where = f"car.{error.where}" if error.where in {"length", "width", "height"} else "form"
        return {where: error.problem()}
    return {}


routes = [Route("/v/{visit:int}/facts", post, methods=["POST"])]
