"""The best that the budget can pay where nothing that it can pay is proven."""

import msgspec
import numpy as np

from leastcut.car.records import Interval
from leastcut.testspot import ladder as rungs_of
from leastcut.testspot import paint
from leastcut.testspot.moves import Case
from leastcut.testspot.records import Affordable, Candidate

# Chances this close count as equal, and then less cut is better; ours.
_NEAR = 0.01
# Below this chance of the target, judge by what would be left instead; ours.
_HOPELESS = 0.05


def best(case: Case) -> Affordable | None:
    """Return the best affordable candidate, None where the budget cannot pay for any.

    The best chance to meet the target; where no chance is worth the name, the least left. Among
    those as good as the best, the least cut.
    """
    found = [_priced(case, candidate) for candidate in case.payable]
    hopeless = max((one.p_target for one in found), default=0.0) < _HOPELESS

    def merit(one: Affordable) -> float:
        return 1.0 - one.left.mean if hopeless else one.p_target

    most = max(map(merit, found), default=0.0)
    good = (one for one in found if merit(one) >= most - _NEAR)
    return min(good, key=lambda one: one.cut_um.mean, default=None)


def _priced(case: Case, candidate: Candidate) -> Affordable:
    process = next(one for one in case.ladder if one.label == candidate.process)
    _, removed = paint.outcome(case.draws, rungs_of.steps(process, candidate.sets, case.ladder))
    return Affordable(
        **msgspec.structs.asdict(candidate),
        left=_left(removed),
        tried=candidate.process in case.tried,
    )


def _left(removed: paint.Array) -> Interval:
    return paint.interval(np.clip(1.0 - removed, 0.0, 1.0))
