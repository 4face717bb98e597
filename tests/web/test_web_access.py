"""Coming in: the first key, a scanned code, name and password; people, links, what was done."""

import re
import time
from collections.abc import Iterator
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from door import BASE, Desk, desk, token_in, words

from leastcut.shop.links import Links
from leastcut.web import qr
from leastcut.web.who import COOKIE

PASSWORD = "the third bonnet was the worst"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with desk(tmp_path_factory.mktemp("access"), address="http://192.0.2.7:8136", lan=True) as made:
        yield made


def read(drawn: str) -> str:
    """Read a QR code off a terminal's half blocks with OpenCV's own decoder."""
    import cv2

    halves = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), " ": (0, 0)}
    rows: list[list[int]] = []
    for line in drawn.splitlines():
        pairs = [halves[letter] for letter in line]
        rows += [[upper for upper, _ in pairs], [lower for _, lower in pairs]]
    small = np.pad(np.array(rows, np.uint8), 4, constant_values=255)
    large = np.kron(small, np.ones((8, 8), np.uint8))
    found, _, _ = cv2.QRCodeDetector().detectAndDecode(large)
    return str(found)


def test_the_first_key_opens_once_and_leads_on(bench: Desk) -> None:
    code = bench.access.new_code(bench.owner, now_s=time.time())
    client = bench.client()
    answer = client.get(f"/enter?key={code}&then=/v/1")
    assert (answer.status_code, answer.headers["location"]) == (303, "/v/1")
    told = answer.headers["set-cookie"]
    for part in ("HttpOnly", "SameSite=strict", "Path=/", f"{COOKIE}="):
        assert part in told
    assert client.get("/").status_code == 200
    again = bench.client().get(f"/enter?key={code}")
    assert again.status_code == 403
    assert "set-cookie" not in again.headers


@pytest.mark.parametrize(
    "then", ["//evil.example", "https://evil.example/", "/\\evil", "javascript:1"]
)
def test_the_way_on_stays_here(bench: Desk, then: str) -> None:
    code = bench.access.new_code(bench.owner, now_s=time.time())
    answer = bench.client().get("/enter", params={"key": code, "then": then})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")


