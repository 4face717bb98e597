"""A workbench as a process of its own, to be killed and started again: ``workserver.py FOLDER PORT``.

Nothing is analysed in it: the plan lies in the shop already, and a killed analysis is another test.
"""

import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import Future
from functools import cache
from pathlib import Path
from typing import Any

import httpx2

from leastcut.job.analyst import Progress
from leastcut.shop.access import Access
from leastcut.shop.facts import NewFact
from leastcut.shop.store import Shop, open_shop

NAME = "bench.test"
PHONE = {"width": 390, "height": 844}


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def paired(shop: Shop) -> str:
    """Return the key of a new device of the owner."""
    access, now_s = Access(shop.database), time.time()
    owner = access.owner(now_s=now_s)
    return access.redeem(access.new_code(owner, now_s=now_s), "test", now_s=now_s)


class Still:
    """An analyst who rests."""

    def poke(self, visit: int) -> None:
        del visit

    def progress(self, visit: int) -> Progress:
        del visit
        return Progress(doing="", done=0, total=0, head=1, wanted_head=1)


def serve(folder: Path, port: int) -> None:
    from leastcut.web.app import create_app
    from leastcut.web.server import server
    from leastcut.web.settings import LOOPBACK, Settings

    settings = Settings(
        address=f"http://127.0.0.1:{port}", uploads=folder / "uploads", hosts=(*LOOPBACK, NAME)
    )
    app = create_app(open_shop(folder), Still(), settings)
    server(app, settings, host="127.0.0.1", port=port).run()


class Bench:
    """Starts the process, kills it without warning, starts it again."""

    def __init__(self, folder: Path, port: int) -> None:
        self.folder, self.port = folder, port
        self.process: subprocess.Popen[bytes] | None = None
        self.kills = 0

    @property
    def up(self) -> bool:
        return self.process is not None

    def start(self) -> None:
        command = [sys.executable, __file__, str(self.folder), str(self.port)]
        self.process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )

    def answers(self, *, within_s: float = 60.0) -> None:
        """Wait until the process answers."""
        end = time.monotonic() + within_s
        while time.monotonic() < end:
            try:
                if httpx2.get(f"http://127.0.0.1:{self.port}/healthz").status_code == 200:
                    return
            except httpx2.TransportError:
                time.sleep(0.05)
        raise TimeoutError

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.kills += 1
        self.process = None


class Here:
    """Works things out in this process, at once."""

    width = lot = 1

    def submit(self, work: Callable[..., Any], /, *arguments: Any) -> "Future[Any]":
        done: Future[Any] = Future()
        done.set_result(work(*arguments))
        return done

    def alone(self, work: Callable[..., Any], /, *arguments: Any) -> Any:
        return work(*arguments)

    def close(self) -> None:
        pass


def begun(folder: Path) -> tuple[Shop, int]:
    """Begin a shop with one car, measured at three places; return it with the visit."""
    shop = open_shop(folder)
    visit = shop.new_visit(shop.new_car("taps", now_s=1.0), now_s=1.0)
    said = {"car.label": "taps", "car.body": "two-box", "room.vibration": "5 m/s2"}
    facts = [NewFact(key=f.replace(".", "-"), kind="set", field=f, body=b) for f, b in said.items()]
    facts += [
        NewFact(key=panel, kind="add", field="reading",
                body={"panel": panel, "spot": "1", "reading_um": 125.0})
        for panel in ("bonnet", "roof", "door-front-left")
    ]  # fmt: skip
    shop.append(visit, facts, device=None, person="", now_s=1.0)
    return shop, visit


@cache
def plan() -> bytes:
    """Return that car's plan as a shop keeps it, worked out once."""
    from leastcut.job.analyst import Analyst

    with tempfile.TemporaryDirectory() as folder:
        shop, visit = begun(Path(folder))
        analyst = Analyst(shop, Here())
        analyst.poke(visit)
        assert analyst.wait(visit, timeout_s=300)
        stored = shop.dossier(visit)
        analyst.close()
        shop.close()
    assert stored is not None, "the plan could not be worked out"
    return stored[1]


def planned_shop(folder: Path) -> tuple[Shop, int]:
    """Begin a shop with one car whose plan is worked out; return it with the visit."""
    shop, visit = begun(folder)
    shop.put_dossier(visit, shop.head(visit), plan())
    return shop, visit


if __name__ == "__main__":
    serve(Path(sys.argv[1]), int(sys.argv[2]))
