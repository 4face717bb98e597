"""What one car teaches the next: partial pooling over paint systems and processes.

The softness of a car's paint scatters around that of its paint system (the user's label), and the
relative cut of a process on one car around the process's own. A finished test spot leaves a lesson:
what its trials added to the prior, as a normal message in information form. Lessons add up, so they
can be discounted with age, exported, and forgotten one by one without a trace. Normal linear
hierarchy: Lindley and Smith, J. R. Stat. Soc. B 34, 1, 1972 (from memory).
"""

from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from leastcut.testspot import paint
from leastcut.testspot.ladder import check
from leastcut.testspot.paint import PaintDraws, Prior
from leastcut.testspot.records import Process

Array = NDArray[np.float64]

# How the stated spreads split: between paint systems and within one, between processes of a kind
# and from car to car. Ours, no source; the squares add up to those of the paint module.
_WITHIN_SYSTEM = 0.6  # share of the variance of ln softness found within one paint system
_WITHIN_PROCESS = 0.2  # share of the variance of a ln relative cut that changes from car to car
HALF_LIFE_YEARS = 2.0  # pads, liquids and hands change; ours


class Lesson(msgspec.Struct, frozen=True, kw_only=True):
    """What one car's trials added to the stated prior.

    Attributes
    ----------
    car : str
        Label by which the lesson can be forgotten.
    paint : str
        Paint system label; empty when unknown.
    year : float
        When, as a decimal year.
    processes : tuple of str
        Labels of the ladder, mildest first.
    precision : tuple of tuple of float
        Added precision of (ln softness, ln relative cut of each process).
    pull : tuple of float
        Added precision times the deviation from the stated prior's mean.
    """

    car: str
    paint: str
    year: float
    processes: tuple[str, ...]
    precision: tuple[tuple[float, ...], ...]
    pull: tuple[float, ...]


def lesson(
    draws: PaintDraws,
    ladder: Sequence[Process],
    *,
    car: str,
    year: float,
    paint_label: str = "",
    start: Prior | None = None,
) -> Lesson:
    """Return what the trials behind `draws` added to the prior they started from.

    Parameters
    ----------
    draws : PaintDraws
        Learnt from the car's trials.
    ladder : sequence of Process
        The ladder they were learnt with.
    car, paint_label : str
        Labels of the car and of its paint system.
    year : float
        When, as a decimal year.
    start : Prior or None
        The prior that the draws were learnt from; None for the stated one.
    """
    rungs = check(ladder)
    stated = paint.prior(rungs)
    begin = start or stated
    used = _used(len(rungs))
    known = np.log(np.column_stack([draws.softness, draws.relative_cut]))
    before = np.linalg.inv((begin.factor @ begin.factor.T)[np.ix_(used, used)])
    after = np.linalg.inv(np.cov(known.T))
    added = _positive(after - before)
    centre = stated.mean[used]
    # The message's own mean: solve (before + added) m_after = before m_before + pull.
    pull = (before + added) @ (known.mean(axis=0) - centre) - before @ (begin.mean[used] - centre)
    return Lesson(
        car=car,
        paint=paint_label,
        year=year,
        processes=draws.labels,
        precision=tuple(tuple(map(float, row)) for row in added),
        pull=tuple(map(float, pull)),
    )


def pooled(
    lessons: Sequence[Lesson],
    ladder: Sequence[Process],
    *,
    year: float,
    paint_label: str = "",
    width_hint_um: float | None = None,
) -> Prior:
    """Return the prior for the next car: the stated one, moved and narrowed by the lessons.

    Parameters
    ----------
    lessons : sequence of Lesson
        From earlier cars, in any order; an old one counts for half with every half-life.
    ladder : sequence of Process
        Today's ladder; lessons of processes not on it teach only the softness.
    year : float
        Today, as a decimal year.
    paint_label : str
        Today's paint system; one without a label shares nothing but the processes.
    width_hint_um : float or None
        Scratch width as seen in a photo [µm].
    """
    rungs = check(ladder)
    begin = paint.prior(rungs, width_hint_um=width_hint_um)
    labels = tuple(process.label for process in rungs)
    named = [taught.paint or f" {number}" for number, taught in enumerate(lessons)]
    today = paint_label or " "  # without a label a car is a system of its own
    systems = tuple(sorted({today, *named}))
    size = len(systems) + len(labels)
    precision = np.diag(1.0 / _shared_variance(len(systems), len(labels)))
    pull = np.zeros(size)
    for taught, system in zip(lessons, named, strict=True):
        age = max(year - taught.year, 0.0)
        weight = 0.5 ** (age / HALF_LIFE_YEARS)
        rows, own, own_pull = _message(taught, systems.index(system), len(systems), labels)
        precision[np.ix_(rows, rows)] += weight * own
        pull[rows] += weight * own_pull
    cover = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return _moved(begin, cover @ pull, cover, systems.index(today), len(systems))


