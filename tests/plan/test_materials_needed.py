import math
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plancases import LADDER, car, layout, need, paint

from leastcut.plan.choose import choose
from leastcut.plan.materials import dilute, needed, pads_needed
from leastcut.plan.records import Material, PanelNeed, PriceEntry, SectionPlan

LAYOUTS = [layout("roof", 2), layout("door", 2)]
CAR = car({"roof": 2, "door": 2})


def plans(*needs: PanelNeed) -> tuple[SectionPlan, ...]:
    return choose(LAYOUTS, panels=needs, ladder=LADDER, draws=paint(), p_target=0.9)[0]


def listed(sections: Sequence[SectionPlan], **more: Any) -> dict[str, Material]:
    return {m.name: m for m in needed(sections, LADDER, car=CAR, layouts=LAYOUTS, **more)}


def test_tape_follows_edges_keep_outs_and_body_lines() -> None:
    tape = listed(plans(need("roof"), need("door", -1)))["tape"]
    assert tape.amount == pytest.approx((2 * (1.0 + 0.5) + 4 * 0.05 + 1.0) * 1.1, abs=0.05)
    assert tape.unit == "m"


def test_liquid_is_area_times_sets_plus_priming() -> None:
    sections = plans(need("roof"), need("door"))
    found = listed(sections)
    for process in LADDER:
        sets = [s.sets for p in sections for s in p.steps if s.process == process.label]
        name = f"liquid for {process.label}"
        if sets:
            turns = math.ceil(0.25 * len(sets) / 2.2)
            assert found[name].amount == pytest.approx(sum(sets) * 0.25 * 3 + 3 * turns, abs=0.05)
        else:
            assert name not in found


def test_nothing_worked_uses_no_pads_tape_or_liquid() -> None:
    names = set(listed(plans(need("roof", -1), need("door", -1))))
    assert names == {"clay", "towels for drying", "protection", "towels for buffing"}


def test_costs_come_from_the_price_list_longest_name_first() -> None:
    prices = [
        PriceEntry(material="towels", per_unit=Decimal("2.10")),
        PriceEntry(material="towels for drying", per_unit=Decimal("5.55")),
    ]
    found = listed(plans(need("roof"), need("door")), prices=prices)
    assert found["towels for drying"].cost == Decimal("5.55") * 1
    assert found["towels for buffing"].cost == Decimal("2.10")
    assert found["clay"].cost is None


@given(
    turns=st.integers(1, 40),
    minutes=st.floats(1, 3000),
    dry=st.just(0.0) | st.floats(1, 600),
)
def test_pads_suffice_when_the_day_is_played_through(
    turns: int, minutes: float, dry: float
) -> None:
    """Play the day with that many pads: no turn ever waits for a dry one; one fewer waits."""
    pads = pads_needed(turns, minutes, drying_min=dry)
    assert 1 <= pads <= turns
    assert not waits(turns, minutes / turns, dry, pads)
    assert pads == 1 or waits(turns, minutes / turns, dry, pads - 1)


def waits(turns: int, each: float, dry: float, pads: int) -> bool:
    ready = [0.0] * pads
    for turn in range(turns):
        start = turn * each
        ready.sort()
        if ready[0] > start + 1e-6 * max(1.0, start):
            return True
        ready[0] = start + each + dry
    return False


def test_dilution_adds_up() -> None:
    product, water = dilute(750.0, 9.0)
    assert (product, water) == (pytest.approx(75.0), pytest.approx(675.0))
