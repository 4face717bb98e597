"""The workbench's pages for one job file: server-rendered, nothing from the internet.

Every page is made from the same dossier that the command writes its documents from.
"""

from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.base import BaseHTTPMiddleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from leastcut.errors import InputError
from leastcut.web.bench import Bench
from leastcut.web.views import MEASURES, car_view, panel_view

HERE = Path(__file__).parent
FONTS = HERE.parent / "handover" / "fonts"

# Only our own files and inline drawings: a page can neither load nor send anything elsewhere.
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self' 'unsafe-inline'; img-src 'self'; font-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


def create_app(job_file: Path, out: Path) -> Starlette:
    """Return the application that shows one job file.

    Parameters
    ----------
    job_file : Path
        The job file; read again when it changes.
    out : Path
        Folder for the documents that the pages link to.

    Returns
    -------
    Starlette
        An ASGI application.
    """
    bench = Bench(job_file, out)
    pages = Environment(
        loader=PackageLoader("leastcut.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )

    def render(name: str, status: int = 200, **values: object) -> HTMLResponse:
        return HTMLResponse(pages.get_template(name).render(**values), status)

    async def car(request: Request) -> Response:
        outcome = await run_in_threadpool(bench.outcome, datetime.now(UTC))
        measure = request.query_params.get("measure", "budget")
        if measure not in MEASURES:
            raise HTTPException(404, f"no measure '{measure}'")
        return render("car.html", **car_view(outcome.dossier, measure))

    async def panel(request: Request) -> Response:
        outcome = await run_in_threadpool(bench.outcome, datetime.now(UTC))
        view = panel_view(outcome.dossier, request.path_params["panel"])
        if view is None:
            raise HTTPException(404, "no such panel on this car")
        return render("panel.html", **view)

    async def document(request: Request) -> Response:
        outcome = await run_in_threadpool(bench.outcome, datetime.now(UTC))
        name = request.path_params["name"]
        found = [file for file in outcome.files if file.relative_to(out).as_posix() == name]
        if not found:
            raise HTTPException(404, "no such document")
        return FileResponse(found[0])

    async def problem(request: Request, error: Exception) -> Response:
        del request
        if isinstance(error, HTTPException):
            return render("problem.html", error.status_code, lines=[error.detail])
        assert isinstance(error, InputError)
        problems = getattr(error, "problems", None) or (error.problem(),)
        return render("problem.html", 422, lines=[str(item) for item in problems])

    app = Starlette(
        routes=[
            Route("/", car),
            Route("/panel/{panel}", panel),
            Route("/files/{name:path}", document),
            Mount("/static", StaticFiles(directory=HERE / "static")),
            Mount("/fonts", StaticFiles(directory=FONTS)),
        ],
        middleware=[Middleware(BaseHTTPMiddleware, dispatch=_secure)],
        exception_handlers={InputError: problem, HTTPException: problem},
    )
    app.state.bench = bench
    return app


async def _secure(
    request: Request, call_next: Callable[[Request], Awaitable[Response]]
) -> Response:
    response = await call_next(request)
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    return response
