"""Facts in and out for the work screen and for programs: taken exactly once, refused one by one.

What cannot be kept is named and the rest is kept, so that one bad fact does not hold up an outbox
for ever. What the new facts mean is worked out once taps have ceased for a while.
"""

import asyncio
import time
from collections.abc import Iterable, Sequence
from typing import Any

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.errors import InputError, Problem
from leastcut.job import values
from leastcut.job.visit import Conflict, Visit, fold
from leastcut.shop.factrows import body_text
from leastcut.shop.facts import Fact, NewFact
from leastcut.web.pages.post import foreign_photos, tell_the_list
from leastcut.web.refusing import Refusal
from leastcut.web.who import Right, Who, need, who_of

MOST_FACTS = 500
# Taps come every few seconds; a whole job is not worked out anew for each of them.
QUIET_S = 20.0


class FactRefusedError(InputError):
    """A fact that cannot be kept."""


class Unkept(msgspec.Struct, frozen=True, kw_only=True):
    """A fact that was not kept: why, and what to do."""

    key: str
    why: str
    do: str


class Contradiction(msgspec.Struct, frozen=True, kw_only=True):
    """A field about which devices said different things.

    ``values`` holds [fact number, value, person, when] of each; whoever decides sends a ``set`` of
    the field with ``base``, the newest fact on it.
    """

    field: str
    base: int | None
    values: tuple[tuple[int, Any, str, float], ...]


class Taken(msgspec.Struct, frozen=True, kw_only=True):
    """What became of the facts sent: number by key, the newest, contradictions, what was not kept."""

    taken: dict[str, int]
    head: int
    conflicts: tuple[Contradiction, ...]
    refused: tuple[Unkept, ...] = ()


class Facts(msgspec.Struct, frozen=True, kw_only=True):
    """A visit's facts behind a number, its newest, contradictions, and the shop's clock [Unix s]."""

    facts: tuple[Fact, ...]
    head: int
    conflicts: tuple[Contradiction, ...] = ()
    now_s: float = 0.0
    plan_head: int = 0


def answer(record: Any, status: int = 200) -> Response:
    """Return a record as JSON."""
    return Response(msgspec.json.encode(record), status, media_type="application/json")


async def post(request: Request) -> Response:
    """Take facts: ``POST /api/visits/{visit}/facts`` with a list of them."""
    who = need(request, "write")
    try:
        new = msgspec.json.decode(await request.body(), type=list[NewFact])
    except (msgspec.DecodeError, RecursionError) as error:
        return answer(Refusal(why=f"this is no list of facts: {error}", do="Send it anew"), 422)
    if len(new) > MOST_FACTS:
        why = f"{len(new)} facts at once"
        return answer(Refusal(why=why, do=f"Send at most {MOST_FACTS} at a time"), 413)
    told = await run_in_threadpool(take, request, int(request.path_params["visit"]), new, who)
    if told.taken:
        _work_out_soon(request, int(request.path_params["visit"]), new)
    return answer(told)


def take(request: Request, visit: int, new: Sequence[NewFact], who: Who) -> Taken:
    """Keep the facts that can be kept, and say what became of each.

    Parameters
    ----------
    request : Request
        For the shop.
    visit : int
        Number of the visit.
    new : sequence of NewFact
        In the order in which they shall count.
    who : Who
        Who sends them.

    Raises
    ------
    HTTPException
        404 if there is no such visit.
    """
    shop, now_s = request.app.state.shop, time.time()
    if shop.visit(visit) is None:
        raise HTTPException(404, "no such visit")
    known = shop.facts(visit)
    good, refused = sorted_out(new, known, who, shop=shop, visit=visit, now_s=now_s)
    done = shop.append(visit, good, device=who.device, person=who.person, now_s=now_s)
    if any(not _tap(fact) for fact in good):
        tell_the_list(shop, visit, good)
    now = fold(shop.facts(visit))
    return Taken(
        taken=done.taken, head=done.head, conflicts=contradictions(now), refused=tuple(refused)
    )


def contradictions(now: Visit) -> tuple[Contradiction, ...]:
    """Return what a person must decide."""
    return tuple(_contradiction(conflict, now) for conflict in now.conflicts)


def _contradiction(conflict: Conflict, now: Visit) -> Contradiction:
    base = now.heads.get(conflict.field)
    return Contradiction(field=conflict.field, base=base, values=conflict.values)


def sorted_out(
    new: Iterable[NewFact],
    known: Sequence[Fact],
    who: Who,
    *,
    shop: Any,
    visit: int,
    now_s: float,
) -> tuple[list[NewFact], list[Unkept]]:
    """Part facts that can be kept from those that cannot.

    Parameters
    ----------
    new, known : facts
        Those sent, and all that the visit holds; a key that it holds is fine, whatever comes again
        with it.
    who : Who
        Whose rights count.
    shop, visit : Shop, int
        Where the photos are that a fact may name.
    now_s : float
        The shop's clock [Unix s].
    """
    keys = {fact.key for fact in known}
    check = _Check(known, who, now_s)
    good: list[NewFact] = []
    refused = []
    for fact in new:
        try:
            body_text(fact)
            if fact.key not in keys:
                check(fact)
                _own_photos(shop, visit, fact)
            good.append(fact)
        except InputError as error:
            refused.append(Unkept(key=fact.key, why=error.what, do=error.do))
    return good, refused


