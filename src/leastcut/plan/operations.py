"""Every operation of the real day besides the sets, with how long it takes.

The defaults are common practice without a source and deliberately wide; a shop's own runs scale
them (:mod:`leastcut.plan.learn`). Each is ``fixed + each × count``, the count being painted area,
panels, sections, steps on sections, processes, trials or hours on the machine.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import msgspec

from leastcut.car.records import Car, Interval, Polygon
from leastcut.plan.learn import Learnt
from leastcut.plan.records import Operation, SectionPlan

SOURCE = "common practice, no source"
LOW, HIGH = 0.65, 1.55  # the default 95 % range around a mean: common practice, no source
BREAK_SOURCE = (
    "10 min of rest after each hour on the machine: NIOSH Current Intelligence Bulletin 38 (1983), "
    "from memory"
)

Count = Literal[
    "m2",
    "panels",
    "worked panels",
    "sections",
    "steps",
    "step m2",
    "changes",
    "cleanings",
    "trials",
    "hours",
]


class Norm(msgspec.Struct, frozen=True):
    """How long an operation takes: ``fixed + each × count`` minutes, and how far it varies."""

    stage: str
    name: str
    fixed: float
    each: float
    count: Count
    source: str = SOURCE
    low: float = LOW
    high: float = HIGH
    attended: bool = True


RESTS = "breaks from vibration"

NORMS: tuple[Norm, ...] = (
    Norm("car", "move the car in", 5.0, 0.0, "panels"),
    Norm("inspect", "rinse and wash", 8.0, 1.6, "m2"),
    Norm("inspect", "clay", 2.0, 1.6, "m2"),
    Norm("inspect", "dry", 4.0, 0.7, "m2"),
    Norm("inspect", "look and photograph", 4.0, 2.5, "panels"),
    Norm("inspect", "read the film", 2.0, 1.5, "panels"),
    Norm("testspot", "tape and prepare the test spot", 3.0, 0.0, "trials"),
    Norm("testspot", "trials", 0.0, 7.0, "trials"),
    Norm("work", "tape", 3.0, 1.5, "worked panels"),
    Norm("work", "prime and change pads", 0.0, 2.0, "changes"),
    Norm("work", "spread and look again", 0.0, 0.5, "steps"),
    Norm("work", "wipe off", 0.0, 2.5, "step m2"),
    Norm("work", "clean pads", 0.0, 2.0, "cleanings"),
    Norm("work", RESTS, 0.0, 10.0, "hours", BREAK_SOURCE, 0.8, 1.25),
    Norm("work", "take tape off, wipe down, prove", 5.0, 2.5, "worked panels"),
    Norm("protect", "protect", 4.0, 1.8, "m2"),
    Norm("protect", "cure", 60.0, 0.0, "m2", SOURCE, 0.9, 1.1, attended=False),
    Norm("handover", "clean up and hand over", 15.0, 0.0, "panels"),
)
M2_PER_PAD = 2.2  # a pad is washed after this much area, six full sections: common practice


def area_mm2(polygon: Polygon) -> float:
    """Return the area of a polygon by the shoelace formula [mm²].

    Examples
    --------
    >>> area_mm2(((0, 0), (2, 0), (2, 3), (0, 3)))
    6.0
    """
    turned = (*polygon[1:], *polygon[:1])
    return abs(math.fsum(x * v - u * y for (x, y), (u, v) in zip(polygon, turned, strict=True))) / 2


def painted_m2(car: Car) -> float:
    """Return the painted area of a car, keep-outs taken off [m²]."""
    mm2 = math.fsum(
        area_mm2(panel.outline_mm) - math.fsum(area_mm2(k.outline_mm) for k in panel.keep_outs)
        for panel in car.panels
    )
    return mm2 / 1e6


def counts(car: Car, sections: Sequence[SectionPlan], *, n_trials: int) -> dict[Count, float]:
    """Count what the operations are scaled by."""
    worked = [section for section in sections if section.steps]
    n_steps = sum(len(section.steps) for section in worked)
    step_m2 = math.fsum(len(section.steps) * section.area_mm2 / 1e6 for section in worked)
    hours = math.fsum(step.seconds for section in worked for step in section.steps) / 3600
    return {
        "m2": painted_m2(car),
        "panels": len(car.panels),
        "worked panels": len({section.panel for section in worked}),
        "sections": len(worked),
        "steps": n_steps,
        "changes": len({(s.panel, step.process) for s in worked for step in s.steps}),
        "step m2": step_m2,
        "cleanings": step_m2 / M2_PER_PAD,
        "trials": n_trials,
        "hours": math.floor(hours),
    }


def day(
    car: Car,
    sections: Sequence[SectionPlan],
    *,
    n_trials: int = 2,
    learnt: Learnt | None = None,
    norms: Sequence[Norm] = NORMS,
) -> tuple[Operation, ...]:
    """List every operation of the day besides the sets.

    Parameters
    ----------
    car : Car
        Its panels give painted area and panel count.
    sections : sequence of SectionPlan
        What is done to each section.
    n_trials : int
        Trials on the test spot.
    learnt : Learnt or None
        The shop's own pace; None for the defaults.
    norms : sequence of Norm
        The defaults, in the order of the day.

    Returns
    -------
    tuple of Operation
        In the order of the day, those of no duration left out.
    """
    count = counts(car, sections, n_trials=n_trials)
    called = [norm for norm in norms if _called(norm, count)]
    found = [
        _operation(norm, norm.fixed + norm.each * count[norm.count], learnt) for norm in called
    ]
    return tuple(operation for operation in found if operation.minutes.mean > 0)


def _operation(norm: Norm, mean: float, learnt: Learnt | None) -> Operation:
    minutes = Interval(mean=mean, low=mean * norm.low, high=mean * norm.high)
    known = learnt is not None and norm.name in learnt.factor
    return Operation(
        stage=norm.stage,
        name=norm.name,
        minutes=learnt.scaled(norm.name, minutes) if learnt else minutes,
        source=f"own runs, {learnt.n_jobs} jobs" if learnt and known else norm.source,
        attended=norm.attended,
    )


def _called(norm: Norm, count: Mapping[Count, float]) -> bool:
    """Tell whether an operation happens at all: no taping where no panel is worked."""
    return norm.count not in {"worked panels", "trials"} or count[norm.count] > 0
