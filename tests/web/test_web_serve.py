"""The command that opens the workbench, its https, people from the command line."""

import http.client
import json
import os
import re
import signal
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from door import desk


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Any]:
    """Run the command as a process; stop whatever is left of it."""
    started: list[subprocess.Popen[str]] = []

    def start(*arguments: str) -> tuple[subprocess.Popen[str], str]:
        command = [sys.executable, "-m", "leastcut", "serve", "--no-open", *arguments]
        command += ["--shop", str(tmp_path / "shop"), "--port", str(free_port())]
        environment = {**os.environ, "LEASTCUT_CONFIG": os.devnull, "PYTHONUTF8": "1"}
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
        )
        started.append(process)
        assert process.stdout is not None
        lines = iter(process.stdout.readline, "")
        text = ""
        for line in lines:
            text += line
            if line.startswith("Stop with"):
                break
        return process, text

    yield start
    for process in started:
        process.kill()
        process.wait()
        for stream in (process.stdout, process.stderr):
            if stream is not None:
                stream.close()


def free_port() -> int:
    import socket

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.mark.process
def test_the_command_opens_lets_in_once_and_stops_in_order(served: Any, tmp_path: Path) -> None:
    process, told = served()
    enter = re.search(r"http://127\.0\.0\.1:(\d+)(/enter\S+)", told)
    assert enter, told
    link = http.client.HTTPConnection("127.0.0.1", int(enter[1]), timeout=20)
    link.request("GET", enter[2])
    answer = link.getresponse()
    answer.read()
    assert answer.status == 303
    cookie = str(answer.getheader("set-cookie")).split(";", maxsplit=1)[0]
    link.request("GET", "/", headers={"cookie": cookie})
    shown = link.getresponse()
    assert shown.status == 200
    assert b"<html" in shown.read()
    link.request("GET", enter[2])
    again = link.getresponse()
    again.read()
    assert again.status == 403
    link.close()
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=20) == 0
    key = cookie.split("=", 1)[1]
    assert process.stderr is not None
    assert key not in process.stderr.read()
    assert not [file for file in (tmp_path / "shop").rglob("*") if key.encode() in content(file)]


@pytest.mark.process
@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM])
def test_it_closes_what_it_opened(served: Any, tmp_path: Path, told: signal.Signals) -> None:
    process, _ = served()
    assert (tmp_path / "shop" / "shop.sqlite-wal").exists()  # goes when the last user closes it
    process.send_signal(told)
    _, said = process.communicate(timeout=20)
    assert (process.returncode, said) == (0, "")
    assert [file.name for file in (tmp_path / "shop").glob("*.sqlite*")] == ["shop.sqlite"]


def content(file: Path) -> bytes:
    return file.read_bytes() if file.is_file() else b""


@pytest.mark.process
def test_https_with_the_shops_own_authority(served: Any, tmp_path: Path) -> None:
    _, told = served("--https")
    enter = re.search(r"https://127\.0\.0\.1:(\d+)(/enter\S+)", told)
    assert enter, told
    trusted = ssl.create_default_context(cafile=str(tmp_path / "shop" / "https" / "authority.crt"))
    link = http.client.HTTPSConnection("127.0.0.1", int(enter[1]), timeout=20, context=trusted)
    link.request("GET", enter[2])
    assert "Secure" in str(link.getresponse().getheader("set-cookie"))
    link.close()
    stranger = http.client.HTTPSConnection("127.0.0.1", int(enter[1]), timeout=20)
    with pytest.raises(ssl.SSLCertVerificationError):
        stranger.request("GET", "/healthz")
    stranger.close()


@pytest.mark.process
def test_a_port_in_use_is_told_in_one_line(served: Any) -> None:
    _, told = served()
    port = re.search(r":(\d+)/enter", told)
    assert port
    command = [sys.executable, "-m", "leastcut", "serve", "--no-open", "--port", port[1]]
    second = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert second.returncode == 2
    assert "cannot listen there" in second.stderr
    assert "Traceback" not in second.stderr


def test_the_authority_vouches_for_local_names_alone(tmp_path: Path) -> None:
    from cryptography import x509
    from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

    from leastcut.web.authority import AuthorityError, now, papers

    made = papers(tmp_path, ["127.0.0.1", "localhost", "192.168.1.7"], now=now())
    leaf, authority = x509.load_pem_x509_certificates(made.chain.read_bytes())
    builder = PolicyBuilder().store(Store([authority])).time(now())
    # an outside verifier, with the rules of the web's own authorities
    good = builder.build_server_verifier(x509.DNSName("localhost")).verify(leaf, [])
    assert good[0] == leaf
    with pytest.raises(VerificationError):
        builder.build_server_verifier(x509.DNSName("example.com")).verify(leaf, [])
    with pytest.raises(AuthorityError):
        papers(tmp_path, ["example.com"], now=now())
    with pytest.raises(AuthorityError):
        papers(tmp_path, ["8.8.8.8"], now=now())
    for secret in (made.key, tmp_path / "authority.key"):
        assert secret.stat().st_mode & 0o077 == 0


def test_papers_are_renewed_when_names_change_or_time_passes(tmp_path: Path) -> None:
    from datetime import timedelta

    from leastcut.web.authority import now, papers

    at = now()
    first = papers(tmp_path, ["127.0.0.1"], now=at)
    chain = first.chain.read_bytes()
    assert papers(tmp_path, ["127.0.0.1"], now=at + timedelta(days=300)).chain.read_bytes() == chain
    late = papers(tmp_path, ["127.0.0.1"], now=at + timedelta(days=380))
    assert late.chain.read_bytes() != chain
    assert late.fingerprint == first.fingerprint
    other = papers(tmp_path, ["127.0.0.1", "10.0.0.7"], now=at)
    assert other.chain.read_bytes() != chain
    much_later = papers(tmp_path, ["127.0.0.1"], now=at + timedelta(days=3400))
    assert much_later.fingerprint != first.fingerprint


def test_people_from_the_command_line(tmp_path: Path) -> None:
    def run(*arguments: str) -> str:
        command = [sys.executable, "-m", "leastcut", "shop", *arguments, "--shop", str(tmp_path)]
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
        assert done.returncode == 0, done.stderr
        return done.stdout

    code = run("pair", "Ana", "--role", "owner").split()[0]
    with desk(tmp_path / "other") as other:
        del other
    from leastcut.shop.access import Access
    from leastcut.shop.store import open_shop

    shop = open_shop(tmp_path)
    Access(shop.database).redeem(code, "phone", now_s=time.time())
    shop.close()
    told = json.loads(run("people", "--json"))
    assert [(one["name"], one["role"]) for one in told["people"]] == [("Ana", "owner")]
    assert told["devices"][0]["label"] == "phone"
    run("shut-out", "1")
    assert "device 1: phone" not in run("people")
    assert "device out" in run("audit")
