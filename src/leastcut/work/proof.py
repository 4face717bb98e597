"""Prove the result: before against after, wiped bare, per panel, with how sure the answer is.

The target is a share of the visible scratch length that must be gone. Each pair of photos gives a
removed share with 95 % bounds; pairs are pooled by the length of scratch that they showed before.
The chance that the target is met is a normal tail, with the spread taken on the side towards the
target, because the bounds are not symmetric.
"""

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from leastcut.car.records import Interval
from leastcut.errors import Refusal
from leastcut.inspect.records import CompareFinding, ScratchFinding
from leastcut.testspot.records import Measured, Target

# At least this share of the visible scratch length gone; common practice, no source.
REQUIRED: dict[Target, float] = {"daily": 0.85, "show": 0.95}
SURE = 0.9
Z975 = 1.959963984540054
LEAST_SD = 0.01
HAZIER = 1.5  # haze after over haze before that counts as hazed


# Go on; go back for another set; finish again; look at another place; photograph; try on a spot; stop.
ProofNext = Literal["on", "set", "finish", "look", "photograph", "try", "stop"]


class Pair(msgspec.Struct, frozen=True, kw_only=True):
    """One place before and after; ``section`` where it lies, if known."""

    compared: CompareFinding
    section: str = ""


class Evidence(msgspec.Struct, frozen=True, kw_only=True):
    """What proves one panel.

    Attributes
    ----------
    pairs : tuple of Pair
        Photos of the same places, same light, wiped bare of oils.
    before, after : ScratchFinding or None
        For what kinds of mark remain.
    read_before, read_after : Measured or None
        Mean film readings at the same spots, with their standard uncertainty [µm].
    spent_um : float or None
        What the sets are estimated to have cut where they cut most, where no readings say [µm].
    budget_um : float
        What might be cut today.
    set_um : float or None
        What one more set of the process would cut.
    process : str
        That process.
    """

    panel: str
    pairs: tuple[Pair, ...] = ()
    before: ScratchFinding | None = None
    after: ScratchFinding | None = None
    read_before: Measured | None = None
    read_after: Measured | None = None
    spent_um: float | None = None
    budget_um: float = 0.0
    set_um: float | None = None
    process: str = ""


class Proof(msgspec.Struct, frozen=True, kw_only=True):
    """Whether the target is met on this panel.

    Attributes
    ----------
    met : bool or None
        None when the evidence cannot tell.
    p_met : float or None
        Probability that the target is met.
    removed : Interval or None
        Share of the visible scratch length gone.
    cut_um : Interval or None
        Drop of the readings.
    remains : tuple of str
        What is left, and why.
    back_to : tuple of str
        Sections to go back to.
    do : str
        What to do, as one word.
    next : str
        The same in words.
    """

    panel: str
    required: float
    met: bool | None
    p_met: float | None
    removed: Interval | None
    cut_um: Interval | None
    remains: tuple[str, ...] = ()
    back_to: tuple[str, ...] = ()
    do: ProofNext = "on"
    next: str = ""
    refused: Refusal | None = None


def prove(evidence: Evidence, target: Target) -> Proof:
    """Judge one panel.

    Parameters
    ----------
    evidence : Evidence
        Photos, findings and readings before and after.
    target : {"daily", "show"}
        What was promised.
    """
    required = REQUIRED[target]
    usable = [p for p in evidence.pairs if p.compared.refused is None]
    if not usable:
        return _unproven(evidence, required)
    removed = pooled([p.compared for p in usable])
    p_met = chance(removed, required)
    met = True if p_met >= SURE else False if p_met <= 1 - SURE else None
    back = () if met else _back(usable, required)
    cut = _drop(evidence)
    do, said = _next(evidence, cut, back, met=met)
    return Proof(
        panel=evidence.panel,
        required=required,
        met=met,
        p_met=p_met,
        removed=removed,
        cut_um=cut,
        remains=_remains(evidence, usable, met=met),
        back_to=back,
        do=do,
        next=said,
    )


def pooled(pairs: Sequence[CompareFinding]) -> Interval:
    """Return the removed share over all pairs, weighed by the scratch length seen before."""
    weights = [max((p.before_load_mm_per_cm2 or 0) * (p.overlap_cm2 or 0), 1e-9) for p in pairs]
    total = sum(weights)
    shares = [w / total for w in weights]
    mean = sum(s * (p.removed_fraction or 0.0) for s, p in zip(shares, pairs, strict=True))
    down = _together(shares, [(p.removed_fraction or 0) - (p.removed_low or 0) for p in pairs])
    up = _together(shares, [(p.removed_high or 0) - (p.removed_fraction or 0) for p in pairs])
    return Interval(mean=mean, low=mean - down, high=min(1.0, mean + up))


