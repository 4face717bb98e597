from typing import Any

import msgspec
import numpy as np
import pytest
from plancases import FINE, HARD, LADDER, MID, layout, need, paint

from leastcut.plan import menu, options
from leastcut.plan.choose import Inputs, choose, choose_all
from leastcut.plan.menu import ChooseError
from leastcut.plan.pace import set_seconds
from leastcut.plan.records import PanelNeed, SectionPlan, Weights
from leastcut.testspot.paint import PaintDraws

BLUNT = {"p_target": 0.9, "ladder": LADDER}


def plans(
    needs: list[PanelNeed],
    *,
    sections: int = 2,
    draws: PaintDraws | None = None,
    weights: Weights | None = None,
    **more: Any,
) -> tuple[tuple[SectionPlan, ...], float | None]:
    layouts = [layout(n.panel, sections) for n in needs]
    args = BLUNT | {"draws": draws or paint(), "weights": weights} | more
    return choose(layouts, panels=needs, **args)


def test_sections_come_in_the_order_of_work() -> None:
    found, gap = plans([need("roof"), need("door")])
    assert [s.id for s in found] == ["roof-2", "roof-1", "door-2", "door-1"]
    assert gap <= 1e-3


def test_every_section_meets_the_target_within_its_budget() -> None:
    found, _ = plans([need("roof", 0.7), need("door", 0.9, 8.0)])
    for plan in found:
        assert plan.p_target >= 0.9
        assert plan.cut_um.low <= plan.cut_um.mean <= plan.cut_um.high
        assert plan.steps
        assert plan.note == ""


def test_a_harder_wish_cuts_more() -> None:
    cuts = [plans([need("roof", r, 12.0)])[0][0].cut_um.mean for r in (0.5, 0.8, 0.95)]
    assert cuts[0] < cuts[1] <= cuts[2]


def test_a_finishing_step_follows_a_cutting_step() -> None:
    found, _ = plans([need("roof", 0.9, 15.0)], ladder=(FINE, HARD), draws=paint((FINE, HARD)))
    heavy = [p for p in found if any(step.process == "hard" for step in p.steps)]
    assert heavy
    assert all(p.steps[-1].process == "fine" for p in heavy)


def test_no_budget_means_left_alone_with_the_reason() -> None:
    found, _ = plans([need("roof", 0.9, 0.0, note="filler under the paint"), need("door")])
    roof = [p for p in found if p.panel == "roof"]
    assert all(p.steps == () and p.cut_um.high == 0.0 for p in roof)
    assert all("filler under the paint" in p.note for p in roof)


def test_a_clean_panel_is_left_alone() -> None:
    found, _ = plans([need("roof", -0.2)])
    assert all(p.steps == () and p.p_target == 1.0 for p in found)


def test_a_tight_budget_gives_the_best_chance_and_says_so() -> None:
    found, _ = plans([need("roof", 0.95, 1.2)])
    assert all(0.0 <= p.p_target < 0.9 for p in found)
    assert all("1.2 µm" in p.note for p in found)
    roomy, _ = plans([need("roof", 0.95, 2.0)])
    assert roomy[0].cut_um.mean >= found[0].cut_um.mean


def test_a_budget_below_the_mildest_set_leaves_the_panel_alone() -> None:
    found, _ = plans([need("roof", 0.95, 0.05)])
    assert all(p.steps == () and "mildest" in p.note for p in found)


def test_a_sections_own_budget_counts_before_the_panels() -> None:
    tight = need("roof", 0.9, 9.0, section_budgets_um={"roof-1": 0.0})
    found, _ = plans([tight])
    assert {p.id: bool(p.steps) for p in found} == {"roof-2": True, "roof-1": False}


def test_dear_changes_make_one_process_do_for_the_car() -> None:
    needs = [need("roof", 0.35, 9.0), need("door", 0.9, 9.0), need("wing", 0.6, 9.0)]
    loose = Weights(minutes_per_process=0.0, minutes_per_change=0.0)
    tied = Weights(minutes_per_process=500.0, minutes_per_change=0.0)

    def kit(weights: Weights) -> set[str]:
        found, _ = plans(needs, weights=weights)
        return {step.process for plan in found for step in plan.steps}

    assert len(kit(tied)) < len(kit(loose))


def test_dear_clear_coat_never_cuts_more() -> None:
    needs = [need("roof", 0.85, 9.0), need("door", 0.9, 9.0)]
    cuts = []
    for price in (0.0, 5.0, 100.0):
        found, _ = plans(needs, weights=Weights(minutes_per_um=price))
        cuts.append(sum(p.cut_um.mean for p in found))
    assert cuts[0] >= cuts[1] >= cuts[2]
    assert cuts[0] > cuts[2]


