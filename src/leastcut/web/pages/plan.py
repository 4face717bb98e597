"""Stage four: sections in order, minutes, price, what would change if; the quote to send."""

import math
import re
import time
from datetime import UTC, datetime
from functools import partial
from itertools import groupby
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.errors import InputError
from leastcut.plan.records import SectionPlan
from leastcut.web import forms
from leastcut.web.pages.choices import CHOICES
from leastcut.web.pages.next import next_of
from leastcut.web.pages.sheet import section_row
from leastcut.web.pages.visit import Look, look, values_for
from leastcut.web.reply import Reader, reader_of, render
from leastcut.web.wonder import Wish, Wondered
from leastcut.web.words import mark

WAYS_SHOWN = 5
CURRENCIES = ("EUR", "USD", "GBP", "CHF", "CAD", "AUD", "MXN")

_ID = re.compile(r"[a-z]+(?:-[a-z]+)+|[a-z]+")


def _named(sentence: str, found: Look, reader: Reader) -> str:
    """Return a sentence of the plan with the panels' names where it has their ids."""
    names = {panel.id: panel.name for panel in found.panels}
    head, colon, rest = sentence.partition(":")
    named = _ID.sub(lambda m: names.get(m[0], m[0]), head) + colon + rest
    return reader.told(named)


QUOTE = {
    "quote": mark("Quote"),
    "for": mark("for {client}"),
    "finish": mark("Finish"),
    "daily": mark("at least 85 % of the visible scratch length gone"),
    "show": mark("at least 95 % of the visible scratch length gone"),
    "work": mark("Work"),
    "work_words": mark("{sections} sections on {panels} panels"),
    "hours": mark("Time at the shop"),
    "hours_words": mark("{hours} h, with four chances in five"),
    "keeps": mark("What stays"),
    "keeps_words": mark("at least {reserve} of clear coat wherever it is there to keep"),
    "net": mark("Net"),
    "tax": mark("Tax"),
    "total": mark("Total"),
    "deposit": mark("Of which deposit"),
    "valid": mark("Valid until {date}."),
    "reads": mark(
        "An estimate from what has been measured so far. Marks deeper than the clear coat can pay for stay, and are pointed out before the work."
    ),
}


def plan(request: Request) -> Response:
    """Show the plan."""
    found, reader = look(request), reader_of(request)
    made = found.dossier.plan if found.dossier else None
    wish = wish_of(request, reader) if made else None
    answer = (
        request.app.state.wonderer.ask(found.visit, found.now, found.head, wish) if wish else None
    )
    return render(
        request,
        "plan.html",
        **values_for(
            found,
            stage="plan",
            title=reader.say("Plan"),
            next=next_of(found, reader, "plan"),
            stage_now=found.stage("plan"),
            choices=CHOICES,
            currencies=[("", "…"), *((code, code) for code in CURRENCIES)],
            plan=made,
            wish=wish,
            answer=answer,
            compared=_compared(answer, reader) if answer else [],
            ways=[_named(line, found, reader) for line in answer.relaxations[:WAYS_SHOWN]]
            if answer
            else [],
            reserve_now=_reserve_now(found, reader),
            totals=_totals(found, reader),
            panels=_by_panel(found, reader),
            materials=_materials(found, reader),
            notes=[_named(note, found, reader) for note in (made.notes if made else ())],
            relaxations=[_named(r.say, found, reader) for r in (made.relaxations if made else ())],
            cautions=[
                c for c in (found.dossier.cautions if found.dossier else ()) if c.panel is None
            ],
        ),
    )


def _reserve_now(found: Look, reader: Reader) -> str:
    states = found.dossier.panels if found.dossier else ()
    return reader.show(states[0].film.reserve_um, "micrometer") if states else ""


def wish_of(request: Request, reader: Reader) -> Wish | None:
    """Return the wish in the page's address, or None without one."""
    given = request.query_params
    reserve = given.get("reserve", "").strip()[:20]
    finish = given.get("finish")
    wish = Wish(
        finish=finish if finish in {"daily", "show"} else None,
        reserve=_reserve(reserve, reader),
        confidence_percent=_number(given.get("confidence", ""), 50, 99),
        minutes=_number(given.get("minutes", ""), 10, 6000),
    )
    return None if wish == Wish() else wish


