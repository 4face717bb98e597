"""The machine interface: the demo's document against the published JSON Schema, and its sums."""

import json
from math import fsum
from pathlib import Path

import jsonschema
import pytest

from leastcut.handover.records import Dossier

SCHEMAS = Path(__file__).parents[2] / "docs" / "schema"


def schema(name: str) -> dict[str, object]:
    loaded: dict[str, object] = json.loads((SCHEMAS / name).read_text())
    jsonschema.Draft202012Validator.check_schema(loaded)
    return loaded


@pytest.fixture(scope="module")
def document(demo):  # noqa: ANN001, ANN201 - plain JSON
    return json.loads(demo.json)


def test_the_demo_fits_the_published_schema(document) -> None:  # noqa: ANN001
    jsonschema.Draft202012Validator(schema("job.schema.json")).validate(document)


def test_the_schema_can_fail(document) -> None:  # noqa: ANN001
    broken = {**document, "totals": {**document["totals"], "minutes": {"p50": "two"}}}
    validator = jsonschema.Draft202012Validator(schema("job.schema.json"))
    assert not validator.is_valid(broken)
    assert not validator.is_valid({k: v for k, v in document.items() if k != "sections"})


def test_every_promised_key_is_there(document) -> None:  # noqa: ANN001
    assert {"car", "stages", "panels", "process", "sections", "totals"} <= set(document)
    assert {"cautions", "would_help_most"} <= set(document)
    assert all({"stage", "done", "missing"} <= set(stage) for stage in document["stages"])
    for panel in document["panels"]:
        assert {"panel", "load_mm_per_cm2", "clear_um", "budget_um"} <= set(panel)
        assert set(panel["clear_um"]) == {"mean", "low", "high"}
    for section in document["sections"]:
        assert {"panel", "id", "steps", "cut_um", "clear_after_um"} <= set(section)
        assert all({"process", "sets", "seconds"} <= set(step) for step in section["steps"])
    assert set(document["totals"]["minutes"]) == {"p50", "p80"}


def test_section_minutes_add_up_to_the_quoted_working_time(document) -> None:  # noqa: ANN001
    seconds = fsum(step["seconds"] for s in document["sections"] for step in s["steps"])
    assert seconds > 0
    assert document["totals"]["section_minutes"] == pytest.approx(seconds / 60, abs=1e-9)
    assert document["totals"]["minutes"]["p80"] > document["totals"]["minutes"]["p50"]
    assert document["totals"]["minutes"]["p50"] > document["totals"]["section_minutes"]


def test_price_lines_add_up_to_the_cent(document) -> None:  # noqa: ANN001
    price = document["totals"]["price"]
    cents = [round(line["amount"] * 100) for line in price["lines"]]
    assert sum(cents) == round(price["net"] * 100)
    assert round(price["net"] * 100) + round(price["tax"] * 100) == round(price["total"] * 100)


def test_no_section_is_longer_than_two_feet(document) -> None:  # noqa: ANN001
    # source: sections of at most 2 ft; status: common practice, no source. 2 ft = 609.6 mm
    assert document["sections"]
    assert max(max(s["width_mm"], s["height_mm"]) for s in document["sections"]) <= 610.0


def test_no_section_spends_more_than_its_panel_may(document) -> None:  # noqa: ANN001
    budgets = {panel["panel"]: panel["budget_um"] for panel in document["panels"]}
    for section in document["sections"]:
        if section["steps"]:
            assert section["cut_um"]["mean"] <= budgets[section["panel"]]
    spent_up = [p for p, budget in budgets.items() if budget == 0]
    worked = {s["panel"] for s in document["sections"] if s["steps"]}
    assert not worked & set(spent_up)


def test_the_files_named_are_there(document) -> None:  # noqa: ANN001
    names = {Path(file).name for file in document["files"]}
    assert {"plan.pdf", "handover.pdf", "job.json"} <= names
    assert all(Path(file).stat().st_size > 0 for file in document["files"])


def test_found_holds_true(dossier: Dossier) -> None:
    """The demo's intervals hold its hidden truth as often as they say."""
    from leastcut.demo import scenario

    truth = scenario.hidden_truth(scenario.invented())
    held = []
    for state in dossier.panels:
        known = truth.get(state.panel, {})
        if "load_mm_per_cm2" in known:
            load = state.load_mm_per_cm2
            held.append(load.low <= known["load_mm_per_cm2"] <= load.high)
        if "clear_um" in known and state.panel not in scenario.THIN:
            clear = state.film.clear_um
            held.append(clear.low <= known["clear_um"] <= clear.high)
    soft = dossier.testspot.softness
    held.append(soft.low <= truth["paint"]["softness"] <= soft.high)
    assert len(held) > 12
    assert sum(held) >= 0.85 * len(held)