def test_seconds_are_strokes_over_arm_speed() -> None:
    found, _ = plans([need("roof")])
    for plan in found:
        for step in plan.steps:
            process = {p.label: p for p in LADDER}[step.process]
            sections = {s.id: s for s in layout("roof", 2).sections}
            once = set_seconds(sections[plan.id], process)
            assert step.seconds == pytest.approx(step.sets * once)
            # 2 × 12 strokes of 500 mm at 40 mm/s and a turn of 0.6 s after each but the last
            assert once == pytest.approx(2 * 12 * 500 / 40 + 0.6 * 23)


def test_strokes_laid_for_another_spacing_are_scaled() -> None:
    one = layout("roof", 1).sections[0]
    wide = msgspec.structs.replace(MID, stroke_spacing_mm=80.0)
    assert set_seconds(one, wide) == pytest.approx(set_seconds(one, MID) / 2)


def test_seconds_without_strokes_come_from_the_area() -> None:
    bare = msgspec.structs.replace(layout("roof", 1).sections[0], strokes_mm=())
    assert set_seconds(bare, MID) == pytest.approx(2 * 250_000 / 40 / 40 + 0.6 * 23)
    point = msgspec.structs.replace(bare, strokes_mm=(((0, 0), (0, 0)), ((5, 0), (9, 0))))
    assert set_seconds(point, MID) == set_seconds(bare, MID)


def test_clear_coat_left_is_the_lower_bound_in_quadrature() -> None:
    found, _ = plans([need("roof", 0.85, 9.0)])
    plan = found[0]
    spread = np.hypot(7.0, plan.cut_um.high - plan.cut_um.mean)
    assert plan.clear_after_low_um == pytest.approx(45.0 - plan.cut_um.mean - spread)


def test_unknown_panel_and_empty_ladder_are_the_users_to_mend() -> None:
    with pytest.raises(ChooseError, match="no finding"):
        choose([layout("roof", 1)], panels=[need("door")], draws=paint(), **BLUNT)
    with pytest.raises(ChooseError, match="no process"):
        choose([layout("roof", 1)], panels=[need("roof")], draws=paint(), p_target=0.9, ladder=())


def test_finishers_fall_back_to_the_mildest_then_to_nothing() -> None:
    assert options.finishers((MID, HARD)) == (0,)
    strong = msgspec.structs.replace(MID, label="mid 2", relative_cut=50.0)
    assert options.finishers((strong, MID, HARD)) == (1,)
    assert options.finishers((HARD,)) == ()
    assert options.stacks((HARD,)) == ((), ((0, 1),), ((0, 2),), ((0, 3),))


def test_thinning_the_menu_changes_no_optimum() -> None:
    """Dropping dominated options must not change the least cost."""
    rng = np.random.default_rng(3)
    for _ in range(50):
        minutes, cut = rng.uniform(1, 9, (2, 12)).round(1)
        kits = [frozenset(rng.choice(3, rng.integers(1, 3), replace=False)) for _ in range(12)]
        keep = menu._undominated(minutes, cut, kits)
        for weight in (0.0, 1.0, 7.0):
            for kit in kits:
                fits = [k for k in range(12) if kits[k] <= kit]
                kept = [k for k in keep if kits[k] <= kit]
                best = min(minutes[k] + weight * cut[k] for k in fits)
                assert min(minutes[k] + weight * cut[k] for k in kept) == pytest.approx(best)


def test_sections_share_a_paint_so_the_car_is_surer_than_independent_sections() -> None:
    needs = [need("roof", 0.9, 9.0), need("door", 0.8, 9.0)]
    found = choose_all(
        Inputs(
            layouts=[layout(n.panel, 3) for n in needs], panels=needs, ladder=LADDER, draws=paint()
        )
    )
    chances = [plan.p_target for plan in found.sections]
    assert np.prod(chances) < found.together <= min(chances)


def test_the_order_of_the_ladder_does_not_matter() -> None:
    needs = [need("roof", 0.9, 9.0), need("door", 0.7, 9.0)]
    there, _ = plans(needs)
    back, _ = plans(needs, ladder=LADDER[::-1])
    assert [p.cut_um.mean for p in there] == pytest.approx([p.cut_um.mean for p in back])


def test_a_strip_takes_the_time_that_its_area_asks() -> None:
    """One stroke along a strip is not a set: it is walked until the exposure is a set's."""
    along = (((0.0, 0.0), (400.0, 0.0)), ((400.0, 2.0), (800.0, 2.0)))
    one = layout("roof", 1).sections[0]
    strip = msgspec.structs.replace(one, area_mm2=800.0 * 90.0, strokes_mm=along)
    assert set_seconds(strip, MID) == pytest.approx(2 * 800 * 90 / (40 * 40))