def _reserve(text: str, reader: Reader) -> str | None:
    """Return a reserve as a job file has it; None where it is none."""
    try:
        kind = forms.kind_at("target.reserve")
        return str(forms.value_of(text, "target.reserve", kind, reader.units)) if text else None
    except InputError:
        return None


def _number(text: str, low: float, high: float) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return min(max(number, low), high) if math.isfinite(number) else None


def _compared(answer: Wondered, reader: Reader) -> list[tuple[str, str, str]]:
    """Return the figures before and after, line by line."""
    before, after = answer.before, answer.after
    if before is None or after is None:
        return []
    rows = [
        (reader.say("On the paint"), _hours(before.work_minutes), _hours(after.work_minutes)),
        (reader.say("Safe to promise"), _hours(before.minutes.p80), _hours(after.minutes.p80)),
        (
            reader.say("Mean cut"),
            reader.show(before.cut_um, "micrometer"),
            reader.show(after.cut_um, "micrometer"),
        ),
        (
            reader.say("Scratches gone"),
            _percent(before.removed_percent),
            _percent(after.removed_percent),
        ),
        (
            reader.say("Hardest section"),
            _percent(before.worst_percent),
            _percent(after.worst_percent),
        ),
    ]
    if before.total is not None and after.total is not None:
        rows.append((reader.say("Quote"), str(before.total), str(after.total)))
    return rows


def _percent(value: float | None) -> str:
    return "–" if value is None else f"{value:.0f} %"


def _totals(found: Look, reader: Reader) -> list[tuple[str, str, str]]:
    if found.dossier is None:
        return []
    made = found.dossier.plan
    rows = [
        (reader.say("On the paint"), _hours(made.section_minutes), reader.say("sets alone")),
        (
            reader.say("Whole job"),
            _hours(made.minutes.p50),
            reader.say("as likely longer as shorter"),
        ),
        (reader.say("Safe to promise"), _hours(made.minutes.p80), reader.say("four times in five")),
    ]
    if made.price is not None:
        price = f"{made.price.total} {made.price.currency}"
        rows.append((reader.say("Quote"), price, reader.say("tax included")))
    return rows


def _hours(minutes: float) -> str:
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60:02d}" if whole >= 60 else f"{whole} min"


def _by_panel(found: Look, reader: Reader) -> list[dict[str, Any]]:
    """Return the sections in the order of work, a panel's together."""
    names = {panel.id: reader.told(panel.name) for panel in found.panels}
    grouped = groupby(found.sections, key=lambda plan: plan.panel)
    return [_panel(panel, names.get(panel, panel), list(plans), reader) for panel, plans in grouped]


def _panel(panel: str, name: str, plans: list[SectionPlan], reader: Reader) -> dict[str, Any]:
    return {
        "id": panel,
        "name": name,
        "rows": [section_row(plan, reader) for plan in plans],
        "minutes": f"{sum(step.seconds for plan in plans for step in plan.steps) / 60:.0f}",
    }


def _materials(found: Look, reader: Reader) -> list[tuple[str, str, str]]:
    if found.dossier is None:
        return []
    return [
        (
            reader.told(item.name),
            reader.show(item.amount, "milliliter")
            if item.unit == "ml"
            else f"{item.amount:g} {reader.told(item.unit)}",
            reader.told(item.why),
        )
        for item in found.dossier.plan.materials
    ]


def plan_pdf(request: Request) -> Response:
    """Return the plan for the wall."""
    from leastcut.handover import plan_pdf as made

    return _pdf(request, made.make, "plan.pdf")


def quote_pdf(request: Request) -> Response:
    """Return the quote to send, in the reader's language."""
    from leastcut.handover import quote_pdf as made

    say = reader_of(request).say
    labels = {name: say(text) for name, text in QUOTE.items()}
    return _pdf(request, partial(made.make, labels={**made.LABELS, **labels}), "quote.pdf")


def _pdf(request: Request, make: Any, name: str) -> Response:
    found = look(request)
    if found.dossier is None:
        raise HTTPException(409, "the plan is still being worked out")
    content = make(found.dossier, now=datetime.fromtimestamp(time.time(), UTC))
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(content, media_type="application/pdf", headers=headers)


routes = [
    Route("/v/{visit:int}/plan", plan),
    Route("/v/{visit:int}/plan.pdf", plan_pdf),
    Route("/v/{visit:int}/quote.pdf", quote_pdf),
]