def _own_photos(shop: Any, visit: int, fact: NewFact) -> None:
    for problem in foreign_photos(shop, visit, [fact]).values():
        raise FactRefusedError(problem.what, do=problem.do)


class _Check:
    """Is a fact one that this visit can use? Facts checked before count as known."""

    def __init__(self, known: Sequence[Fact], who: Who, now_s: float) -> None:
        self._known, self._who, self._now_s = known, who, now_s
        self._folded: Visit | None = None
        self._new: dict[str, dict[str, Any]] = {}

    @property
    def now(self) -> Visit:
        """The visit as it stands; taps alone never ask for it."""
        if self._folded is None:
            self._folded = fold(self._known)
        return self._folded

    def __call__(self, fact: NewFact) -> None:
        if fact.made_s is not None and not 0 <= fact.made_s < float("inf"):
            raise FactRefusedError(f"time {fact.made_s}", do="Give Unix seconds, or none")
        if not self._who.may(self._right(fact)):
            raise FactRefusedError("your role does not allow this", do="Ask the shop's owner")
        if fact.kind == "add":
            self._add(fact)
        elif "/" in fact.field:
            self._touch(fact)
        elif fact.kind == "set":
            values.check(fact.field, fact.body)
        else:
            raise _no_item()

    def _right(self, fact: NewFact) -> Right:
        if fact.field.startswith("prices."):
            return "price"
        decides = fact.kind == "set" and any(c.field == fact.field for c in self.now.conflicts)
        return "settle" if decides else "write"

    def _add(self, fact: NewFact) -> None:
        if fact.field not in values.LISTS:
            raise FactRefusedError("there is no such list", do="Send what the page sends")
        body = fact.body
        if fact.field == "event" and isinstance(body, dict):
            made_s = self._now_s if fact.made_s is None else fact.made_s
            body = {"at_s": made_s, **body, "id": fact.key}
        _fine(values.item(fact.field, fact.key, body)[1])
        self._new[f"{fact.field}/{fact.key}"] = body

    def _touch(self, fact: NewFact) -> None:
        """Check a change of an item, or its taking back; one that is gone already may come late."""
        name, _, rest = fact.field.partition("/")
        key, _, leaf = rest.partition(".")
        place = f"{name}/{key}"
        item = self._new.get(place) or self.now.items.get(name, {}).get(key)
        if item is None and place not in self.now.heads:
            raise _no_item()
        if fact.kind == "drop" or item is None:
            return
        if not leaf:
            raise FactRefusedError("this is not one field", do="Name the field behind a dot")
        changed = {k: v for k, v in item.items() if k != leaf}
        changed |= {} if fact.body is None else {leaf: fact.body}
        _fine(values.item(name, key, changed)[1])


def _no_item() -> FactRefusedError:
    return FactRefusedError("there is no such item", do="Load the page again")


def _fine(problems: Sequence[Problem]) -> None:
    for problem in problems:
        raise FactRefusedError(problem.what, do=problem.do)


def _tap(fact: NewFact) -> bool:
    return fact.field.partition("/")[0] == "event"


def _work_out_soon(request: Request, visit: int, new: Sequence[NewFact]) -> None:
    """Have the visit worked out: at once, or when nobody has tapped for a while."""
    state = request.app.state
    if not hasattr(state, "quiet"):
        state.quiet = {}
    waiting: dict[int, asyncio.TimerHandle] = state.quiet
    if (before := waiting.pop(visit, None)) is not None:
        before.cancel()
    if all(_tap(fact) for fact in new):
        loop = asyncio.get_running_loop()
        waiting[visit] = loop.call_later(QUIET_S, state.analyst.poke, visit)
    else:
        state.analyst.poke(visit)


def after(request: Request) -> Response:
    """Return the facts behind a number; ``of=event`` leaves all but the record of the work out."""
    seen(request)
    visit, asked = int(request.path_params["visit"]), request.query_params
    number, of = asked.get("after", "0"), asked.get("of", "")
    if not (number.isascii() and number.isdigit() and len(number) < 20) or of not in {"", "event"}:
        told = Refusal(why="no number of a fact, or no such kind", do="Ask with after=0")
        return answer(told, 422)
    everything = request.app.state.shop.facts(visit)
    new = tuple(f for f in everything if f.id > int(number) and (not of or _tap(f)))
    stored = request.app.state.shop.dossier(visit)
    return answer(
        Facts(
            facts=new,
            head=everything[-1].id if everything else 0,
            conflicts=contradictions(fold(everything)),
            now_s=time.time(),
            plan_head=stored[0] if stored else 0,
        )
    )


def progress(request: Request) -> Response:
    """Say how far the analysis of a visit is."""
    seen(request)
    return answer(request.app.state.analyst.progress(int(request.path_params["visit"])))


def seen(request: Request) -> Who:
    """Return who asks, once it is sure that they may see the visit and that it is there.

    Raises
    ------
    HTTPException
        403 if they may not see it, 404 if there is no such visit.
    """
    visit, who = int(request.path_params["visit"]), who_of(request)
    if not who.sees(visit):
        raise HTTPException(403, "your role in the shop does not allow this")
    if request.app.state.shop.visit(visit) is None:
        raise HTTPException(404, "no such visit")
    return who


routes = [
    Route("/api/visits/{visit:int}/facts", post, methods=["POST"]),
    Route("/api/visits/{visit:int}/facts", after, methods=["GET"]),
    Route("/api/visits/{visit:int}/progress", progress),
]
