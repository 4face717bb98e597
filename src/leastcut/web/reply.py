"""Pages from templates: the reader's language, units and look, and what every page needs."""

import secrets
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache, partial
from typing import Any, cast

import msgspec
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from leastcut.car.units import UnitSystem, show
from leastcut.errors import Problem
from leastcut.web import words
from leastcut.web.forms import shown, whole
from leastcut.web.glossary import STEPS, TERMS, Step

THEMES = ("auto", "light", "dark")


class Reader(msgspec.Struct, frozen=True, kw_only=True):
    """Who reads a page: language, units, light or dark, and the token that forms carry."""

    lang: words.Language
    units: UnitSystem
    theme: str
    csrf: str
    role: str
    person: str

    def say(self, text: str, **values: object) -> str:
        """Return a text of ours in the reader's language."""
        return words.say(self.lang, text, **values)

    def told(self, sentence: str) -> str:
        """Return a sentence of the core's in the reader's language."""
        return words.told(self.lang, sentence)

    def show(self, value: float, unit: str) -> str:
        """Return a quantity in the reader's units."""
        return show(value, unit, self.units)


class Trouble(msgspec.Struct, frozen=True, kw_only=True):
    """A form that could not be taken: what is wrong with which field, and what had been typed."""

    problems: Mapping[str, Problem] = {}
    typed: Mapping[str, str] = {}


def reader_of(request: Request) -> Reader:
    """Return the reader of this request: what was chosen on this device, else what it asks for."""
    who = getattr(request.state, "who", None)
    given = request.cookies
    lang = given.get("lang") or getattr(who, "lang", "") or _asked(request)
    units = given.get("units") or getattr(who, "units", "")
    theme = given.get("theme", "auto")
    return Reader(
        lang=cast("words.Language", lang if lang in words.LANGUAGES else "en"),
        units="us" if units == "us" else "metric",
        theme=theme if theme in THEMES else "auto",
        csrf=str(getattr(who, "csrf", "")),
        role=str(getattr(who, "role", "owner")),
        person=str(getattr(who, "person", "")),
    )


def _asked(request: Request) -> str:
    """Return the first language that the browser asks for and we speak."""
    for part in request.headers.get("accept-language", "").split(","):
        tag = part.split(";")[0].strip()[:2].lower()
        if tag in words.LANGUAGES:
            return tag
    return "en"


@cache
def templates() -> Environment:
    """Return the templates, compiled once."""
    made = Environment(
        loader=PackageLoader("leastcut.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {
        "new_key": partial(secrets.token_hex, 8),
        "shown": shown,
        "day": _day,
        "terms": TERMS,
        "tour_steps": STEPS,
    }
    return made


def step_of(request: Request) -> Step | None:
    """Return the stop of the tour that a page was reached by."""
    number = whole(request.query_params.get("tour", ""), most=len(STEPS)) or 0
    return STEPS[number - 1] if number else None


def _day(unix_s: float) -> str:
    """Return a time as a date that reads the same everywhere."""
    return datetime.fromtimestamp(unix_s, UTC).date().isoformat()


def render(request: Request, template: str, *, status: int = 200, **values: object) -> HTMLResponse:
    """Return a page.

    Parameters
    ----------
    request : Request
        Whose page it is: language, units and look come from it.
    template : str
        Name of the template.
    status : int
        Status code; 422 where a form could not be taken.
    **values
        What the template shows, besides ``_`` (our texts), ``told`` (the core's sentences),
        ``show`` (quantities), ``reader``, ``trouble``, ``tour`` and ``path``.
    """
    reader = reader_of(request)
    trouble: Trouble = getattr(request.state, "trouble", None) or Trouble()
    common: dict[str, Any] = {
        "_": reader.say,
        "told": reader.told,
        "show": reader.show,
        "reader": reader,
        "trouble": trouble,
        "path": request.url.path,
        "tour": step_of(request),
        "visit": None,
        "stage": "",
    }
    made = templates().get_template(template).render(**{**common, **values})
    return HTMLResponse(made, 422 if trouble.problems and status == 200 else status)
