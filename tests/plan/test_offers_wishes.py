from dataclasses import replace

import numpy as np
import pytest
from plancases import LADDER, layout, need, paint

from leastcut.plan.choose import Choice, Inputs, choose_all
from leastcut.plan.milp import ChoiceProblem, Limit
from leastcut.plan.records import PanelNeed, Wishes
from leastcut.plan.wishes import gathered, relax_limits

DRAWS = paint()


def inputs(*needs: PanelNeed, wishes: Wishes | None = None) -> Inputs:
    return Inputs(
        layouts=[layout(n.panel, 2) for n in needs],
        panels=needs,
        ladder=LADDER,
        draws=DRAWS,
        wishes=wishes or Wishes(),
    )


NEEDS = (need("roof", 0.85, 9.0), need("door", 0.7, 9.0))


def chosen(wishes: Wishes | None = None) -> Choice:
    return choose_all(inputs(*NEEDS, wishes=wishes))


def test_fewer_minutes_cost_clear_coat() -> None:
    free = chosen()
    quickest = min(free.minutes, chosen(Wishes(minutes=free.minutes * 0.9)).minutes)
    tight = chosen(Wishes(minutes=quickest))
    assert tight.relaxations == ()
    assert tight.minutes <= quickest + 1e-6
    assert tight.cut_um >= free.cut_um - 1e-9


def test_impossible_hours_say_how_many_would_do() -> None:
    found = chosen(Wishes(minutes=5.0))
    (relaxed,) = found.relaxations
    assert relaxed.constraint == "minutes"
    assert relaxed.allowed == 5.0
    enough = chosen(Wishes(minutes=relaxed.needed + 0.01))
    assert enough.relaxations == ()
    assert enough.minutes == pytest.approx(relaxed.needed, abs=0.02)
    short = chosen(Wishes(minutes=relaxed.needed - 0.5))
    assert short.relaxations[0].needed == pytest.approx(relaxed.needed, rel=1e-4)


def test_an_impossible_wish_is_left_aside_not_the_plan() -> None:
    assert chosen(Wishes(minutes=5.0)).sections == chosen().sections


def test_nothing_in_stock_finds_another_process_or_the_amount() -> None:
    needs = (need("roof", 0.9, 12.0),)
    usual = choose_all(inputs(*needs))
    labels = {step.process for plan in usual.sections for step in plan.steps}
    empty = Wishes(liquid_ml=dict.fromkeys([p.label for p in LADDER], 0.0))
    stuck = choose_all(inputs(*needs, wishes=empty))
    assert {r.constraint.removeprefix("liquid for ") for r in stuck.relaxations} <= {
        p.label for p in LADDER
    }
    one = next(iter(labels))
    without = choose_all(inputs(*needs, wishes=Wishes(liquid_ml={one: 0.0})))
    assert without.relaxations or all(
        step.process != one for plan in without.sections for step in plan.steps
    )


def test_liquid_at_hand_is_kept_to() -> None:
    needs = (need("roof", 0.9, 12.0),)
    for ml in (4.0, 8.0, 30.0):
        found = choose_all(inputs(*needs, wishes=Wishes(liquid_ml={"mid": ml})))
        if not found.relaxations:
            mids = [s for p in found.sections for s in p.steps if s.process == "mid"]
            used = sum(0.75 * s.sets + 3.0 * 0.25 / 2.2 for s in mids) + (3.0 if mids else 0.0)
            assert used <= ml + 1e-9


def test_a_panel_short_of_clear_coat_gets_three_ways_out() -> None:
    found = choose_all(inputs(need("roof", 0.95, 2.0)))
    kinds = [r.constraint for r in found.relaxations]
    assert sorted(kinds) == ["chance", "clear coat", "removed"]
    assert {r.panel for r in found.relaxations} == {"roof"}
    changes = [r.change for r in found.relaxations]
    assert changes == sorted(changes)


@pytest.mark.parametrize("kind", ["clear coat", "chance", "removed"])
def test_each_way_out_is_enough_and_less_is_not(kind: str) -> None:
    base = inputs(need("roof", 0.95, 2.0))
    way = {r.constraint: r for r in choose_all(base).relaxations}[kind]

    def met(share: float) -> bool:
        """Go `share` of the way from what was allowed to what is said to be needed."""
        value = way.allowed + share * (way.needed - way.allowed)
        if kind.startswith("clear"):
            moved = replace(base, panels=[need("roof", 0.95, value)])
        elif kind.startswith("chance"):
            moved = replace(base, p_target=value / 100)
        else:
            moved = replace(base, panels=[need("roof", value / 100, 2.0)])
        return not choose_all(moved).relaxations

    assert met(1.0001)
    assert not met(0.97)


def test_a_target_beyond_the_ladder_offers_no_budget() -> None:
    weak = (LADDER[0],)
    found = choose_all(replace(inputs(need("roof", 0.98, 30.0)), ladder=weak, draws=paint(weak)))
    assert "removed" in {r.constraint for r in found.relaxations}
    assert "clear coat" not in {r.constraint for r in found.relaxations}


def test_limits_that_clash_are_moved_together() -> None:
    """Option a uses much of one thing, b much of the other: no single relaxation is enough."""
    both = ChoiceProblem(
        cost=(np.zeros(2),),
        uses=(np.zeros((2, 1), dtype=bool),),
        group=(0,),
        setup=np.zeros(1),
        change=np.zeros(1),
        limits=(
            Limit("minutes", (np.array([9.0, 6.0]),), np.zeros(1), np.zeros(1), 5.0),
            Limit("liquid for a", (np.array([12.0, 16.0]),), np.zeros(1), np.zeros(1), 10.0),
        ),
    )
    found = {r.constraint: r.needed for r in relax_limits(both)}
    # a: 9/5 + 12/10 = 3.0; b: 6/5 + 16/10 = 2.8
    assert found == {"minutes": 6.0, "liquid for a": 16.0}


def test_nothing_is_said_where_nothing_is_short() -> None:
    left = need("wing", 0.9, 0.0)
    clean = need("sill", -0.1, 5.0)
    assert choose_all(inputs(*NEEDS, left, clean)).relaxations == ()


def test_panels_alike_share_a_line_with_their_cheapest_way_out() -> None:
    needs = [need(name, 0.95, 1.2) for name in ("roof", "door", "wing", "sill", "boot", "tail")]
    found = choose_all(inputs(*needs)).relaxations
    lines = gathered(found)
    assert len(lines) == 1
    assert lines[0].startswith("roof, door, wing, sill and 2 more: ")
    assert lines[0].endswith(found[0].say)
    assert gathered(chosen(Wishes(minutes=5.0)).relaxations)[0].startswith("minutes: 5 min allowed")


def test_a_hopeless_chance_is_no_offer_unless_nothing_else_is_left() -> None:
    scarce = choose_all(inputs(need("roof", 0.95, 0.3))).relaxations
    assert "chance" not in {r.constraint for r in scarce}
    assert "clear coat" in {r.constraint for r in scarce}
    weak = (LADDER[0],)
    alone = replace(inputs(need("roof", 0.999, 0.3)), ladder=weak, draws=paint(weak))
    assert choose_all(alone).relaxations != ()
