"""What somebody sees who is not let through: a page for a person, a record for a program."""

import logging
import math

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from leastcut.web.asks import METHODS, Ask, Refused
from leastcut.web.reply import render
from leastcut.web.who import Who
from leastcut.web.words import mark

log = logging.getLogger("leastcut.web")

# For the page's frame alone: no navigation, no token.
STRANGER = Who(person="", role="client")
CLOSES = frozenset({400, 408, 413, 431})


class Refusal(msgspec.Struct, frozen=True, kw_only=True):
    """Why a request was not answered, and what to do."""

    why: str
    do: str


def refusal(request: Request, ask: Ask, refused: Refused) -> Response:
    """Return the answer to a request that goes no further."""
    answer = _body(request, ask, refused)
    if refused.status == 401:
        answer.headers["www-authenticate"] = 'Device realm="leastcut"'
    if refused.status == 405:
        answer.headers["allow"] = ", ".join(METHODS)
    if refused.wait_s:
        answer.headers["retry-after"] = str(math.ceil(refused.wait_s))
    if refused.status in CLOSES and ask.has_body:
        answer.headers["connection"] = "close"
    return answer


def _body(request: Request, ask: Ask, refused: Refused) -> Response:
    told = Refusal(why=refused.why, do=refused.do)
    if ask.api or "text/html" not in ask.headers.get("accept", "text/html"):
        return Response(msgspec.json.encode(told), refused.status, media_type="application/json")
    if getattr(request.state, "who", None) is None:
        request.state.who = STRANGER
    try:
        if refused.status == 401:
            return render(request, "pair.html", status=401, title=mark("Pair this device"), code="")
        lines = [f"{told.why[:1].upper()}{told.why[1:]}.", f"{told.do}."]
        title = mark("Not like this")
        return render(request, "problem.html", status=refused.status, title=title, lines=lines)
    except Exception:
        log.exception("the page that says why could not be made")
        return Response(f"{told.why}. {told.do}\n", refused.status, media_type="text/plain")
