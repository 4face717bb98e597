import xml.etree.ElementTree as ET
from decimal import Decimal
from itertools import pairwise

import numpy as np
import pytest
from plancases import LADDER, car, layout, need, paint

from leastcut.plan import pictures
from leastcut.plan.build import Around, plan_of
from leastcut.plan.choose import Inputs
from leastcut.plan.frontier import frontier
from leastcut.plan.records import FrontierPoint, Plan, PriceEntry, Rates

SVG = "{http://www.w3.org/2000/svg}"


def plan(required: float = 0.9) -> tuple[Plan, Inputs]:
    needs = [need("roof", required, 8.0), need("door", required, 8.0)]
    inputs = Inputs(
        layouts=[layout(n.panel, 2) for n in needs], panels=needs, ladder=LADDER, draws=paint()
    )
    rates = Rates(
        currency="EUR",
        labour_per_hour=Decimal(60),
        tax_percent=Decimal(20),
        discount_percent=Decimal(5),
    )
    around = Around(
        car=car({"roof": 2, "door": 2}),
        rates=rates,
        prices=[PriceEntry(material="tape", per_unit=Decimal("0.1"))],
    )
    return plan_of(inputs, around=around, rng=np.random.default_rng(1))[0], inputs


def words(svg: str) -> list[str]:
    root = ET.fromstring(svg)
    return [text.text or "" for text in root.iter(f"{SVG}text")]


def test_the_strip_has_every_operation_once_and_no_gap() -> None:
    found, _ = plan()
    bars = pictures.day_bars(found)
    assert sorted(b.name for b in bars) == sorted(
        [*(o.name for o in found.operations), "sets on the paint"]
    )
    for one, after in pairwise(bars):
        assert after.start == pytest.approx(one.start + one.minutes)
    names = [b.name for b in bars]
    assert names.index("tape") < names.index("sets on the paint") < names.index("protect")


def test_the_strip_prints_each_name_and_its_minutes() -> None:
    bars = pictures.day_bars(plan()[0])
    said = words(pictures.draw_day(bars))
    for bar in bars:
        assert bar.name in said
        assert f"{bar.minutes:.0f} min" in said


def test_a_day_without_sets_has_no_bar_for_them() -> None:
    assert "sets on the paint" not in [b.name for b in pictures.day_bars(plan(-1)[0])]


def test_the_parts_of_the_price_add_up() -> None:
    price = plan()[0].price
    shares = pictures.price_shares(price)
    assert sum(share.amount for share in shares) == price.total
    assert sum(share.fraction for share in shares) == pytest.approx(1.0)
    said = " ".join(words(pictures.draw_price(shares, currency="EUR")))
    assert str(price.total) in said
    assert "Discount" in said


def test_each_point_of_the_frontier_is_drawn_where_it_belongs() -> None:
    points = frontier(plan()[1], minutes_per_um=(10.0,))
    root = ET.fromstring(pictures.draw_frontier(points))
    dots = [(float(c.get("cx")), float(c.get("cy"))) for c in root.iter(f"{SVG}circle")]
    assert len(dots) == len(points)
    for (x, y), point in zip(dots, points, strict=True):
        for (u, v), other in zip(dots, points, strict=True):
            assert (x - u) * (point.work_minutes - other.work_minutes) >= -1e-6
            assert (y - v) * (point.cut_um - other.cut_um) <= 1e-6


def test_one_point_and_none_can_be_drawn() -> None:
    one = FrontierPoint(
        work_minutes=60, cut_um=1.0, removed_percent=80, minutes_per_um=1, left_factor=1
    )
    assert "80 %" in words(pictures.draw_frontier([one]))
    assert words(pictures.draw_frontier([])) == ["No section needs anything"]


def test_names_cannot_break_the_picture() -> None:
    share = pictures.Share(what="<b>&" + "x" * 60, amount=Decimal(1), fraction=1.0)
    said = words(pictures.draw_price([share], currency="EUR"))
    assert any(text.startswith("<b>&x") and text.endswith("…") for text in said)
    bar = pictures.Bar(
        stage="elsewhere", name="a", start=0, minutes=1, low=1, high=1, attended=False
    )
    assert "a" in words(pictures.draw_day([bar]))