def forget(lessons: Sequence[Lesson], car: str) -> tuple[Lesson, ...]:
    """Return the lessons without those of `car`."""
    return tuple(taught for taught in lessons if taught.car != car)


def _used(k: int) -> NDArray[np.intp]:
    """Return the places of ln softness and the ln relative cuts among the parameters."""
    return np.array([0, *range(3, 3 + k)], dtype=np.intp)


def _positive(matrix: Array) -> Array:
    """Return the nearest matrix that only adds knowledge: negative eigenvalues are sampling noise."""
    value, vector = np.linalg.eigh(0.5 * (matrix + matrix.T))
    return np.asarray((vector * np.maximum(value, 0.0)) @ vector.T)


def _shared_variance(n_systems: int, n_processes: int) -> Array:
    """Return the variance of each system's softness and each process's cut around the stated ones."""
    system = (1.0 - _WITHIN_SYSTEM) * paint.SOFTNESS_SD**2
    process = (1.0 - _WITHIN_PROCESS) * paint.RELATIVE_CUT_SD**2
    return np.array([system] * n_systems + [process] * n_processes)


def _own_variance(n_processes: int) -> Array:
    """Return the variance of one car around its system, and of its cuts around the processes'."""
    system = _WITHIN_SYSTEM * paint.SOFTNESS_SD**2
    process = _WITHIN_PROCESS * paint.RELATIVE_CUT_SD**2
    return np.array([system] + [process] * n_processes)


def _message(
    taught: Lesson, system: int, n_systems: int, labels: tuple[str, ...]
) -> tuple[NDArray[np.intp], Array, Array]:
    """Return the shared parameters that a lesson speaks of, and its precision and pull on them."""
    precision, pull = np.array(taught.precision), np.array(taught.pull)
    # Widen by the scatter from car to car: (P⁻¹ + N)⁻¹ = P - P (P + N⁻¹)⁻¹ P.
    own = np.diag(1.0 / _own_variance(len(taught.processes)))
    gain = precision @ np.linalg.inv(precision + own)
    precision, pull = precision - gain @ precision, pull - gain @ pull
    here = [0, *(1 + i for i, label in enumerate(taught.processes) if label in labels)]
    rows = [system]
    rows += [n_systems + labels.index(label) for label in taught.processes if label in labels]
    kept, gone = _split(precision, pull, here)
    return np.array(rows, dtype=np.intp), kept, gone


def _split(precision: Array, pull: Array, here: list[int]) -> tuple[Array, Array]:
    """Return the message on the parameters `here`, the others integrated over their prior."""
    others = [i for i in range(len(pull)) if i not in here]
    if not others:
        return precision, pull
    shared = np.diag(1.0 / _shared_variance(0, len(others)))
    inner = np.linalg.inv(precision[np.ix_(others, others)] + shared)
    cross = precision[np.ix_(here, others)] @ inner
    kept = precision[np.ix_(here, here)] - cross @ precision[np.ix_(others, here)]
    return kept, pull[here] - cross @ pull[others]


def _moved(begin: Prior, shift: Array, cover: Array, system: int, n_systems: int) -> Prior:
    """Return the prior of one car of a system, given the shared parameters' shift and cover."""
    k = len(shift) - n_systems
    rows = np.array([system, *range(n_systems, n_systems + k)], dtype=np.intp)
    used = _used(k)
    mean, whole = begin.mean.copy(), begin.factor @ begin.factor.T
    mean[used] += shift[rows]
    whole[np.ix_(used, used)] = cover[np.ix_(rows, rows)] + np.diag(_own_variance(k))
    return Prior(mean, np.asarray(np.linalg.cholesky(whole), dtype=np.float64))
