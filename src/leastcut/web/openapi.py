"""What programs may ask for, written down by the program itself: ``/openapi.json``.

The paths are those of the routes, the records those that the code decodes and encodes; nothing of
it is kept by hand except one line for each answer that is no page.
"""

import re
from collections.abc import Iterator, Sequence
from typing import Any

import msgspec
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from leastcut import __version__
from leastcut.job.analyst import Progress
from leastcut.shop.facts import NewFact
from leastcut.web import factsapi, health, uploads
from leastcut.web.meter import MEDIA
from leastcut.web.refusing import Refusal
from leastcut.web.who import COOKIE, CSRF_HEADER, need
from leastcut.web.workbundle import Bundle

FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")
REFUSALS = {
    "400": "A request of no shape that is taken.",
    "401": "The device is not paired with the shop.",
    "403": "The role does not allow it, or the token is missing.",
    "404": "There is no such thing, or not for who asks.",
    "409": "It does not follow what is there.",
    "413": "Too long.",
    "415": "A body of another kind.",
    "422": "It cannot be taken as it is.",
    "429": "Too often.",
}
_NUMBERS = {"car", "visit", "person", "device", "link"}


# Method and path -> body, answer by status; everything else gives a page or takes a form.
RECORDS: dict[tuple[str, str], tuple[Any, dict[str, Any]]] = {
    ("POST", "/api/uploads"): (uploads.Begin, {"201": uploads.Begun}),
    ("GET", "/api/uploads/{upload}"): (None, {"200": uploads.Have}),
    ("PUT", "/api/uploads/{upload}"): (bytes, {"200": uploads.Have, "409": uploads.Behind}),
    ("DELETE", "/api/uploads/{upload}"): (None, {"204": None}),
    ("POST", "/api/uploads/{upload}/finish"): (
        uploads.Finish,
        {"200": uploads.Finished, "409": uploads.Behind},
    ),
    ("POST", "/api/visits/{visit}/facts"): (list[NewFact], {"200": factsapi.Taken}),
    ("GET", "/api/visits/{visit}/facts"): (None, {"200": factsapi.Facts}),
    ("GET", "/api/visits/{visit}/work"): (None, {"200": Bundle}),
    ("GET", "/api/visits/{visit}/progress"): (None, {"200": Progress}),
    ("GET", "/healthz"): (None, {"200": health.Health, "503": health.Health}),
}
QUERIES: dict[tuple[str, str], dict[str, Any]] = {
    ("PUT", "/api/uploads/{upload}"): {
        "at": {"type": "integer", "minimum": 0, "maximum": 10**12 - 1, "required": True}
    },
    ("GET", "/api/visits/{visit}/facts"): {"after": {"type": "integer", "minimum": 0}},
    ("GET", "/photos/{digest}"): {"size": {"enum": ["small", "screen", "full"]}},
    ("GET", "/"): {"search": {"type": "string"}, "page": {"type": "integer", "minimum": 1}},
}
_MEDIA = {
    ".pdf": "application/pdf",
    ".svg": "image/svg+xml",
    ".js": "text/javascript",
    ".json": "application/json",
}


def document(routes: Sequence[BaseRoute]) -> dict[str, Any]:
    """Return the OpenAPI 3.1 document of an application's routes.

    Parameters
    ----------
    routes : sequence of Route
        The application's.
    """
    kinds = [kind for body, answers in RECORDS.values() for kind in (body, *answers.values())]
    records = [kind for kind in kinds if kind not in {None, bytes}]
    schemas, components = msgspec.json.schema_components(
        [*records, Refusal], ref_template="#/components/schemas/{name}"
    )
    by_kind = dict(zip(map(repr, [*records, Refusal]), schemas, strict=True))
    paths: dict[str, Any] = {}
    for route in routes:
        if isinstance(route, Route) and route.methods:
            path = re.sub(r":\w+\}", "}", route.path)
            for method in sorted(route.methods - {"HEAD"}):
                told = _operation(method, path, route, by_kind)
                paths.setdefault(path, {})[method.lower()] = told
    return {
        "openapi": "3.1.0",
        "info": {"title": "leastcut workbench", "version": __version__},
        "paths": paths,
        "components": {
            "schemas": components,
            "securitySchemes": {
                "device": {"type": "apiKey", "in": "cookie", "name": COOKIE},
                "form": {"type": "apiKey", "in": "header", "name": CSRF_HEADER},
            },
        },
    }


