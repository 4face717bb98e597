"""Pictures of the test spot as plain records; :mod:`leastcut.testspot.drawing` makes SVG of them."""

from collections.abc import Sequence

import msgspec
import numpy as np
from scipy.special import ndtr

from leastcut.car.records import Interval
from leastcut.testspot import evidence, paint
from leastcut.testspot.ladder import check
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Candidate, Process, TestSpot, Trial


class TrialPoint(msgspec.Struct, frozen=True, kw_only=True):
    """One trial on the survival curve: total cut of its spot and visible share left, 95 % each."""

    number: int
    label: str
    cut_um: Interval
    visible: Interval


class SurvivalPicture(msgspec.Struct, frozen=True, kw_only=True):
    """Visible share of the scratches against cut: best guess, 90 % band, trials, what may be left.

    ``cut_um``, ``visible``, ``low`` and ``high`` run together.
    """

    cut_um: tuple[float, ...]
    visible: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    trials: tuple[TrialPoint, ...]
    allowed: float


class LadderPoint(msgspec.Struct, frozen=True, kw_only=True):
    """One process with a number of sets: expected cut, chance to meet the target."""

    sets: int
    cut_um: Interval
    p_target: float
    payable: bool


class LadderLine(msgspec.Struct, frozen=True, kw_only=True):
    """One process of the ladder with its points by number of sets."""

    process: str
    tried: bool
    points: tuple[LadderPoint, ...]


class LadderPicture(msgspec.Struct, frozen=True, kw_only=True):
    """Expected cut against chance of success for the whole ladder; `chosen` is the advice."""

    lines: tuple[LadderLine, ...]
    asked: float
    budget_um: float | None
    chosen: tuple[str, int] | None


class Cost(msgspec.Struct, frozen=True, kw_only=True):
    """What one choice would take off the whole car."""

    label: str
    cut_um: Interval
    p_target: float
    p_within_budget: float
    enough: bool
    chosen: bool


class CostPicture(msgspec.Struct, frozen=True, kw_only=True):
    """Clear coat that the car would cost under each choice, against the budget."""

    costs: tuple[Cost, ...]
    budget_um: float | None


def survival(
    trials: Sequence[Trial], draws: PaintDraws, *, ladder: Sequence[Process], required: float
) -> SurvivalPicture:
    """Return the depth-survival curve with its band and the trials on it.

    Parameters
    ----------
    trials : sequence of Trial
        What was tried, in order.
    draws : PaintDraws
        What was learnt from it.
    ladder : sequence of Process
        The processes at hand.
    required : float
        Share of the visible scratch length that must go.
    """
    numbered = [
        (number, believed)
        for number, trial in enumerate(trials, start=1)
        for believed in evidence.screen([trial], check(ladder))[0]
    ]
    points = tuple(_points(numbered, draws))
    deepest = float(np.exp(np.quantile(draws.ln_median + 1.645 * draws.sigma, 0.6)))
    top = max([deepest, *(1.15 * point.cut_um.mean for point in points)])
    cut = np.linspace(0.0, top, 61)
    with np.errstate(divide="ignore"):
        left = 1.0 - ndtr((np.log(cut)[:, None] - draws.ln_median) / draws.sigma)
    low, middle, high = np.quantile(left, [0.05, 0.5, 0.95], axis=1)
    return SurvivalPicture(
        cut_um=tuple(map(float, cut)),
        visible=tuple(map(float, middle)),
        low=tuple(map(float, low)),
        high=tuple(map(float, high)),
        trials=points,
        allowed=1.0 - required,
    )


def _points(numbered: Sequence[tuple[int, Trial]], draws: PaintDraws) -> list[TrialPoint]:
    """Place every trial that has photos of its whole spot at the cut of that spot so far."""
    total: dict[tuple[str | None, str], np.ndarray] = {}
    points: list[TrialPoint] = []
    states = evidence.story([trial for _, trial in numbered], draws)
    for (number, _), (trial, state) in zip(numbered, states, strict=True):
        place = (trial.panel, trial.spot)
        whole = place not in total or trial.since == "spot"
        total[place] = total.get(place, 0.0) + state.cut_um
        if trial.removed is not None and whole:
            points.append(
                TrialPoint(
                    number=number,
                    label=f"{trial.process} × {trial.sets}",
                    cut_um=paint.interval(total[place]),
                    visible=_left(trial.removed),
                )
            )
    return points


def _left(removed: Interval) -> Interval:
    return Interval(mean=1.0 - removed.mean, low=1.0 - removed.high, high=1.0 - removed.low)


def ladder(
    spot: TestSpot,
    *,
    trials: Sequence[Trial],
    budget_um: float | None,
    p_target: float = 0.9,
    p_within_budget: float = 0.99,
) -> LadderPicture:
    """Return the ladder: expected cut against chance of success.

    Parameters
    ----------
    spot : TestSpot
        The answer.
    trials : sequence of Trial
        What was tried.
    budget_um : float or None
        What may be cut today [µm].
    p_target, p_within_budget : float
        The chances asked for.
    """
    tried = {trial.process for trial in trials}
    labels = dict.fromkeys(candidate.process for candidate in spot.candidates)
    lines = tuple(
        LadderLine(
            process=label,
            tried=label in tried,
            points=tuple(
                LadderPoint(
                    sets=c.sets,
                    cut_um=c.cut_um,
                    p_target=c.p_target,
                    payable=c.p_within_budget >= p_within_budget,
                )
                for c in spot.candidates
                if c.process == label
            ),
        )
        for label in labels
    )
    return LadderPicture(lines=lines, asked=p_target, budget_um=budget_um, chosen=_chosen(spot))


def _chosen(spot: TestSpot) -> tuple[str, int] | None:
    step = spot.next
    return (step.process, step.sets) if step.do == "use" and step.process else None


def costs(spot: TestSpot, *, budget_um: float | None, p_target: float = 0.9) -> CostPicture:
    """Return what the car would cost in clear coat with each process.

    For each process the fewest sets with the chance asked for, or all its sets where even they do
    not reach it.
    """
    chosen = _chosen(spot)
    labels = dict.fromkeys(candidate.process for candidate in spot.candidates)
    picked = [
        _fewest([c for c in spot.candidates if c.process == label], p_target) for label in labels
    ]
    return CostPicture(
        costs=tuple(
            Cost(
                label=f"{c.process} × {c.sets}" + (" + finish" if c.finish else ""),
                cut_um=c.cut_um,
                p_target=c.p_target,
                p_within_budget=c.p_within_budget,
                enough=c.p_target >= p_target,
                chosen=(c.process, c.sets) == chosen,
            )
            for c in picked
        ),
        budget_um=budget_um,
    )


def _fewest(own: Sequence[Candidate], p_target: float) -> Candidate:
    return next((c for c in own if c.p_target >= p_target), own[-1])
