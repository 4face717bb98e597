"""The analyst: findings kept once, pokes that come to one round, workers that die."""

import os
import time
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from leastcut.job import analyst as analysing
from leastcut.job import look, settle
from leastcut.job.analyst import Analyst
from leastcut.job.carry import Carried, into_shop
from leastcut.job.decide import decide
from leastcut.job.evidence import Evidence
from leastcut.job.sources import InShop
from leastcut.job.visit import fold
from leastcut.shop.executors import Local
from leastcut.shop.facts import Fact, NewFact
from leastcut.shop.store import Shop, open_shop

LONG_S = 500.0


class Here:
    """Does the work at once, in the caller's thread, and counts it."""

    width = lot = 1

    def __init__(self) -> None:
        self.done: list[str] = []

    def submit(self, work: Any, /, *arguments: Any) -> Future[Any]:
        inner, items = arguments  # of executors.in_one_go
        self.done += [inner.__name__] * len(items)
        future: Future[Any] = Future()
        try:
            future.set_result(work(*arguments))
        except Exception as error:  # noqa: BLE001 - as a worker would hand it over
            future.set_exception(error)
        return future

    def alone(self, work: Any, /, *arguments: Any) -> Any:
        return work(*arguments)

    def close(self) -> None:
        """Nothing to end."""


@pytest.fixture(scope="module")
def carried(demo: Any, tmp_path_factory: pytest.TempPathFactory) -> tuple[Shop, Carried]:
    shop = open_shop(tmp_path_factory.mktemp("analyst") / "shop")
    return shop, into_shop(demo.job_file, shop, now_s=1.0)


@pytest.fixture(scope="module")
def settled(carried: tuple[Shop, Carried]) -> Iterator[tuple[Shop, int, Analyst]]:
    """The demo worked out by two worker processes."""
    shop, visit = carried[0], carried[1].visit
    analyst = Analyst(shop)
    began = time.monotonic()
    analyst.poke(visit)
    assert time.monotonic() - began < 5.0
    assert analyst.wait(visit, timeout_s=LONG_S)
    yield shop, visit, analyst
    analyst.close()


def add(shop: Shop, visit: int, key: str, field: str, body: Any, kind: str = "set") -> None:
    fact = msgspec.convert({"key": key, "kind": kind, "field": field, "body": body}, NewFact)
    shop.append(visit, [fact], device=None, person="Ada", now_s=2.0)


def test_the_shop_decides_as_the_folder_does(
    settled: tuple[Shop, int, Analyst], evidence: Evidence
) -> None:
    shop, visit, analyst = settled
    stored = shop.dossier(visit)
    assert stored is not None
    found = settle.read(stored[1])
    asked = decide(evidence, rng=np.random.default_rng(settle.SEED))
    assert found.problems == ()
    assert [p.finding for p in found.photos] == [p.finding for p in asked.photos]
    assert found.panels == asked.panels
    assert (found.plan, found.testspot, found.stages) == (asked.plan, asked.testspot, asked.stages)
    overlay = found.photos[0].overlay
    assert overlay is not None
    assert (shop.picture(overlay) or b"")[:2] == b"\xff\xd8"  # a JPEG begins so; source: ITU-T T.81
    now = analyst.progress(visit)
    assert (now.doing, now.head, now.failed) == ("", now.wanted_head, "")


def test_a_new_fact_needs_no_new_look(settled: tuple[Shop, int, Analyst]) -> None:
    shop, visit, _ = settled
    add(shop, visit, "finish", "target.finish", "show")
    here = Here()
    analyst = Analyst(shop, here)
    assert analyst.progress(visit).head != analyst.progress(visit).wanted_head
    for _ in range(5):
        analyst.poke(visit)
    assert analyst.wait(visit, timeout_s=LONG_S)
    assert set(here.done) == {"settle"}
    assert len(here.done) <= 2
    stored = shop.dossier(visit)
    assert stored is not None
    assert settle.read(stored[1]).target == "show"


def test_bad_evidence_is_told_and_costs_nothing_else(carried: tuple[Shop, Carried]) -> None:
    shop, known = carried
    visit = shop.new_visit(known.car, now_s=3.0)
    broken = shop.put_blob(b"\xff\xd8\xff\xe0 not really")
    shop.note_photo(visit, broken, "image/jpeg", 10, 10, 14, 3.0)
    for number, (field, body) in enumerate({
        "car.label": "mine", "car.body": "suv", "car.length": "9 m", "car.wheelbase": "1 m",
        "room.volume": "0 m³", "room.air_changes_per_hour": 2.0, "room.wipe_alcohol": "50 ml",
        "wash.feel": "smooth",
    }.items()):  # fmt: skip
        add(shop, visit, f"s{number}", field, body)
    add(shop, visit, "p1", "photo", {"panel": "bonnet", "file": broken}, "add")
    add(shop, visit, "p2", "photo", {"panel": "bonnet", "file": "0" * 64}, "add")
    add(shop, visit, "p3", "photo", {"panel": "hood", "file": broken}, "add")
    add(shop, visit, "r1", "reading", {"panel": "hood", "reading_um": 100}, "add")
    analyst = Analyst(shop, Here())
    analyst.poke(visit)
    assert analyst.wait(visit, timeout_s=LONG_S)
    assert analyst.progress(visit).failed == ""
    stored = shop.dossier(visit)
    assert stored is not None
    found = settle.read(stored[1])
    told = {problem.where for problem in found.problems}
    assert {"photo/p1.file", "photo/p2.file", "photo/p3.panel", "reading", "car"} <= told
    assert found.wash.feel == "smooth"
    assert found.photos == ()
    assert found.plan.sections