def _together(shares: Sequence[float], reaches: Sequence[float]) -> float:
    return math.sqrt(sum((s * r) ** 2 for s, r in zip(shares, reaches, strict=True)))


def chance(removed: Interval, required: float) -> float:
    """Return the probability that at least `required` is gone.

    Examples
    --------
    >>> round(chance(Interval(mean=0.9, low=0.85, high=0.94), 0.85), 3)
    0.975
    """
    side = removed.mean - removed.low if removed.mean >= required else removed.high - removed.mean
    sd = max(side / Z975, LEAST_SD)
    return 0.5 * (1 + math.erf((removed.mean - required) / (sd * math.sqrt(2))))


def _unproven(evidence: Evidence, required: float) -> Proof:
    refused = next((p.compared.refused for p in evidence.pairs if p.compared.refused), None)
    why = refused or Refusal(
        why="there is no pair of photos before and after",
        do="Wipe the panel bare and photograph the same place in the same light, the square taped on",
    )
    return Proof(
        panel=evidence.panel,
        required=required,
        met=None,
        p_met=None,
        removed=None,
        cut_um=_drop(evidence),
        do="photograph",
        next=why.do,
        refused=why,
    )


def _drop(evidence: Evidence) -> Interval | None:
    """Return how far the readings fell; the gauge's own offset cancels in the difference."""
    before, after = evidence.read_before, evidence.read_after
    if before is None or after is None:
        return None
    mean, reach = before.value - after.value, Z975 * math.hypot(before.sd, after.sd)
    return Interval(mean=mean, low=mean - reach, high=mean + reach)


def _back(pairs: Sequence[Pair], required: float) -> tuple[str, ...]:
    """Return the sections whose own pairs fall short, worst first."""
    short = [
        (p.compared.removed_fraction or 0.0, p.section)
        for p in pairs
        if p.section and (p.compared.removed_fraction or 0.0) < required
    ]
    return tuple(dict.fromkeys(section for _, section in sorted(short)))


def _remains(evidence: Evidence, pairs: Sequence[Pair], *, met: bool | None) -> tuple[str, ...]:
    told = []
    after, before = evidence.after, evidence.before
    if after is not None and after.by_kind is not None:
        kinds = after.by_kind
        if kinds.deep > 0:
            told.append(
                f"{kinds.deep:.1f} mm/cm² of deep marks, left on purpose: cutting to their bottom "
                "would take more clear coat than they are worth"
            )
        if kinds.swirl > 0 and not met:
            told.append(f"{kinds.swirl:.1f} mm/cm² of swirls deeper than today's cut")
    trails = sum(p.compared.new_trails or 0 for p in pairs)
    if trails:
        told.append(f"{trails} new trails of the machine, from the last step")
    if _hazed(before, after):
        told.append("haze that was not there before, left by pad and liquid of the last step")
    return tuple(told)


def _hazed(before: ScratchFinding | None, after: ScratchFinding | None) -> bool:
    if before is None or after is None or before.haze is None or after.haze is None:
        return False
    return after.haze > HAZIER * max(before.haze, 1e-6)


def _next(
    evidence: Evidence, cut: Interval | None, back: tuple[str, ...], *, met: bool | None
) -> tuple[ProofNext, str]:
    trails = sum(p.compared.new_trails or 0 for p in evidence.pairs)
    if trails or _hazed(evidence.before, evidence.after):
        say = "Finish again with a clean finishing pad, lightly; then wipe bare and photograph"
        return "finish", say
    if met:
        return "on", "Nothing more on this panel: go on to the last layer"
    if met is None:
        say = "Take a second pair of photos on another place of the panel: one pair cannot tell"
        return "look", say
    return _again(evidence, cut, f"section {', '.join(back)}" if back else "the panel")


def _again(evidence: Evidence, cut: Interval | None, where: str) -> tuple[ProofNext, str]:
    """Say what to do on a panel that falls short: what it can still afford decides."""
    left = evidence.budget_um - (cut.high if cut else evidence.spent_um or 0.0)
    if left <= 0:
        return "stop", "Stop here: nothing more may be spent; show the client what stays and why"
    if evidence.set_um is None:
        return "try", f"Go back to {where}: try the next process on a spot first"
    if evidence.set_um > left:
        say = (
            f"Stop here: a further set would take {evidence.set_um:.1f} µm and {left:.1f} µm "
            "may still be spent; show the client what stays and why"
        )
        return "stop", say
    process = evidence.process or "the same process"
    return "set", f"Go back to {where}: one more set of {process}, then wipe and look"
