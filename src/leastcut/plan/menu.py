"""The menu of every section: the stacks of steps that fit its budget and reach the target.

Where no stack does both, the menu holds those within budget that come nearest, with a plain note.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.errors import InputError
from leastcut.plan.options import Effects, Stack
from leastcut.plan.pace import set_seconds
from leastcut.plan.records import Layout, PanelNeed, Section, Weights
from leastcut.testspot.records import Process

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

P_BUDGET = 0.95  # chance that a cut stays within the budget; the budget itself is a lower bound
NEAR = 0.01  # options this close in chance (or in fraction removed) count as equally good
# Where the target is out of reach, less than this share of the scratches is not worth any clear
# coat: nobody sees it. common practice, no source
WORTH = 0.3
HOPELESS = 0.05  # below this chance of the target, judge by the fraction removed instead


class ChooseError(InputError):
    """A plan was asked for panels or processes that are not there."""


@dataclass(frozen=True)
class Menu:
    """What may be done to one section.

    Attributes
    ----------
    section : Section
        The section.
    group : int
        Number of its panel.
    which : (m,) array
        Indices of the stacks on the menu.
    minutes : (m,) array
        Minutes of work of each, wiping included.
    cut_um, p_target : (m,) arrays
        Mean cut [µm] and chance of meeting the target.
    set_seconds : (P,) array
        Time of one set of every process here [s].
    note : str
        Why the menu is short, in plain words.
    """

    section: Section
    group: int
    which: Ints
    minutes: Floats
    cut_um: Floats
    p_target: Floats
    set_seconds: Floats
    note: str


def menu_card(
    layouts: Sequence[Layout],
    *,
    panels: Sequence[PanelNeed],
    ladder: Sequence[Process],
    table: Effects,
    p_target: float,
    weights: Weights,
    p_accept: float | None = None,
    thin: bool = True,
) -> tuple[Menu, ...]:
    """Write the menu of every section, in the order of work.

    Parameters
    ----------
    layouts, panels, ladder
        As for :func:`leastcut.plan.choose.choose`.
    table : Effects
        What each stack does to this paint.
    p_target : float
        Chance of meeting the target that a section should have.
    weights : Weights
        For the minutes that each step takes besides the sets.
    p_accept : float or None
        Chance that a person has accepted where `p_target` cannot be paid: the menu then holds all
        that reach it; None holds those that come nearest to the target.
    thin : bool
        Drop options that are beaten in minutes and clear coat by others with no process more;
        not to be done where something else, such as liquid, is short.

    Raises
    ------
    ChooseError
        If a layout's panel has no need, or the ladder is empty.
    """
    if not ladder:
        raise ChooseError("there is no process at hand", do="List at least one process")
    needs = {need.panel: need for need in panels}
    menus = []
    for group, layout in enumerate(layouts):
        need = needs.get(layout.panel)
        if need is None:
            raise ChooseError(
                f"panel {layout.panel!r} has sections but no finding", do="Give its load and budget"
            )
        for section in _in_order(layout):
            budget = need.section_budgets_um.get(section.id, need.budget_um)
            which, chance, note = _allowed(
                table, need=need, budget_um=budget, p_target=p_target, p_accept=p_accept
            )
            once = np.array([set_seconds(section, process) for process in ladder])
            per_step = _per_step(section, weights)
            minutes = np.array([_minutes(table.stacks[k], once, per_step) for k in which])
            cut = table.cut_um[which].mean(axis=1)
            kits = [_kit(table.stacks[k]) for k in which]
            keep = _undominated(minutes, cut, kits) if thin else np.arange(which.size)
            kept = (which[keep], minutes[keep], cut[keep], chance[keep])
            menus.append(Menu(section, group, *kept, once, note))
    return tuple(menus)


def _in_order(layout: Layout) -> Iterator[Section]:
    """Yield the sections in the order of work; any that the order forgets come last."""
    place = {name: i for i, name in enumerate(layout.order)}
    yield from sorted(layout.sections, key=lambda section: place.get(section.id, len(place)))


def _allowed(
    table: Effects,
    *,
    need: PanelNeed,
    budget_um: float,
    p_target: float,
    p_accept: float | None = None,
) -> tuple[Ints, Floats, str]:
    """Return the stacks on the menu, their chance of meeting the target, and the note."""
    alone = np.array([0])
    if need.required <= 0:
        return alone, np.array([1.0]), "already meets the target: left alone"
    if budget_um <= 0:
        why = need.note or f"no clear coat to spend ({need.finding})"
        return alone, np.array([0.0]), f"left alone: {why}"
    chance = (table.removed >= need.required).mean(axis=1)
    within = (table.cut_um <= budget_um).mean(axis=1) >= P_BUDGET
    good = np.flatnonzero(within & (chance >= p_target))
    if good.size:
        return good, chance[good], ""
    if p_accept and (taken := np.flatnonzero(within & (chance >= p_accept))).size:
        note = f"the target is met here with a chance of at least {p_accept:.0%}, as accepted"
        return taken, chance[taken], note
    which = _nearest(table, chance, within)
    removed = table.removed[which].mean(axis=1).max()
    if chance[which].max() < HOPELESS and 0 < removed < WORTH:
        why = f"{budget_um:.1f} µm would take only about {removed:.0%} of the scratches away"
        return alone, np.array([0.0]), f"left alone: {why}"
    note = _short(chance[which], table.removed[which].mean(axis=1), budget_um)
    return which, chance[which], note


def _nearest(table: Effects, chance: Floats, within: NDArray[np.bool_]) -> Ints:
    """Return the stacks within budget that come as near the target as any."""
    hopeless = chance[within].max() < HOPELESS
    merit = table.removed.mean(axis=1) if hopeless else chance
    return np.flatnonzero(within & (merit >= merit[within].max() - NEAR))


def _short(chance: Floats, removed: Floats, budget_um: float) -> str:
    if removed.max() <= 0:
        return f"left alone: even the mildest process may cut more than {budget_um:.1f} µm"
    if chance.max() < HOPELESS:
        return (
            f"{budget_um:.1f} µm cannot pay for the target here: "
            f"about {removed.max():.0%} of the scratches will go"
        )
    return (
        f"the target is met here with a chance of {chance.max():.0%} only: "
        f"the most that {budget_um:.1f} µm and this ladder allow"
    )


def _per_step(section: Section, weights: Weights) -> float:
    """Return the minutes that each step takes on a section besides its sets."""
    return weights.minutes_per_step + weights.minutes_per_step_m2 * section.area_mm2 / 1e6


def _minutes(stack: Stack, once: Floats, per_step: float) -> float:
    seconds = sum(sets * once[i] for i, sets in stack)
    return float(seconds / 60 + per_step * len(stack))


def _kit(stack: Stack) -> frozenset[int]:
    return frozenset(i for i, _ in stack)


def _undominated(minutes: Floats, cut: Floats, kits: list[frozenset[int]]) -> Ints:
    """Drop an option when another with no process more takes no longer and cuts no more."""
    order = np.lexsort((cut, minutes))
    kept: list[int] = []
    for k in order:
        if not any(kits[j] <= kits[k] and cut[j] <= cut[k] for j in kept):
            kept.append(int(k))
    return np.array(sorted(kept))
