"""The interface as it is written down, held against what answers; health, counts, start and stop."""

import re
import threading
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import schemathesis
from door import Desk, desk
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.specs.openapi import checks as openapi_checks
from starlette.routing import Route

from leastcut.web.meter import BOUNDS, Meter
from leastcut.web.openapi import document
from leastcut.web.who import COOKIE, CSRF_HEADER, csrf_of

# It works an invented car out, in other processes; the demo has tests of its own.
LEFT_OUT = {("post", "/demo"), ("post", "/sign-out")}
# Who is let in is asked in the tests of the door; a form may be refused with words.
EXCLUDED = [openapi_checks.ignored_auth, openapi_checks.positive_data_acceptance]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with desk(tmp_path_factory.mktemp("api")) as made:
        yield made


@pytest.fixture(scope="module")
def written(bench: Desk) -> dict[str, Any]:
    found: dict[str, Any] = bench.paired().get("/openapi.json").json()
    return found


def headers_of(bench: Desk) -> dict[str, str]:
    key = bench.key()
    return {
        "cookie": f"{COOKIE}={key}",
        CSRF_HEADER: csrf_of(key),
        "host": "127.0.0.1:8136",
    }


def test_every_route_is_written_down(bench: Desk, written: dict[str, Any]) -> None:
    routes = [route for route in bench.app.routes if isinstance(route, Route)]
    expected = {
        (method.lower(), re.sub(r":\w+\}", "}", route.path))
        for route in routes
        for method in (route.methods or set()) - {"HEAD"}
    }
    found = {(method, path) for path, told in written["paths"].items() for method in told}
    assert found == expected
    names = [told["operationId"] for path in written["paths"].values() for told in path.values()]
    assert len(names) == len(set(names))


def test_the_document_keeps_to_its_own_standard(written: dict[str, Any]) -> None:
    # an outside library reads and checks it as OpenAPI 3.1
    schema = schemathesis.openapi.from_dict(written)
    schema.validate()
    for one in written["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(one)


def explored(
    bench: Desk, operation: Any, examples: int, known: dict[str, Any] | None
) -> Counter[int]:
    """Ask an operation with requests made from the document; return the statuses that came."""
    headers, seen = headers_of(bench), Counter[int]()
    names = (
        {name: known[name] for name in re.findall(r"\{(\w+)\}", operation.path)} if known else None
    )

    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate],
    )
    @given(case=operation.as_strategy(path_parameters=names) if names else operation.as_strategy())
    def ask(case: Any) -> None:
        answer = case.call(headers=headers)
        seen[answer.status_code] += 1
        case.validate_response(answer, excluded_checks=EXCLUDED)

    ask()
    return seen


@pytest.mark.filterwarnings("ignore")
def test_what_answers_is_what_is_written(bench: Desk) -> None:
    schema = schemathesis.openapi.from_asgi("/openapi.json", bench.app, headers=headers_of(bench))
    number, _ = bench.person("explored", "learner")
    upload = bench.paired(bench.key()).post("/api/uploads", json={"name": "a", "bytes": 9})
    known = {
        "visit": bench.visit,
        "car": 1,
        "person": number,
        "device": 10**6,
        "link": 1,
        "panel": "bonnet",
        "section": "bonnet-1",
        "upload": upload.json()["upload"],
        "digest": "a" * 64,
        "body": "estate",
        "name": "plan.png",
        "token": "t" * 43,
    }
    answered: Counter[int] = Counter()
    for result in schema.get_all_operations():
        operation = result.ok()
        if (operation.method, operation.path) in LEFT_OUT:
            continue
        answered += explored(bench, operation, 4, None)
        if "{" in operation.path:
            answered += explored(bench, operation, 6, known)
    assert answered[200] > 50
    assert not [status for status in answered if status >= 500]


