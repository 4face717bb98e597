"""Clear coat left by the ledger, and how many corrections of the usual kind it still pays for."""

import math
from typing import Any

import msgspec

from leastcut.car.records import Interval
from leastcut.handover.ledger import Ledger, LedgerEntry, of_panel
from leastcut.inspect.budget import DEFAULT
from leastcut.testspot.records import Measured

# Factory clear coat 1.5 to 2 mil: the range as plus and minus one standard deviation, on the wide
# side. source: General Motors service information on paint gauges; status: seen
FACTORY = Measured(value=44.45, sd=6.35)
# What must stay by the ledger alone: the aim of the budget rule, 1.4 mil, its source there.
RESERVE_UM = DEFAULT.aim_um
# A correction is promised only when it keeps the reserve with this probability: half the risk that
# we would accept (1 in 100), because the model of what is unknown is itself not certain.
PROMISE = 0.995
MOST = 50
FEW = 3
LEAST_CUT_UM = 0.1
_Z95 = 1.959963984540054
Z995 = 2.5758293035489004


class Left(msgspec.Struct, frozen=True, kw_only=True):
    """Clear coat of one panel now [µm]; `assumed` when no reading stands behind it."""

    panel: str
    clear_um: Interval
    sd_um: float
    cut_um: float
    n_readings: int
    n_cuts: int
    assumed: bool


class Usual(msgspec.Struct, frozen=True, kw_only=True):
    """What one correction takes [µm]: mean, how well the mean is known, scatter around it."""

    cut_um: float
    mean_sd_um: float
    scatter_um: float


class Corrections(msgspec.Struct, frozen=True, kw_only=True):
    """How many corrections a panel can pay for.

    ``probability[i]`` is the chance that the reserve is still there after ``i + 1`` corrections;
    ``promised`` counts those with at least the asked chance.
    """

    panel: str
    promised: int
    probability: tuple[float, ...]
    usual: Usual
    reserve_um: float


def clear_left(ledger: Ledger, panel: str, *, prior: Measured = FACTORY) -> Left:
    """Return the clear coat of a panel now, from all its readings and cuts.

    Parameters
    ----------
    ledger : Ledger
        The car's ledger.
    panel : str
        Panel id.
    prior : Measured
        Clear coat when new [µm]; used only when the ledger has no reading of this panel.

    Returns
    -------
    Left
        With 95 % bounds; the low bound never lies below zero.
    """
    readings = of_panel(ledger, panel, "clear")
    cuts = of_panel(ledger, panel, "cut")
    facts = readings or (_new(ledger, panel, prior),)
    mean, sd = _now(tuple(facts), cuts)
    return Left(
        panel=panel,
        clear_um=Interval(mean=mean, low=max(0.0, mean - _Z95 * sd), high=mean + _Z95 * sd),
        sd_um=sd,
        cut_um=math.fsum(cut.value for cut in cuts),
        n_readings=len(readings),
        n_cuts=len(cuts),
        assumed=not readings,
    )


def _new(ledger: Ledger, panel: str, prior: Measured) -> LedgerEntry:
    """Return the factory's range as a reading that precedes every other."""
    return LedgerEntry(
        car=ledger.car,
        panel=panel,
        when="0001-01-01",
        kind="clear",
        value=prior.value,
        sd=prior.sd,
        how="estimated",
    )


def _now(readings: tuple[LedgerEntry, ...], cuts: tuple[LedgerEntry, ...]) -> tuple[float, float]:
    """Return mean and standard deviation of X₀ − ΣC by generalised least squares."""
    import numpy as np

    facts = (*readings, *cuts)
    design = np.zeros((len(facts), 1 + len(cuts)))
    for row, reading in enumerate(readings):
        design[row, 0] = 1.0
        design[row, 1:] = [-1.0 if _before(cut, reading) else 0.0 for cut in cuts]
    for i in range(len(cuts)):
        design[len(readings) + i, 1 + i] = 1.0
    values = np.array([fact.value for fact in facts])
    wanted = np.array([1.0] + [-1.0] * len(cuts))
    weight = np.linalg.inv(_covariance(facts))
    spread = np.linalg.inv(design.T @ weight @ design)
    best = spread @ design.T @ weight @ values
    return float(wanted @ best), float(np.sqrt(wanted @ spread @ wanted))


