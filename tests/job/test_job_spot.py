"""What the test spot says in a job: the best affordable after a stop, and what is in use."""

from dataclasses import replace

import msgspec
import numpy as np
import pytest

from leastcut.handover.records import Dossier
from leastcut.job.contract import answer
from leastcut.job.decide import decide
from leastcut.job.evidence import Evidence
from leastcut.job.summary import summary
from leastcut.job.weigh import weigh
from leastcut.plan.choose import choose_all


def decided(evidence: Evidence) -> Dossier:
    return decide(evidence, rng=np.random.default_rng(3))


def tight(evidence: Evidence, **target: object) -> Evidence:
    """So much clear coat must stay that nothing affordable is proven, and every trial was used."""
    asked = msgspec.structs.replace(evidence.job.target, reserve_um=27.0, **target)
    job = msgspec.structs.replace(evidence.job, target=asked)
    trials = (*evidence.trials, *[evidence.trials[0]] * 11)
    return replace(evidence, job=job, trials=trials, events=(), proofs=(), readings_after=())


@pytest.fixture(scope="module")
def stopped(evidence: Evidence) -> Dossier:
    return decided(tight(evidence))


@pytest.fixture(scope="module")
def accepted(evidence: Evidence) -> Dossier:
    return decided(tight(evidence, accept_percent=40.0))


def stage_done(dossier: Dossier) -> bool:
    return next(stage.done for stage in dossier.stages if stage.stage == "testspot")


def test_a_stop_tells_what_the_budget_can_pay(stopped: Dossier) -> None:
    said = answer(stopped, painted_area_m2=9.0, files=()).process
    assert (said.do, said.process) == ("stop", None)
    assert said.affordable is not None
    assert 0.4 < said.affordable.p_target < 0.9
    assert not stage_done(stopped)
    assert f"{said.affordable.left.mean:.0%} of the scratch length" in summary(stopped)


def test_accepting_it_makes_it_the_process_of_the_plan(stopped: Dossier, accepted: Dossier) -> None:
    best = stopped.testspot.next.affordable
    used = accepted.testspot.next
    assert best is not None
    assert (used.do, used.process, used.sets) == ("use", best.process, best.sets)
    assert accepted.sections_for == best.process
    assert stage_done(accepted)


def test_the_plan_asks_for_the_accepted_chance_where_no_more_can_be_paid(
    evidence: Evidence,
) -> None:
    known = weigh(tight(evidence, accept_percent=40.0))
    best = known.spot.next.affordable
    assert best is not None
    tried = next(s.film.budget_um for s in known.states if s.panel == evidence.trials[0].panel)
    poor = [
        msgspec.structs.replace(need, required=0.85, budget_um=tried, section_budgets_um={})
        for need in known.inputs.panels
    ]
    found = choose_all(replace(known.inputs, panels=poor, p_target=1.0))
    for section in found.sections:
        assert section.note.endswith("as accepted")
        assert best.p_target - 1e-9 <= section.p_target
        assert any(step.process == best.process for step in section.steps)
    without = choose_all(replace(known.inputs, panels=poor, p_target=1.0, p_accept=None))
    assert not any(section.note.endswith("as accepted") for section in without.sections)


def test_where_more_can_be_paid_more_is_asked(accepted: Dossier) -> None:
    others = [s for s in accepted.plan.sections if s.steps and not s.note]
    assert others
    assert all(s.p_target >= 0.9 for s in others)


def test_a_chance_not_accepted_stays_a_stop(evidence: Evidence) -> None:
    known = weigh(tight(evidence, accept_percent=80.0))
    assert known.spot.next.do == "stop"
    assert known.inputs.p_accept is None


def test_once_work_has_begun_no_trial_is_asked_for(evidence: Evidence, dossier: Dossier) -> None:
    before = weigh(replace(evidence, events=())).spot
    assert not before.next.in_use
    used = dossier.testspot.next
    assert (used.do, used.in_use) == ("use", True)
    done = [state.done for state in dossier.run.sections if state.done] if dossier.run else []
    assert any(used.process in sets for sets in done)
    assert dossier.sections_for == before.next.process, "the sections stay as they were drawn"
    assert stage_done(dossier)
    assert answer(dossier, painted_area_m2=9.0, files=()).process.in_use


@pytest.mark.parametrize(("asked", "decision"), [(60.0, "use"), (99.9, "try")])
def test_the_clients_chance_is_the_test_spots(
    evidence: Evidence, asked: float, decision: str
) -> None:
    target = msgspec.structs.replace(evidence.job.target, confidence_percent=asked)
    job = msgspec.structs.replace(evidence.job, target=target)
    untouched = replace(evidence, job=job, events=(), proofs=(), readings_after=())
    spot = decided(untouched).testspot
    told = spot.next
    assert told.do == decision
    if told.do == "use":
        used = next(c for c in spot.candidates if (c.process, c.sets) == (told.process, told.sets))
        assert used.p_target >= asked / 100
