"""How load and gloss drift between visits, and when the next visit pays.

A stretch runs from what was seen after one visit's work to what was found before the next. Its
rate is the difference over the time; stretches are pooled by inverse variance, and when they
scatter more than their uncertainties allow, the scatter counts (source: R. T. Birge 1932, "The
calculation of errors by the method of least squares"; status: memory). The time at which a drifting
value meets a limit has the bounds of Fieller's theorem (source: E. C. Fieller 1954, "Some problems
in interval estimation"; status: memory), which may be open on the late side: then nobody knows yet.
"""

import math
from itertools import pairwise

import msgspec

from leastcut.errors import Refusal
from leastcut.handover.ledger import Kind, Ledger, LedgerEntry, months, of_panel

_Z95 = 1.959963984540054


class Trend(msgspec.Struct, frozen=True, kw_only=True):
    """Change of one quantity per month with its standard uncertainty, from `n` stretches."""

    panel: str
    kind: Kind
    per_month: float
    sd: float
    n: int
    refused: Refusal | None = None


class NextVisit(msgspec.Struct, frozen=True, kw_only=True):
    """Months from the last entry until the load is back where a correction was last worth it.

    ``late`` is None when the trend is too uncertain to bound it.
    """

    panel: str
    pays_at_mm_per_cm2: float | None
    months: float | None
    early: float | None
    late: float | None
    why: str


def trend(ledger: Ledger, panel: str, kind: Kind = "load") -> Trend:
    """Return how fast a panel's load or gloss changes between visits.

    Examples
    --------
    >>> trend(Ledger(car="x"), "roof").refused.do
    'Come back for an inspection; the second one makes a trend'
    """
    entries = of_panel(ledger, panel, kind)
    stretches = [
        _rate(a, b) for a, b in pairwise(entries) if not b.after_work and b.when[:10] > a.when[:10]
    ]
    if not stretches:
        refused = Refusal(
            why=f"two inspections of {panel} with time between them are needed",
            do="Come back for an inspection; the second one makes a trend",
        )
        return Trend(panel=panel, kind=kind, per_month=0.0, sd=math.inf, n=0, refused=refused)
    mean, sd = _pooled(stretches)
    return Trend(panel=panel, kind=kind, per_month=mean, sd=sd, n=len(stretches))


def _rate(a: LedgerEntry, b: LedgerEntry) -> tuple[float, float]:
    span = months(b.when) - months(a.when)
    return (b.value - a.value) / span, math.hypot(a.sd, b.sd) / span


def _pooled(rates: list[tuple[float, float]]) -> tuple[float, float]:
    """Return the weighted mean and its uncertainty, widened by Birge's ratio where they disagree."""
    weights = [1 / sd**2 for _, sd in rates]
    total = math.fsum(weights)
    mean = math.fsum(w * rate for w, (rate, _) in zip(weights, rates, strict=True)) / total
    if len(rates) == 1:
        return mean, 1 / math.sqrt(total)
    chi2 = math.fsum(w * (rate - mean) ** 2 for w, (rate, _) in zip(weights, rates, strict=True))
    return mean, math.sqrt(max(1.0, chi2 / (len(rates) - 1)) / total)


def next_visit(
    ledger: Ledger, panel: str, *, promised: int, pays_at_mm_per_cm2: float | None = None
) -> NextVisit:
    """Return when the next correction of a panel pays.

    Parameters
    ----------
    ledger : Ledger
        The car's ledger.
    panel : str
        Panel id.
    promised : int
        Corrections that the panel can still pay for; with none, no visit for correction pays.
    pays_at_mm_per_cm2 : float, optional
        Scratch load worth a correction; the load found before the last one when left out.
    """
    loads = of_panel(ledger, panel, "load")
    limit = _pays_at(loads) if pays_at_mm_per_cm2 is None else pays_at_mm_per_cm2
    drift = trend(ledger, panel)
    if promised < 1:
        return _no_visit(
            panel, limit, "No correction is left to spend: wash with care and protect."
        )
    if drift.refused is not None or limit is None:
        why = drift.refused.why if drift.refused else "no load is known"
        return _no_visit(panel, limit, f"Not known yet: {why}.")
    early, middle, late = _meets(loads[-1].value, loads[-1].sd, drift, limit)
    return NextVisit(
        panel=panel,
        pays_at_mm_per_cm2=limit,
        months=middle,
        early=early,
        late=late,
        why=_why(drift),
    )


def _no_visit(panel: str, limit: float | None, why: str) -> NextVisit:
    return NextVisit(
        panel=panel, pays_at_mm_per_cm2=limit, months=None, early=None, late=None, why=why
    )


def _why(drift: Trend) -> str:
    spans = "one stretch" if drift.n == 1 else f"{drift.n} stretches"
    if drift.per_month <= 0:
        return f"The load did not grow over {spans} between visits."
    return f"The load grows by {drift.per_month:.2f} mm/cm² a month, from {spans} between visits."


def _pays_at(loads: tuple[LedgerEntry, ...]) -> float | None:
    """Return the load found before the last work, else the last load found."""
    found = [entry.value for entry in loads if not entry.after_work]
    return found[-1] if found else None


def _meets(
    now: float, now_sd: float, drift: Trend, limit: float
) -> tuple[float | None, float | None, float | None]:
    """Return the early, middle and late month at which the load meets the limit (Fieller).

    The bounds are the roots of a·t² − 2·b·t + c = 0, which says that the gap is closed to within
    1.96 standard deviations of both the load now and the growth since.
    """
    gap = limit - now
    if gap <= 0:
        return 0.0, 0.0, 0.0
    a = drift.per_month**2 - (_Z95 * drift.sd) ** 2
    b = drift.per_month * gap
    c = gap**2 - (_Z95 * now_sd) ** 2
    root = math.sqrt(max(b**2 - a * c, 0.0))
    growing = drift.per_month > 0
    early = 0.0 if c <= 0 else c / (b + root) if b + root > 0 else None
    return (
        early,
        gap / drift.per_month if growing else None,
        (b + root) / a if a > 0 and growing else None,
    )
