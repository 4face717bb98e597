"""Limits: how often, how long, how deep, how slowly somebody may ask."""

import asyncio
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from aside import finish
from door import Desk, desk
from hypothesis import given
from hypothesis import strategies as st

from leastcut.web import bodies
from leastcut.web.answers import Answer
from leastcut.web.asks import Ask
from leastcut.web.limits import Buckets
from leastcut.web.settings import Limits


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with desk(tmp_path_factory.mktemp("limits")) as made:
        yield made


def ask() -> Ask:
    return Ask(
        method="GET",
        path="/",
        raw_path=b"/",
        query=b"",
        headers={"host": "127.0.0.1"},
        repeated=frozenset(),
        n_headers=1,
        address="127.0.0.1",
        scheme="http",
    )


@pytest.mark.parametrize(
    ("media", "size", "expected"),
    [
        ("application/x-www-form-urlencoded", 300_000, 413),
        ("application/json", 10, 415),
        ("text/plain", 10, 415),
        ("", 10, 415),
        ("text/xml", 10, 415),
    ],
)
def test_bodies_of_the_wrong_kind_or_length(
    bench: Desk, media: str, size: int, expected: int
) -> None:
    headers = {"content-type": media} if media else {}
    answer = bench.paired().post("/people/new", content=b"a" * size, headers=headers)
    assert answer.status_code == expected


def test_a_body_in_pieces_is_measured_too(bench: Desk) -> None:
    def pieces() -> Iterator[bytes]:
        for _ in range(40):
            yield b"a=" + b"b" * 10_000 + b"&"

    headers = {"content-type": "application/x-www-form-urlencoded"}
    answer = bench.paired().post("/people/new", content=pieces(), headers=headers)
    assert answer.status_code == 413


def test_deep_and_large_json(bench: Desk) -> None:
    client = bench.paired()
    headers = {"content-type": "application/json"}
    deep = b"[" * 5000 + b"]" * 5000
    assert client.post("/api/uploads", content=deep, headers=headers).status_code == 400
    unclosed = b'{"a":"' + b'\\"' * 300_000
    began = time.perf_counter()
    assert client.post("/api/uploads", content=unclosed, headers=headers).status_code == 422
    assert time.perf_counter() - began < 5
    large = b'{"name":"' + b"a" * 1_100_000 + b'"}'
    assert client.post("/api/uploads", content=large, headers=headers).status_code == 413


@given(st.recursive(st.text(max_size=6), lambda inner: st.lists(inner, max_size=3), max_leaves=20))
def test_depth_as_a_recursion_counts_it(value: Any) -> None:
    import json

    def depth(one: Any) -> int:
        return 1 + max(map(depth, one), default=0) if isinstance(one, list) else 0

    wrapped = value
    for _ in range(30):
        wrapped = [wrapped]
    found = bodies.too_deep(json.dumps(wrapped).encode())
    assert found == (depth(wrapped) > bodies.DEEPEST_JSON)


def test_limits_on_tries(tmp_path: Path) -> None:
    strict = Limits(tries_per_s=0.001, tries_burst=3)
    with desk(tmp_path, limits=strict) as made:
        client = made.client()
        tried = [client.post("/pair", data={"code": f"GUESS{n}"}).status_code for n in range(6)]
        assert tried == [403, 403, 403, 429, 429, 429]
        late = client.get("/enter?key=AAAAAAAAAA")
        assert late.status_code == 429
        assert int(late.headers["retry-after"]) > 100
        code = made.access.new_code(made.owner, now_s=time.time())
        assert client.post("/pair", data={"code": code}).status_code == 429


def test_limits_on_requests(tmp_path: Path) -> None:
    strict = Limits(device_per_s=0.001, device_burst=5, stranger_per_s=0.001, stranger_burst=3)
    with desk(tmp_path, limits=strict) as made:
        stranger = made.client()
        assert [stranger.get("/").status_code for _ in range(5)] == [401, 401, 401, 429, 429]
        client = made.paired()
        assert [client.get("/terms").status_code for _ in range(7)] == [200] * 5 + [429] * 2
        other = made.paired()
        assert other.get("/terms").status_code == 200


@given(
    st.lists(st.floats(0, 3, allow_nan=False), max_size=40),
    st.floats(0.1, 5.0),
    st.integers(1, 6),
)
def test_buckets_never_give_more_than_rate_and_burst(
    waits: list[float], rate: float, burst: int
) -> None:
    now = [0.0]
    buckets = Buckets(rate, float(burst), clock=lambda: now[0])
    given_out = 0
    for wait in waits:
        now[0] += wait
        given_out += buckets.wait_s("one") == 0.0
        assert given_out <= burst + rate * now[0] + 1e-6


def test_buckets_forget_the_least_used() -> None:
    buckets = Buckets(1.0, 1.0, clock=lambda: 0.0)
    for number in range(25_000):
        buckets.wait_s(str(number))
    assert len(buckets._levels) == 10_000
    assert buckets.wait_s("24999") > 0
    assert buckets.wait_s("0") == 0.0


def timed_out(messages: list[dict[str, Any]], pause_s: float, limits: Limits) -> int:
    """Return the status that a slow body comes to, 0 when it is taken."""

    async def main() -> int:
        waiting = iter(messages)

        async def receive() -> dict[str, Any]:
            await asyncio.sleep(pause_s)
            return next(waiting)

        passed = bodies.timed(receive, most=100, length=None, limits=limits)
        try:
            kept = await bodies.keep(passed)
        except bodies.BodyRefusedError as error:
            return error.refused.status
        kept.close()
        return 0

    return finish(main())


def piece(body: bytes, *, more: bool) -> dict[str, Any]:
    return {"type": "http.request", "body": body, "more_body": more}


def test_slow_and_cut_bodies() -> None:
    quick = Limits(idle_s=0.05, body_s=0.2, slowest_bytes_s=1e9)
    drip = [piece(b"a", more=True)] * 50
    assert timed_out(drip, 0.2, quick) == 408  # too long between two pieces
    assert timed_out(drip, 0.02, quick) == 408  # each in time, all together too slow
    assert timed_out([piece(b"a", more=True), piece(b"b", more=False)], 0.0, quick) == 0
    assert timed_out([piece(b"a" * 101, more=False)], 0.0, quick) == 413
    assert timed_out([piece(b"a", more=True), {"type": "http.disconnect"}], 0.0, quick) == 400


def test_a_reader_who_takes_nothing_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("leastcut.web.answers.SLOWEST_READER_S", 0.05)

    async def main() -> bool:
        async def never(message: dict[str, Any]) -> None:
            del message
            await asyncio.sleep(5)

        answer = Answer(never, ask())
        with pytest.raises(TimeoutError):
            await answer.send({"type": "http.response.start", "status": 200})
        return answer.gave_up

    assert finish(main())
