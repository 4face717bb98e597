"""Less evidence: still a plan, more careful, and the missing piece is named."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from math import fsum

import msgspec
import numpy as np
import pytest

from leastcut.handover.records import Dossier
from leastcut.job import weigh
from leastcut.job.decide import decide
from leastcut.job.evidence import Evidence
from leastcut.shop.jobschema import WashTable

Change = Callable[[Evidence], Evidence]


def decided(evidence: Evidence) -> Dossier:
    return decide(evidence, rng=np.random.default_rng(3))


def without_photo(panel: str) -> Change:
    return lambda e: replace(e, photos=tuple(p for p in e.photos if p.panel != panel))


def without_readings(panel: str) -> Change:
    return lambda e: replace(e, readings=tuple(r for r in e.readings if r.panel != panel))


def without_trial(number: int) -> Change:
    return lambda e: replace(e, trials=e.trials[:number] + e.trials[number + 1 :])


def without_wash(evidence: Evidence) -> Evidence:
    return replace(evidence, job=msgspec.structs.replace(evidence.job, wash=WashTable()))


def without_history(evidence: Evidence) -> Evidence:
    paint = msgspec.structs.replace(evidence.car.paint, history="unknown")
    return replace(evidence, car=msgspec.structs.replace(evidence.car, paint=paint))


def pieces(evidence: Evidence) -> Iterator[tuple[str, str | None, Change]]:
    """Name every piece of the demo's evidence and how to take it away."""
    for panel in dict.fromkeys(photo.panel for photo in evidence.photos):
        yield "photo", panel, without_photo(panel)
    for panel in dict.fromkeys(reading.panel for reading in evidence.readings):
        yield "film readings", panel, without_readings(panel)
    for number, trial in enumerate(evidence.trials):
        yield f"trial {trial.process}", None, without_trial(number)
    yield "film readings", None, lambda e: replace(e, readings=())
    yield "gauge checks", None, lambda e: replace(e, checks=())
    yield "paint history", None, without_history
    yield "wash-and-clay check", None, without_wash


def spreads(dossier: Dossier) -> dict[str, float]:
    """Return the widths, as ratios where the scale is free, that less evidence may widen."""
    soft = dossier.testspot.softness
    found = {"softness": soft.high / soft.low}
    for state in dossier.panels:
        load, clear = state.load_mm_per_cm2, state.film.clear_um
        found[f"load {state.panel}"] = load.high / load.low
        found[f"clear {state.panel}"] = clear.high - clear.low
    return found


def budget(dossier: Dossier) -> float:
    return fsum(state.film.budget_um for state in dossier.panels)


def named(dossier: Dossier, piece: str, panel: str | None) -> bool:
    return any(
        piece.startswith(item.evidence) and panel in {item.panel, None}
        for item in dossier.would_help_most
        if item.evidence != "trial" or f"'{piece.removeprefix('trial ')}'" in item.why
    )


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch, dossier: Dossier) -> None:
    """Keep the sections: they follow from the car, not from the evidence taken away."""
    monkeypatch.setattr(weigh, "lay_out", lambda *_: dossier.layouts)


@pytest.mark.usefixtures("quick")
def test_any_one_piece_may_be_missing(evidence: Evidence, dossier: Dossier) -> None:
    whole = spreads(dossier)
    # Bad news (a repaint) is what lowers a budget to nothing: without it the panel is merely unknown.
    bad_news = {s.panel for s in dossier.panels if s.film.finding in {"repainted", "filled"}}
    failed: list[str] = []
    for piece, panel, change in pieces(evidence):
        less = decided(change(evidence))
        careful = budget(less) < budget(dossier) - 1e-9 or any(
            wide > whole[name] * 1.001 for name, wide in spreads(less).items()
        )
        careful = careful or (piece == "film readings" and panel in bad_news)
        if not (careful and named(less, piece, panel) and less.plan.sections):
            failed.append(f"{piece} {panel}: careful {careful}")
    assert failed == []


def test_the_named_piece_was_not_named_before(evidence: Evidence, dossier: Dossier) -> None:
    for piece, panel, _ in pieces(evidence):
        # Some panels have no reading, and one more trial always helps: named all along.
        if (piece, panel) != ("film readings", None) and not piece.startswith("trial"):
            assert not named(dossier, piece, panel), (piece, panel)


def test_a_first_trial_is_worth_more_than_another(evidence: Evidence, dossier: Dossier) -> None:
    def worth(found: Dossier, label: str) -> float:
        return max(h.gain_um or 0.0 for h in found.would_help_most if f"'{label}'" in h.why)

    label = evidence.trials[0].process
    assert worth(decided(without_trial(0)(evidence)), label) > worth(dossier, label)


def test_no_evidence_at_all_still_gives_a_plan(evidence: Evidence, dossier: Dossier) -> None:
    bare = replace(
        without_wash(evidence),
        photos=(), readings=(), checks=(), earlier=(), trials=(), events=(),
    )  # fmt: skip
    less = decided(bare)
    assert budget(less) < budget(dossier)
    assert any(section.steps for section in less.plan.sections)
    assert all(state.load_assumed and state.film.assumed for state in less.panels)
    assert less.testspot.next.do == "try"
    assert less.testspot.next.process == evidence.ladder[0].label


@pytest.mark.parametrize("missing", ["vibration_m_s2", "volume_m3", "air_c", "length_mm"])
def test_facts_beside_the_paint_are_asked_for(evidence: Evidence, missing: str) -> None:
    tables = {}
    for name in ("room", "protect", "car"):
        table = getattr(evidence.job, name)
        if missing in table.__struct_fields__:
            tables[name] = msgspec.structs.replace(table, **{missing: None})
    less = decided(replace(evidence, job=msgspec.structs.replace(evidence.job, **tables)))
    asked = {item.evidence for item in less.would_help_most if item.gain_um is None}
    assert len(asked) == 1
