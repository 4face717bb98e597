"""Where the job stands: stage by stage, derived from what is known, never stored."""

from collections.abc import Sequence

from leastcut.handover.records import PanelState, Stage, StageName
from leastcut.inspect import wash as washing
from leastcut.inspect.records import WashCheck
from leastcut.job.evidence import Evidence
from leastcut.plan.records import Plan
from leastcut.testspot.records import TestSpot

# What leastcut does not do yet, said in the output so that nobody relies on it.
NOT_YET: dict[StageName, tuple[str, ...]] = {
    "work": ("a job file cannot carry the record of the run or the proof after it",),
    "handover": ("the handover after finished work: what is written now is a proposal",),
}


def stages_of(
    evidence: Evidence,
    *,
    wash: WashCheck,
    states: Sequence[PanelState],
    spot: TestSpot,
    plan: Plan,
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

    Returns
    -------
    tuple of Stage
        In the order of the job.
    """
    missing: dict[StageName, tuple[str, ...]] = {
        "car": _car(evidence),
        "inspect": _inspect(evidence, wash, states),
        "testspot": () if spot.next.do == "use" else (spot.next.why,),
        "plan": _plan(plan),
        "work": (_first(evidence, plan),),
        "protect": _protect(evidence),
        "handover": ("the work is not done yet",),
    }
    done: dict[StageName, bool] = {
        "inspect": not _needed(wash, states),
        "testspot": spot.next.do == "use",
        "plan": not missing["plan"],
        "work": False,
        "protect": False,
        "handover": False,
    }
    return tuple(
        Stage(
            stage=name,
            done=done.get(name, not lacks),
            missing=lacks,
            not_yet=NOT_YET.get(name, ()),
        )
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


def _first(evidence: Evidence, plan: Plan) -> str:
    """Name the section to begin with."""
    names = {panel.id: panel.name for panel in evidence.car.panels}
    for section in plan.sections:
        if section.steps:
            step = section.steps[0]
            return f"{names[section.panel]}, section {section.id}: {step.sets} × {step.process}"
    return "no section to work"


def _protect(evidence: Evidence) -> tuple[str, ...]:
    air = {
        "air temperature": evidence.job.protect.air_c,
        "relative humidity": evidence.job.protect.humidity_percent,
    }
    missing = [name for name, value in air.items() if value is None]
    return (*missing, "the last layer goes on after the work")
