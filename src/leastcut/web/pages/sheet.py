"""The home of a car: the pattern sheet; then a panel, then a section."""

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.car import sheet
from leastcut.plan.records import SectionPlan
from leastcut.web.pages.drawings import MEASURES, in_language, kept, panel_of, share_done, sheet_of
from leastcut.web.pages.known import cut_figure, figures_of
from leastcut.web.pages.next import next_of
from leastcut.web.pages.visit import Look, look, values_for
from leastcut.web.reply import Reader, reader_of, render

HELPS_SHOWN = 4


def home(request: Request) -> Response:
    """Show the car on its pattern sheet, wearing one measure.

    Raises
    ------
    HTTPException
        If there is no such measure.
    """
    found, reader = look(request), reader_of(request)
    measure = request.query_params.get("measure", "")
    if measure and measure not in MEASURES:
        raise HTTPException(404, "no such measure")
    measure = measure or ("done" if found.now.events else "budget")
    drawn = sheet_of(request.app.state.shop, found, measure, reader)
    return render(
        request,
        "sheet.html",
        **values_for(
            found,
            drawn=drawn,
            measure=measure,
            measures=MEASURES,
            next=next_of(found, reader),
            rows=[_panel_row(found, panel.id, reader) for panel in found.panels],
            helps=helps(found, reader),
            visits=request.app.state.shop.visits(found.car_row)[::-1],
        ),
    )


def helps(found: Look, reader: Reader) -> list[tuple[str, str]]:
    """Return what evidence would help most, as words and reason."""
    if found.dossier is None:
        return []
    names = {panel.id: reader.told(panel.name) for panel in found.panels}
    return [
        (
            reader.told(item.evidence)
            + (f", {names.get(item.panel, item.panel)}" if item.panel else ""),
            reader.told(item.why),
        )
        for item in found.dossier.would_help_most[:HELPS_SHOWN]
    ]


def _panel_row(found: Look, panel_id: str, reader: Reader) -> dict[str, Any]:
    panel, state = found.panel(panel_id), found.state(panel_id)
    done = [share_done(s) for s in found.run.sections if s.panel == panel_id and s.planned]
    says = []
    if state is not None:
        load = f"{state.load_mm_per_cm2.mean:.0f} mm/cm²"
        says.append(reader.say("scratches {load}", load=load))
        budget = reader.show(state.film.budget_um, "micrometer")
        says.append(reader.say("budget {budget}", budget=budget))
        if state.load_assumed and state.film.assumed:
            says = [reader.say("nothing measured yet")]
    if done and any(done):
        says.append(reader.say("{percent} % done", percent=f"{100 * sum(done) / len(done):.0f}"))
    return {"id": panel.id, "name": reader.told(panel.name), "says": " · ".join(says)}


def whole_sheet(request: Request) -> Response:
    """Return the sheet on large paper, to print.

    Raises
    ------
    HTTPException
        If the visit has no car yet.
    """
    found, reader = look(request), reader_of(request)
    if found.car is None:
        raise HTTPException(404, "no car yet")
    car = in_language(found.car, reader)
    cells = {
        layout.panel: [(s.id, s.cell_mm) for s in layout.sections]
        for layout in (found.dossier.layouts if found.dossier else ())
    }

    def make() -> str:
        return sheet.draw(sheet.lay_out(car.panels), car, cells=cells, units=reader.units)

    drawing = kept(request.app.state.shop, "print", (car, cells, reader.units), make)
    return Response(drawing, media_type="image/svg+xml")


def panel_page(request: Request) -> Response:
    """Show one panel: its sections, what is known of it, and how."""
    found, reader = look(request), reader_of(request)
    panel = found.panel(request.path_params["panel"])
    plans = [plan for plan in found.sections if plan.panel == panel.id]
    photos = [p for p in (found.dossier.photos if found.dossier else ()) if p.panel == panel.id]
    state = found.state(panel.id)
    return render(
        request,
        "panel.html",
        **values_for(
            found,
            title=reader.told(panel.name),
            panel=panel,
            svg=panel_of(request.app.state.shop, found, panel, reader),
            figures=figures_of(found, panel.id, reader),
            sections=[section_row(plan, reader) for plan in plans],
            notes=[reader.told(note) for note in (state.film.notes if state else ())],
            photos=photos,
            cautions=[
                c for c in (found.dossier.cautions if found.dossier else ()) if c.panel == panel.id
            ],
            remarks=[n for n in found.items("note").values() if n.get("panel") == panel.id],
        ),
    )


def section_row(plan: SectionPlan, reader: Reader) -> dict[str, str]:
    """Return what a list says of a section."""
    steps = ", ".join(f"{step.sets} × {step.process}" for step in plan.steps)
    minutes = sum(step.seconds for step in plan.steps) / 60
    return {
        "id": plan.id,
        "panel": plan.panel,
        "steps": steps or reader.say("leave alone"),
        "says": reader.say(
            "{minutes} min · cut {cut} · chance {percent} %",
            minutes=f"{minutes:.1f}",
            cut=reader.show(plan.cut_um.mean, "micrometer"),
            percent=f"{100 * plan.p_target:.0f}",
        )
        if plan.steps
        else reader.told(plan.note),
    }


def section_page(request: Request) -> Response:
    """Show one section: its strokes, what is done to it, what it costs.

    Raises
    ------
    HTTPException
        If there is no such section.
    """
    found, reader = look(request), reader_of(request)
    panel = found.panel(request.path_params["panel"])
    name = request.path_params["section"]
    plan = next((p for p in found.sections if (p.panel, p.id) == (panel.id, name)), None)
    if plan is None:
        raise HTTPException(404, "no such section")
    assert found.dossier is not None
    layout = next(lay for lay in found.dossier.layouts if lay.panel == panel.id)
    section = next(s for s in layout.sections if s.id == name)
    state = next(s for s in found.run.sections if (s.panel, s.id) == (panel.id, name))
    return render(
        request,
        "section.html",
        **values_for(
            found,
            title=reader.say("Section {section}", section=name),
            panel=panel,
            plan=plan,
            row=section_row(plan, reader),
            section=section,
            state=state,
            svg=panel_of(request.app.state.shop, found, panel, reader, section=name),
            figures=[cut_figure(plan, found, reader)] if plan.steps else [],
            tools={process.label: process for process in found.dossier.ladder},
        ),
    )


routes = [
    Route("/v/{visit:int}", home),
    Route("/v/{visit:int}/sheet.svg", whole_sheet),
    Route("/v/{visit:int}/panel/{panel}", panel_page),
    Route("/v/{visit:int}/panel/{panel}/{section}", section_page),
]