def _operation(
    method: str, path: str, route: Route, by_kind: dict[str, dict[str, Any]]
) -> dict[str, Any]:
    body, answers = RECORDS.get((method, path), (None, {}))
    told: dict[str, Any] = {
        "operationId": f"{method.lower()}_{re.sub(r'[^a-z]+', '_', path).strip('_') or 'start'}",
        "summary": (route.endpoint.__doc__ or route.name).strip().split("\n")[0],
        "parameters": [*_in_path(path), *_in_query(method, path)],
        "responses": dict(_responses(path, answers, by_kind)),
        "security": _security(method, path),
    }
    if body is bytes:
        content = {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}
        told["requestBody"] = {"required": True, "content": content}
    elif body is not None:
        content = {"application/json": {"schema": by_kind[repr(body)]}}
        told["requestBody"] = {"required": True, "content": content}
    elif method == "POST" and not path.startswith("/api/"):
        form = {"schema": {"type": "object", "additionalProperties": {"type": "string"}}}
        told["requestBody"] = {"content": dict.fromkeys(FORMS, form)}
    return told


def _in_path(path: str) -> Iterator[dict[str, Any]]:
    for name in re.findall(r"\{(\w+)\}", path):
        number = {"type": "integer", "minimum": 1, "maximum": 10**15 - 1}
        schema = number if name in _NUMBERS else {"type": "string", "pattern": "^[A-Za-z0-9_-]+$"}
        yield {"name": name, "in": "path", "required": True, "schema": schema}


def _in_query(method: str, path: str) -> Iterator[dict[str, Any]]:
    for name, schema in QUERIES.get((method, path), {}).items():
        told = {key: value for key, value in schema.items() if key != "required"}
        yield {"name": name, "in": "query", "required": "required" in schema, "schema": told}


def _security(method: str, path: str) -> list[dict[str, list[str]]]:
    from leastcut.web.rules import LINK, OPEN

    if path in OPEN or path.startswith(LINK):
        return []
    return [{"device": []}] if method == "GET" else [{"device": [], "form": []}]


def _responses(
    path: str, answers: dict[str, Any], by_kind: dict[str, dict[str, Any]]
) -> Iterator[tuple[str, dict[str, Any]]]:
    refusal = {"application/json": {"schema": by_kind[repr(Refusal)]}}
    pages: dict[str, Any] = {} if path.startswith("/api/") else {"text/html": {}, "text/plain": {}}
    for status, kind in answers.items():
        told: dict[str, Any] = {
            "description": "Done." if status < "300" else REFUSALS.get(status, "Not now.")
        }
        if kind is not None:
            told["content"] = {"application/json": {"schema": by_kind[repr(kind)]}}
        yield status, told
    if not answers:
        yield "200", {"description": "Shown.", "content": _shown(path)}
        yield "303", {"description": "Done; look there."}
        yield "304", {"description": "As you have it."}
    for status, why in REFUSALS.items():
        if status not in answers:
            yield status, {"description": why, "content": {**refusal, **pages}}


def _shown(path: str) -> dict[str, Any]:
    if path == "/metrics":
        return {MEDIA: {}}
    if "/photos/" in path or "/pictures/" in path:
        return {"image/*": {}}
    ending = re.search(r"\.\w+$", path)
    if ending and ending[0] in _MEDIA:
        return {_MEDIA[ending[0]]: {}}
    return {"application/json": {}} if path.startswith("/api/") else {"text/html": {}}


async def openapi(request: Request) -> Response:
    """Give this document."""
    need(request, "read")
    state = request.app.state
    if not hasattr(state, "openapi"):
        state.openapi = msgspec.json.encode(document(request.app.routes))
    return Response(state.openapi, media_type="application/json")


routes = [Route("/openapi.json", openapi)]