def test_the_sections_keep_their_numbers_once_work_has_begun() -> None:
    """What is learnt later may point to another pad; the record goes by the sections there were."""
    fine = {"label": "fine", "pad": "foam-finishing", "liquid": "finishing"}
    middle = {"label": "mid", "pad": "foam-polishing", "liquid": "medium", "pad_diameter": "80 mm"}
    told = [
        ("set", "car.label", "mine"), ("set", "car.body", "two-box"), ("add", "process", fine),
        ("add", "process", middle), ("set", "target.reserve", "22 µm"),
        ("add", "event", {"kind": "started", "panel": "roof", "section": "1", "process": "mid"}),
        ("add", "trial", {"process": "mid", "sets": 2, "verdict": "clean"}),
    ]  # fmt: skip
    facts = [
        msgspec.convert(
            {"key": f"k{n}", "id": n, "kind": kind, "field": field, "body": body, "at_s": 1.0 * n,
             "device": 1, "person": "Ada"}, Fact,
        )
        for n, (kind, field, body) in enumerate(told, start=1)
    ]  # fmt: skip
    drawn = []
    for log in (facts, [fact for fact in facts if fact.field != "event"], facts[:5]):
        visit = fold(log)
        source = InShop(visit=visit, before=analysing.as_begun(log, visit))
        drawn.append(settle.read(settle.settle(source, {})[0]).sections_for)
    assert drawn == ["mid", "fine", "mid"]


def test_a_visit_without_a_car_waits(carried: tuple[Shop, Carried]) -> None:
    shop, known = carried
    visit = shop.new_visit(known.car, now_s=4.0)
    analyst = Analyst(shop, Here())
    analyst.poke(visit)
    assert analyst.wait(visit, timeout_s=LONG_S)
    assert analyst.progress(visit).head is None
    analyst.close()
    analyst.poke(visit)
    assert analyst.wait(visit, timeout_s=0.1)


def test_a_round_that_fails_is_told_and_rests(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = open_shop(tmp_path / "shop")
    visit = shop.new_visit(shop.new_car("mine", now_s=1.0), now_s=1.0)
    add(shop, visit, "label", "car.label", "mine")
    add(shop, visit, "body", "car.body", "suv")
    calls: list[int] = []

    def broken(*_: Any) -> None:
        calls.append(1)
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(analysing, "settle", broken)
    monkeypatch.setattr(analysing, "AGAIN_S", 1e9)
    analyst = Analyst(shop, Here())
    for _ in range(3):
        analyst.poke(visit)
        assert analyst.wait(visit, timeout_s=LONG_S)
    assert len(calls) == 1
    assert analyst.progress(visit).failed == "RuntimeError: a fault of ours"
    monkeypatch.setattr(analysing, "AGAIN_S", 0.0)
    analyst.poke(visit)
    assert analyst.wait(visit, timeout_s=LONG_S)
    assert len(calls) == 2


def kill_once(path: str) -> str:
    """End this process the first time, answer the second."""
    if not Path(path).exists():
        Path(path).touch()
        os._exit(9)
    return "lived"


def test_a_killed_worker_loses_nothing(tmp_path: Path) -> None:
    from leastcut.shop.executors import each

    executor = Local(1)
    marks = [str(tmp_path / name) for name in "abc"]
    found = dict(each(executor, kill_once, marks, arguments=lambda mark: (mark,)))
    assert found == dict.fromkeys(marks, "lived")
    executor.close()


def always_dies(_: int) -> None:
    os._exit(9)


def test_work_that_kills_is_found_out(
    settled: tuple[Shop, int, Analyst], monkeypatch: pytest.MonkeyPatch
) -> None:
    from leastcut.shop.executors import Lost, each

    executor = Local(1)
    ((item, found),) = each(executor, always_dies, [7], arguments=lambda n: (n,))
    executor.close()
    assert item == 7
    assert isinstance(found, Lost)
    assert found.item == 7
    with pytest.raises(RuntimeError, match="home"):
        executor.submit(always_dies, 1)
    shop, visit, _ = settled
    monkeypatch.setattr(look, "ANALYSIS", look.ANALYSIS + 1)
    monkeypatch.setattr(
        analysing, "each", lambda _, __, items, **___: ((i, Lost(i)) for i in items)
    )
    analyst = Analyst(shop, Here())
    analyst.poke(visit)
    assert analyst.wait(visit, timeout_s=LONG_S)
    stored = shop.dossier(visit)
    assert stored is not None  # the same facts, but another analysis: decided anew
    assert "ended the process" in settle.read(stored[1]).problems[0].what
