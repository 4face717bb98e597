"""The door: nothing behind it without a paired device, nothing changed without its own token."""

import hashlib
import hmac
import time
from collections.abc import Iterator
from typing import Any

import pytest
from aside import finish
from door import BASE, Desk, desk, token_in, words
from starlette.routing import Route

from leastcut.web import bodies
from leastcut.web.asks import Ask, host_name, own_origin
from leastcut.web.gate import Gate
from leastcut.web.rules import OPEN, is_open, local, tries_a_secret
from leastcut.web.who import COOKIE, CSRF_HEADER, csrf_of, same


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with desk(tmp_path_factory.mktemp("gate")) as made:
        yield made


def paths(bench: Desk) -> list[tuple[str, str]]:
    """Return method and a concrete path of every route."""
    filled = {"visit": "1", "car": "1", "person": "1", "device": "1", "link": "1"}
    found = []
    for route in bench.app.routes:
        if isinstance(route, Route):
            path = route.path
            for name in route.param_convertors:
                kind = f"{{{name}:int}}" if f"{{{name}:int}}" in path else f"{{{name}}}"
                path = path.replace(kind, filled.get(name, "bonnet"))
            found += [(method, path) for method in sorted(route.methods or ())]
    return found


def test_no_route_answers_a_stranger(bench: Desk) -> None:
    stranger, asked = bench.client(), 0
    for method, path in paths(bench):
        if path in OPEN:
            continue
        answer = stranger.request(method, path)
        expected = {404, 405} if path.startswith("/see/") else {401}
        assert answer.status_code in expected, (method, path)
        assert "blue estate" not in answer.text
        asked += 1
    assert asked > 40


def test_a_stranger_is_told_how_to_pair(bench: Desk) -> None:
    answer = bench.client().get("/", headers={"accept": "text/html"})
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"].startswith("Device ")
    assert "Scan it with this device" in words(answer)
    told = bench.client().get("/api/uploads/x").json()
    assert told["do"].startswith("Ask the owner")


@pytest.mark.parametrize("key", ["x" * 43, "", "a", "x" * 5000, "\\", "%00", "ключ"])
def test_another_key_is_no_key(bench: Desk, key: str) -> None:
    answer = bench.client().get("/", headers={"cookie": f"{COOKIE}={key}".encode()})
    assert answer.status_code == 401


def test_a_device_is_shut_out_at_once(bench: Desk) -> None:
    key = bench.key(label="lost phone")
    client = bench.client(key)
    assert client.get("/").status_code == 200
    device = next(one for one in bench.access.devices() if one.label == "lost phone")
    bench.access.revoke_device(device.device, by=bench.owner, now_s=time.time())
    assert client.get("/").status_code == 401


def test_every_answer_carries_the_headers(bench: Desk) -> None:
    client = bench.paired()
    for answer in (
        client.get("/"),
        bench.client().get("/"),
        client.get("/static/bench.css"),
        client.get("/nope"),
    ):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        scripts = next(part for part in policy.split("; ") if part.startswith("script-src"))
        assert scripts == "script-src 'self'"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["x-frame-options"] == "DENY"
        assert answer.headers["cross-origin-opener-policy"] == "same-origin"
        assert "server" not in answer.headers
    assert client.get("/").headers["cache-control"] == "no-store"


def test_pages_hold_no_inline_script(bench: Desk) -> None:
    client = bench.paired()
    shown = 0
    for method, path in paths(bench):
        if method == "GET" and "{" not in path:
            text = client.get(path).text
            if "<html" in text:
                shown += 1
                inline = [
                    part for part in text.split("<script")[1:] if "src=" not in part.split(">")[0]
                ]
                assert not inline, path
                assert " onclick=" not in text
                assert "javascript:" not in text
    assert shown > 15


def test_the_token_is_the_devices_own(bench: Desk) -> None:
    key, other = bench.key(), bench.key()
    shown = token_in(bench.client(key).get("/new"))
    # HMAC-SHA256 over the device's key, computed here by the standard library
    assert shown == hmac.new(key.encode(), b"leastcut form", hashlib.sha256).hexdigest()
    form = {"name": "Eve", "role": "owner"}
    refused = bench.client(key).post("/people/new", data={**form, "csrf": csrf_of(other)})
    assert refused.status_code == 403
    assert bench.client(key).post("/people/new", data=form).status_code == 403
    assert "Eve" not in {person.name for person in bench.access.people()}


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "https://127.0.0.1:8136"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "http://127.0.0.1:8136.evil.example"},
        {"origin": "http://[bad"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_changes_asked_for_by_another_page(bench: Desk, headers: dict[str, str]) -> None:
    client = bench.paired()
    answer = client.post("/people/new", data={"name": "Eve", "role": "owner"}, headers=headers)
    assert answer.status_code == 403
    for path in ("/pair", "/sign-in"):
        assert bench.client().post(path, data={"code": "x"}, headers=headers).status_code == 403


def test_a_change_from_our_own_page(bench: Desk) -> None:
    own = {"origin": BASE, "sec-fetch-site": "same-origin"}
    client = bench.paired()
    answer = client.post("/people/new", data={"name": "Own", "role": "learner"}, headers=own)
    assert answer.status_code == 200
    assert "Own" in {person.name for person in bench.access.people()}


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "127.0.0.1.evil.example",
        "",
        "127.0.0.1:8136@evil",
        "a b",
        "127.0.0.1:",
        "[::1",
        "0.0.0.0",
    ],
)
def test_other_names_are_not_answered(bench: Desk, host: str) -> None:
    answer = bench.paired().get("/", headers={"host": host})
    assert answer.status_code == 421


