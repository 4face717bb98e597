"""How much clear coat may be cut: the reserve rule and the allowance.

Sources of the default limits (US General Motors bulletins and service pages, read in public
copies; the 0.3 mil line was seen only second-hand):

* 1.4 mil of clear must be left: dealer bulletin 86-10-24 (Sept 1986), "Color sanding
  basecoat/clearcoat finishes". status: seen
* re-spray clear once the total film has dropped 0.5 mil: bulletin 91-282-10 (April 1991); clear is
  typically 1.5 to 2 mil and removing more than 0.5 mil may give early failure: service pages of
  2000 and 2009. status: seen
* 0.3 mil at most in one go: attributed to several makers by trade texts. status: seen second-hand,
  primary source not found
"""

from collections.abc import Iterable

import msgspec

from leastcut.inspect.readings import MIL_UM
from leastcut.inspect.records import EarlierCut


class ReserveRule(msgspec.Struct, frozen=True, kw_only=True):
    """What must stay, and the most that may go [µm].

    Attributes
    ----------
    aim_um : float
        Clear coat that the best estimate must keep; default 1.4 mil.
    floor_um : float
        The reserve: clear coat that the thinnest place must keep with probability `confidence`;
        default 1.0 mil, the thinnest typical clear (1.5 mil) less the 0.5 mil whose removal may
        give early failure.
    once_um, life_um : float
        Most that may go at all in the trade's careful limit (0.3 mil) and in the paint's life
        (0.5 mil), earlier cuts included.
    confidence : float
        Probability behind the floor.
    """

    aim_um: float = 1.4 * MIL_UM
    floor_um: float = 1.0 * MIL_UM
    once_um: float = 0.3 * MIL_UM
    life_um: float = 0.5 * MIL_UM
    confidence: float = 0.99


DEFAULT = ReserveRule()


def reserve_rule(reserve_um: float | None = None) -> ReserveRule:
    """Return the default rule, or the rule for one thickness that the user wants to keep.

    The user's own reserve replaces both levels: it must stay everywhere with 99 % probability.

    Examples
    --------
    >>> reserve_rule(30.0).floor_um
    30.0
    """
    if reserve_um is None:
        return DEFAULT
    return ReserveRule(aim_um=reserve_um, floor_um=reserve_um)


def allowance_um(
    clear_um: float,
    low_um: float | None = None,
    *,
    removed_um: float = 0.0,
    rule: ReserveRule = DEFAULT,
) -> float:
    """Return what may be cut today [µm]; never negative.

    Parameters
    ----------
    clear_um : float
        Best estimate of the clear coat [µm].
    low_um : float or None
        Lower bound of the clear coat at the thinnest place, at the rule's confidence [µm]; None
        when the thickness is taken as exact.
    removed_um : float
        What recorded earlier cuts took [µm].
    rule : ReserveRule
        The limits.

    Examples
    --------
    >>> round(allowance_um(1.5 * 25.4), 2), round(allowance_um(1.65 * 25.4), 2)
    (2.54, 6.35)
    """
    low = clear_um if low_um is None else low_um
    return max(
        0.0,
        min(
            rule.once_um - removed_um,
            rule.life_um - removed_um,
            clear_um - rule.aim_um,
            low - rule.floor_um,
        ),
    )


def removed_by_panel(earlier: Iterable[EarlierCut]) -> dict[str, tuple[float, float]]:
    """Add up a ledger: panel id to (sum of cuts [µm], standard uncertainty of the sum [µm])."""
    sums: dict[str, tuple[float, float]] = {}
    for entry in earlier:
        cut, sd = sums.get(entry.panel, (0.0, 0.0))
        sums[entry.panel] = (cut + entry.cut_um, (sd**2 + entry.sd_um**2) ** 0.5)
    return sums


def deep_scratch(depth_um: float, budget_um: float) -> str:
    """Say what to do about one deep scratch on a panel with this budget.

    Parameters
    ----------
    depth_um : float
        Depth of the scratch below the surface [µm].
    budget_um : float
        What may be cut there [µm].

    Returns
    -------
    str
        Advice in plain words. Levelling takes the surface down to the scratch's bottom, so it costs
        the scratch's depth; what to do when that is too much is common practice, no source.

    Examples
    --------
    >>> deep_scratch(2.0, 5.0)
    'Can be levelled: it costs 2.0 µm of the 5.0 µm that may be cut.'
    >>> deep_scratch(9.0, 5.0)[:28]
    'Not worth the clear coat: it'
    """
    if depth_um <= budget_um:
        return f"Can be levelled: it costs {depth_um:.1f} µm of the {budget_um:.1f} µm that may be cut."
    return (
        f"Not worth the clear coat: it is {depth_um:.1f} µm deep and {budget_um:.1f} µm may be cut. "
        "Round its edges with the sets that the panel gets anyway, then leave it or refer it to a "
        "painter."
    )
