"""Rests from vibration in the plan: from the machine's declared value, with the reason."""

import pytest

from leastcut.car.records import Interval
from leastcut.plan.operations import RESTS
from leastcut.plan.records import Operation
from leastcut.plan.rests import note_of, share_of, with_rests
from leastcut.safety.check import ExposureError

HOURS_9 = 9 * 3600.0


def operation(name: str, mean: float) -> Operation:
    minutes = Interval(mean=mean, low=mean, high=mean)
    return Operation(stage="work", name=name, minutes=minutes, source="usual")


def test_nine_hours_at_six_need_more_than_one_person_day() -> None:
    share = share_of(HOURS_9, magnitude_m_s2=6.0, k_m_s2=0.0, persons=1)
    # source: HSE points rule n = 2·a²·T(h), 400 points = 5 m/s² A(8); status: seen, recomputed:
    # 2 · 36 · 9 = 648 points, more than one day's 400
    assert share.points == pytest.approx(648)
    assert share.person_days >= 2
    (note,) = note_of(share)
    assert "648" in note
    assert "400 points" in note


def test_a_second_person_halves_the_days() -> None:
    alone = share_of(HOURS_9, magnitude_m_s2=6.0, k_m_s2=1.5, persons=1)
    two = share_of(HOURS_9, magnitude_m_s2=6.0, k_m_s2=1.5, persons=2)
    assert two.days < alone.days
    assert two.person_days == alone.person_days


def test_rests_take_the_place_of_the_usual_ones() -> None:
    share = share_of(2 * 3600.0, magnitude_m_s2=4.0, k_m_s2=1.0, persons=1)
    day = (operation("tape", 20.0), operation(RESTS, 99.0), operation("protect", 30.0))
    rested = with_rests(day, share)
    assert [o.name for o in rested] == ["tape", RESTS, "protect"]
    assert rested[1].minutes.mean == share.rest_minutes > 0
    assert rested[1].source == share.source
    assert note_of(share) == ()


def test_no_rest_where_none_is_needed() -> None:
    share = share_of(600.0, magnitude_m_s2=2.0, k_m_s2=0.5, persons=1)
    assert with_rests((operation(RESTS, 5.0),), share) == ()
    assert with_rests((operation("tape", 5.0),), share) == (operation("tape", 5.0),)


def test_a_machine_that_cannot_be() -> None:
    with pytest.raises(ExposureError):
        share_of(600.0, magnitude_m_s2=-1.0, k_m_s2=None, persons=1)