@pytest.mark.parametrize("host", ["127.0.0.1", "LOCALHOST:8136", "[::1]:8136", "localhost"])
def test_own_names_are(bench: Desk, host: str) -> None:
    assert bench.paired().get("/healthz", headers={"host": host}).status_code == 200


def test_a_clients_link_opens_its_visit_and_nothing_else(bench: Desk) -> None:
    gate_links = bench.app.state.shop
    from leastcut.shop.links import Links

    links = Links(gate_links.database)
    token = links.new(bench.visit, by=bench.owner, now_s=time.time())
    client = bench.client()
    assert client.get(f"/see/{token}").status_code in {200, 409}
    assert client.post(f"/see/{token}").status_code == 405
    for path in (
        "/",
        f"/v/{bench.visit}",
        "/people",
        "/openapi.json",
        f"/api/visits/{bench.visit}/facts",
    ):
        assert client.get(path).status_code == 401
    links.revoke(links.all(now_s=time.time())[0].link, by=None, now_s=time.time())
    assert client.get(f"/see/{token}").status_code == 404


ROLES_MAY = {
    "/people": {"owner"},
    "/people/audit": {"owner"},
    "/openapi.json": {"owner", "detailer", "learner"},
    "/": {"owner", "detailer", "learner"},
}


@pytest.mark.parametrize("role", ["owner", "detailer", "learner"])
def test_roles(bench: Desk, role: str) -> None:
    number, key = bench.person(f"a {role}", role)
    client = bench.paired(key)
    for path, roles in ROLES_MAY.items():
        assert client.get(path).status_code == (200 if role in roles else 403), path
    shared = client.post(f"/v/{bench.visit}/links", data={"days": "3"})
    assert shared.status_code == (403 if role == "learner" else 200)
    raised = client.post(f"/people/{number}/role", data={"role": "owner"})
    assert raised.status_code == (303 if role == "owner" else 403)


def test_changes_are_in_the_audit(bench: Desk) -> None:
    client = bench.paired(bench.key(label="audited phone"))
    client.post(f"/v/{bench.visit}/links", data={"days": "3"})
    client.post("/people/new", data={"name": "", "role": "owner"})
    page = client.get("/people/audit")
    told = words(page)
    assert "audited phone" in told
    assert f"Client link made · visit {bench.visit}" in told
    assert "POST /people/new just now · Owner · audited phone · 422" in told


def ask(path: str = "/", method: str = "GET", **headers: str) -> Ask:
    return Ask(
        method=method,
        path=path,
        raw_path=path.encode(),
        query=b"",
        headers={"host": "127.0.0.1", **headers},
        repeated=frozenset(),
        n_headers=len(headers) + 1,
        address="127.0.0.1",
        scheme="http",
    )


def test_small_questions() -> None:
    assert own_origin(ask(origin="http://127.0.0.1"))
    assert own_origin(ask())
    assert not own_origin(ask(origin="http://127.0.0.1:1"))
    assert is_open(ask("/static/bench.css"))
    assert not is_open(ask("/staticx"))
    assert tries_a_secret(ask("/pair", "POST"))
    assert not tries_a_secret(ask("/pair"))
    assert host_name("[::1]:99") == "[::1]"
    assert local("/\\evil") == "/"
    assert local("/v/1\r\nset-cookie: a") == "/"
    assert same("a", "a")
    assert not same("a", "b")
    assert not same("ключ", "a")


def test_our_own_fault_is_told_as_such_without_detail(
    bench: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(**_: object) -> None:
        message = "secret detail"
        raise RuntimeError(message)

    monkeypatch.setattr(bench.shop, "cars", broken)
    answer = bench.paired().get("/")
    assert answer.status_code == 500
    assert "secret detail" not in answer.text
    assert answer.headers["x-frame-options"] == "DENY"


def test_other_kinds_of_connection_are_closed(bench: Desk) -> None:
    said: list[dict[str, Any]] = []

    async def main() -> None:
        async def send(message: dict[str, Any]) -> None:
            said.append(message)

        gate = Gate(bench.app, shop=bench.shop, settings=bench.app.state.settings)
        await gate({"type": "websocket"}, bodies._end, send)

    finish(main())
    assert said == [{"type": "websocket.close", "code": 1008}]


def test_the_header_of_a_page_works_in_place_of_the_field(bench: Desk) -> None:
    key = bench.key()
    client = bench.client(key)
    form = {"name": "Hel", "role": "learner"}
    assert (
        client.post("/people/new", data=form, headers={CSRF_HEADER: csrf_of(key)}).status_code
        == 200
    )
    form = {"csrf": csrf_of(key), "name": "Mul", "role": "learner"}
    sent = client.post("/people/new", data=form, files={"photo": ("a.jpg", b"x")})
    assert sent.status_code == 400  # no photo is taken there, though the token is right
