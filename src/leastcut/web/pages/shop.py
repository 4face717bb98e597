"""Pages of the shop rather than of a car: settings of this device, and the invented car."""

import logging
import tempfile
import threading
import time
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from leastcut.web import words
from leastcut.web.reply import THEMES, reader_of, render

_LOG = logging.getLogger(__name__)
YEAR_S = 365 * 86400


def settings(request: Request) -> Response:
    """Show language, units and look."""
    title = reader_of(request).say("Settings")
    return render(request, "settings.html", title=title, languages=words.LANGUAGES)


async def choose(request: Request) -> Response:
    """Keep them on this device, and language and units with the person."""
    form = await request.form(max_files=0, max_fields=20)
    allowed = {"lang": tuple(words.LANGUAGES), "units": ("metric", "us"), "theme": THEMES}
    answer = RedirectResponse("/settings", 303)
    chosen = {name: str(form.get(name, "")) for name in allowed}
    for name, value in chosen.items():
        if value in allowed[name]:
            answer.set_cookie(name, value, max_age=YEAR_S, httponly=True, samesite="lax", path="/")
    who, gate = getattr(request.state, "who", None), getattr(request.state, "gate", None)
    person = getattr(who, "person_id", None)
    if gate is not None and person is not None:
        gate.access.choose(person, lang=chosen["lang"] or None, units=chosen["units"] or None)
    return answer


class Invented:
    """Brings the invented car into the shop, once, in the background."""

    def __init__(self, shop: Any, executor: Any) -> None:
        self._shop, self._executor = shop, executor
        self._lock = threading.Lock()
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self.visit: int | None = None
        self.failed = ""

    @property
    def busy(self) -> bool:
        """Whether it is on its way."""
        return self._folder is not None

    def begin(self) -> None:
        """Start, unless it is here or on its way."""
        with self._lock:
            if self._folder is not None or self._here():
                return
            self._folder = tempfile.TemporaryDirectory(prefix="leastcut-demo-")
            self.failed = ""
        future = self._executor.submit(_write, self._folder.name)
        future.add_done_callback(self._carry)

    def _here(self) -> bool:
        return self.visit is not None and self._shop.visit(self.visit) is not None

    def _carry(self, done: "Future[str]") -> None:
        from leastcut.job.carry import into_shop

        assert self._folder is not None
        try:
            carried = into_shop(Path(done.result()), self._shop, now_s=time.time())
            self.visit = carried.visit
        except Exception as error:  # noqa: BLE001 - a callback has nobody above it to tell
            _LOG.exception("the invented car could not be brought")
            self.failed = str(error)
        finally:
            self._folder.cleanup()
            self._folder = None


def _write(folder: str) -> str:
    """Write the invented job in a worker; return its job file."""
    from leastcut.demo.scenario import write_evidence

    write_evidence(Path(folder))
    return str(Path(folder) / "demo.toml")


def begin_demo(request: Request) -> Response:
    """Bring the invented car."""
    request.app.state.invented.begin()
    return RedirectResponse("/demo", 303)


def demo(request: Request) -> Response:
    """Show that it is on its way, then lead to it with the tour."""
    invented = request.app.state.invented
    if invented.visit is not None and not invented.busy:
        request.app.state.analyst.poke(invented.visit)
        return RedirectResponse(f"/v/{invented.visit}?tour=1", 303)
    title = reader_of(request).say("The invented car")
    return render(request, "demo.html", title=title, busy=invented.busy, failed=invented.failed)


routes = [
    Route("/settings", settings, methods=["GET"]),
    Route("/settings", choose, methods=["POST"]),
    Route("/demo", demo, methods=["GET"]),
    Route("/demo", begin_demo, methods=["POST"]),
]
