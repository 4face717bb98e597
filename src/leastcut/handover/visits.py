"""From a job to ledger entries: what this visit adds to the car's record."""

import math

from leastcut.car.records import Interval
from leastcut.handover.ledger import Ledger, LedgerEntry, add
from leastcut.handover.records import Dossier, PanelCut, PanelState

_Z95 = 1.959963984540054
# An estimated cut leans mostly on the paint's softness, which all processes share: this part of its
# standard uncertainty is its own. Our judgement, no source; on the careful side.
_OWN_SHARE = 0.3


def visit(dossier: Dossier, *, when: str) -> Ledger:
    """Return what this job knows for the ledger: readings and loads, and cuts once work is recorded.

    Planned cuts are no facts and do not enter. A panel that nobody measured gives no ``clear``
    entry, one without a photo no ``load`` entry.

    Parameters
    ----------
    dossier : Dossier
        The job.
    when : str
        ISO date of the visit.

    Raises
    ------
    LedgerError
        If `when` is not an ISO date.
    """
    entries = [entry for state in dossier.panels for entry in _found(dossier, state, when)]
    entries += [
        _load(dossier, proof.panel, when, proof.after_mm_per_cm2, after_work=True)
        for proof in dossier.proofs
        if proof.after_mm_per_cm2 is not None
    ]
    entries += [_cut(dossier, cut, when) for cut in dossier.cuts]
    return add(Ledger(car=dossier.car.label), entries)


def _found(dossier: Dossier, state: PanelState, when: str) -> list[LedgerEntry]:
    found = []
    if not state.film.assumed:
        found.append(_clear(dossier, state, when))
    if not state.load_assumed:
        found.append(_load(dossier, state.panel, when, state.load_mm_per_cm2, after_work=False))
    return found


def _clear(dossier: Dossier, state: PanelState, when: str) -> LedgerEntry:
    """Split the uncertainty: repeatable readings average out, the split into layers does not."""
    total = _sd(state.film.clear_um)
    own = min(dossier.gauge.sd_um / math.sqrt(max(state.film.n_readings, 1)), total)
    return LedgerEntry(
        car=dossier.car.label,
        panel=state.panel,
        when=when,
        kind="clear",
        value=state.film.clear_um.mean,
        sd=own or 0.1,
        how="measured",
        shop=dossier.people.shop,
        shared_sd=math.sqrt(max(total**2 - own**2, 0.0)),
        shared_with=f"layers of {state.panel}",
        note=f"{state.film.n_readings} readings at {state.film.n_spots} places",
    )


def _load(
    dossier: Dossier, panel: str, when: str, load: Interval, *, after_work: bool
) -> LedgerEntry:
    return LedgerEntry(
        car=dossier.car.label,
        panel=panel,
        when=when,
        kind="load",
        value=load.mean,
        sd=_sd(load),
        how="measured",
        shop=dossier.people.shop,
        after_work=after_work,
    )


def _cut(dossier: Dossier, cut: PanelCut, when: str) -> LedgerEntry:
    estimated = cut.how == "estimated"
    return LedgerEntry(
        car=dossier.car.label,
        panel=cut.panel,
        when=when,
        kind="cut",
        value=cut.cut_um.mean,
        sd=_OWN_SHARE * cut.sd_um if estimated else cut.sd_um,
        how=cut.how,
        process=cut.process,
        shop=dossier.people.shop,
        shared_sd=math.sqrt(1 - _OWN_SHARE**2) * cut.sd_um if estimated else 0.0,
        shared_with="softness of the paint" if estimated else "",
        note="" if cut.section is None else f"section {cut.section}",
    )


def _sd(interval: Interval) -> float:
    return max((interval.high - interval.low) / (2 * _Z95), 1e-3)