def test_the_cookie_is_kept_from_plain_http_where_there_is_https(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    with desk(tmp_path_factory.mktemp("https"), https=True) as made:
        code = made.access.new_code(made.owner, now_s=time.time())
        assert "Secure" in made.client().get(f"/enter?key={code}").headers["set-cookie"]


def test_the_owner_pairs_somebody_elses_phone(bench: Desk) -> None:
    owner = bench.client(bench.key())
    form = {"csrf": token_in(owner.get("/people")), "name": "Ana", "role": "detailer"}
    shown = owner.post("/people/new", data=form)
    assert shown.status_code == 200
    code = re.search(r'<p class="code">([A-Z0-9-]+)</p>', shown.text)
    assert code is not None
    phone = bench.client()
    page = phone.get(f"/pair?code={code[1]}")
    assert f'value="{code[1]}"' in page.text
    answer = phone.post("/pair", data={"code": code[1], "label": "Ana's phone"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert phone.get("/").status_code == 200
    assert phone.get("/people").status_code == 403
    replay = bench.client().post("/pair", data={"code": code[1], "label": "thief"})
    assert replay.status_code == 403
    assert "thief" not in {device.label for device in bench.access.devices()}


def test_the_drawn_code_is_the_address_with_the_code(bench: Desk) -> None:
    owner = bench.client(bench.key())
    token = token_in(owner.get("/people"))
    shown = owner.post(f"/people/{bench.owner}/code", data={"csrf": token})
    code = re.search(r'<p class="code">([A-Z0-9-]+)</p>', shown.text)
    assert code is not None
    address = f"http://192.0.2.7:8136/pair?code={code[1].replace('-', '')}"
    assert qr.svg(address) in shown.text
    # an outside decoder reads what ours wrote
    assert read(qr.blocks(address)) == address
    assert parse_qs(urlsplit(read(qr.blocks(address))).query)["code"][0] in address


def test_no_script_or_style_comes_with_a_drawn_code() -> None:
    drawn = qr.svg('http://192.0.2.7/pair?code=A"><script>')
    assert drawn.startswith("<svg")
    assert "script" not in drawn
    assert "style" not in drawn


def test_a_code_that_opens_nothing_is_told_in_words(bench: Desk) -> None:
    answer = bench.client().post(
        "/pair", data={"code": "WRONG", "label": "x"}, headers={"accept": "text/html"}
    )
    assert answer.status_code == 403
    assert "opens nothing" in words(answer)
    twice = "code=A&code=B&label=x"
    headers = {"content-type": "application/x-www-form-urlencoded"}
    assert bench.client().post("/pair", content=twice, headers=headers).status_code == 422


def test_a_label_is_shown_as_text(bench: Desk) -> None:
    code = bench.access.new_code(bench.owner, now_s=time.time())
    label = "<img src=x onerror=alert(1)>"
    assert bench.client().post("/pair", data={"code": code, "label": label}).status_code == 303
    page = bench.client(bench.key()).get("/people")
    assert label not in page.text
    assert "&lt;img src=x onerror=alert(1)&gt;" in page.text


def test_a_device_without_a_name_is_called_by_what_it_says(bench: Desk) -> None:
    code = bench.access.new_code(bench.owner, now_s=time.time())
    agent = "Mozilla/5.0 (Linux; Android 14) Chromium"
    phone = bench.client()
    phone.post("/pair", data={"code": code}, headers={"user-agent": agent})
    assert "Android" in {device.label for device in bench.access.devices()}


def test_name_and_password_in_a_new_browser(bench: Desk) -> None:
    owner = bench.paired()
    assert owner.post("/people/password", data={"password": "short"}).status_code == 422
    assert owner.post("/people/password", data={"password": PASSWORD}).status_code == 303
    browser = bench.client()
    assert browser.get("/sign-in").status_code == 200
    wrong = browser.post("/sign-in", data={"name": "Owner", "password": "x" * 20})
    unknown = browser.post("/sign-in", data={"name": "Nobody", "password": "x" * 20})
    assert (wrong.status_code, unknown.status_code) == (403, 403)
    # whether the name or the password was wrong is not to be seen
    assert words(wrong).replace("Owner", "") == words(unknown).replace("Nobody", "")
    assert browser.post("/sign-in", data={"name": "Owner", "password": PASSWORD}).status_code == 303
    assert browser.get("/people").status_code == 200
    assert owner.post("/people/password", data={"password": ""}).status_code == 303


def test_signing_out_ends_the_device(bench: Desk) -> None:
    key = bench.key(label="leaving")
    client = bench.paired(key)
    assert client.post("/sign-out").status_code == 303
    assert bench.client(key).get("/").status_code == 401


def test_shutting_a_device_out_on_the_page(bench: Desk) -> None:
    owner, lost = bench.paired(), bench.client(bench.key(label="lost"))
    assert lost.get("/").status_code == 200
    device = next(one for one in bench.access.devices() if one.label == "lost")
    assert owner.post(f"/devices/{device.device}/out").status_code == 303
    assert lost.get("/").status_code == 401
    assert owner.post("/devices/99999/out").status_code == 404


def test_roles_change_and_people_leave(bench: Desk) -> None:
    owner = bench.paired()
    number, key = bench.person("Ben", "learner")
    ben = bench.client(key)
    assert owner.post(f"/people/{number}/role", data={"role": "owner"}).status_code == 303
    assert ben.get("/people").status_code == 200
    assert owner.post(f"/people/{number}/role", data={"role": "god"}).status_code == 422
    assert owner.post(f"/people/{number}/out").status_code == 303
    assert ben.get("/").status_code == 401
    assert "Ben" not in words(owner.get("/people")).split("Devices")[0]


def test_the_last_owner_stays(tmp_path_factory: pytest.TempPathFactory) -> None:
    with desk(tmp_path_factory.mktemp("alone")) as made:
        owner = made.paired()
        answer = owner.post(f"/people/{made.owner}/out", headers={"accept": "text/html"})
        assert answer.status_code == 422
        assert "only owner" in words(answer)
        assert owner.get("/people").status_code == 200


@pytest.mark.parametrize("role", ["detailer", "learner"])
def test_a_fault_shows_nobody_the_owners_page(bench: Desk, role: str) -> None:
    _, key = bench.person(f"curious {role}", role)
    client = bench.paired(key)
    for path, form in (
        ("/people/password", {"password": "short"}),
        (f"/v/{bench.visit}/links", {"days": "9999"}),
    ):
        answer = client.post(path, data=form, headers={"accept": "text/html"})
        assert answer.status_code in {403, 422}
        assert "Who works here" not in words(answer)


def test_a_link_is_made_shown_once_and_shut(bench: Desk) -> None:
    owner = bench.paired()
    shown = owner.post(f"/v/{bench.visit}/links", data={"days": "7"})
    address = re.search(r'value="http://192\.0\.2\.7:8136(/see/[\w-]{43})"', shown.text)
    assert address is not None
    assert address[1] not in owner.get("/people").text
    client = bench.client()
    assert client.get(address[1]).status_code in {200, 409}
    links = Links(bench.shop.database).all(now_s=time.time())
    assert links[0].expires_s == pytest.approx(time.time() + 7 * 86400, abs=60)
    back = {"referer": f"{BASE}/v/{bench.visit}/handover"}
    shut = owner.post(f"/links/{links[0].link}/off", headers=back)
    assert shut.headers["location"] == f"/v/{bench.visit}/handover"
    assert client.get(address[1]).status_code == 404
    assert owner.post("/v/99999/links", data={"days": "7"}).status_code == 404


def test_the_audit_goes_page_by_page(bench: Desk) -> None:
    owner = bench.paired()
    for number in range(45):
        owner.post("/people/new", data={"name": f"Nobody {number}", "role": "none"})
    first = owner.get("/people/audit")
    assert 'href="/people/audit?page=2"' in first.text
    assert 'href="/people/audit?page=1"' in owner.get("/people/audit?page=2").text
    for page in ("x", "-1", "9" * 12, "1'"):
        assert owner.get("/people/audit", params={"page": page}).status_code == 404


def test_no_secret_is_in_a_log(bench: Desk, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level("DEBUG")
    code = bench.access.new_code(bench.owner, now_s=time.time())
    client = bench.client()
    client.get(f"/enter?key={code}")
    key = client.cookies[COOKIE]
    client.post("/sign-in", data={"name": "Owner", "password": PASSWORD})
    client.get(f"/see/{'s' * 43}")
    logged = "\n".join(
        record.getMessage() for record in caplog.records if record.name.startswith("leastcut")
    )
    for secret in (code, key, PASSWORD, "s" * 43):
        assert secret not in logged
