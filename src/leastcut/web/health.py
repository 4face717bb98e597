"""How the workbench is: a short answer for whoever watches over it, and its counts."""

import time
from pathlib import Path

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut import __version__
from leastcut.errors import LeastcutError
from leastcut.web.meter import MEDIA, Gauge
from leastcut.web.uploads import answer
from leastcut.web.who import Who

PAGE_BYTES = 4096


class Health(msgspec.Struct, frozen=True, kw_only=True):
    """Whether the workbench can do its work."""

    ok: bool
    version: str
    record: str


def _record(request: Request) -> str:
    """Read from the record and return how that went, without telling strangers any detail."""
    try:
        request.app.state.shop.cars(per_page=1)
    except LeastcutError as error:
        return type(error).__name__
    return "ok"


async def health(request: Request) -> Response:
    """Answer 200 when the record can be read, 503 when not."""
    told = await run_in_threadpool(_record, request)
    fine = told == "ok"
    return answer(Health(ok=fine, version=__version__, record=told), 200 if fine else 503)


def memory_bytes() -> float:
    """Return the memory that this process holds [bytes]; its highest where the system tells no more."""
    try:
        return float(Path("/proc/self/statm").read_text().split()[1]) * PAGE_BYTES
    except (OSError, IndexError, ValueError):
        import resource

        return float(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) * 1024


def _gauges(request: Request) -> list[Gauge]:
    begun = time.perf_counter()
    cars = request.app.state.shop.cars(per_page=1).total
    spent = time.perf_counter() - begun
    return [
        ("leastcut_cars", "Cars in the record.", float(cars)),
        ("leastcut_record_seconds", "Time of one look into the record.", spent),
        ("leastcut_memory_bytes", "Memory of the workbench's process.", memory_bytes()),
    ]


async def metrics(request: Request) -> Response:
    """Give the counts to this machine's own programs, and to the owner.

    Raises
    ------
    HTTPException
        404 for anybody else.
    """
    who = getattr(request.state, "who", None)
    owner = isinstance(who, Who) and who.may("people")
    if not owner and not request.state.gate.from_here(request):
        raise HTTPException(404, "no such page")
    gauges = await run_in_threadpool(_gauges, request)
    return Response(request.state.gate.meter.text(gauges), headers={"content-type": MEDIA})


routes = [Route("/healthz", health), Route("/metrics", metrics)]
