import pytest
from plancases import LADDER, car, layout, need, paint

from leastcut.car.records import Interval
from leastcut.plan import operations
from leastcut.plan.choose import choose
from leastcut.plan.learn import Learnt
from leastcut.plan.operations import NORMS, day, painted_m2
from leastcut.plan.records import PanelNeed, SectionPlan


def worked(needs: list[PanelNeed]) -> tuple[SectionPlan, ...]:
    layouts = [layout(n.panel, 2) for n in needs]
    return choose(layouts, panels=needs, ladder=LADDER, draws=paint(), p_target=0.9)[0]


CAR = car({"roof": 2, "door": 2})


def test_painted_area_takes_keep_outs_off() -> None:
    assert painted_m2(CAR) == pytest.approx(2 * (1.0 * 0.5 - 0.05**2))


def test_the_day_lists_the_operations_of_a_real_one() -> None:
    names = [o.name for o in day(CAR, worked([need("roof"), need("door")]))]
    for word in ("move", "wash", "clay", "dry", "tape", "look", "trials", "wipe", "clean", "cure"):
        assert any(word in name for name in names), word
    assert names == [norm.name for norm in NORMS if norm.name in names]


def test_every_duration_has_bounds_and_a_source() -> None:
    for operation in day(CAR, worked([need("roof"), need("door")])):
        assert 0 < operation.minutes.low < operation.minutes.mean < operation.minutes.high
        assert operation.source


def test_nothing_worked_needs_no_tape_and_no_trial_needs_no_test_spot() -> None:
    names = [o.name for o in day(CAR, worked([need("roof", -1), need("door", -1)]), n_trials=0)]
    assert not {"tape", "trials", "prime and change pads", "clean pads"} & set(names)
    assert "rinse and wash" in names


def test_counts_follow_the_plan() -> None:
    sections = worked([need("roof"), need("door", -1)])
    count = operations.counts(CAR, sections, n_trials=3)
    steps = [step for section in sections for step in section.steps]
    assert count["steps"] == len(steps)
    assert count["step m2"] == pytest.approx(0.25 * len(steps))
    assert count["worked panels"] == 1
    assert count["panels"] == 2
    assert count["changes"] == len({step.process for step in steps})
    assert count["hours"] == int(sum(step.seconds for step in steps) // 3600)


def test_the_shops_own_pace_scales_the_default() -> None:
    factor = {"clay": Interval(mean=1.5, low=1.2, high=1.9)}
    own = Learnt(factor=factor, correlation=0.4, n_jobs=12)
    slow = {o.name: o for o in day(CAR, (), learnt=own)}
    norm = {o.name: o for o in day(CAR, ())}
    assert slow["clay"].minutes.mean == pytest.approx(1.5 * norm["clay"].minutes.mean)
    assert slow["clay"].minutes.high == pytest.approx(1.9 * norm["clay"].minutes.mean)
    assert slow["clay"].source == "own runs, 12 jobs"
    assert slow["dry"] == norm["dry"]


def test_the_cure_needs_nobody() -> None:
    assert [o.name for o in day(CAR, ()) if not o.attended] == ["cure"]
