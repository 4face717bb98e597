"""The ways to work a section: stacks of steps, what each cuts, and whether it meets the target.

A stack is a tuple of ``(process index, sets)``; the empty stack leaves the section alone. After a
process that hazes (a heavy liquid, or a cutting pad) a finishing step follows: common practice, no
source.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.testspot.ladder import needs_finish, relative_cut
from leastcut.testspot.paint import PaintDraws, outcome
from leastcut.testspot.records import Process

Stack = tuple[tuple[int, int], ...]
Floats = NDArray[np.float64]

FINISH_SETS = 4  # most sets of a finishing step that are weighed; more are worth nothing


def finishers(ladder: Sequence[Process]) -> tuple[int, ...]:
    """Return the indices of the processes that can follow as a finishing step.

    Processes with a finishing pad or liquid; where the ladder has none, the mildest process that
    leaves no haze of its own; else nothing.
    """
    mild = [i for i, process in enumerate(ladder) if not needs_finish(process)]
    fine = [i for i in mild if "finishing" in ladder[i].pad or ladder[i].liquid == "finishing"]
    return tuple(fine or sorted(mild, key=lambda i: relative_cut(ladder[i]))[:1])


def stacks(ladder: Sequence[Process], *, finish_step: bool = True) -> tuple[Stack, ...]:
    """Return every stack of steps worth weighing, the empty one first.

    One process alone, or one process and then a milder one to finish: a must after a process that
    hazes, and a finer grading of the cut after the others.

    Parameters
    ----------
    ladder : sequence of Process
        The processes at hand, in any order.
    finish_step : bool
        Whether a process that hazes must be followed by a finishing step.

    Examples
    --------
    >>> soft = Process(label="a", pad="foam-finishing", liquid="finishing", max_sets=2)
    >>> hard = Process(label="b", pad="microfibre", liquid="heavy", max_sets=1)
    >>> stacks([soft, hard])
    ((), ((0, 1),), ((0, 2),), ((1, 1), (0, 1)), ((1, 1), (0, 2)))
    """
    last = finishers(ladder)
    cuts = [relative_cut(process) for process in ladder]
    found: list[Stack] = [()]
    for i, process in enumerate(ladder):
        milder = [f for f in last if needs_finish(process) or cuts[f] < cuts[i]]
        tails = _tails(ladder, milder)
        if not (finish_step and needs_finish(process)) or not tails:
            tails = [(), *tails]
        found += [((i, k), *tail) for k in range(1, process.max_sets + 1) for tail in tails]
    return tuple(found)


def _tails(ladder: Sequence[Process], last: Sequence[int]) -> list[Stack]:
    return [((f, k),) for f in last for k in range(1, min(FINISH_SETS, ladder[f].max_sets) + 1)]


@dataclass(frozen=True)
class Effects:
    """What each stack does to this paint, over equally likely paints.

    Attributes
    ----------
    stacks : tuple of Stack
        The stacks, m of them.
    cut_um : (m, n) array
        Clear coat removed [µm].
    removed : (m, n) array
        Fraction of the visible scratch length that is gone.
    """

    stacks: tuple[Stack, ...]
    cut_um: Floats
    removed: Floats


def effects(ladder: Sequence[Process], *, draws: PaintDraws, finish_step: bool = True) -> Effects:
    """Work out what every stack of the ladder does to the paint described by `draws`."""
    found = stacks(ladder, finish_step=finish_step)
    pairs = [outcome(draws, [(ladder[i].label, sets) for i, sets in stack]) for stack in found]
    cut = np.array([cut for cut, _ in pairs])
    removed = np.array([removed for _, removed in pairs])
    return Effects(stacks=found, cut_um=cut, removed=removed)
