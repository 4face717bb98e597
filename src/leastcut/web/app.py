"""The workbench as one application: pages, work screen, uploads, access, behind one gate."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from leastcut.errors import InputError
from leastcut.shop.store import Shop
from leastcut.web import access, factsapi, health, openapi, uploads, workscreen
from leastcut.web.gate import Gate
from leastcut.web.pages import (
    after,
    car,
    cars,
    inspect,
    plan,
    post,
    see,
    sheet,
    shop,
    testspot,
    tour,
)
from leastcut.web.reply import reader_of, render
from leastcut.web.rules import status_of
from leastcut.web.settings import Settings
from leastcut.web.wonder import Wonderer

HERE = Path(__file__).parent
FONTS = HERE.parent / "handover" / "fonts"
# Smaller answers gain nothing from being packed.
PACKED_FROM_BYTES = 800


def create_app(kept: Shop, analyst: Any, settings: Settings | None = None) -> Starlette:
    """Return the workbench of a shop.

    Parameters
    ----------
    kept : Shop
        The shop's record.
    analyst : Analyst
        Works out what new facts mean.
    settings : Settings, optional
        Names it answers to, limits.

    Returns
    -------
    Starlette
        An ASGI application.
    """
    settings = settings or Settings()
    app = Starlette(
        routes=[
            *access.routes,
            *uploads.routes,
            *health.routes,
            *openapi.routes,
            *workscreen.routes,
            *factsapi.routes,
            *_pages(),
            Mount("/static", StaticFiles(directory=HERE / "static")),
            Mount("/fonts", StaticFiles(directory=FONTS)),
        ],
        middleware=[
            Middleware(Gate, shop=kept, settings=settings),
            Middleware(GZipMiddleware, minimum_size=PACKED_FROM_BYTES),
        ],
        exception_handlers={InputError: _problem, HTTPException: _problem},
        lifespan=_lifespan,
    )
    wonderer = Wonderer(kept)
    app.state.shop, app.state.analyst, app.state.settings = kept, analyst, settings
    app.state.wonderer = wonderer
    app.state.invented = shop.Invented(kept, wonderer.executor)
    return app


def _pages() -> list[Any]:
    """Return every route of the pages, the more particular ones first."""
    return [
        *cars.routes,
        *shop.routes,
        *tour.routes,
        *post.routes,
        *see.routes,
        *after.routes,
        *car.routes,
        *inspect.routes,
        *testspot.routes,
        *plan.routes,
        *sheet.routes,
    ]


@asynccontextmanager
async def _lifespan(app: Starlette) -> AsyncIterator[None]:
    yield
    app.state.wonderer.close()


async def _problem(request: Request, error: Exception) -> Response:
    """Say what went wrong in words, as a page or for a program."""
    if isinstance(error, HTTPException):
        status, why, do = error.status_code, str(error.detail), ""
    else:
        assert isinstance(error, InputError)
        status, why, do = status_of(error), error.what, error.do
    if request.url.path.startswith("/api/"):
        return uploads.refused(status, why, do)
    lines = [f"{why}. {do}" if do else why]
    title = reader_of(request).say("Something is wrong")
    return await run_in_threadpool(
        render, request, "problem.html", status=status, title=title, lines=lines
    )
