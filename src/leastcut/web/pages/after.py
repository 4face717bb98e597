"""After the machine: proof, the last layer, handing over."""

import time
from datetime import UTC, datetime
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.errors import InputError
from leastcut.inspect.wash import before_proof
from leastcut.protect.clock import clock
from leastcut.protect.products import product
from leastcut.web import forms
from leastcut.web.pages.choices import CHOICES
from leastcut.web.pages.next import next_of, wash_of
from leastcut.web.pages.seen import shots
from leastcut.web.pages.visit import Look, look, values_for
from leastcut.web.reply import Reader, reader_of, render
from leastcut.work.proof import REQUIRED

MINUTES_A_DAY = 1440


def prove(request: Request) -> Response:
    """Show the proofs, and the form for another one."""
    found, reader = look(request), reader_of(request)
    proofs = shots(request.app.state.shop, found, "proof")
    before = [
        (str(item["file"]), reader.told(found.panel(str(item["panel"])).name))
        for item in found.items("photo").values()
        if any(panel.id == item.get("panel") for panel in found.panels)
    ]
    after = [item for item in found.items("reading").items() if item[1].get("after")]
    return render(
        request,
        "prove.html",
        **values_for(
            found,
            stage="work",
            title=reader.say("Prove"),
            panel_words=[(panel.id, reader.told(panel.name)) for panel in found.panels],
            names={panel.id: reader.told(panel.name) for panel in found.panels},
            before=before,
            todo=[reader.told(line) for line in before_proof(wash_of(found))],
            proofs=proofs,
            waiting=sum(shot.seen is None for shot in proofs),
            verdicts=found.dossier.proofs if found.dossier else (),
            required=REQUIRED[found.job.target.finish if found.job else "daily"],
            after=[(f"reading/{key}", item) for key, item in after][::-1],
        ),
    )


def protect(request: Request) -> Response:
    """Show whether the last layer may go on now, and what follows when it has."""
    found, reader = look(request), reader_of(request)
    kind = found.job.protect.product if found.job else "sealant"
    item = product(kind)
    applied = request.query_params.get("applied", "")
    return render(
        request,
        "protect.html",
        **values_for(
            found,
            stage="protect",
            title=reader.say("Protect"),
            next=next_of(found, reader, "protect"),
            stage_now=found.stage("protect"),
            choices=CHOICES,
            product=item,
            window=found.dossier.window if found.dossier else None,
            applied=applied,
            moments=_moments(applied, kind, reader),
        ),
    )


def _moments(applied: str, kind: Any, reader: Reader) -> list[tuple[str, str, str]]:
    """Return the cure clock of a time of day, line by line; empty without a time."""
    hours, _, minutes = applied.partition(":")
    hour, minute = forms.whole(hours, most=23), forms.whole(minutes, most=59)
    if hour is None or minute is None:
        return []
    try:
        moments = clock(60.0 * hour + minute, product(kind))
    except InputError:
        return []
    return [
        (
            reader.told(moment.what),
            f"{_at(moment.from_min, reader)} – {_at(moment.until_min, reader)}",
            reader.told(moment.why),
        )
        for moment in moments
    ]


def _at(minutes: float, reader: Reader) -> str:
    days, rest = divmod(round(minutes), MINUTES_A_DAY)
    said = f"{rest // 60}:{rest % 60:02d}"
    return said if not days else reader.say("{time}, day {day}", time=said, day=days + 1)


def handover(request: Request) -> Response:
    """Show the documents for the client, and the link to send."""
    found, reader = look(request), reader_of(request)
    return render(
        request,
        "handover.html",
        **values_for(
            found,
            stage="handover",
            title=reader.say("Hand over"),
            next=next_of(found, reader, "handover"),
            stage_now=found.stage("handover"),
            proofs=found.dossier.proofs if found.dossier else (),
            worked=sum(
                state.status == "done" and bool(state.planned) for state in found.run.sections
            ),
            names={panel.id: reader.told(panel.name) for panel in found.panels},
            links=_links(request, found),
        ),
    )


def _links(request: Request, found: Look) -> list[Any]:
    gate = getattr(request.state, "gate", None)
    return list(gate.links.all(now_s=time.time(), visit=found.visit)) if gate else []


def ledger(request: Request) -> Response:
    """Show the clear coat of every panel over the car's life."""
    found, reader = look(request), reader_of(request)
    cuts = found.dossier.cuts if found.dossier else ()
    earlier = found.items("film.earlier").values()
    return render(
        request,
        "ledger.html",
        **values_for(
            found,
            stage="handover",
            title=reader.say("Ledger"),
            names={panel.id: reader.told(panel.name) for panel in found.panels},
            cuts=cuts,
            earlier=list(earlier),
            states=found.dossier.panels if found.dossier else (),
        ),
    )


def report_pdf(request: Request) -> Response:
    """Return the report for the client as PDF."""
    return report_of(request, look(request))


def report_of(request: Request, found: Look) -> Response:
    """Return the report of a visit as PDF.

    Raises
    ------
    HTTPException
        If nothing has been worked out yet.
    """
    from leastcut.handover import report_pdf as made

    if found.dossier is None:
        raise HTTPException(409, "the report is still being worked out")
    content = made.make(
        found.dossier,
        now=datetime.fromtimestamp(time.time(), UTC),
        photos=pictures_of(request.app.state.shop, found),
    )
    headers = {"Content-Disposition": 'inline; filename="handover.pdf"'}
    return Response(content, media_type="application/pdf", headers=headers)


def pictures_of(shop: Any, found: Look) -> dict[str, bytes]:
    """Return the pictures that a dossier names."""
    assert found.dossier is not None
    names = {photo.overlay for photo in found.dossier.photos}
    for proof in found.dossier.proofs:
        names |= {proof.photo_before, proof.photo_after}
    held = {name: shop.picture(name) for name in names if name}
    return {name: content for name, content in held.items() if content is not None}


def picture(request: Request) -> Response:
    """Return a picture that was made of this visit's photos.

    Raises
    ------
    HTTPException
        If there is none of that name.
    """
    found = look(request)
    name = request.path_params["name"]
    known = {
        one
        for kind in ("photo", "proof")
        for shot in shots(request.app.state.shop, found, kind)
        for one in shot.pictures
    }
    content = request.app.state.shop.picture(name) if name in known else None
    if content is None:
        raise HTTPException(404, "no such picture")
    return Response(
        content, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=86400"}
    )


routes = [
    Route("/v/{visit:int}/work/prove", prove),
    Route("/v/{visit:int}/protect", protect),
    Route("/v/{visit:int}/handover", handover),
    Route("/v/{visit:int}/handover/ledger", ledger),
    Route("/v/{visit:int}/handover.pdf", report_pdf),
    Route("/v/{visit:int}/pictures/{name}", picture),
]
