from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from leastcut.plan.records import Material, PriceEntry
from leastcut.plan.stock import entry_for, to_buy


def item(name: str, amount: float) -> Material:
    return Material(name=name, amount=amount, unit="pieces", cost=None, why="test")


def entry(name: str, in_stock: float | None, per_unit: str = "1") -> PriceEntry:
    return PriceEntry(material=name, per_unit=Decimal(per_unit), in_stock=in_stock)


def test_what_shares_a_shelf_shares_its_stock() -> None:
    materials = [item("towels for drying", 4), item("towels for wiping off", 5)]
    (short,) = to_buy(materials, [entry("towels", 6, "2.35")])
    assert (short.material, short.in_stock, short.buy) == ("towels for wiping off", 2, 3)
    assert short.cost == Decimal("7.05")


def test_unlisted_and_uncounted_things_are_not_called_short() -> None:
    assert to_buy([item("clay", 5), item("tape", 9)], [entry("tape", None)]) == ()
    assert entry_for("clay", []) is None


@given(needed=st.lists(st.integers(1, 50), min_size=1, max_size=6), shelf=st.integers(0, 200))
def test_what_is_bought_makes_up_exactly_what_is_missing(needed: list[int], shelf: int) -> None:
    found = to_buy([item(f"tape {i}", n) for i, n in enumerate(needed)], [entry("tape", shelf)])
    assert sum(short.buy for short in found) == max(0, sum(needed) - shelf)
