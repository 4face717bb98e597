from decimal import Decimal

import msgspec
import numpy as np
import pytest
from plancases import HARD, LADDER, car, layout, need, paint

from leastcut.plan.build import Around
from leastcut.plan.choose import Inputs, choose_all
from leastcut.plan.frontier import frontier, offers, with_left
from leastcut.plan.menu import ChooseError
from leastcut.plan.records import Answer, Change, Plan, Rates
from leastcut.plan.whatif import ask, changed, with_processes
from leastcut.testspot.paint import RELATIVE_CUT_SD

NEEDS = (need("roof", 0.9, 6.0), need("door", 0.8, 6.0))
INPUTS = Inputs(
    layouts=[layout(n.panel, 2) for n in NEEDS], panels=NEEDS, ladder=LADDER, draws=paint()
)
AROUND = Around(
    car=car({"roof": 2, "door": 2}),
    rates=Rates(currency="EUR", labour_per_hour=Decimal(70)),
)


def what_if(**change: object) -> tuple[Answer, Plan]:
    return ask(INPUTS, Change(**change), around=AROUND, rng=np.random.default_rng(1))


def test_no_change_changes_nothing() -> None:
    answer, _ = what_if()
    assert answer.before == answer.after
    assert answer.changed == ()
    assert answer.say == "No section would be worked otherwise."


def test_leaving_a_panel_saves_its_time_and_money() -> None:
    answer, plan = what_if(leave=("door",))
    assert set(answer.changed) == {"door-1", "door-2"}
    assert answer.after.minutes.p50 < answer.before.minutes.p50
    assert answer.after.total < answer.before.total
    assert "by wish" in " ".join(plan.notes)
    assert answer.say.startswith("2 sections would be worked otherwise")


def test_less_budget_never_cuts_more() -> None:
    answer, _ = what_if(budget_um={"roof": 1.0})
    assert answer.after.cut_um < answer.before.cut_um
    assert answer.after.worst_percent < 90
    assert any((r.panel, r.constraint) == ("roof", "clear coat") for r in answer.relaxations)


def test_a_surer_wish_and_a_harder_one_cost_more() -> None:
    for change in ({"p_target": 0.99}, {"required": {"roof": 0.95}}):
        answer, _ = what_if(**change)
        assert answer.after.cut_um > answer.before.cut_um


def test_dearer_clear_coat_and_fewer_minutes_pull_apart() -> None:
    spare, _ = what_if(minutes_per_um=500.0)
    assert spare.after.cut_um <= spare.before.cut_um
    hurry, _ = what_if(minutes=1.0)
    assert hurry.relaxations[0].constraint == "minutes"


def test_no_finishing_step_leaves_more_haze_or_the_same() -> None:
    found = changed(INPUTS, Change(finish_step=False), rng=np.random.default_rng(2))
    hard_alone = [s for s in choose_all(found).sections if [x.process for x in s.steps] == ["hard"]]
    assert all(s.steps[-1].process != "hard" for s in choose_all(INPUTS).sections if s.steps)
    assert found.finish_step is False
    assert all(s.p_target >= 0.9 for s in hard_alone)


def test_a_stronger_process_is_weighed_from_its_prior() -> None:
    wool = msgspec.structs.replace(HARD, label="wool", pad="wool")
    rng = np.random.default_rng(3)
    found = changed(INPUTS, Change(add=(wool,), without=("hard",)), rng=rng)
    assert [p.label for p in found.ladder] == ["fine", "mid", "wool"]
    draws = with_processes(INPUTS.draws, [wool], rng=np.random.default_rng(3))
    column = draws.relative_cut[:, draws.column("wool")]
    assert np.log(column).std() == pytest.approx(RELATIVE_CUT_SD, rel=0.1)
    assert np.median(column) > np.median(draws.relative_cut[:, draws.column("mid")])
    answer, _ = what_if(add=(wool,))
    assert answer.after.worst_percent >= 90


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"leave": ("wing",)}, "no panel 'wing'"),
        ({"without": ("wool",)}, "no process 'wool'"),
        ({"add": (HARD,)}, "already"),
        ({"without": ("fine", "mid", "hard")}, "no process at hand"),
    ],
)
def test_changes_that_cannot_be(change: dict[str, object], word: str) -> None:
    with pytest.raises(ChooseError, match=word):
        what_if(**change)


def test_no_point_of_the_frontier_is_beaten() -> None:
    points = frontier(INPUTS)
    assert len(points) >= 4
    table = np.array([(p.work_minutes, p.cut_um, -p.removed_percent) for p in points])
    for row in table:
        as_good = (table <= row + 1e-9).all(axis=1) & (table < row - 1e-9).any(axis=1)
        assert not as_good.any()
    assert [p.work_minutes for p in points] == sorted(p.work_minutes for p in points)


def test_a_better_finish_costs_clear_coat_along_the_frontier() -> None:
    points = frontier(INPUTS, minutes_per_um=(10.0,))
    by_finish = sorted(points, key=lambda p: p.removed_percent)
    assert by_finish[0].cut_um < by_finish[-1].cut_um


def test_a_clean_car_has_no_frontier() -> None:
    clean = need("roof", -0.5)
    alone = Inputs(layouts=[layout("roof", 1)], panels=[clean], ladder=LADDER, draws=paint())
    assert frontier(alone) == ()
    assert with_left(alone, 3.0).panels == [clean]


def test_three_offers_rise_in_finish_clear_coat_and_price() -> None:
    light, asked, fine = offers(INPUTS, around=AROUND, rng=np.random.default_rng(4))
    assert (light.name, asked.name, fine.name) == ("light", "asked", "fine")
    for less, more in ((light, asked), (asked, fine)):
        assert less.figures.cut_um < more.figures.cut_um
        assert less.figures.removed_percent < more.figures.removed_percent
        assert less.figures.total <= more.figures.total
    assert msgspec.json.decode(msgspec.json.encode(light)) is not None
