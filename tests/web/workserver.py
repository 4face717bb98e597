"""A workbench as a process of its own, to be killed and started again: ``workserver.py FOLDER PORT``.

Nothing is analysed in it: the plan lies in the shop already, and a killed analysis is another test.
"""

import subprocess
import sys
import time
from pathlib import Path

import httpx2

from leastcut.job.analyst import Progress
from leastcut.shop.store import Shop, open_shop

NAME = "bench.test"


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


def planned_shop(folder: Path, dossier: bytes) -> tuple[Shop, int]:
    """Begin a shop with one car whose plan is worked out already; return it with the visit."""
    from leastcut.shop.facts import NewFact

    shop = open_shop(folder)
    visit = shop.new_visit(shop.new_car("taps", now_s=1.0), now_s=1.0)
    facts = [
        NewFact(key="label", kind="set", field="car.label", body="taps"),
        NewFact(key="body", kind="set", field="car.body", body="two-box"),
        NewFact(key="shake", kind="set", field="room.vibration", body="5 m/s2"),
    ]
    head = shop.append(visit, facts, device=None, person="", now_s=1.0).head
    shop.put_dossier(visit, head, dossier)
    return shop, visit


if __name__ == "__main__":
    serve(Path(sys.argv[1]), int(sys.argv[2]))
