"""The plots of one job, gathered from its dossier as plain records."""

import math
from collections.abc import Mapping

import msgspec

from leastcut.car.records import Interval
from leastcut.car.units import UnitSystem, convert
from leastcut.handover import words
from leastcut.handover.plots import Plot, Row, plot
from leastcut.handover.records import Dossier, PanelState
from leastcut.handover.wall import panel_names
from leastcut.plan.records import SectionPlan

Z95 = 1.959963984540054


def film_chart(dossier: Dossier, true_um: Mapping[str, float] | None = None) -> Plot:
    """Return clear coat per panel with its 95 % bounds and the reserve across.

    With true values, what was found stands against them; else what is left after recorded work
    stands beside it.
    """
    units = dossier.units
    names = panel_names(dossier)
    rows = [_film_row(dossier, state, names[state.panel], true_um) for state in dossier.panels]
    reserve = max((state.film.reserve_um for state in dossier.panels), default=None)
    return plot(
        rows,
        axis=f"Clear coat, {words.film_symbol(units)}",
        reference=None if reserve is None else _value(reserve, units),
        reference_words="" if reserve is None else f"must stay: {words.thickness(reserve, units)}",
    )


def _film_row(
    dossier: Dossier, state: PanelState, name: str, true_um: Mapping[str, float] | None
) -> Row:
    units, found = dossier.units, state.film.clear_um
    after = left_after(dossier, state) if true_um is None else None
    true = (true_um or {}).get(state.panel)
    return Row(
        label=name,
        value=_in_unit(found, units),
        words=_film_words(after or found, units),
        assumed=state.film.assumed,
        after=None if after is None else _in_unit(after, units),
        true=None if true is None else _value(true, units),
    )


def _film_words(clear: Interval, units: UnitSystem) -> str:
    between = words.thickness_between(clear, units).split(words.NBSP)[0]
    return f"{words.thickness(clear.mean, units)} ({between})"


def left_after(dossier: Dossier, state: PanelState) -> Interval | None:
    """Return a panel's clear coat after the recorded work [µm], or None when none is recorded.

    The largest recorded cut counts; film and cut are independent, so their variances add (source:
    JCGM 100:2008, 5.1.2; status: memory).
    """
    cuts = [cut for cut in dossier.cuts if cut.panel == state.panel]
    if not cuts:
        return None
    cut = max(cuts, key=lambda one: one.cut_um.mean)
    film = state.film.clear_um
    half = math.hypot((film.high - film.low) / 2, Z95 * cut.sd_um)
    mean = film.mean - cut.cut_um.mean
    return Interval(mean=mean, low=max(0.0, mean - half), high=mean + half)


def load_chart(dossier: Dossier) -> Plot:
    """Return scratch load per panel, before and (where proven) after."""
    names = panel_names(dossier)
    proofs = {proof.panel: proof for proof in dossier.proofs if proof.refused is None}
    rows = []
    for state in dossier.panels:
        proof = proofs.get(state.panel)
        before = (proof and proof.before_mm_per_cm2) or state.load_mm_per_cm2
        after = proof.after_mm_per_cm2 if proof else None
        said = words.load(before.mean) + (f", after {words.load(after.mean)}" if after else "")
        rows.append(
            Row(
                label=names[state.panel],
                value=before,
                words=f"{said} ({_bounds(after or before)})",
                assumed=state.load_assumed and proof is None,
                after=after,
            )
        )
    return plot(rows, axis="Scratch load, mm/cm²")


def cut_chart(dossier: Dossier, panel: str) -> Plot:
    """Return the planned cut of every section of a panel, with what may be cut as the limit."""
    units = dossier.units
    budgets = {state.panel: state.film.budget_um for state in dossier.panels}
    sections = [s for s in dossier.plan.sections if s.panel == panel]
    rows = [
        _cut_row(n, section, budgets.get(panel), units) for n, section in enumerate(sections, 1)
    ]
    return plot(rows, axis=f"Cut, {words.film_symbol(units)}")


def _cut_row(n: int, section: SectionPlan, budget: float | None, units: UnitSystem) -> Row:
    return Row(
        label=f"Section {n}",
        value=_in_unit(section.cut_um, units),
        words=f"{words.thickness(section.cut_um.mean, units)} (≤ {words.thickness(section.cut_um.high, units)})",
        limit=None if budget is None else _value(budget, units),
    )


def _value(um: float, units: UnitSystem) -> float:
    return um if units == "metric" else convert(um, "micrometer", "thou")


def _in_unit(interval: Interval, units: UnitSystem) -> Interval:
    values = {key: _value(um, units) for key, um in msgspec.structs.asdict(interval).items()}
    return Interval(**values)


def _bounds(interval: Interval) -> str:
    return words.load_between(interval).split(words.NBSP)[0]
