"""Play the advice out on simulated paints and count what came of it."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from paint_world import REQUIRED, Surface, World

from leastcut.car.records import Interval
from leastcut.testspot import decide, ladder
from leastcut.testspot.records import Affordable, Measured, TestSpot, Trial

LABELS = tuple(process.label for process in ladder.DEFAULT)


@dataclass
class Career:
    """What became of one car."""

    end: str = "stop"
    why: str = ""
    trials: int = 0
    looks: int = 0
    minutes: float = 0.0
    cut_um: float = 0.0
    removed: float = 0.0
    met: bool = False
    broken: bool = False
    spot_broken: bool = False
    oracle_um: float | None = None
    eye_um: float = 0.0
    eye_met: bool = False
    fresh_um: float = 0.0
    fresh_met: bool = False
    know_um: float | None = None
    know_met: bool = False
    affordable: Affordable | None = None
    left: float = 0.0
    fallback: bool = False
    predictions: list[tuple[float, bool]] = field(default_factory=list)
    within: list[tuple[float, bool]] = field(default_factory=list)


def play(world: World, *, gauge: bool = True, most: int = 20, **options: Any) -> Career:
    """Follow the advice from the first trial to the car."""
    career = Career(oracle_um=world.oracle())
    done: list[Trial] = []
    places: dict[str, Surface] = {}
    for _ in range(most):
        spot, _ = decide.assess(
            done, ladder.DEFAULT, target=world.target, budget_um=world.budget_um, **options
        )
        _remember(career, spot, world)
        if spot.next.do != "try":
            break
        done.append(_try(world, spot, places, len(done), gauge=gauge))
        career.spot_broken |= any(p.cut > world.budget_um for p in places.values())
    career.trials, career.looks = len({(t.spot, t.process) for t in done}), len(done)
    career.end, career.why = spot.next.do, spot.next.why
    if spot.next.do == "use":
        rung = LABELS.index(str(spot.next.process))
        career.cut_um, career.removed = world.car_after(rung, spot.next.sets)
        career.met = career.removed >= REQUIRED[world.target]
        career.broken = career.cut_um > world.budget_um
    if spot.next.do == "stop" and spot.next.affordable is not None:
        _accept(career, spot.next.affordable, world)
    _others(career, world)
    return career


def _accept(career: Career, best: Affordable, world: World) -> None:
    """Do the best that the budget can pay."""
    cut, gone = world.car_after(LABELS.index(best.process), best.sets)
    career.affordable, career.left = best, 1.0 - gone
    career.fallback = gone >= REQUIRED[world.target] and cut <= world.budget_um


def _others(career: Career, world: World) -> None:
    """Play the same car by eye, both ways, and by one who knows the paint."""
    required = REQUIRED[world.target]
    eye_um, eye_removed = world.by_eye()
    career.eye_um, career.eye_met = eye_um, eye_removed >= required
    fresh_um, fresh_removed = world.by_eye(fresh=True)
    career.fresh_um, career.fresh_met = fresh_um, fresh_removed >= required
    known = world.knower()
    if known is not None:
        career.know_um, career.know_met = known[0], known[1] >= required


def _remember(career: Career, spot: TestSpot, world: World) -> None:
    for candidate in spot.candidates:
        cut, removed = world.car_after(LABELS.index(candidate.process), candidate.sets)
        career.predictions.append((candidate.p_target, removed >= REQUIRED[world.target]))
        career.within.append((candidate.p_within_budget, cut <= world.budget_um))


def _try(
    world: World, spot: TestSpot, places: dict[str, Surface], number: int, *, gauge: bool
) -> Trial:
    name = spot.next.spot or f"spot {number}"
    place = places.setdefault(name, world.spot())
    before = place.visible()
    rung = LABELS.index(str(spot.next.process))
    cut = world.work(place, rung, spot.next.sets)
    after = place.visible()
    mean, low, high = world.photo(1.0, after)
    drop, sd = world.gauge(cut)
    return Trial(
        process=LABELS[rung],
        sets=spot.next.sets,
        removed=Interval(mean=mean, low=low, high=high),
        cut_um=Measured(value=drop, sd=sd) if gauge else None,
        verdict=world.verdict(before, after, place.haze),
        spot=name,
        since="spot",
    )


def run_many(
    count: int, *, seed: int = 1, wide: float = 1.0, rich: bool = False, **options: Any
) -> list[Career]:
    """Play `count` cars, two clients in three with a daily car."""
    children = np.random.default_rng(seed).spawn(count)
    targets = ("daily", "daily", "show")
    return [
        play(World(rng, wide=wide, target=targets[i % 3], rich=rich), **options)
        for i, rng in enumerate(children)
    ]


def figures(careers: list[Career]) -> dict[str, Any]:
    """Sum up: the figures that the decisions are judged by."""
    can = [c for c in careers if c.oracle_um is not None]
    used = [c for c in can if c.end == "use"]
    met = [c for c in used if c.met]
    return {
        "cars": len(careers),
        "ladder_can": len(can) / len(careers),
        "target_met_where_it_can": sum(c.met and not c.broken for c in can) / len(can),
        "met_with_best_affordable": sum((c.met and not c.broken) or c.fallback for c in can)
        / len(can),
        "best_affordable": _accepted(careers),
        "target_met_when_used": len(met) / max(len(used), 1),
        "stopped_where_it_can": sum(c.end == "stop" for c in can) / len(can),
        "median_cut_over_oracle": float(np.median([c.cut_um / c.oracle_um for c in used])),
        "mean_cut_over_oracle": float(np.mean([c.cut_um / c.oracle_um for c in used])),
        "less_than_by_eye": _spared(used, "eye_um"),
        "less_than_by_eye_both_met": _spared([c for c in met if c.eye_met], "eye_um"),
        "by_eye_met": sum(c.eye_met for c in used) / len(used),
        "less_than_by_eye_fresh": _spared(used, "fresh_um"),
        "less_than_by_eye_fresh_both_met": _spared([c for c in met if c.fresh_met], "fresh_um"),
        "by_eye_fresh_met": sum(c.fresh_met for c in used) / len(used),
        "oracle_less_than_by_eye": _spared(used, "eye_um", by="oracle_um"),
        "one_who_knows": _knower(careers),
        "median_trials": float(np.median([c.trials for c in careers])),
        "two_trials_or_fewer": sum(c.trials <= 2 for c in careers) / len(careers),
        "median_looks": float(np.median([c.looks for c in careers])),
        "mean_trials": float(np.mean([c.trials for c in careers])),
        "budget_broken": sum(c.broken for c in careers) / len(careers),
        "spot_broken": sum(c.spot_broken for c in careers) / len(careers),
        "calibration": deciles([p for c in careers for p in c.predictions]),
    }


def _accepted(careers: list[Career]) -> dict[str, float]:
    """Say how the best affordable after a stop kept what was told of it."""
    done = [(c, c.affordable) for c in careers if c.affordable is not None]
    if not done:
        return {"cars": 0}
    return {
        "cars": len(done),
        "chance_told": float(np.mean([best.p_target for _, best in done])),
        "met": float(np.mean([c.fallback for c, _ in done])),
        "left_told": float(np.mean([best.left.mean for _, best in done])),
        "left": float(np.mean([c.left for c, _ in done])),
        "left_within_bounds": float(
            np.mean([best.left.low <= c.left <= best.left.high for c, best in done])
        ),
    }


def _knower(careers: list[Career]) -> dict[str, float]:
    """Say what one who knows the paint spares under the same rules: the bound of any decider."""
    able = [c for c in careers if c.know_um is not None]
    both = [c for c in able if c.end == "use"]
    ratio = [c.know_um / c.oracle_um for c in able if c.know_um and c.oracle_um]
    return {
        "can": len(able) / len(careers),
        "met": float(np.mean([c.know_met for c in able])),
        "median_cut_over_oracle": float(np.median(ratio)),
        "mean_cut_over_oracle": float(np.mean(ratio)),
        "less_than_by_eye": _spared(able, "eye_um", by="know_um"),
        "less_than_by_eye_fresh": _spared(able, "fresh_um", by="know_um"),
        "cars_of_both": len(both),
        "less_than_by_eye_on_cars_of_both": _spared(both, "eye_um", by="know_um"),
        "ours_on_cars_of_both": _spared(both, "eye_um"),
    }


def _spared(careers: list[Career], against: str, *, by: str = "cut_um") -> float:
    """Return the share of clear coat that `by` spares against another way of working."""
    ours, theirs = (sum(getattr(c, name) for c in careers) for name in (by, against))
    return 1.0 - ours / theirs


def deciles(pairs: list[tuple[float, bool]]) -> list[tuple[float, float, int]]:
    """Return predicted mean, observed frequency and count of each tenth of probability."""
    told, came = np.array(pairs, dtype=float).T
    place = np.minimum((told * 10).astype(int), 9)
    return [
        (float(told[place == k].mean()), float(came[place == k].mean()), int((place == k).sum()))
        for k in range(10)
        if (place == k).any()
    ]
