"""Facts in and out for programs: taken exactly once, refused one by one, by right."""

import time
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from door import BASE, Desk, desk
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from leastcut.job.visit import fold
from leastcut.shop.facts import NewFact
from leastcut.web import factsapi

STARTED = {"kind": "started", "panel": "roof", "section": "1", "process": "soft", "by": "d1"}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with desk(tmp_path_factory.mktemp("facts")) as made:
        yield made


@pytest.fixture
def visit(bench: Desk) -> int:
    return bench.shop.new_visit(bench.shop.new_car("car", now_s=1.0), now_s=1.0)


@pytest.fixture(scope="module")
def browser_of(bench: Desk) -> TestClient:
    return bench.paired()


def tap(key: str, **body: Any) -> dict[str, Any]:
    return {"key": key, "kind": "add", "field": "event", "body": {**STARTED, "at_s": 5, **body}}


def put(key: str, field: str, body: Any, base: int | None = None) -> dict[str, Any]:
    return {"key": key, "kind": "set", "field": field, "body": body, "base": base}


def send(client: TestClient, visit: int, *facts: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(f"/api/visits/{visit}/facts", json=list(facts))
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_the_same_key_again_is_the_same_fact(
    browser_of: TestClient, bench: Desk, visit: int
) -> None:
    first = send(browser_of, visit, tap("a"), tap("b", at_s=6))
    again = send(browser_of, visit, tap("b", at_s=99), tap("a"), tap("a"))
    assert again["taken"] == first["taken"]
    assert again["head"] == first["head"] == max(first["taken"].values())
    facts = bench.shop.facts(visit)
    assert [fact.key for fact in facts] == ["a", "b"]
    assert facts[1].body["at_s"] == 6
    assert facts[0].person == "Owner"


def test_one_bad_fact_does_not_hold_up_the_others(browser_of: TestClient, visit: int) -> None:
    bad = {
        "kind": tap("c", kind="danced"),
        "list": {"key": "d", "kind": "add", "field": "bottles", "body": {}},
        "field": put("e", "car.colour_of_seats", "red"),
        "value": put("f", "car.length", "as long as a boat"),
        "item": {"key": "g", "kind": "drop", "field": "event/unheard"},
        "nothing": {"key": "h", "kind": "drop", "field": "car.label"},
        "key": tap("two words"),
        "time": {**tap("i"), "made_s": -4},
        "leaf": put("j", "event/ok1", "x"),
        "reason": put("k", "event/ok1.process", None),
        "photo": {"key": "l", "kind": "add", "field": "photo",
                  "body": {"file": "0" * 64, "panel": "roof"}},
    }  # fmt: skip
    told = send(browser_of, visit, tap("ok1"), *bad.values(), tap("ok2"))
    assert set(told["taken"]) == {"ok1", "ok2"}
    refused = {one["key"]: one for one in told["refused"]}
    assert set(refused) == {fact["key"] for fact in bad.values()}
    assert all(one["why"] and one["do"] for one in refused.values())


def test_taking_back_and_changing_what_was_sent_in_the_same_breath(
    browser_of: TestClient, bench: Desk, visit: int
) -> None:
    skip = tap("s", kind="skipped", reason="hot")
    drop = {"key": "x", "kind": "drop", "field": "event/a"}
    told = send(browser_of, visit, tap("a"), drop, skip, put("y", "event/s.reason", "edge"))
    assert not told["refused"]
    now = fold(bench.shop.facts(visit))
    assert [(event.id, event.reason) for event in now.events] == [("s", "edge")]
    late = {"key": "z", "kind": "drop", "field": "event/a"}
    assert send(browser_of, visit, late)["taken"], "somebody else was quicker"


def test_a_contradiction_is_told_and_decided(
    browser_of: TestClient, bench: Desk, visit: int
) -> None:
    other = bench.paired(bench.person(f"Ben {visit}", "detailer")[1])
    send(browser_of, visit, put("a", "car.label", "blue"))
    told = send(other, visit, put("b", "car.label", "green"))
    [conflict] = told["conflicts"]
    assert conflict["field"] == "car.label"
    assert conflict["base"] == told["taken"]["b"]
    assert [(value, who) for _, value, who, _ in conflict["values"]] == [
        ("blue", "Owner"), ("green", f"Ben {visit}"),
    ]  # fmt: skip
    learner = bench.paired(bench.person(f"Lea {visit}", "learner")[1])
    choice = put("c", "car.label", "blue", conflict["base"])
    assert send(learner, visit, choice)["refused"][0]["why"] == "your role does not allow this"
    assert not send(other, visit, choice)["conflicts"]


def test_a_learner_taps_but_sets_no_price_and_a_client_does_nothing(
    bench: Desk, visit: int
) -> None:
    learner = bench.paired(bench.person(f"Max {visit}", "learner")[1])
    told = send(learner, visit, tap("a"), put("b", "prices.labour_per_hour", 60))
    assert set(told["taken"]) == {"a"}
    assert [one["key"] for one in told["refused"]] == ["b"]
    stranger = bench.client()
    for path in ("facts", "work", "progress"):
        assert stranger.get(f"/api/visits/{visit}/{path}").status_code == 401
    assert stranger.post(f"/api/visits/{visit}/facts", json=[]).status_code == 401


def test_what_is_no_list_of_facts_is_not_taken(browser_of: TestClient, visit: int) -> None:
    path = f"/api/visits/{visit}/facts"
    for body in ({}, [1], [{"key": "a"}], [{**tap("a"), "kind": "burn"}], "x"):
        assert browser_of.post(path, json=body).status_code == 422, body
    many = [tap(f"k{n}") for n in range(factsapi.MOST_FACTS + 1)]
    assert browser_of.post(path, json=many).status_code == 413
    long_ = browser_of.post(path, json=[{**tap("a"), "body": {"note": "x" * 1_100_000}}])
    assert long_.status_code == 413
    for made in ("99999", "0", "9" * 30):
        for ending in ("facts", "work", "progress"):
            assert browser_of.get(f"/api/visits/{made}/{ending}").status_code == 404, made
        assert browser_of.post(f"/api/visits/{made}/facts", json=[tap("a")]).status_code == 404


def test_facts_behind_a_number(browser_of: TestClient, visit: int) -> None:
    path = f"/api/visits/{visit}/facts"
    told = send(browser_of, visit, put("a", "car.label", "x"), tap("b"), tap("c"))
    found = browser_of.get(path, params={"after": told["taken"]["b"]}).json()
    assert [fact["key"] for fact in found["facts"]] == ["c"]
    assert found["head"] == told["head"]
    assert abs(found["now_s"] - time.time()) < 60
    events = browser_of.get(path, params={"of": "event"}).json()["facts"]
    assert [fact["key"] for fact in events] == ["b", "c"]
    for wrong in ({"after": "-1"}, {"after": "x"}, {"after": "9" * 40}, {"of": "all"}):
        assert browser_of.get(path, params=wrong).status_code == 422


def test_there_is_nothing_to_work_before_there_is_a_plan(
    browser_of: TestClient, visit: int
) -> None:
    assert browser_of.get(f"/api/visits/{visit}/work").status_code == 409
    assert browser_of.get(f"/v/{visit}/work/sheet.html").status_code == 409
    page = browser_of.get(f"/v/{visit}/work")
    assert page.status_code == 200
    assert "still being worked out" in page.text


def test_taps_are_worked_out_once_they_cease(
    browser_of: TestClient, bench: Desk, visit: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(factsapi, "QUIET_S", 0.2)
    poked = bench.app.state.analyst.poked
    poked.clear()
    with browser_of:
        for number in range(4):
            send(browser_of, visit, tap(f"t{number}"))
        assert not poked
        end = time.monotonic() + 10
        while not poked and time.monotonic() < end:
            time.sleep(0.05)
            browser_of.get(f"/api/visits/{visit}/progress")
        assert poked == [visit]
        send(browser_of, visit, put("now", "car.label", "x"))
        assert poked == [visit, visit]


facts = st.lists(
    st.builds(
        NewFact,
        key=st.text(max_size=6),
        kind=st.sampled_from(("set", "add", "drop")),
        field=st.one_of(
            st.text(max_size=12),
            st.sampled_from(("event", "note", "event/a", "event/a.reason", "car.label", "room")),
        ),
        body=st.recursive(
            st.one_of(st.none(), st.booleans(), st.integers(), st.text(max_size=5)),
            lambda inner: st.dictionaries(st.text(max_size=5), inner, max_size=3),
            max_leaves=4,
        ),
        base=st.one_of(st.none(), st.integers()),
        made_s=st.one_of(st.none(), st.floats(allow_nan=False, allow_infinity=False)),
    ),
    max_size=6,
)


@settings(max_examples=60, deadline=None)
@given(facts)
def test_whatever_is_sent_each_fact_is_taken_or_refused(sent: list[NewFact]) -> None:
    client, visit = _FUZZ["client"], _FUZZ["visit"]
    body = msgspec.json.encode(sent)
    headers = {"content-type": "application/json", "origin": BASE}
    answer = client.post(f"/api/visits/{visit}/facts", content=body, headers=headers)
    if answer.status_code == 422:  # a number beyond what a fact holds
        return
    assert answer.status_code == 200, answer.text
    told = answer.json()
    answered = [*told["taken"], *(one["key"] for one in told["refused"])]
    assert {fact.key for fact in sent} == set(answered)
    kept = {fact.key for fact in _FUZZ["bench"].shop.facts(visit)}
    assert set(told["taken"]) <= kept
    fold(_FUZZ["bench"].shop.facts(visit))


_FUZZ: dict[str, Any] = {}


@pytest.fixture(autouse=True, scope="module")
def _fuzzed(bench: Desk) -> None:
    car = bench.shop.new_car("fuzz", now_s=1.0)
    _FUZZ.update(bench=bench, client=bench.paired(), visit=bench.shop.new_visit(car, now_s=1.0))
