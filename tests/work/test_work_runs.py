"""The log of the run: what arrives twice, late or wrong, and what is worked out from it."""

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.car.records import Interval
from leastcut.plan.learn import SETS, learn
from leastcut.plan.records import SectionPlan, Step
from leastcut.work import runs
from leastcut.work.prompts import prompts
from leastcut.work.runs import (
    Event,
    PadChanged,
    PadCleaned,
    RunError,
    SetDone,
    Skipped,
    Started,
    Stopped,
    Wiped,
)


def section(name: str, *steps: Step) -> SectionPlan:
    return SectionPlan(
        panel="roof",
        id=name,
        steps=steps,
        cut_um=Interval(mean=2.0, low=1.0, high=3.0),
        clear_after_low_um=30.0,
        p_target=0.9,
    )


PLAN = (
    section("r1", Step(process="polish", sets=2, seconds=100)),
    section(
        "r2",
        Step(process="cut", sets=2, seconds=150),
        Step(process="polish", sets=1, seconds=50),
    ),
    section("r3"),
)
AT = {"panel": "roof", "section": "r1"}
DAY: tuple[Event, ...] = (
    Started(id="a", at_s=10, **AT, process="polish"),
    SetDone(id="b", at_s=60, **AT, process="polish"),
    SetDone(id="c", at_s=115, **AT, process="polish"),
    Stopped(id="d", at_s=120),
    Wiped(id="e", at_s=150, **AT),
    Started(id="f", at_s=200, panel="roof", section="r2", process="cut"),
    SetDone(id="g", at_s=290, panel="roof", section="r2", process="cut"),
    Skipped(id="h", at_s=300, panel="roof", section="r2", reason="hot", note="bumper"),
    PadCleaned(id="i", at_s=310, process="polish"),
    PadChanged(id="j", at_s=320, process="cut"),
)


def test_the_state_says_what_was_done() -> None:
    state = runs.fold(DAY, PLAN)
    one, two, three = state.sections
    assert (one.status, one.done, one.actual_s, one.wiped) == ("done", {"polish": 2}, 110.0, True)
    assert (two.status, two.actual_s, two.reason) == ("skipped", 100.0, "hot: bumper")
    assert two.missing == {"cut": 1, "polish": 1}
    assert three.status == "done"
    assert state.loaded == {"polish": 0, "cut": 0}
    assert state.pads == {"polish": 2, "cut": 0}
    assert state.problems == ()


@given(st.permutations(DAY), st.lists(st.sampled_from(DAY), max_size=5))
@settings(max_examples=50, deadline=None)
def test_order_of_arrival_and_repeats_do_not_matter(order: list[Event], again: list[Event]) -> None:
    log: runs.Log = ()
    for event in [*order, *again]:
        log = runs.append(log, event)
    assert len(log) == len(DAY)
    assert runs.fold(log, PLAN) == runs.fold(DAY, PLAN)


@given(st.integers(0, len(DAY)))
def test_sets_never_fall_as_the_log_grows(count: int) -> None:
    some, all_ = runs.fold(DAY[:count], PLAN), runs.fold(DAY, PLAN)
    for one, other in zip(some.sections, all_.sections, strict=True):
        assert sum(one.done.values()) <= sum(other.done.values())
        assert one.actual_s <= other.actual_s


def test_events_survive_the_wire() -> None:
    coded = msgspec.json.encode(DAY)
    assert msgspec.json.decode(coded, type=tuple[Event, ...]) == DAY


def test_an_id_stands_for_one_event() -> None:
    with pytest.raises(RunError, match="another event"):
        runs.append(DAY, Stopped(id="a", at_s=5))


@pytest.mark.parametrize("at_s", [-1.0, float("nan"), float("inf")])
def test_a_time_must_be_a_time(at_s: float) -> None:
    with pytest.raises(RunError, match="time"):
        runs.append((), Stopped(id="x", at_s=at_s))


def test_what_does_not_fit_is_told_and_changes_nothing() -> None:
    odd = (
        Stopped(id="x", at_s=1),
        SetDone(id="y", at_s=2, panel="roof", section="r9", process="cut"),
    )
    state = runs.fold((*odd, *DAY), PLAN)
    assert [p.where for p in state.problems] == ["x", "y"]
    assert state.sections == runs.fold(DAY, PLAN).sections


def _told(log: tuple[Event, ...], now_s: float) -> list[str]:
    return [p.do for p in prompts(runs.fold(log, PLAN), now_s=now_s)]


def test_prompts_follow_the_work() -> None:
    assert _told((), 0) == ["next"]
    assert _told(DAY[:1], 20) == []
    assert _told(DAY[:1], 300) == ["hurry-not"]
    assert _told(DAY[:3], 116) == ["stop", "clean-pad"]
    assert _told(DAY[:4], 125) == ["clean-pad", "wipe", "next"]
    assert _told(DAY[:5], 155) == ["clean-pad", "next"]
    assert _told(DAY, 330) == []


def test_a_skipped_section_may_be_taken_up_again() -> None:
    again = Started(id="k", at_s=400, panel="roof", section="r2", process="cut")
    state = runs.fold((*DAY, again), PLAN)
    assert state.sections[1].status == "working"
    assert state.now == ("roof", "r2", "cut")
    started_other = Started(id="l", at_s=450, **AT, process="polish")
    state = runs.fold((*DAY, again, started_other), PLAN)
    assert (state.sections[1].status, state.sections[1].actual_s) == ("paused", 150.0)


def test_a_section_is_skipped_before_and_while_it_is_worked() -> None:
    before = Skipped(id="k", at_s=1, **AT, reason="already-clean")
    state = runs.fold((before,), PLAN)
    assert (state.sections[0].status, state.sections[0].reason) == ("skipped", "already-clean")
    elsewhere = (DAY[5], Skipped(id="m", at_s=210, **AT, reason="no-time"))
    assert runs.fold(elsewhere, PLAN).now == ("roof", "r2", "cut")


def test_a_saturated_pad_is_changed() -> None:
    many = tuple(SetDone(id=f"s{k}", at_s=k, **AT, process="polish") for k in range(12))
    state = runs.fold(many, PLAN)
    first = prompts(state, now_s=20)[0]
    assert first.do == "change-pad"
    assert "12 sets" in first.say


def test_the_run_teaches_its_pace() -> None:
    timed = runs.timed(runs.fold(DAY, PLAN), "job-1")
    assert [(t.operation, t.planned_minutes, t.actual_minutes) for t in timed] == [
        (SETS, 100 / 60, 110 / 60)
    ]
    assert learn(timed).factor[SETS].mean > 1.0
    assert runs.timed(runs.fold((), PLAN), "job-1") == ()


def test_what_was_spent_is_in_proportion() -> None:
    one, two = runs.spent(runs.fold(DAY, PLAN), PLAN)
    assert (one.done_share, one.cut_um.mean) == (1.0, 2.0)
    assert two.done_share == pytest.approx(0.75 / 2)
    assert two.cut_um.high == pytest.approx(3 * 0.75 / 2)
