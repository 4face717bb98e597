"""Stage two: the wash check, photos, gauge readings, gauge checks, outlines traced on a photo."""

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.inspect import wash as washing
from leastcut.web.pages.choices import CHOICES
from leastcut.web.pages.next import next_of, wash_of
from leastcut.web.pages.seen import Shot, guidance, shots
from leastcut.web.pages.visit import Look, look, values_for
from leastcut.web.reply import Reader, reader_of, render

SPOTS_A_PANEL = 3


def inspect(request: Request) -> Response:
    """Show what is known of the paint and what is missing."""
    found, reader = look(request), reader_of(request)
    ready, lacks = washing.check(wash_of(found))
    readings = found.now.readings
    return render(
        request,
        "inspect.html",
        **values_for(
            found,
            stage="inspect",
            title=reader.say("Inspect"),
            next=next_of(found, reader, "inspect"),
            stage_now=found.stage("inspect"),
            ready=ready,
            lacks=[reader.told(line) for line in lacks],
            photos=len(found.items("photo")),
            readings=len(readings),
            read_panels=len({reading.panel for reading in readings}),
            checks=len(found.items("film.check")),
            rows=[_row(found, panel.id, reader) for panel in found.panels],
        ),
    )


def _row(found: Look, panel_id: str, reader: Reader) -> dict[str, Any]:
    state = found.state(panel_id)
    says = reader.say("not worked out yet")
    if state is not None:
        load, film = state.load_mm_per_cm2, state.film
        low, high = (reader.show(v, "micrometer") for v in (film.clear_um.low, film.clear_um.high))
        says = " · ".join(
            [
                f"{load.low:.0f}–{load.high:.0f} mm/cm²"
                + (f" ({reader.say('assumed')})" if state.load_assumed else ""),
                f"{low} – {high}" + (f" ({reader.say('assumed')})" if film.assumed else ""),
            ]
        )
    return {"id": panel_id, "name": reader.told(found.panel(panel_id).name), "says": says}


def wash(request: Request) -> Response:
    """Show the wash-and-clay check."""
    found, reader = look(request), reader_of(request)
    ready, lacks = washing.check(wash_of(found))
    return render(
        request,
        "wash.html",
        **values_for(
            found,
            stage="inspect",
            title=reader.say("Wash check"),
            choices=CHOICES,
            ready=ready,
            lacks=[reader.told(line) for line in lacks],
        ),
    )


def photos(request: Request) -> Response:
    """Show the camera, and what was found in the photos so far."""
    found, reader = look(request), reader_of(request)
    taken = shots(request.app.state.shop, found, "photo")
    return render(
        request,
        "photos.html",
        **values_for(
            found,
            stage="inspect",
            title=reader.say("Photos"),
            chosen=_chosen_panel(request, found, [shot.fields.get("panel", "") for shot in taken]),
            square=_last_square(taken),
            panel_words=[(panel.id, reader.told(panel.name)) for panel in found.panels],
            shots=[(shot, guidance(shot, reader)) for shot in taken],
            names={panel.id: reader.told(panel.name) for panel in found.panels},
            waiting=sum(shot.seen is None for shot in taken),
        ),
    )


def _last_square(taken: list[Shot]) -> str:
    return next(
        (str(shot.fields["square"]) for shot in taken if shot.fields.get("square")), "60 mm"
    )


def _chosen_panel(request: Request, found: Look, done: list[str]) -> str:
    """Return the panel asked for, else the first in the order of work that has none yet."""
    asked = request.query_params.get("panel")
    if asked is not None:
        return found.panel(asked).id
    return next(
        (p.id for p in found.panels if p.id not in done), found.panels[0].id if found.panels else ""
    )


def readings(request: Request) -> Response:
    """Show the keypad: one reading after the other, panel by panel."""
    found, reader = look(request), reader_of(request)
    held = {key: item for key, item in found.items("reading").items() if not item.get("after")}
    panel = _chosen_panel(request, found, [])
    here = [(key, item) for key, item in held.items() if item.get("panel") == panel]
    spots = {str(item.get("spot")) for _, item in here}
    ids = [one.id for one in found.panels]
    at = ids.index(panel) if panel in ids else 0
    given = request.query_params.get("spot", "")[:12]
    return render(
        request,
        "readings.html",
        **values_for(
            found,
            stage="inspect",
            title=reader.say("Readings"),
            panel=found.panel(panel) if panel else None,
            spot=given or str(_next_spot(here)),
            here=[(f"reading/{key}", item) for key, item in here][::-1],
            spots=len(spots),
            wanted=SPOTS_A_PANEL,
            before=ids[at - 1] if at else None,
            after=ids[at + 1] if at + 1 < len(ids) else None,
            number=at + 1,
            count=len(ids),
            names={one.id: reader.told(one.name) for one in found.panels},
            totals={one: sum(i.get("panel") == one for i in held.values()) for one in ids},
            unit=_unit_used(here, reader),
        ),
    )


def _next_spot(here: list[tuple[str, dict[str, Any]]]) -> int:
    numbers = [int(s) for _, item in here if (s := str(item.get("spot"))).isdigit()]
    return max(numbers, default=0) + 1


def _unit_used(here: list[tuple[str, dict[str, Any]]], reader: Reader) -> str:
    if here:
        return "mil" if "reading_mil" in here[-1][1] else "um"
    return "mil" if reader.units == "us" else "um"


def gauge(request: Request) -> Response:
    """Show the gauge's checks on shims and bare metal, and earlier cuts."""
    found, reader = look(request), reader_of(request)
    return render(
        request,
        "gauge.html",
        **values_for(
            found,
            stage="inspect",
            title=reader.say("Gauge checks"),
            checks=[(f"film.check/{k}", item) for k, item in found.items("film.check").items()],
            earlier=[
                (f"film.earlier/{k}", item) for k, item in found.items("film.earlier").items()
            ],
            gauge=found.dossier.gauge if found.dossier else None,
            panel_words=[(panel.id, reader.told(panel.name)) for panel in found.panels],
            names={panel.id: reader.told(panel.name) for panel in found.panels},
        ),
    )


def outline(request: Request) -> Response:
    """Show a photo to trace a panel's outline on, scaled by four corners of a square.

    Raises
    ------
    HTTPException
        If the panel has no such photo.
    """
    found, reader = look(request), reader_of(request)
    panel = found.panel(request.path_params["panel"])
    taken = [
        shot
        for shot in shots(request.app.state.shop, found, "photo")
        if shot.fields.get("panel") == panel.id
    ]
    digest = request.query_params.get("photo", "")
    if digest and not any(shot.fields.get("file") == digest for shot in taken):
        raise HTTPException(404, "no such photo of this panel")
    changed = [k for k, item in found.items("panel").items() if item.get("id") == panel.id]
    return render(
        request,
        "outline.html",
        **values_for(
            found,
            held=f"panel/{changed[0]}" if changed else "",
            stage="inspect",
            title=reader.say("Outline of {panel}", panel=reader.told(panel.name)),
            panel=panel,
            photos=[str(shot.fields["file"]) for shot in taken],
            photo=digest or (str(taken[0].fields["file"]) if taken else ""),
            square=_last_square(taken),
        ),
    )


routes = [
    Route("/v/{visit:int}/inspect", inspect),
    Route("/v/{visit:int}/inspect/wash", wash),
    Route("/v/{visit:int}/inspect/photos", photos),
    Route("/v/{visit:int}/inspect/readings", readings),
    Route("/v/{visit:int}/inspect/gauge", gauge),
    Route("/v/{visit:int}/inspect/outline/{panel}", outline),
]
