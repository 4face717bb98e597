"""The run as a log of what happened, only ever added to; everything else is worked out from it.

An event carries when it was, in seconds since the job began, and its own id, made where it was
recorded, so that a tablet may send it twice and
late: the log takes it once, and the state follows the order of time, not of arrival.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

import msgspec

from leastcut.car.records import Interval
from leastcut.errors import InputError, Problem
from leastcut.plan.learn import SETS, Timed
from leastcut.plan.records import SectionPlan

Why = Literal["budget", "edge", "hot", "no-time", "already-clean", "damage", "other"]
Status = Literal["waiting", "working", "paused", "done", "skipped"]


class RunError(InputError):
    """An event that cannot be: an id used twice for different things, a time before the start."""


class Started(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="started"):
    """Work on a section began, or went on; `by` tells several people on one car apart."""

    id: str
    at_s: float
    panel: str
    section: str
    process: str
    by: str = ""


class Stopped(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="stopped"):
    """Work on whatever `by` was working on stopped."""

    id: str
    at_s: float
    by: str = ""


class SetDone(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="set-done"):
    """One set was finished."""

    id: str
    at_s: float
    panel: str
    section: str
    process: str


class PadChanged(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="pad-changed"):
    """A fresh pad went on for a process."""

    id: str
    at_s: float
    process: str


class PadCleaned(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="pad-cleaned"):
    """The pad of a process was cleaned on the fly."""

    id: str
    at_s: float
    process: str


class Wiped(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="wiped"):
    """A section was wiped bare."""

    id: str
    at_s: float
    panel: str
    section: str


class Skipped(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="skipped"):
    """A section was left, with the reason."""

    id: str
    at_s: float
    panel: str
    section: str
    reason: Why
    note: str = ""


Event = Started | Stopped | SetDone | PadChanged | PadCleaned | Wiped | Skipped
Log = tuple[Event, ...]


class SectionState(msgspec.Struct, frozen=True, kw_only=True):
    """Where one section stands: sets by process, planned and done, and time on it [s]."""

    panel: str
    id: str
    status: Status
    planned: dict[str, int]
    done: dict[str, int]
    planned_s: float
    actual_s: float
    wiped: bool
    reason: str = ""

    @property
    def missing(self) -> dict[str, int]:
        """Sets still to do, by process."""
        rest = {p: n - self.done.get(p, 0) for p, n in self.planned.items()}
        return {p: n for p, n in rest.items() if n > 0}


class AtWork(msgspec.Struct, frozen=True, kw_only=True):
    """Who works on what, since when [s]."""

    by: str
    panel: str
    section: str
    process: str
    since_s: float


class RunState(msgspec.Struct, frozen=True, kw_only=True):
    """Where the run stands.

    ``pads`` counts sets since each process's pad was last fresh, ``loaded`` since it was last
    cleaned. ``at_work`` holds everybody at work, who began last standing last; ``now`` and
    ``since_s`` are the last of them. ``problems`` are events that do not fit; they change nothing.
    """

    sections: tuple[SectionState, ...]
    pads: dict[str, int]
    loaded: dict[str, int]
    now: tuple[str, str, str] | None
    since_s: float | None
    last_s: float
    problems: tuple[Problem, ...] = ()
    at_work: tuple[AtWork, ...] = ()


class Spent(msgspec.Struct, frozen=True, kw_only=True):
    """Clear coat spent on one section by the sets that were done [µm]."""

    panel: str
    section: str
    cut_um: Interval
    done_share: float


def append(log: Log, event: Event) -> Log:
    """Return the log with one more event; the same event again changes nothing.

    Raises
    ------
    RunError
        If its id stands for another event already, or its time is not a number from 0 on.
    """
    if not 0 <= event.at_s < float("inf"):
        raise RunError(f"time {event.at_s}", where=event.id, do="Give seconds since the start")
    for old in log:
        if old.id == event.id and old != event:
            raise RunError(
                "the id stands for another event already", where=event.id, do="Make a new id"
            )
        if old.id == event.id:
            return log
    return (*log, event)


class _Fold:
    """What is counted while the events pass by, in order of time."""

    def __init__(self, keys: Iterable[tuple[str, str]]) -> None:
        self.done: Mapping[tuple[str, str], dict[str, int]] = {k: {} for k in keys}
        self.seconds: dict[tuple[str, str], float] = defaultdict(float)
        self.touched: dict[tuple[str, str], bool] = {}
        self.wiped: dict[tuple[str, str], bool] = {}
        self.skipped: dict[tuple[str, str], str] = {}
        self.pads: dict[str, int] = defaultdict(int)
        self.loaded: dict[str, int] = defaultdict(int)
        self.at_work: dict[str, AtWork] = {}
        self.problems: list[Problem] = []

    def stop(self, by: str, at_s: float) -> None:
        work = self.at_work.pop(by, None)
        if work is not None:
            self.seconds[work.panel, work.section] += at_s - work.since_s

    def workers(self, key: tuple[str, str]) -> tuple[str, ...]:
        return tuple(by for by, w in self.at_work.items() if (w.panel, w.section) == key)

    def odd(self, event: Event, what: str) -> None:
        do = "Look at the record of that section; nothing was counted"
        self.problems.append(Problem(where=event.id, what=what, do=do))


def fold(log: Iterable[Event], plan: Sequence[SectionPlan]) -> RunState:
    """Work out where the run stands.

    Parameters
    ----------
    log : iterable of Event
        In any order; each id counts once.
    plan : sequence of SectionPlan
        What was planned.

    Returns
    -------
    RunState
        The same for any order of arrival of the same events.
    """
    keys = [(s.panel, s.id) for s in plan]
    held = _Fold(keys)
    once = {event.id: event for event in log}
    ordered = sorted(once.values(), key=lambda e: (e.at_s, e.id))
    for event in ordered:
        _apply(held, event)
    at_work = tuple(held.at_work.values())
    return RunState(
        sections=tuple(_section(held, s) for s in plan),
        pads=dict(held.pads),
        loaded=dict(held.loaded),
        now=(at_work[-1].panel, at_work[-1].section, at_work[-1].process) if at_work else None,
        since_s=at_work[-1].since_s if at_work else None,
        last_s=ordered[-1].at_s if ordered else 0.0,
        problems=tuple(held.problems),
        at_work=at_work,
    )


def _apply(held: _Fold, event: Event) -> None:
    if isinstance(event, PadChanged | PadCleaned):
        held.loaded[event.process] = 0
        if isinstance(event, PadChanged):
            held.pads[event.process] = 0
        return
    if isinstance(event, Stopped):
        if event.by not in held.at_work:
            held.odd(event, "stopped while nothing was being worked")
        held.stop(event.by, event.at_s)
        return
    key = (event.panel, event.section)
    if key not in held.done:
        held.odd(event, f"section {event.section} of {event.panel} is not in the plan")
        return
    _at_section(held, event, key)


def _at_section(
    held: _Fold, event: Started | SetDone | Wiped | Skipped, key: tuple[str, str]
) -> None:
    if isinstance(event, Wiped):
        held.wiped[key] = True
    elif isinstance(event, Skipped):
        for by in held.workers(key):
            held.stop(by, event.at_s)
        held.skipped[key] = f"{event.reason}: {event.note}" if event.note else event.reason
    elif isinstance(event, Started):
        held.stop(event.by, event.at_s)
        held.skipped.pop(key, None)
        held.at_work[event.by] = AtWork(
            by=event.by,
            panel=event.panel,
            section=event.section,
            process=event.process,
            since_s=event.at_s,
        )
        held.touched[key], held.wiped[key] = True, False
    else:
        held.done[key][event.process] = held.done[key].get(event.process, 0) + 1
        held.pads[event.process] += 1
        held.loaded[event.process] += 1
        held.touched[key], held.wiped[key] = True, False


def _section(held: _Fold, plan: SectionPlan) -> SectionState:
    key = (plan.panel, plan.id)
    planned: dict[str, int] = {}
    for step in plan.steps:
        planned[step.process] = planned.get(step.process, 0) + step.sets
    done = held.done[key]
    enough = bool(planned) and all(done.get(p, 0) >= n for p, n in planned.items())
    return SectionState(
        panel=plan.panel,
        id=plan.id,
        status=_status(held, key, enough=enough or not planned),
        planned=planned,
        done=dict(done),
        planned_s=sum(step.seconds for step in plan.steps),
        actual_s=held.seconds[key],
        wiped=held.wiped.get(key, False),
        reason=held.skipped.get(key, ""),
    )


def _status(held: _Fold, key: tuple[str, str], *, enough: bool) -> Status:
    if key in held.skipped:
        return "skipped"
    if held.workers(key):
        return "working"
    if enough:
        return "done"
    return "paused" if held.touched.get(key) else "waiting"


def timed(state: RunState, job: str) -> tuple[Timed, ...]:
    """Return what this run teaches about the time on the paint, for learning the shop's pace.

    Only sections whose planned sets were all done count: a section left half way says nothing.
    """
    done = [s for s in state.sections if s.status == "done" and s.actual_s > 0 and s.planned_s > 0]
    if not done:
        return ()
    planned, actual = sum(s.planned_s for s in done) / 60, sum(s.actual_s for s in done) / 60
    return (Timed(job=job, operation=SETS, planned_minutes=planned, actual_minutes=actual),)


def spent(state: RunState, plan: Sequence[SectionPlan]) -> tuple[Spent, ...]:
    """Return the cut of what was done, in proportion to the planned cut and sets.

    Sets of different processes are weighed by their planned time, which stands for their share of
    the cut; sets of a process that was not planned for a section are not counted and show up
    in the state's ``done``.
    """
    found = []
    for section, state_of in zip(plan, state.sections, strict=True):
        weight = sum(step.seconds for step in section.steps)
        if not weight or not state_of.done:
            continue
        seconds: dict[str, float] = defaultdict(float)
        for step in section.steps:
            seconds[step.process] += step.seconds
        share = sum(
            seconds[p] / weight * state_of.done.get(p, 0) / n for p, n in state_of.planned.items()
        )
        cut = section.cut_um
        scaled = Interval(mean=share * cut.mean, low=share * cut.low, high=share * cut.high)
        found.append(
            Spent(panel=section.panel, section=section.id, cut_um=scaled, done_share=share)
        )
    return tuple(found)
