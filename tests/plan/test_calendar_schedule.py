import itertools
import time

import msgspec
import numpy as np
import pytest
from calendarcheck import faults
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.plan.calendar import Begun, CalendarError, _Laid, reflow, schedule
from leastcut.plan.shifts import Booking, Person, Shop, Stay, Task, Timetable

OPEN = tuple((day * 1440 + 480, day * 1440 + 1080) for day in range(60) if day % 7 < 5)


def shop(n_bays: int = 4, n_people: int = 6) -> Shop:
    skills = [("wash", "polish"), ("polish",), ("polish", "protect"), ("wash", "protect")]
    return Shop(
        bays=tuple(f"bay {i + 1}" for i in range(n_bays)),
        people=tuple(
            Person(name=f"person {i + 1}", skills=skills[i % 4], machine_minutes=[240, 150][i % 2])
            for i in range(n_people)
        ),
        open=OPEN,
    )


def booking(car: str, rng: np.random.Generator) -> Booking:
    ready = int(rng.integers(0, 10)) * 1440
    return Booking(
        car=car,
        tasks=(
            Task(name="prepare", minutes=int(rng.integers(60, 180)), skill="wash"),
            Task(
                name="correct",
                minutes=int(rng.integers(120, 1200)),
                skill="polish",
                on_machine=0.6,
                splits=True,
            ),
            Task(name="protect", minutes=int(rng.integers(40, 120)), skill="protect"),
            Task(name="cure", minutes=int(rng.integers(60, 900)), skill=None),
            Task(name="hand over", minutes=20, skill="wash"),
        ),
        ready=ready,
        due=ready + int(rng.integers(2, 12)) * 1440,
    )


def bookings(n: int, seed: int) -> list[Booking]:
    rng = np.random.default_rng(seed)
    return [booking(f"car {i + 1}", rng) for i in range(n)]


def laid(n: int, seed: int, rounds: int = 8) -> tuple[Timetable, Shop, list[Booking]]:
    cars, house = bookings(n, seed), shop()
    return schedule(house, cars, rng=np.random.default_rng(1), rounds=rounds), house, cars


def test_thirty_cars_four_bays_six_people_in_ten_seconds() -> None:
    begin = time.process_time()
    table, house, cars = laid(30, seed=2, rounds=12)
    assert time.process_time() - begin < 10
    assert table.unplaced == ()
    assert faults(table, house, cars) == []


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 8))
def test_no_rule_is_broken(seed: int, n: int) -> None:
    table, house, cars = laid(n, seed, rounds=5)
    assert faults(table, house, cars) == []


