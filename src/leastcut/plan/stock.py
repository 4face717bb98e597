"""From stock: what the job takes, what is missing, what to buy."""

from collections.abc import Sequence
from decimal import Decimal

from leastcut.plan.money import rounded
from leastcut.plan.records import Material, PriceEntry, Shortage


def entry_for(name: str, prices: Sequence[PriceEntry]) -> PriceEntry | None:
    """Return the entry of the price list for a material: the longest its name begins with."""
    fits = [entry for entry in prices if name.startswith(entry.material)]
    return max(fits, key=lambda entry: len(entry.material)) if fits else None


def to_buy(
    materials: Sequence[Material], prices: Sequence[PriceEntry], *, currency: str = "EUR"
) -> tuple[Shortage, ...]:
    """Return what is missing from the stock, and what it costs.

    Parameters
    ----------
    materials : sequence of Material
        What the job needs. Materials that share an entry of the list share its stock.
    prices : sequence of PriceEntry
        The shop's list; entries without a count are taken as not counted, not as empty.
    currency : str
        ISO 4217 code, for the rounding of costs.

    Returns
    -------
    tuple of Shortage
        In the order of the materials; empty when the stock suffices.

    Examples
    --------
    >>> tape = Material(name="tape", amount=30.0, unit="m", cost=None, why="edges")
    >>> shelf = [PriceEntry(material="tape", per_unit=Decimal("0.10"), in_stock=12.0)]
    >>> to_buy([tape], shelf)[0].buy
    18.0
    """
    left = {entry.material: entry.in_stock for entry in prices}
    found = []
    for item in materials:
        entry = entry_for(item.name, prices)
        at_hand = left[entry.material] if entry else None
        if entry is None or at_hand is None:
            continue
        left[entry.material] = max(0.0, at_hand - item.amount)
        if item.amount > at_hand:
            found.append(_shortage(item, entry, at_hand, currency))
    return tuple(found)


def _shortage(item: Material, entry: PriceEntry, at_hand: float, currency: str) -> Shortage:
    buy = round(item.amount - at_hand, 1)
    return Shortage(
        material=item.name,
        needed=item.amount,
        in_stock=at_hand,
        buy=buy,
        unit=item.unit,
        cost=rounded(Decimal(str(buy)) * entry.per_unit, currency),
    )
