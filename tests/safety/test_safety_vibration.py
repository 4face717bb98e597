"""Vibration and its sharing: additive, monotone, refusing nonsense, keeping every day's limit."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.errors import InputError
from leastcut.safety import sharing, vibration
from leastcut.safety.records import ToolUse

tools = st.builds(
    ToolUse,
    magnitude_m_s2=st.floats(0.5, 30.0),
    minutes=st.floats(0.0, 200.0),
    k_m_s2=st.none() | st.floats(0.0, 5.0),
    name=st.sampled_from(["a", "b"]),
)
days = st.lists(tools, min_size=1, max_size=4)


@settings(max_examples=40, deadline=None)
@given(days)
def test_points_and_squares_add(uses: list[ToolUse]) -> None:
    # source: HSE LP 246/31 par. 24, A(8)² adds; status: seen
    whole = vibration.exposure(uses)
    parts = [vibration.exposure([use]) for use in uses]
    assert whole.points == pytest.approx(math.fsum(p.points for p in parts), abs=1e-9)
    assert whole.a8_m_s2 == pytest.approx(math.hypot(*(p.a8_m_s2 for p in parts)), abs=1e-9)
    assert whole.points_high >= whole.points
    assert whole.a8_m_s2 == pytest.approx(vibration.a8_of_points(whole.points), abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(days, st.floats(1.0, 100.0))
def test_more_minutes_never_leave_more_time(uses: list[ToolUse], more: float) -> None:
    longer = [
        *uses[:-1],
        ToolUse(magnitude_m_s2=uses[-1].magnitude_m_s2, minutes=uses[-1].minutes + more),
    ]
    before, after = vibration.exposure(uses), vibration.exposure(longer)
    assert after.points > before.points
    if len(uses) == 1:
        assert after.minutes_left_to_limit <= before.minutes_left_to_limit


@settings(max_examples=40, deadline=None)
@given(days)
def test_time_to_limit_of_the_mix_ends_at_the_limit(uses: list[ToolUse]) -> None:
    day = vibration.exposure(uses)
    used = math.fsum(use.minutes for use in uses)
    if used > 1e-6 and day.minutes_to_limit < 1000.0:
        stretch = day.minutes_to_limit / used
        scaled = [
            ToolUse(magnitude_m_s2=u.magnitude_m_s2, minutes=min(1440.0, u.minutes * stretch))
            for u in uses
        ]
        assert vibration.exposure(scaled).a8_m_s2 == pytest.approx(5.0, rel=1e-6)


def test_bands_begin_where_the_directive_says() -> None:
    def band(magnitude: float, minutes: float) -> str:
        return vibration.exposure(
            [ToolUse(magnitude_m_s2=magnitude, minutes=minutes, k_m_s2=0.0)]
        ).band

    assert band(2.5, 479.0) == "below action"
    assert band(2.5, 480.0) == "at or above action"
    assert band(5.0, 480.0) == "at or above action"
    assert band(5.0, 481.0) == "above limit"


def test_a_day_without_tools_has_all_the_time() -> None:
    idle = vibration.exposure([])
    assert idle.points == 0.0
    assert math.isinf(idle.minutes_to_limit)
    assert idle.k_assumed is False
    waiting = vibration.exposure([ToolUse(magnitude_m_s2=5.0, minutes=0.0)])
    assert waiting.minutes_to_action == pytest.approx(120.0)
    assert waiting.minutes_to_action_high == pytest.approx(480.0 * 6.25 / 49.0)


def test_total_value_and_points_of_one_tool() -> None:
    assert vibration.total_value(3.0, 4.0, 0.0) == pytest.approx(5.0)
    assert vibration.points(2.5, 480.0) == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("use", "what"),
    [
        (ToolUse(magnitude_m_s2=5.0, minutes=-1.0), "-1 min"),
        (ToolUse(magnitude_m_s2=0.0, minutes=1.0), "0 m/s²"),
        (ToolUse(magnitude_m_s2=500.0, minutes=1.0), "500 m/s²"),
        (ToolUse(magnitude_m_s2=5.0, minutes=1500.0), "24 h"),
        (ToolUse(magnitude_m_s2=5.0, minutes=1.0, k_m_s2=-0.5), "-0.5 m/s²"),
        (ToolUse(magnitude_m_s2=math.nan, minutes=1.0), "nan m/s²"),
    ],
)
def test_impossible_tools_are_refused(use: ToolUse, what: str) -> None:
    with pytest.raises(InputError, match=what):
        vibration.exposure([use])


def test_more_than_a_day_of_tools_is_refused() -> None:
    with pytest.raises(InputError, match="24 h"):
        vibration.exposure([ToolUse(magnitude_m_s2=5.0, minutes=800.0)] * 2)
    with pytest.raises(InputError, match="points"):
        vibration.a8_of_points(-1.0)
    with pytest.raises(InputError, match="axis x"):
        vibration.total_value(-1.0, 0.0, 0.0)


# the nine-hour car


@pytest.mark.parametrize("persons", [1, 2, 4])
def test_nine_hour_car_with_a_6_m_s2_machine_is_shared_and_says_why(persons: int) -> None:
    car = sharing.breaks([ToolUse(magnitude_m_s2=6.0, minutes=540.0)], persons=persons)
    # by hand: 1.4 x 6 = 8.4 m/s², 2 x 8.4² x 9 h = 1270.08 points; 1270.08 / 400 -> 4 shares
    assert car.points_high == pytest.approx(1270.08)
    assert car.person_days == 4
    assert car.days == 4 // persons
    assert car.share_needed
    assert car.above_action
    assert car.rest_minutes > 0.0
    assert "1270 points" in car.why
    assert "400 points" in car.why
    assert ("people" in car.do) == (persons > 1)
    assert "rest 10 min after every 30 min" in car.do
    assert {s.then for s in car.stretches} >= {"rest", "done"}


@settings(max_examples=40, deadline=None)
@given(days, st.integers(1, 3), st.sampled_from(["limit", "action"]), st.floats(5.0, 60.0))
def test_sharing_keeps_work_and_every_days_ceiling(
    uses: list[ToolUse], persons: int, ceiling: sharing.Ceiling, stretch: float
) -> None:
    plan = sharing.breaks(uses, persons=persons, ceiling=ceiling, stretch_minutes=stretch)
    worked = math.fsum(s.minutes for s in plan.stretches)
    assert worked == pytest.approx(math.fsum(u.minutes for u in uses), abs=1e-6)
    assert math.fsum(s.points for s in plan.stretches) == pytest.approx(plan.points_high, abs=1e-6)
    for day in range(1, plan.days + 1):
        for person in range(1, persons + 1):
            mine = [s for s in plan.stretches if (s.day, s.person) == (day, person)]
            assert math.fsum(s.points for s in mine) <= plan.ceiling_points + 1e-6
            on_machine = math.fsum(s.minutes for s in mine)
            assert on_machine + 10.0 * max(0, len(mine) - 1) <= 480.0 + 10.0 * len(uses) + 1e-6
            assert all(s.minutes <= stretch + 1e-9 for s in mine)
    assert plan.share_needed == (plan.person_days > 1)
    if plan.stretches:
        assert plan.stretches[-1].then == "done"


def test_a_short_job_needs_one_person_and_no_warning() -> None:
    small = sharing.breaks([ToolUse(magnitude_m_s2=2.0, minutes=60.0, k_m_s2=0.5, name="m")])
    assert not small.share_needed
    assert not small.above_action
    assert (
        small.do == "One person can do it in a day; rest 10 min after every 30 min on the machine"
    )
    assert [s.then for s in small.stretches] == ["rest", "done"]
    assert "within" in small.why


def test_long_hours_alone_make_a_second_day() -> None:
    mild = sharing.breaks([ToolUse(magnitude_m_s2=1.0, minutes=540.0, k_m_s2=0.0)])
    assert mild.person_days == 2
    assert mild.points_per_share < 100.0
    assert "does not fit a day of 8 h" in mild.why
    assert "one person over 2 days" in mild.do


def test_no_work_is_a_plan_without_stretches() -> None:
    nothing = sharing.breaks([])
    assert nothing.stretches == ()
    assert nothing.why == "there is no work on a machine"


def test_stricter_ceiling_never_takes_fewer_person_days() -> None:
    uses = [ToolUse(magnitude_m_s2=4.0, minutes=300.0, k_m_s2=1.5)]
    action, limit = sharing.breaks(uses, ceiling="action"), sharing.breaks(uses)
    assert action.person_days > limit.person_days
    assert "2.5 m/s²" in action.why


def test_minutes_left_agrees_with_the_exposure() -> None:
    left = sharing.minutes_left(150.0, 5.0, k_m_s2=1.0, ceiling="limit")
    more = vibration.exposure([ToolUse(magnitude_m_s2=6.0, minutes=left, k_m_s2=0.0)])
    assert more.points + 150.0 == pytest.approx(400.0)
    assert sharing.minutes_left(450.0, 5.0, ceiling="limit") == 0.0
    with pytest.raises(InputError):
        sharing.minutes_left(-1.0, 5.0, ceiling="limit")


@pytest.mark.parametrize(
    "changed",
    [{"persons": 0}, {"stretch_minutes": 0.0}, {"rest_minutes": -1.0}, {"day_minutes": 10.0}],
)
def test_impossible_days_are_refused(changed: dict[str, float]) -> None:
    with pytest.raises(InputError):
        sharing.breaks([ToolUse(magnitude_m_s2=4.0, minutes=30.0)], **changed)
    with pytest.raises(InputError, match="K"):
        sharing.breaks([ToolUse(magnitude_m_s2=4.0, minutes=30.0, k_m_s2=-1.0)])
