"""The work screen: one page loaded whole, that lives on when the shop's computer goes away."""

import re
import time
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from leastcut.handover.records import Dossier
from leastcut.web import words
from leastcut.web.factsapi import answer
from leastcut.web.pages.visit import Look, look, values_for
from leastcut.web.reply import Reader, reader_of, render
from leastcut.web.who import need
from leastcut.web.workbundle import Bundle, bundle_of

SCRIPTS = Path(__file__).parent / "static" / "work"
_TEXT = re.compile(r"""\b_\(\s*("(?:[^"\\]|\\.)*")""")


@cache
def script_texts() -> tuple[str, ...]:
    """Return every text of ours that the scripts show, as they stand in the catalogue."""
    found = {
        str(msgspec.json.decode(quoted))
        for path in sorted(SCRIPTS.glob("*.js"))
        for quoted in _TEXT.findall(path.read_text("utf-8"))
    }
    return tuple(sorted(found))


def script_words(lang: words.Language) -> dict[str, str]:
    """Return the scripts' texts in a language; none for English, which they hold themselves."""
    if lang == "en":
        return {}
    known = words.catalogue()
    return {text: known[text][lang] for text in script_texts() if lang in known.get(text, {})}


def page(request: Request) -> Response:
    """Show the work screen with everything it needs inside."""
    who = need(request, "read")
    found, reader = look(request), reader_of(request)
    carried = None
    if _plan_of(found) is not None:
        bundle = _bundle(request, found, reader)
        carried = _inline({"bundle": bundle, "words": script_words(reader.lang)})
    return render(
        request,
        "work.html",
        **values_for(
            found,
            title=reader.say("Work"),
            stage="work",
            carried=carried,
            can_work=who.may("write"),
            plan_made=found.dossier is not None,
        ),
    )


def _plan_of(found: Look) -> Dossier | None:
    """Return the plan if there is anything in it to work on."""
    if found.dossier is None or not any(plan.steps for plan in found.sections):
        return None
    return found.dossier


def _bundle(request: Request, found: Look, reader: Reader) -> Bundle:
    dossier = _plan_of(found)
    if dossier is None:
        raise HTTPException(409, "there is no section to work on yet")
    return bundle_of(found, dossier, reader, need(request, "read"), time.time())


def _inline(record: Any) -> str:
    """Return JSON that can stand inside a page."""
    text = msgspec.json.encode(record).decode()
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def bundle(request: Request) -> Response:
    """Return what the work screen carries, for a page that is open while the plan changes."""
    need(request, "read")
    found = look(request)
    return answer(_bundle(request, found, reader_of(request)))


def run_sheet(request: Request) -> Response:
    """Return the whole run as one file that needs nothing else: for when all else fails."""
    need(request, "read")
    found, reader = look(request), reader_of(request)
    made = _bundle(request, found, reader)
    states = {(s.panel, s.id): s for s in found.run.sections}
    response = render(
        request,
        "work_sheet.html",
        **values_for(
            found,
            bundle=made,
            panels={panel.id: panel for panel in made.panels},
            tools={tool.label: tool for tool in made.tools},
            states=states,
            boxes={(piece.panel, piece.id): view_box(piece.worked) for piece in made.sections},
        ),
    )
    name = f"run-{found.visit}.html"
    response.headers["content-disposition"] = f'attachment; filename="{name}"'
    return response


def view_box(ring: tuple[tuple[int, int], ...]) -> str:
    """Return the part of an upside-down plane that shows a ring with a rim, as SVG wants it.

    >>> view_box(((0, 0), (100, 0), (100, 50)))
    '-20 -70 140 90'
    """
    low = [min(point[axis] for point in ring) - 20 for axis in (0, 1)]
    high = [max(point[axis] for point in ring) + 20 for axis in (0, 1)]
    return f"{low[0]} {-high[1]} {high[0] - low[0]} {high[1] - low[1]}"


def worker(request: Request) -> Response:
    """Return the service worker; from the root, so that it may see to pages of visits."""
    del request
    return FileResponse(SCRIPTS / "sw.js", media_type="text/javascript")


routes = [
    Route("/v/{visit:int}/work", page),
    Route("/v/{visit:int}/work/sheet.html", run_sheet),
    Route("/api/visits/{visit:int}/work", bundle),
    Route("/work-sw.js", worker),
]
