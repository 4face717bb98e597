"""The test spot's answer in words and in the machine interface's keys."""

from typing import Any

from leastcut.car.units import UnitSystem, show
from leastcut.testspot.records import Affordable, Candidate, TestSpot


def to_contract(spot: TestSpot) -> dict[str, Any]:
    """Return the answer with the stable keys of the machine interface."""
    step = spot.next
    return {
        "paint": {
            "softness": spot.softness.mean,
            "low": spot.softness.low,
            "high": spot.softness.high,
        },
        "depth_um": {"median": spot.depth_um.median, "p95": spot.depth_um.p95},
        "candidates": [_candidate(candidate) for candidate in spot.candidates],
        "next": {
            "do": step.do,
            "process": step.process,
            "sets": step.sets,
            "finish": step.finish,
            "finish_sets": step.finish_sets,
            "why": step.why,
            "affordable": _affordable(step.affordable),
        },
        "n_trials": spot.n_trials,
        "notes": list(spot.notes),
    }


def _affordable(best: Affordable | None) -> dict[str, Any] | None:
    if best is None:
        return None
    return {
        **_candidate(best),
        "left": best.left.mean,
        "left_low": best.left.low,
        "left_high": best.left.high,
        "tried": best.tried,
    }


def _candidate(candidate: Candidate) -> dict[str, Any]:
    return {
        "process": candidate.process,
        "sets": candidate.sets,
        "finish": candidate.finish,
        "finish_sets": candidate.finish_sets,
        "p_target": candidate.p_target,
        "cut_um": candidate.cut_um.mean,
        "cut_low_um": candidate.cut_um.low,
        "cut_high_um": candidate.cut_um.high,
        "p_within_budget": candidate.p_within_budget,
    }


def summary(spot: TestSpot, units: UnitSystem = "metric") -> str:
    """Return a short summary for a person.

    Parameters
    ----------
    spot : TestSpot
        The answer.
    units : {"metric", "us"}
        Units that the reader uses.
    """

    def um(value: float) -> str:
        return show(value, "micrometer", units)

    soft = spot.softness
    paint = (
        f"Paint: softness {soft.mean:.2f} ({soft.low:.2f} to {soft.high:.2f}; 1 is typical),"
        f" scratches {um(spot.depth_um.median)} deep, 95 % within {um(spot.depth_um.p95)}"
    )
    lines = [
        spot.next.why,
        "",
        paint,
        "",
        f"{'process':<40}{'sets':>5}{'target':>8}{'cut':>10}{'budget':>8}",
    ]
    lines += [_row(candidate, um(candidate.cut_um.mean)) for candidate in spot.candidates]
    return "\n".join([*lines, *(f"Note: {note}" for note in spot.notes)])


def _row(candidate: Candidate, cut: str) -> str:
    name = candidate.process + (" (+ finish)" if candidate.finish else "")
    return (
        f"{name[:39]:<40}{candidate.sets:>5}{candidate.p_target:>8.0%}{cut:>10}"
        f"{candidate.p_within_budget:>8.1%}"
    )
