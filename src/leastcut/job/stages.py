"""Where the job stands: stage by stage, derived from what is known, never stored."""

from collections.abc import Mapping, Sequence

from leastcut.handover.records import PanelState, Stage, StageName
from leastcut.inspect import wash as washing
from leastcut.inspect.records import WashCheck
from leastcut.job.after import After, unworked
from leastcut.job.evidence import Evidence
from leastcut.plan.records import Plan
from leastcut.testspot.records import TestSpot


def stages_of(
    evidence: Evidence,
    *,
    wash: WashCheck,
    states: Sequence[PanelState],
    spot: TestSpot,
    plan: Plan,
    after: After,
) -> tuple[Stage, ...]:
    """Return every stage with what is missing there.

    Parameters
    ----------
    evidence : Evidence
        What was gathered.
    wash : WashCheck
        The wash-and-clay check.
    states : sequence of PanelState
        What is known of each panel.
    spot : TestSpot
        What the trials taught.
    plan : Plan
        The plan.
    after : After
        What the record and the proof came to.

    Returns
    -------
    tuple of Stage
        In the order of the job.
    """
    names = {panel.id: panel.name for panel in evidence.car.panels}
    to_do = _to_do(evidence, plan, after)
    back = _back(names, after)
    plan_done = not _plan(plan)
    worked = plan_done and not to_do and bool(after.proofs) and not back
    applied = evidence.job.protect.applied
    missing: dict[StageName, tuple[str, ...]] = {
        "car": _car(evidence),
        "inspect": _inspect(evidence, wash, states),
        "testspot": () if spot.next.do == "use" else (spot.next.why,),
        "plan": _plan(plan),
        "work": (*to_do, *_wipes(names, after), *back, *_unproven(names, after)),
        "protect": () if applied else _protect(evidence, worked=worked),
        "handover": _handover(names, after, worked=worked, applied=applied),
    }
    done: dict[StageName, bool] = {
        "inspect": not _needed(wash, states),
        "testspot": spot.next.do == "use",
        "plan": plan_done,
        "work": worked,
        "protect": applied,
        "handover": worked and applied,
    }
    return tuple(
        Stage(stage=name, done=done.get(name, not lacks), missing=lacks)
        for name, lacks in missing.items()
    )


def _car(evidence: Evidence) -> tuple[str, ...]:
    table = evidence.job.car
    sizes = {
        "length": table.length_mm,
        "width": table.width_mm,
        "height": table.height_mm,
        "wheelbase": table.wheelbase_mm,
    }
    return tuple(f"overall {name}" for name, value in sizes.items() if value is None)


def _needed(wash: WashCheck, states: Sequence[PanelState]) -> tuple[str, ...]:
    """Return what inspection cannot do without: clean paint, one photo, one reading."""
    ready, lacks = washing.check(wash)
    found = [] if ready else list(lacks)
    if all(state.load_assumed for state in states):
        found.append("a photo of the paint under a point light")
    if all(state.film.assumed for state in states):
        found.append("film readings")
    return tuple(found)


def _inspect(evidence: Evidence, wash: WashCheck, states: Sequence[PanelState]) -> tuple[str, ...]:
    """Return what inspection lacks, what it cannot do without first."""
    names = {panel.id: panel.name for panel in evidence.car.panels}
    refused = [
        f"photo of {names[photo.panel]} cannot be judged: {photo.finding.refused.why}. "
        f"{photo.finding.refused.do}"
        for photo in evidence.photos
        if photo.finding.refused
    ]
    unseen = [names[state.panel] for state in states if state.load_assumed]
    unread = [names[state.panel] for state in states if state.film.assumed]
    return (
        *_needed(wash, states),
        *refused,
        *([f"no photo of {', '.join(unseen)}"] if unseen else []),
        *([f"no film reading on {', '.join(unread)}"] if unread else []),
    )


def _plan(plan: Plan) -> tuple[str, ...]:
    if not any(section.steps for section in plan.sections):
        return ("no section can be worked within its budget",)
    return ()


def _to_do(evidence: Evidence, plan: Plan, after: After) -> tuple[str, ...]:
    """Name the section to go on with, and how many there are."""
    names = {panel.id: panel.name for panel in evidence.car.panels}
    if after.run is None:
        for section in plan.sections:
            if section.steps:
                step = section.steps[0]
                place = f"{names[section.panel]}, section {section.id}"
                return (f"{place}: {step.sets} × {step.process}",)
        return ("no section to work",)
    left = unworked(plan.sections, after.run)
    if not left:
        return ()
    first = next((s for s in left if s.status == "working"), left[0])
    process, sets = next(iter(first.missing.items()), ("", 0))
    what = f"{sets} × {process}" if sets else "look, wipe and stop"
    place = f"{names[first.panel]}, section {first.id}"
    total = sum(bool(s.steps) for s in plan.sections)
    return (f"{place}: {what}", f"{len(left)} of {total} sections are still to do")


def _wipes(names: Mapping[str, str], after: After) -> tuple[str, ...]:
    sections = () if after.run is None else after.run.sections
    wet = [s for s in sections if s.done and not s.wiped and s.status in {"done", "paused"}]
    places = (f"{names[s.panel]}, section {s.id}" for s in wet)
    return tuple(f"{place}: wipe it bare" for place in places)


def _back(names: Mapping[str, str], after: After) -> tuple[str, ...]:
    """Name the panels whose proof asks for more work or another look."""
    again = [p for p in after.proofs if p.do not in {"on", "stop"}]
    return tuple(f"{names[proof.panel]}: {proof.next}" for proof in again)


def _unproven(names: Mapping[str, str], after: After) -> tuple[str, ...]:
    """Name the panels that were worked and have no photos of before and after."""
    sections = () if after.run is None else after.run.sections
    proven = {proof.panel for proof in after.proofs}
    bare = dict.fromkeys(names[s.panel] for s in sections if s.done and s.panel not in proven)
    return (f"no photos before and after of {', '.join(bare)}",) if bare else ()


def _protect(evidence: Evidence, *, worked: bool) -> tuple[str, ...]:
    air = {
        "air temperature": evidence.job.protect.air_c,
        "relative humidity": evidence.job.protect.humidity_percent,
    }
    missing = [name for name, value in air.items() if value is None]
    last = "put the last layer on" if worked else "the last layer goes on after the work"
    return (*missing, last)


def _handover(
    names: Mapping[str, str], after: After, *, worked: bool, applied: bool
) -> tuple[str, ...]:
    guessed = [names[cut.panel] for cut in after.cuts if cut.how == "estimated"]
    return (
        *([] if worked else ["the work is not done yet"]),
        *([] if applied else ["the last layer is not on yet"]),
        *([f"no film reading after the work on {', '.join(guessed)}"] if guessed else []),
    )