def test_health(bench: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    client = bench.client()
    fine = client.get("/healthz")
    assert (fine.status_code, fine.json()["ok"]) == (200, True)
    from leastcut.shop.trouble import ShopDamagedError

    def broken(**_: object) -> None:
        raise ShopDamagedError("no", where="/secret/place", do="x")

    monkeypatch.setattr(bench.shop, "cars", broken)
    ill = client.get("/healthz")
    assert (ill.status_code, ill.json()["record"]) == (503, "ShopDamagedError")
    assert "secret" not in ill.text


# One sample: name, labels, value. source: OpenMetrics 1.0.0, ABNF in "Text format"; status: memory
SAMPLE = re.compile(
    r'([a-zA-Z_:][a-zA-Z0-9_:]*)(?:\{((?:[a-zA-Z_]\w*="(?:[^"\\\n]|\\[\\"n])*",?)*)\})? (-?[0-9.e+-]+|\+Inf|NaN)'
)


def samples(text: str) -> dict[tuple[str, str], float]:
    """Read metrics with rules written down here from the format's own grammar."""
    lines = text.split("\n")
    assert lines[-2:] == ["# EOF", ""]
    found: dict[tuple[str, str], float] = {}
    for line in lines[:-2]:
        if line.startswith("# "):
            assert re.fullmatch(r"# (TYPE|UNIT|HELP) [a-z_]+ .+", line), line
            continue
        match = SAMPLE.fullmatch(line)
        assert match, line
        place = (match[1], match[2] or "")
        assert place not in found
        found[place] = float(match[3])
    return found


def test_counts(bench: Desk) -> None:
    client = bench.paired()
    before = samples(bench.paired().get("/metrics").text)
    for _ in range(3):
        client.get("/terms")
    client.get("/v/99999/car")
    answer = client.get("/metrics")
    assert answer.headers["content-type"].startswith("application/openmetrics-text; version=1.0.0")
    after = samples(answer.text)
    shown = ("leastcut_requests_total", 'method="GET",route="/terms",status="200"')
    assert after[shown] == before.get(shown, 0) + 3
    missing = ("leastcut_requests_total", 'method="GET",route="/v/{visit:int}/car",status="404"')
    assert after[missing] >= 1
    buckets = [
        after["leastcut_request_seconds_bucket", f'route="/terms",le="{b}"']
        for b in (*BOUNDS, "+Inf")
    ]
    assert buckets == sorted(buckets)
    assert buckets[-1] == after["leastcut_request_seconds_count", 'route="/terms"']
    assert after["leastcut_cars", ""] >= 1
    assert after["leastcut_memory_bytes", ""] > 1e7


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["GET", "POST"]),
            st.text(max_size=12),
            st.integers(200, 599),
            st.floats(0, 100),
        ),
        max_size=60,
    )
)
def test_counts_of_anything_can_be_read_back(asked: list[tuple[str, str, int, float]]) -> None:
    meter = Meter(started_s=1.5)
    for method, route, status, seconds in asked:
        meter.request(method, route.replace("\r", ""), status, seconds)
        meter.event(route.replace("\r", ""))
    found = samples(meter.text([("leastcut_more", "More.", 0.5)]))
    assert sum(v for (name, _), v in found.items() if name == "leastcut_requests_total") == len(
        asked
    )
    assert sum(
        v for (name, _), v in found.items() if name == "leastcut_request_seconds_count"
    ) == len(asked)
    total = sum(v for (name, _), v in found.items() if name == "leastcut_request_seconds_sum")
    assert total == pytest.approx(sum(seconds for *_, seconds in asked))


def test_counts_stay_of_one_size() -> None:
    meter = Meter(started_s=0.0)
    for number in range(2000):
        meter.request("GET", f"/{number}", 200, 0.01)
    assert len(meter.text()) < 1_000_000


def test_counts_are_not_for_strangers(bench: Desk) -> None:
    assert bench.client().get("/metrics").status_code == 404
    _, key = bench.person("no counts", "learner")
    assert bench.paired(key).get("/metrics").status_code == 404


def test_an_application_of_no_routes_is_a_document_too() -> None:
    assert document([])["paths"] == {}


def test_audit_rows_are_written_when_the_workbench_stops(tmp_path: Path) -> None:
    with desk(tmp_path) as made:
        key = made.key()
        with made.client(key) as client:
            client.post("/people/new", data={"csrf": csrf_of(key), "name": "", "role": "owner"})
        from leastcut.shop.audit import Audit

        assert "POST /people/new" in {row.what for row in Audit(made.shop.database).page().rows}
    assert threading.active_count() < 60
