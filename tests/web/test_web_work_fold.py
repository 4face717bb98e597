"""The script works out the same as the core: hundreds of random records folded in both.

The core is the reference; the script is what a phone shows while the core is out of reach.
"""

import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Browser, Page, Route

import leastcut.web
from leastcut.car.records import Interval
from leastcut.job.visit import fold as fold_visit
from leastcut.plan.records import SectionPlan, Step
from leastcut.shop.facts import Fact
from leastcut.work import runs
from leastcut.work.prompts import Rules, prompts

pytestmark = pytest.mark.browser

LOGS = 300

Cases = list[tuple[dict[str, Any], dict[str, Any]]]
PROCESSES = ("soft", "hard")
PLACES = (("roof", "1"), ("roof", "2"), ("door", "1"), ("door", "gone"))
WHY = ("hot", "edge", "no reason of ours", 7)

FOLD = """async (logs) => {
  // As text: the driver's own way of handing records over takes longer than the work.
  const { eventsOf, fold, prompts } = await import("/static/work/fold.js");
  return JSON.stringify(JSON.parse(logs).map(({ facts, waiting, plan, now_s, rules }) => {
    const state = fold(eventsOf(facts, waiting), plan);
    const said = prompts(state, now_s, rules).map(({ do: act, say, panel, section }) => ({ do: act, say, panel, section }));
    const { stretches, skips, ...rest } = state;
    return { state: rest, said, stretches };
  }));
}"""


def plan_of(rng: random.Random) -> list[SectionPlan]:
    def steps() -> tuple[Step, ...]:
        chosen = rng.sample(PROCESSES, rng.randint(0, 2))
        return tuple(
            Step(process=p, sets=rng.randint(1, 3), seconds=rng.randint(30, 200)) for p in chosen
        )

    return [
        SectionPlan(
            panel=panel,
            id=section,
            steps=steps(),
            cut_um=Interval(mean=1.0, low=0.5, high=2.0),
            clear_after_low_um=30.0,
            p_target=0.9,
        )
        for panel, section in PLACES[:3]
    ]


def body_of(rng: random.Random) -> dict[str, Any]:
    panel, section = rng.choice(PLACES)
    at, process = {"panel": panel, "section": section}, rng.choice(PROCESSES)
    by = {} if rng.random() < 0.3 else {"by": rng.choice(("d1", "d2", ""))}
    body = rng.choice((
        {"kind": "started", **at, "process": process, **by},
        {"kind": "started", **at, "process": process, **by},
        {"kind": "set-done", **at, "process": process},
        {"kind": "set-done", **at, "process": process},
        {"kind": "stopped", **by},
        {"kind": "wiped", **at},
        {"kind": "pad-changed", "process": process},
        {"kind": "pad-cleaned", "process": process},
        {"kind": "skipped", **at, "reason": rng.choice(WHY), "note": rng.choice(("", "a badge"))},
        {"kind": "never heard of", **at},
        {"kind": "wiped", "panel": 3},
    ))  # fmt: skip
    # Few times, so that several fall together; some events leave theirs to the fact.
    return body if rng.random() < 0.1 else {**body, "at_s": rng.randint(0, 60) * 7.25}


def facts_of(rng: random.Random) -> list[Fact]:
    facts: list[Fact] = []
    for number in range(1, rng.randint(2, 45)):
        earlier = [fact.key for fact in facts]
        kind, field, body = "add", "event", body_of(rng)
        if earlier and rng.random() < 0.25:
            key = rng.choice((*earlier, "unheard"))
            kind = rng.choice(("drop", "set"))
            leaf = rng.choice(("reason", "note", "process", "panel", "at_s", "by"))
            field = f"event/{key}" if kind == "drop" else f"event/{key}.{leaf}"
            body = rng.choice(("hot", "budget", "soft", "roof", 14.5, None, ["x"]))
        key = rng.choice(earlier) if earlier and rng.random() < 0.08 else f"k{rng.random():.12f}"
        facts.append(
            Fact(
                id=number,
                key=key.replace(".", ""),
                kind=kind,
                field=field,
                body=body,
                made_s=rng.choice((None, 3.5, 90.0)),
                at_s=200.0 + number,
                device=rng.choice((1, 2)),
                person="",
            )
        )
    return facts


def case(rng: random.Random) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return what the script gets, and what the core makes of it."""
    plan, facts = plan_of(rng), facts_of(rng)
    state = runs.fold(fold_visit(facts).events, plan)
    now_s = state.last_s + rng.randint(0, 400) + 0.3
    rules = Rules(clean_after_sets=rng.randint(1, 3), change_after_sets=rng.randint(2, 6))
    given = msgspec.to_builtins(
        {"plan": plan, "facts": facts, "waiting": [], "now_s": now_s, "rules": rules}
    )
    cut = rng.randint(
        0, len(facts)
    )  # the newest are not numbered yet, on the device that made them
    given["facts"], given["waiting"] = given["facts"][:cut], given["facts"][cut:]
    rng.shuffle(given["facts"])
    said = [
        {"do": p.do, "say": p.say, "panel": p.panel, "section": p.section}
        for p in prompts(state, now_s=now_s, rules=rules)
    ]
    return given, {"state": json.loads(msgspec.json.encode(state)), "said": said}


@pytest.fixture
def bare(browser: Browser) -> Iterator[Page]:
    """An empty page that our scripts can be loaded into; no server stands behind it."""
    folder = Path(leastcut.web.__file__).parent

    def given(route: Route) -> None:
        path = folder / route.request.url.removeprefix("http://bench.test/")
        if path.is_file():
            route.fulfill(path=path, content_type="text/javascript")
        else:
            route.fulfill(body="<!doctype html>", content_type="text/html")

    page = browser.new_page()
    page.route("**/*", given)
    page.goto("http://bench.test/")
    yield page
    page.close()


@pytest.fixture
def cases() -> Cases:
    rng = random.Random(20)
    return [case(rng) for _ in range(LOGS)]


def test_the_script_folds_as_the_core_does(bare: Page, cases: Cases) -> None:
    found = json.loads(bare.evaluate(FOLD, json.dumps([given for given, _ in cases])))
    seen = {"problems": 0, "crowds": 0, "skipped": 0, "prompts": 0}
    for (given, wanted), got in zip(cases, found, strict=True):
        for problem in wanted["state"]["problems"]:
            del problem["do"]
        assert got["state"] == wanted["state"], given
        assert got["said"] == wanted["said"], given
        spent = sum(one["to_s"] - one["from_s"] for one in got["stretches"])
        assert spent == pytest.approx(sum(s["actual_s"] for s in wanted["state"]["sections"]))
        seen["problems"] += bool(wanted["state"]["problems"])
        seen["crowds"] += len(wanted["state"]["at_work"]) > 1
        seen["skipped"] += any(s["status"] == "skipped" for s in wanted["state"]["sections"])
        seen["prompts"] += bool(wanted["said"])
    assert min(seen.values()) > LOGS / 20, seen
