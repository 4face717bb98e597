"""The benches' table, picture and mark: what they say of given figures."""

import importlib.util
import json
import sys
from pathlib import Path
from types import ModuleType
from typing import Any
from xml.etree import ElementTree as ET

import pytest

BENCH = Path(__file__).parents[2] / "bench"


def loaded(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # a bench's own imports find it by this name
    spec.loader.exec_module(module)
    return module


SHOW, QUICK = loaded("_show"), loaded("_quick")


def row(ratio: float, **more: Any) -> dict[str, Any]:
    return {"what": "film map, n", "peer": "other", "ours_s": 2e-3, "accuracy": "same", "ratio": ratio, "low": 0.9 * ratio, "high": 1.1 * ratio, **more}  # fmt: skip


def test_the_ratio_of_pairs_is_their_middle_with_its_spread() -> None:
    made = QUICK.row("x", "y", [1.0, 2.0, 4.0], [10.0, 10.0, 10.0])
    assert (made["ratio"], made["low"], made["high"]) == (5.0, 2.5, 10.0)
    assert (made["ours_s"], made["theirs_s"]) == (1.0, 10.0)


def test_pairs_are_timed_in_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    turns: list[str] = []
    made = QUICK.paired("x", "y", lambda: turns.append("o"), lambda: turns.append("t"))
    assert "".join(turns) == "ot" * (QUICK.PAIRS + 1)
    assert made["low"] <= made["ratio"] <= made["high"]
    del monkeypatch


@pytest.mark.parametrize(
    ("seconds", "told"), [(2.5, "2.5 s"), (0.0123, "12.3 ms"), (4.2e-5, "42 µs")]
)
def test_times_are_easy_to_read(seconds: float, told: str) -> None:
    assert SHOW.took(seconds) == told


def test_the_table_has_ratio_spread_accuracy_and_memory() -> None:
    text = SHOW.table([row(5.0, peak_mib=120.4), {"what": "alone", "peer": "", "ours_s": 1.0, "accuracy": ""}])  # fmt: skip
    assert "5.0× (4.5 to 5.5)" in text
    assert "120 MiB" in text
    assert len(text.splitlines()) == 3
    assert SHOW.markdown([row(5.0)]).count("\n") == 2


@pytest.mark.parametrize(("ratio", "worse"), [(7.0, 0), (6.1, 0), (6.0, 1), (1.0, 1)])
def test_only_a_clear_fall_of_the_ratio_is_told(ratio: float, worse: int) -> None:
    # Even the best pair must lie below two thirds of the mark: 1.1 × 6.0 < 6.67 < 1.1 × 6.1.
    found = SHOW.slower([row(ratio)], {"film map, n | other": 10.0})
    assert len(found) == worse
    assert SHOW.slower([row(ratio)], {}) == []


def test_the_picture_is_drawn_to_scale() -> None:
    curve = [[50, 1e-3, 1e-2], [100, 2e-3, 4e-2], [200, 4e-3, 2e-1]]
    drawn = ET.fromstring(SHOW.picture([row(4.0, scaling=curve), row(0.5)]))
    bars = [e for e in drawn.iter("{http://www.w3.org/2000/svg}rect") if e.get("height") == "14"]
    faster, slower = (float(bar.get("width") or 0) for bar in bars)
    assert faster == pytest.approx(2 * slower, rel=0.01)  # log 4 is twice log 2
    words = "".join(drawn.itertext())
    assert "ours 4 ms" in words
    assert "other 200 ms" in words


def test_every_bench_has_a_main_and_the_mark_holds_ratios() -> None:
    for path in BENCH.glob("*.py"):
        assert path.stem.startswith("_") or "def main(" in path.read_text(encoding="utf-8"), path
    last = json.loads((BENCH / "last.json").read_text(encoding="utf-8"))
    assert last
    assert all(ratio > 0 for ratio in last.values())
