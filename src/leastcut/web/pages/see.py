"""What a client sees behind their link: the proof with its slider, and what was found and done."""

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.handover.charts import film_chart, load_chart
from leastcut.handover.client import summary
from leastcut.handover.drawings import draw_film
from leastcut.handover.plots import draw_bars, draw_intervals
from leastcut.web.pages.after import pictures_of
from leastcut.web.pages.drawings import kept
from leastcut.web.pages.visit import Look, look_at
from leastcut.web.reply import reader_of, render
from leastcut.web.who import who_of


def _shown(request: Request) -> Look:
    """Return the visit that the link opens.

    Raises
    ------
    HTTPException
        If it opens none, or there is nothing to show yet.
    """
    visit = who_of(request).visit
    if visit is None:
        raise HTTPException(404, "no such link")
    found = look_at(request, visit)
    if found.dossier is None:
        raise HTTPException(409, "there is nothing to show yet")
    return found


def see(request: Request) -> Response:
    """Show the handover to a client."""
    found, reader = _shown(request), reader_of(request)
    dossier = found.dossier
    assert dossier is not None
    drawings = {
        name: _drawn(request, found, name, reader.units) for name in ("car", "film", "loads")
    }
    return render(
        request,
        "see.html",
        title=found.label,
        here=request.url.path.rstrip("/"),
        summary=[reader.told(line) for line in summary(dossier)],
        drawings=drawings,
        proofs=[p for p in dossier.proofs if p.photo_before and p.photo_after],
        names={panel.id: reader.told(panel.name) for panel in dossier.car.panels},
        people=dossier.people,
    )


def _drawn(request: Request, found: Look, name: str, units: str) -> str:
    dossier = found.dossier
    assert dossier is not None
    makers: dict[str, Any] = {
        "car": lambda: draw_film(dossier),
        "film": lambda: draw_intervals(film_chart(dossier)),
        "loads": lambda: draw_bars(load_chart(dossier)),
    }
    parts = (found.visit, found.known_head, units)
    return kept(request.app.state.shop, f"see-{name}", parts, makers[name])


def picture(request: Request) -> Response:
    """Return a picture that the report shows.

    Raises
    ------
    HTTPException
        If it shows none of that name.
    """
    found = _shown(request)
    content = pictures_of(request.app.state.shop, found).get(request.path_params["name"])
    if content is None:
        raise HTTPException(404, "no such picture")
    return Response(content, media_type="image/jpeg")


def report(request: Request) -> Response:
    """Return the report as PDF."""
    from leastcut.web.pages.after import report_of

    return report_of(request, _shown(request))


routes = [
    Route("/see/{token}", see),
    Route("/see/{token}/report.pdf", report),
    Route("/see/{token}/pictures/{name}", picture),
]
