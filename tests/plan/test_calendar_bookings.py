import numpy as np
import pytest
from calendarcheck import faults
from plancases import LADDER, car, layout, need, paint

from leastcut.plan.bookings import booking_of
from leastcut.plan.build import build
from leastcut.plan.calendar import schedule
from leastcut.plan.records import Plan
from leastcut.plan.shifts import Person, Shop


def plan(required: float = 0.9) -> Plan:
    return build(
        [layout("roof", 3)],
        car=car({"roof": 3}),
        panels=[need("roof", required, 9.0)],
        ladder=LADDER,
        draws=paint(),
        rng=np.random.default_rng(1),
    )


def test_a_booking_takes_the_p80_of_the_plan() -> None:
    found = plan()
    booking = booking_of(found, car="blue")
    assert sum(t.minutes for t in booking.tasks) == pytest.approx(found.minutes.p80, abs=4)
    names = [task.name for task in booking.tasks]
    assert names == ["prepare", "test spot", "correct", "protect", "cure", "hand over"]
    correct = booking.tasks[2]
    assert correct.splits
    on_machine = correct.minutes * correct.on_machine
    assert found.section_minutes <= on_machine < 1.5 * found.section_minutes
    assert booking.tasks[4].skill is None


def test_a_car_left_alone_is_still_washed_and_handed_over() -> None:
    names = [task.name for task in booking_of(plan(-1.0), car="clean").tasks]
    assert "correct" not in names or booking_of(plan(-1.0), car="clean").tasks[2].on_machine == 0
    assert {"prepare", "hand over"} <= set(names)


def test_planned_cars_fit_into_a_calendar() -> None:
    open_hours = tuple((d * 1440 + 480, d * 1440 + 1020) for d in range(20))
    shop = Shop(
        bays=("a", "b"),
        people=(
            Person(name="p", skills=("wash", "polish", "protect"), machine_minutes=150),
            Person(name="q", skills=("polish",), machine_minutes=150),
        ),
        open=open_hours,
    )
    cars = [booking_of(plan(), car=name) for name in ("blue", "red", "green")]
    table = schedule(shop, cars, rng=np.random.default_rng(1), rounds=5)
    assert table.unplaced == ()
    assert faults(table, shop, cars) == []