def _before(cut: LedgerEntry, reading: LedgerEntry) -> bool:
    """Return whether the cut had been made when the reading was taken: same date, reading first."""
    return cut.when < reading.when


def _covariance(facts: tuple[LedgerEntry, ...]) -> Any:
    """Return the covariance of the facts' errors: their own, and what they share."""
    import numpy as np

    own = np.diag([fact.sd**2 or 1e-12 for fact in facts])
    for source in {fact.shared_with for fact in facts if fact.shared_sd > 0}:
        common = np.array([f.shared_sd if f.shared_with == source else 0.0 for f in facts])
        own += np.outer(common, common) if source else np.diag(common**2)
    return own


def usual_correction(ledger: Ledger, panel: str, *, otherwise: Usual) -> Usual:
    """Return the cut of a correction as this car has had them.

    From the panel's own cuts when there are three or more, else the whole car's, else `otherwise`.
    The mean is as uncertain as its records are (errors that they share do not average out) and as
    their scatter over few cuts makes it, widened by Student's factor (source: JCGM 100:2008,
    G.3; status: memory).
    """
    import numpy as np
    from scipy.special import stdtrit

    own = of_panel(ledger, panel, "cut")
    cuts = own if len(own) >= FEW else tuple(e for e in ledger.entries if e.kind == "cut")
    if len(cuts) < FEW:
        return otherwise
    values = np.array([cut.value for cut in cuts])
    n = len(cuts)
    scatter = float(values.std(ddof=1))
    student = float(stdtrit(n - 1, 0.995)) / Z995
    known = float(_covariance(cuts).sum()) / n**2
    return Usual(
        cut_um=max(float(values.mean()), LEAST_CUT_UM),
        mean_sd_um=math.hypot(math.sqrt(known), student * scatter / math.sqrt(n)),
        scatter_um=max(student * scatter, LEAST_CUT_UM),
    )


def corrections_left(
    left: Left, *, usual: Usual, reserve_um: float = RESERVE_UM, promise: float = PROMISE
) -> Corrections:
    """Return how many corrections of the usual kind keep the reserve, and how surely.

    The uncertainty of the mean cut is common to all coming cuts (they share paint and process), so
    it grows with their number n; the scatter from cut to cut grows with √n:
    Var = sd² + (n·s_mean)² + n·s_scatter².

    Parameters
    ----------
    left : Left
        Clear coat now.
    usual : Usual
        What one correction takes.
    reserve_um : float
        Clear coat that must stay [µm].
    promise : float
        Least probability with which a promised correction keeps the reserve.

    Examples
    --------
    >>> now = Left(panel="roof", clear_um=Interval(mean=45, low=43.04, high=46.96), sd_um=1.0,
    ...            cut_um=0.0, n_readings=1, n_cuts=0, assumed=False)
    >>> usual = Usual(cut_um=2.0, mean_sd_um=0.2, scatter_um=0.3)
    >>> corrections_left(now, usual=usual).promised
    3
    """
    from scipy.special import ndtr

    chances: list[float] = []
    for n in range(1, MOST + 1):
        spread = math.hypot(left.sd_um, n * usual.mean_sd_um, math.sqrt(n) * usual.scatter_um)
        margin = left.clear_um.mean - n * usual.cut_um - reserve_um
        chances.append(float(ndtr(margin / spread)))
        if chances[-1] < 0.01:
            break
    return Corrections(
        panel=left.panel,
        promised=sum(chance >= promise for chance in chances),
        probability=tuple(chances),
        usual=usual,
        reserve_um=reserve_um,
    )
