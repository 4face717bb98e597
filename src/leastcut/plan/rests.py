"""Rests from vibration in the plan: as many as this machine asks for, and another hand where needed."""

from collections.abc import Sequence

from leastcut.car.records import Interval
from leastcut.plan.operations import RESTS
from leastcut.plan.records import Operation
from leastcut.safety.records import SharePlan, ToolUse
from leastcut.safety.sharing import breaks


def share_of(
    seconds: float, *, magnitude_m_s2: float, k_m_s2: float | None, persons: int
) -> SharePlan:
    """Share the time on the paint among people and days within the daily limit.

    Parameters
    ----------
    seconds : float
        All sets of the plan [s].
    magnitude_m_s2, k_m_s2 : float
        The machine's declared vibration and its uncertainty K [m/s²]; K may be None.
    persons : int
        People who can polish on the same day.

    Raises
    ------
    leastcut.safety.check.ExposureError
        If a quantity cannot be true.
    """
    use = ToolUse(magnitude_m_s2=magnitude_m_s2, minutes=seconds / 60, k_m_s2=k_m_s2)
    return breaks([use], persons=persons)


def with_rests(operations: Sequence[Operation], share: SharePlan) -> tuple[Operation, ...]:
    """Return the operations with the rests of `share` in place of the trade's usual ones."""
    rest = share.rest_minutes
    usual = next((o for o in operations if o.name == RESTS), None)
    if usual is None:
        return tuple(operations)
    minutes = Interval(mean=rest, low=rest * 0.8, high=rest * 1.25)
    own = Operation(stage=usual.stage, name=RESTS, minutes=minutes, source=share.source)
    swapped = (own if operation is usual else operation for operation in operations)
    return tuple(operation for operation in swapped if operation.minutes.mean > 0)


def note_of(share: SharePlan) -> tuple[str, ...]:
    """Say why one person in one day is not enough, and what to do; nothing where it is."""
    return (f"{share.why}. {share.do}.",) if share.share_needed else ()
