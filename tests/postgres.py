"""A PostgreSQL server of the tests' own: made in a scratch folder, on a free port, stopped after.

Its programs lie in versioned folders outside PATH; LEASTCUT_POSTGRES_BIN names another one. Where
there is none, tests that want it are skipped and say so; with LEASTCUT_NEED_POSTGRES=1 they fail.
"""

import atexit
import os
import secrets
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from functools import cache
from pathlib import Path

import pytest

# Debian, Homebrew on both kinds of machine, the macOS application, other Linux.
_PLACES = (
    "/usr/lib/postgresql/*/bin",
    "/opt/homebrew/opt/postgresql@*/bin",
    "/usr/local/opt/postgresql@*/bin",
    "/Applications/Postgres.app/Contents/Versions/*/bin",
    "/usr/pgsql-*/bin",
    "/usr/local/pgsql/bin",
)
# Speed over safety: the data lives as long as the tests.
_FAST = {"fsync": "off", "full_page_writes": "off", "synchronous_commit": "off"}


class Missing(Exception):  # noqa: N818 - it is no error but an absence
    """No PostgreSQL on this machine."""


def programs() -> Path:
    """Return the folder with initdb and pg_ctl, the newest there is."""
    named = os.environ.get("LEASTCUT_POSTGRES_BIN")
    if named:
        return Path(named)
    found = [p.parent for place in _PLACES for p in Path("/").glob(f"{place[1:]}/initdb")]
    on_path = shutil.which("initdb")
    found += [Path(on_path).resolve().parent] if on_path else []
    if not found:
        raise Missing("no initdb found: run tools/need_postgres.sh, or set LEASTCUT_POSTGRES_BIN")
    return max(found, key=_version)


def _version(folder: Path) -> float:
    told = subprocess.run([folder / "initdb", "-V"], capture_output=True, text=True, check=True)
    digits = told.stdout.split()[2]
    return float(".".join(digits.split(".")[:2]))


class Server:
    """A running server; `database()` makes a fresh empty database and returns its URL."""

    def __init__(self, folder: Path, *, settings: dict[str, str] | None = None) -> None:
        self.folder = folder
        self.data = folder / "data"
        self.bin = programs()
        self.port = _free_port()
        self._settings = {**_FAST, **(settings or {})}
        # initdb refuses the superuser: then the server belongs to nobody.
        self._as = ["runuser", "-u", "nobody", "--"] if os.geteuid() == 0 else []

    def make(self) -> None:
        """Make the data folder; every folder above it must let its owner pass."""
        self.data.mkdir()
        if self._as:
            self.folder.chmod(0o711)
            for path in (self.folder, self.data):
                shutil.chown(path, "nobody")
        options = ("--no-sync", "-A", "trust", "-U", "shop", "--encoding=UTF8", "--locale=C.UTF-8")
        self._run("initdb", "-D", self.data, *options)

    def start(self) -> None:
        """Start the server and wait until it answers."""
        settings = {"listen_addresses": "127.0.0.1", "unix_socket_directories": str(self.folder)}
        settings |= {"port": str(self.port), "max_connections": "150", **self._settings}
        options = " ".join(f"-c {name}={value}" for name, value in settings.items())
        self._run(
            "pg_ctl", "-D", self.data, "-w", "-l", self.folder / "log", "-o", options, "start"
        )

    def stop(self, how: str = "immediate") -> None:
        """Stop the server; immediate is what a cut of power looks like."""
        self._run("pg_ctl", "-D", self.data, "-w", "-m", how, "stop")

    def database(self) -> str:
        """Make an empty database and return its URL."""
        name = f"shop_{secrets.token_hex(6)}"
        host = ("-h", "127.0.0.1", "-p", str(self.port), "-U", "shop")
        self._run("createdb", *host, name)
        return f"postgresql+psycopg://shop@127.0.0.1:{self.port}/{name}"

    def drop(self, url: str) -> None:
        """Remove a database, whoever still uses it."""
        host = ("-h", "127.0.0.1", "-p", str(self.port), "-U", "shop")
        self._run("dropdb", "--force", "--if-exists", *host, url.rsplit("/", 1)[1])

    def _run(self, program: str, *arguments: str | Path) -> None:
        command: Sequence[str | Path] = [*self._as, self.bin / program, *arguments]
        done = subprocess.run(
            command,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            cwd="/",
            timeout=60,
        )
        if done.returncode:
            raise RuntimeError(f"{program}: {done.stderr.strip()}")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running(*, settings: dict[str, str] | None = None, on_disk: bool = False) -> Iterator[Server]:
    """Yield a running server in a scratch folder of its own, in memory where that can be."""
    programs()
    memory = Path("/dev/shm")
    there = memory if os.access(memory, os.W_OK) and not on_disk else None
    folder = Path(tempfile.mkdtemp(prefix="leastcut-postgres-", dir=there))
    try:
        server = Server(folder, settings=settings)
        server.make()
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def demanded() -> bool:
    """Tell whether a missing server is a failure."""
    return os.environ.get("LEASTCUT_NEED_POSTGRES") == "1"


def for_tests() -> Iterator[Server]:
    """Yield a server for a session of tests; skip loudly, or fail, where there is none."""
    try:
        programs()
    except Missing as missing:
        if demanded():
            pytest.fail(f"LEASTCUT_NEED_POSTGRES is set and {missing}")
        pytest.skip(f"NOT TESTED ON POSTGRESQL: {missing}")
    with running() as server:
        yield server


@cache
def _of_this_run() -> Server:
    """Start a server for the rest of this process; it is stopped when the process ends."""
    held = ExitStack()
    atexit.register(held.close)
    return held.enter_context(running())


def fresh(folder: Path) -> tuple[str, Path | None]:
    """Return where a new shop of the tests lies, and where its photos do.

    In `folder`, or with LEASTCUT_TESTS_ON=postgresql in a new database, its photos in `folder`.
    """
    if os.environ.get("LEASTCUT_TESTS_ON", "sqlite") != "postgresql":
        return str(folder), None
    return _of_this_run().database(), folder / "photos"
