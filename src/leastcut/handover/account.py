"""The ledger's balance: what each panel has, what it can pay for, when the next visit pays."""

import msgspec

from leastcut.car.records import Interval
from leastcut.handover.film_left import (
    PROMISE,
    RESERVE_UM,
    Corrections,
    Usual,
    clear_left,
    corrections_left,
    usual_correction,
)
from leastcut.handover.ledger import Ledger, panels
from leastcut.handover.records import Dossier
from leastcut.handover.trend import NextVisit, next_visit

# A correction nobody has measured on this car yet: one to three µm is what the trade says.
# source: common practice, no source; vendor and forum figures only; status: seen-weak
USUAL = Usual(cut_um=2.0, mean_sd_um=0.5, scatter_um=0.5)


class Balance(msgspec.Struct, frozen=True, kw_only=True):
    """One panel's line of the account."""

    panel: str
    clear_um: Interval
    cut_um: float
    n_readings: int
    n_cuts: int
    assumed: bool
    corrections: Corrections
    next_visit: NextVisit


def account(
    ledger: Ledger,
    *,
    usual: Usual = USUAL,
    reserve_um: float = RESERVE_UM,
    promise: float = PROMISE,
) -> tuple[Balance, ...]:
    """Return the balance of every panel in the ledger.

    Parameters
    ----------
    ledger : Ledger
        The car's ledger.
    usual : Usual
        Cut of one correction, for a car whose cuts are not recorded yet [µm].
    reserve_um : float
        Clear coat that must stay [µm].
    promise : float
        Least probability with which a promised correction keeps the reserve.
    """
    return tuple(_balance(ledger, panel, usual, reserve_um, promise) for panel in panels(ledger))


def _balance(
    ledger: Ledger, panel: str, usual: Usual, reserve_um: float, promise: float
) -> Balance:
    left = clear_left(ledger, panel)
    corrections = corrections_left(
        left,
        usual=usual_correction(ledger, panel, otherwise=usual),
        reserve_um=reserve_um,
        promise=promise,
    )
    return Balance(
        panel=panel,
        clear_um=left.clear_um,
        cut_um=left.cut_um,
        n_readings=left.n_readings,
        n_cuts=left.n_cuts,
        assumed=left.assumed,
        corrections=corrections,
        next_visit=next_visit(ledger, panel, promised=corrections.promised),
    )


def reserve_um(dossier: Dossier) -> float:
    """Return what must stay on this car: the largest reserve of its panels, else the usual [µm]."""
    return max((state.film.reserve_um for state in dossier.panels), default=RESERVE_UM)
