"""Hostile inputs against a running workbench: each is refused, none gets through, it lives on."""

import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import pytest
from door import PATIENT, Desk, desk
from hostile import REQUESTS, Attack
from hostile_files import FILES, WORDS
from pictures_for_tests import photo

from leastcut.web.server import server
from leastcut.web.settings import Limits
from leastcut.web.who import COOKIE, CSRF_HEADER, csrf_of

HASTY = msgspec.structs.replace(
    PATIENT,
    head_s=1.0,
    idle_s=1.0,
    body_s=2.0,
)


@dataclass(frozen=True)
class Target:
    """A running workbench with one device, one photo and one code that was used."""

    desk: Desk
    port: int
    key: str
    photo: str
    used: str

    def raw(self, request: bytes, *, wait_s: float = 20.0) -> tuple[int, bytes]:
        """Send bytes as they are; return the status (0 without an answer) and all that came."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=wait_s) as link:
            with suppress(ConnectionError):
                link.sendall(request)
            return answer_on(link)

    def send(self, attack: Attack) -> tuple[int, bytes]:
        """Send an attack without a library in between that would tidy it up."""
        headers = {"host": f"127.0.0.1:{self.port}", "connection": "close"}
        if attack.paired:
            headers["cookie"] = f"{COOKIE}={self.key}"
        if attack.own_token and attack.paired:
            headers[CSRF_HEADER] = csrf_of(self.key)
        if attack.body is not None:
            headers["content-length"] = str(len(attack.body))
        lines = [f"{attack.method} {self.filled(attack.path)} HTTP/1.1"]
        lines += [f"{name}: {value}" for name, value in (headers | attack.headers).items()]
        head = "\r\n".join([*lines, "", ""]).encode("utf-8", "surrogateescape")
        body = (attack.body or b"").replace(b"TOKEN", csrf_of(self.key).encode())
        return self.raw(head + body.replace(b"USED", self.used.encode()))

    def filled(self, path: str) -> str:
        return (
            path.replace("PHOTO", self.photo)
            .replace("TOKEN", csrf_of(self.key))
            .replace("USED", self.used)
        )

    def alive(self) -> bool:
        return (
            self.raw(b"GET /healthz HTTP/1.1\r\nhost: 127.0.0.1\r\nconnection: close\r\n\r\n")[0]
            == 200
        )

    def state(self) -> tuple[Any, ...]:
        """Return what no attack may change."""
        shop, access = self.desk.shop, self.desk.access
        people = [(one.name, one.role, one.revoked_s) for one in access.people()]
        devices = [one.device for one in access.devices()]
        return shop.head(self.desk.visit), people, devices, shop.cars().total


def answer_on(link: socket.socket) -> tuple[int, bytes]:
    """Read until the other side closes, or nothing more comes after a whole answer."""
    got = b""
    with suppress(ConnectionError, TimeoutError):
        while piece := link.recv(65536):
            got += piece
            if whole(got):
                link.settimeout(0.3)
    status = re.match(rb"HTTP/1\.1 (\d{3}) ", got)
    return (int(status[1]) if status else 0), got


def whole(got: bytes) -> bool:
    head, found, body = got.partition(b"\r\n\r\n")
    length = re.search(rb"content-length: (\d+)", head)
    return bool(found) and (len(body) >= int(length[1]) if length else body.endswith(b"0\r\n\r\n"))


def serve(made: Desk, limits: Limits) -> Iterator[tuple[int, threading.Thread]]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    settings = made.app.state.settings
    served = server(made.app, settings, host="127.0.0.1", port=port)
    thread = threading.Thread(target=served.run, daemon=True)
    thread.start()
    while not served.started:
        time.sleep(0.01)
    assert settings.limits == limits
    yield port, thread
    served.should_exit = True
    thread.join(20)
    assert not thread.is_alive()


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Target]:
    folder: Path = tmp_path_factory.mktemp("hostile")
    with desk(folder, limits=HASTY) as made:
        code = made.access.new_code(made.owner, now_s=time.time())
        made.access.redeem(code, "used", now_s=time.time())
        client = made.paired()
        name = client.post("/api/uploads", json={"name": "a", "bytes": len(photo())}).json()[
            "upload"
        ]
        raw = {"content-type": "application/octet-stream"}
        client.put(f"/api/uploads/{name}?at=0", content=photo(), headers=raw)
        finished = client.post(f"/api/uploads/{name}/finish", json={"visit": made.visit})
        key = made.key()
        for port, _ in serve(made, HASTY):
            yield Target(made, port, key, finished.json()["file"], code)


def test_there_are_enough_of_them() -> None:
    assert len(REQUESTS) + len(FILES) + len(WORDS) >= 230
    assert len({attack.name for attack in REQUESTS}) == len(REQUESTS)


def test_the_target_answers_what_is_right(target: Target) -> None:
    for path in ("/", f"/photos/{target.photo}", f"/v/{target.desk.visit}", "/people"):
        assert target.send(Attack("right", "GET", path))[0] == 200
    assert target.raw(b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\nconnection: close\r\n\r\n")[0] == 401


@pytest.mark.parametrize("attack", REQUESTS, ids=lambda attack: attack.name)
def test_hostile_requests(target: Target, attack: Attack) -> None:
    before = target.state()
    status, got = target.send(attack)
    assert 400 <= status < 500, (status, got[:300])
    assert target.state() == before
    for leaked in (b"root:", b"Traceback", b"SQLite format", b"import ", b"set-cookie"):
        assert leaked not in got
    assert target.alive()


@pytest.mark.parametrize("name", FILES)
def test_hostile_files(target: Target, name: str) -> None:
    content, client = FILES[name], target.desk.paired()
    begun = client.post("/api/uploads", json={"name": "photo.jpg", "bytes": len(content)})
    upload = begun.json()["upload"]
    raw = {"content-type": "application/octet-stream"}
    assert (
        client.put(f"/api/uploads/{upload}?at=0", content=content, headers=raw).status_code == 200
    )
    answer = client.post(f"/api/uploads/{upload}/finish", json={"visit": target.desk.visit})
    assert answer.status_code == 422, answer.text
    assert answer.json()["why"]
    assert answer.json()["do"]
    assert target.alive()


@pytest.mark.parametrize("name", ["html", "svg", "jpeg cut in half"])
def test_hostile_files_in_a_plain_form(target: Target, name: str) -> None:
    client = target.desk.paired()
    before = target.desk.shop.head(target.desk.visit)
    form = {
        "key": "kx",
        "do": "add",
        "list": "photo",
        "back": f"/v/{target.desk.visit}/inspect/photos",
    }
    files = {"file": ("photo.jpg", FILES[name], "image/jpeg")}
    answer = client.post(f"/v/{target.desk.visit}/facts", data=form, files=files)
    assert answer.status_code == 422
    assert target.desk.shop.head(target.desk.visit) == before


def test_a_replayed_code(target: Target) -> None:
    made = target.desk
    code = made.access.new_code(made.owner, now_s=time.time())
    form = f"code={code}&label=a".encode()
    head = (
        f"POST /pair HTTP/1.1\r\nhost: 127.0.0.1:{target.port}\r\nconnection: close\r\n"
        f"content-type: application/x-www-form-urlencoded\r\ncontent-length: {len(form)}\r\n\r\n"
    ).encode()
    statuses = [target.raw(head + form)[0] for _ in range(4)]
    assert statuses == [303, 403, 403, 403]


# What is sent, byte by byte or not at all; whoever does so is told to go, and others are served.
SLOW = {
    "nothing at all": [],
    "half a head": [b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\n"],
    "a head in drops": [b"GET / HTTP/1.1\r\n", *[b"x-a: b\r\n"] * 40],
    "a body that does not come": [
        (
            b"POST /pair HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: 100\r\n"
            b"content-type: application/x-www-form-urlencoded\r\n\r\n"
        )
    ],
    "a body in drops": [
        (
            b"POST /pair HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: 100\r\n"
            b"content-type: application/x-www-form-urlencoded\r\n\r\n"
        ),
        *[b"a"] * 60,
    ],
    "endless pieces": [
        (
            b"POST /pair HTTP/1.1\r\nhost: 127.0.0.1\r\ntransfer-encoding: chunked\r\n"
            b"content-type: application/x-www-form-urlencoded\r\n\r\n"
        ),
        *[b"1\r\na\r\n"] * 60,
    ],
    "a second head in drops": [
        b"GET /healthz HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n",
        *[b"x"] * 60,
    ],
}


@pytest.mark.parametrize("name", SLOW)
def test_slow_requests(target: Target, name: str) -> None:
    began = time.monotonic()
    with socket.create_connection(("127.0.0.1", target.port), timeout=20) as link:
        with suppress(ConnectionError):
            for drop in SLOW[name]:
                link.sendall(drop)
                time.sleep(0.1)
        _, got = answer_on(link)
    assert time.monotonic() - began < 15
    assert b"HTTP/1.1 408" in got or got == b"" or b"HTTP/1.1 400" in got
    assert target.alive()


def test_many_slow_ones_keep_nobody_out(target: Target) -> None:
    held = [socket.create_connection(("127.0.0.1", target.port), timeout=20) for _ in range(150)]
    try:
        for link in held:
            link.sendall(b"GET / HTTP/1.1\r\nx-a: ")
        assert target.alive()
        time.sleep(1.6)
        assert all(answer_on(link)[0] == 408 for link in held)
    finally:
        for link in held:
            link.close()
    assert target.alive()


SMUGGLED = {
    "two lengths": b"POST /pair HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: 5\r\ncontent-length: 6\r\n\r\na=1&b2",
    "length and pieces": b"POST /pair HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: 4\r\ntransfer-encoding: chunked\r\n\r\n0\r\n\r\nGET /people HTTP/1.1\r\n\r\n",
    "pieces twice": b"POST /pair HTTP/1.1\r\nhost: 127.0.0.1\r\ntransfer-encoding: chunked\r\ntransfer-encoding: chunked\r\n\r\n0\r\n\r\n",
    "unknown encoding": b"POST /pair HTTP/1.1\r\nhost: 127.0.0.1\r\ntransfer-encoding: xchunked\r\n\r\n",
    "negative length": b"POST /pair HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: -5\r\n\r\n",
    "no host": b"GET / HTTP/1.1\r\n\r\n",
    "two hosts": b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\nhost: evil.example\r\n\r\n",
    "a line broken in the host": b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\n evil.example\r\n\r\n",
    "a space before the colon": b"GET / HTTP/1.1\r\nhost : 127.0.0.1\r\n\r\n",
    "a whole address": b"GET http://evil.example/ HTTP/1.1\r\nhost: 127.0.0.1\r\nconnection: close\r\n\r\n",
    "a bare line feed": b"GET / HTTP/1.1\nhost: 127.0.0.1\nx: \x00\n\n",
    "an endless line": b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n",
    "an endless header": b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\nx: " + b"a" * 100_000 + b"\r\n\r\n",
    "no HTTP": b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 100 + b"\r\n\r\n",
    "an old version": b"GET / HTTP/0.9\r\n\r\n",
    "a version to come": b"GET / HTTP/3.7\r\nhost: 127.0.0.1\r\n\r\n",
}


@pytest.mark.parametrize("name", SMUGGLED)
def test_requests_that_are_two(target: Target, name: str) -> None:
    before = target.state()
    status, got = target.raw(SMUGGLED[name])
    assert 400 <= status < 500, got[:200]
    assert got.count(b"HTTP/1.1 ") == 1
    assert target.state() == before
    assert target.alive()
