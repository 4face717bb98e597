from decimal import Decimal

import msgspec
import numpy as np
import pytest
from plancases import LADDER, car, layout, need, paint

from leastcut.car.records import Interval
from leastcut.plan.build import build, risks_of
from leastcut.plan.learn import Learnt
from leastcut.plan.records import PanelNeed, Plan, Rates


def plan(*needs: PanelNeed, rates: Rates | None = None, learnt: Learnt | None = None) -> Plan:
    return build(
        [layout(n.panel, 3) for n in needs],
        car=car({n.panel: 3 for n in needs}),
        panels=needs,
        ladder=LADDER,
        draws=paint(),
        rng=np.random.default_rng(1),
        rates=rates,
        learnt=learnt,
    )


RATES = Rates(currency="EUR", labour_per_hour=Decimal(70), tax_percent=Decimal(19))


def test_section_minutes_are_the_sum_of_the_steps_seconds() -> None:
    found = plan(need("roof"), need("door", 0.7))
    seconds = sum(step.seconds for s in found.sections for step in s.steps)
    assert found.section_minutes == pytest.approx(seconds / 60, rel=1e-12)


def test_the_day_is_longer_than_its_sets_and_p80_than_p50() -> None:
    found = plan(need("roof"), need("door"))
    assert found.section_minutes < found.minutes.p50 < found.minutes.p80
    means = sum(o.minutes.mean for o in found.operations)
    assert found.minutes.p50 == pytest.approx(found.section_minutes + means, rel=0.05)


def test_a_plan_travels_as_json_and_back() -> None:
    found = plan(need("roof"), need("door", 0.9, 0.0), rates=RATES)
    assert msgspec.json.decode(msgspec.json.encode(found), type=Plan) == found


def test_the_cure_is_not_charged() -> None:
    found = plan(need("roof"), rates=RATES)
    hours = float(found.price.lines[0].amount) / 70
    assert hours * 60 < found.minutes.p80 - 45


def test_no_rates_no_price() -> None:
    assert plan(need("roof")).price is None


def test_notes_say_what_is_left_alone_and_why() -> None:
    found = plan(need("roof", 0.9, 0.0), need("door"))
    assert found.notes == ("roof (3 sections): left alone: no clear coat to spend (factory)",)


def test_risks_name_the_panels() -> None:
    needs = [need("roof", 0.95, 1.2), need("door", finding="unmeasured")]
    found = " ".join(risks_of(plan(*needs).sections, needs))
    assert "budget assumed: door" in found
    assert "for want of clear coat: roof" in found
    assert "repairs" in found


def test_a_slow_shop_plans_longer_days_but_the_same_sections() -> None:
    slow = Interval(mean=2.0, low=1.8, high=2.2)
    own = Learnt(factor={"sets": slow, "clay": slow}, correlation=0.2, n_jobs=9)
    usual, late = plan(need("roof")), plan(need("roof"), learnt=own)
    assert late.section_minutes == usual.section_minutes
    assert late.minutes.p50 > usual.minutes.p50 + 0.9 * usual.section_minutes