def test_the_checker_sees_what_is_broken() -> None:
    """A checker that cannot fail would prove nothing: break each rule once."""
    table, house, cars = laid(6, seed=3, rounds=0)
    slots, stays = list(table.slots), list(table.stays)
    worker = next(s for s in slots if s.task == "correct")
    at = slots.index(worker)

    def broken(**change: object) -> str:
        other = [*slots[:at], msgspec.structs.replace(worker, **change), *slots[at + 1 :]]
        return " ".join(faults(msgspec.structs.replace(table, slots=tuple(other)), house, cars))

    assert "wrong length" in broken(end=worker.end + 30)
    assert "out of hours" in broken(start=worker.start // 1440 * 1440, end=worker.end)
    assert "cannot do" in broken(person="person 4")
    assert "outside its bay" in broken(bay="bay 9")
    assert "begins too early" in broken(start=0, end=worker.end - worker.start)
    crowd = tuple(msgspec.structs.replace(s, bay="bay 1") for s in stays)
    assert "at once" in " ".join(faults(msgspec.structs.replace(table, stays=crowd), house, cars))
    tired = Shop(
        bays=house.bays,
        people=tuple(msgspec.structs.replace(p, machine_minutes=30.0) for p in house.people),
        open=house.open,
    )
    assert "too long on the machine" in " ".join(faults(table, tired, cars))


def test_the_search_never_makes_it_worse() -> None:
    quick, *_ = laid(14, seed=4, rounds=0)
    longer, *_ = laid(14, seed=4, rounds=20)
    assert sum(longer.late.values()) <= sum(quick.late.values())


def test_the_search_finds_the_best_of_all_orders_of_five_cars() -> None:
    house, cars = shop(n_bays=1, n_people=3), bookings(5, seed=9)
    every = [
        _Laid(house, Begun()).all(cars, list(order)) for order in itertools.permutations(range(5))
    ]
    least = min(sum(t.late.values()) for t in every)
    assert least < max(sum(t.late.values()) for t in every)
    found = schedule(house, cars, rng=np.random.default_rng(1), rounds=80)
    assert sum(found.late.values()) == least


def test_one_car_one_person_by_hand() -> None:
    one = Shop(
        bays=("a",), people=(Person(name="p", skills=("polish",), machine_minutes=120),), open=OPEN
    )
    task = Task(name="correct", minutes=400, skill="polish", on_machine=0.5, splits=True)
    table = schedule(one, [Booking(car="c", tasks=(task,))], rng=np.random.default_rng(1))
    spans = [(s.start, s.end) for s in table.slots]
    # 120 machine minutes at half the time allow 240 min a day: 8:00 to 12:00, then 160 min more
    assert spans == [(480, 720), (1440 + 480, 1440 + 640)]
    assert table.stays == (Stay(car="c", bay="a", start=480, end=2080),)


def test_a_cure_runs_through_the_night_and_hand_over_waits_for_morning() -> None:
    one = Shop(bays=("a",), people=(Person(name="p", skills=("wash",)),), open=OPEN)
    tasks = (
        Task(name="protect", minutes=570, skill="wash"),
        Task(name="cure", minutes=300, skill=None),
        Task(name="hand over", minutes=20, skill="wash"),
    )
    table = schedule(one, [Booking(car="c", tasks=tasks)], rng=np.random.default_rng(1))
    assert [(s.start, s.end) for s in table.slots] == [(480, 1050), (1050, 1350), (1920, 1940)]


@pytest.mark.parametrize(
    ("task", "why"),
    [
        (Task(name="wrap", minutes=60, skill="wrap"), "nobody can do: wrap"),
        (Task(name="wash", minutes=700, skill="wash"), "free for long enough"),
    ],
)
def test_what_cannot_be_placed_says_why(task: Task, why: str) -> None:
    table = schedule(shop(), [Booking(car="c", tasks=(task,))], rng=np.random.default_rng(1))
    assert (table.slots, table.stays) == ((), ())
    assert why in table.unplaced[0].why


def test_running_late_moves_the_rest_and_keeps_what_is_done() -> None:
    table, house, cars = laid(10, seed=6)
    slot = next(s for s in table.slots if s.task == "correct" and s.start > OPEN[4][0])
    now, late = slot.start + 30, slot.car
    after = reflow(
        table, house, cars, now=now, longer={late: 200}, rng=np.random.default_rng(2), rounds=8
    )
    stretched = [_stretched(b, 200, "correct") if b.car == late else b for b in cars]
    assert faults(after, house, stretched) == []
    assert {s for s in table.slots if s.start < now} <= set(after.slots)
    first = {s.car: s for s in table.stays if s.start < now}
    assert len(first) >= 2
    for stay in after.stays:
        if stay.car in first:
            assert (stay.bay, stay.start) == (first[stay.car].bay, first[stay.car].start)
    ends = [
        max(s.end for s in t.slots if (s.car, s.task) == (late, "correct")) for t in (table, after)
    ]
    assert ends[0] < ends[1]


def _stretched(booking: Booking, minutes: int, name: str) -> Booking:
    tasks = [
        msgspec.structs.replace(t, minutes=t.minutes + minutes) if t.name == name else t
        for t in booking.tasks
    ]
    return msgspec.structs.replace(booking, tasks=tuple(tasks))


def test_nothing_late_and_nothing_new_keeps_the_finished_cars() -> None:
    table, house, cars = laid(5, seed=7)
    end = max(stay.end for stay in table.stays) + 1
    after = reflow(table, house, cars, now=end, longer={}, rng=np.random.default_rng(2))
    assert sorted(after.stays, key=str) == sorted(table.stays, key=str)
    assert after.slots == table.slots


@pytest.mark.parametrize(
    ("house", "cars", "word"),
    [
        (Shop(bays=("a", "a"), people=(), open=OPEN), [], "two are called 'a'"),
        (Shop(bays=("a",), people=(), open=((600, 500),)), [], "hours from 600"),
        (Shop(bays=("a",), people=(), open=((600, 2000),)), [], "hours from 600"),
        (Shop(bays=("a",), people=(), open=OPEN), [Booking(car="c", tasks=())], "without minutes"),
    ],
)
def test_shops_that_cannot_be(house: Shop, cars: list[Booking], word: str) -> None:
    with pytest.raises(CalendarError, match=word):
        schedule(house, cars, rng=np.random.default_rng(1))
