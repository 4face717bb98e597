"""From a plan to a booking: the day's operations gathered into tasks for the calendar."""

import math

from leastcut.plan.records import Operation, Plan
from leastcut.plan.shifts import Booking, Task

# Task by stage, and who can do it. A shop that names its skills otherwise renames the tasks' skills.
TASKS = {
    "car": ("prepare", "wash"),
    "inspect": ("prepare", "wash"),
    "testspot": ("test spot", "polish"),
    "work": ("correct", "polish"),
    "protect": ("protect", "protect"),
    "handover": ("hand over", "wash"),
}
LASTING = ("correct", "prepare")  # tasks that may be laid down overnight


def booking_of(plan: Plan, *, car: str, ready: int = 0, due: int | None = None) -> Booking:
    """Return the booking of a planned car.

    Parameters
    ----------
    plan : Plan
        The plan; its P80 is booked: every mean is stretched by P80 over the sum of the means.
    car : str
        Name in the calendar.
    ready, due : int
        When the car can come, and when it is promised [min].

    Returns
    -------
    Booking
        Tasks in the order of the day. A cure is a task of nobody's; the share of the correction
        with the machine in hand counts against the daily time on a machine.
    """
    tasks: dict[str, tuple[str | None, float]] = {}
    for operation in plan.operations:
        name, skill = _task(operation)
        minutes = tasks.get(name, (skill, 0.0))[1] + operation.minutes.mean
        tasks[name] = (skill, minutes)
    if plan.section_minutes > 0:
        tasks["correct"] = ("polish", tasks["correct"][1] + plan.section_minutes)
    stretch = plan.minutes.p80 / math.fsum(minutes for _, minutes in tasks.values())
    return Booking(
        car=car,
        tasks=tuple(
            Task(
                name=name,
                minutes=max(1, round(minutes * stretch)),
                skill=skill,
                on_machine=plan.section_minutes / minutes if name == "correct" else 0.0,
                splits=name in LASTING,
            )
            for name, (skill, minutes) in tasks.items()
        ),
        ready=ready,
        due=due,
    )


def _task(operation: Operation) -> tuple[str, str | None]:
    if not operation.attended:
        return operation.name, None
    return TASKS[operation.stage]
