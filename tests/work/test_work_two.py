"""Two people on one car: each is timed alone, and both are seen on one section."""

import itertools

from leastcut.car.records import Interval
from leastcut.plan.records import SectionPlan, Step
from leastcut.work import runs
from leastcut.work.prompts import prompts
from leastcut.work.runs import Event, SetDone, Skipped, Started, Stopped


def section(name: str) -> SectionPlan:
    return SectionPlan(
        panel="roof",
        id=name,
        steps=(Step(process="polish", sets=1, seconds=60),),
        cut_um=Interval(mean=1.0, low=0.5, high=2.0),
        clear_after_low_um=30.0,
        p_target=0.9,
    )


PLAN = (section("1"), section("2"))


def started(key: str, at_s: float, where: str, by: str) -> Started:
    return Started(id=key, at_s=at_s, panel="roof", section=where, process="polish", by=by)


BOTH: tuple[Event, ...] = (
    started("a", 10, "1", "ana"),
    started("b", 20, "2", "ben"),
    SetDone(id="c", at_s=70, panel="roof", section="1", process="polish"),
    Stopped(id="d", at_s=75, by="ana"),
)


def test_one_starting_does_not_stop_the_other() -> None:
    for order in itertools.permutations(BOTH):
        state = runs.fold(order, PLAN)
        assert [s.status for s in state.sections] == ["done", "working"]
        assert [s.actual_s for s in state.sections] == [65, 0]
        assert [(w.by, w.section, w.since_s) for w in state.at_work] == [("ben", "2", 20)]
        assert state.now == ("roof", "2", "polish")
        assert not state.problems


def test_both_on_one_section_are_seen_and_a_skip_stops_both() -> None:
    both = (started("a", 10, "1", "ana"), started("b", 20, "1", "ben"))
    assert [w.by for w in runs.fold(both, PLAN).at_work] == ["ana", "ben"]
    skip = Skipped(id="c", at_s=40, panel="roof", section="1", reason="hot")
    state = runs.fold((*both, skip), PLAN)
    assert not state.at_work
    assert state.sections[0].actual_s == 30 + 20


def test_the_time_of_both_counts_against_the_plan() -> None:
    both = (started("a", 0, "1", "ana"), started("b", 0, "1", "ben"))
    told = prompts(runs.fold(both, PLAN), now_s=50)
    assert "has taken 100 s against 60 s" in told[0].say


def test_nobody_can_stop_what_another_works_on() -> None:
    state = runs.fold((started("a", 0, "1", "ana"), Stopped(id="b", at_s=5, by="ben")), PLAN)
    assert [w.by for w in state.at_work] == ["ana"]
    assert [p.where for p in state.problems] == ["b"]
