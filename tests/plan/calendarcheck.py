"""An independent checker of timetables: it shares no code with the scheduler, and says what broke."""

from collections import defaultdict
from collections.abc import Sequence
from itertools import combinations

from leastcut.plan.shifts import Booking, Shop, Slot, Timetable


def faults(table: Timetable, shop: Shop, bookings: Sequence[Booking]) -> list[str]:
    """Return every broken rule in words; empty when the timetable is sound."""
    placed = {b.car: b for b in bookings}
    absent = {u.car for u in table.unplaced}
    found = [*_people(table, shop, placed), *_bays(table), *_hours(table, shop)]
    for car, booking in placed.items():
        slots = sorted((s for s in table.slots if s.car == car), key=lambda s: s.start)
        if car in absent:
            found += [f"{car} is unplaced but has slots"] if slots else []
            continue
        found += _tasks(booking, slots)
        found += _stay(booking, slots, table)
    return found


def _tasks(booking: Booking, slots: Sequence[Slot]) -> list[str]:
    found = []
    clock = booking.ready
    rest = list(slots)
    for task in booking.tasks:
        mine = [s for s in rest if s.task == task.name]
        rest = [s for s in rest if s.task != task.name]
        if sum(s.end - s.start for s in mine) != task.minutes:
            found.append(f"{booking.car}: {task.name} has the wrong length")
        if mine and min(s.start for s in mine) < clock:
            found.append(f"{booking.car}: {task.name} begins too early")
        if not task.splits and len(mine) != 1:
            found.append(f"{booking.car}: {task.name} is torn apart")
        clock = max([clock, *(s.end for s in mine)])
    if rest:
        found.append(f"{booking.car}: work that nobody ordered")
    return found


def _stay(booking: Booking, slots: Sequence[Slot], table: Timetable) -> list[str]:
    stays = [s for s in table.stays if s.car == booking.car]
    if len(stays) != 1:
        return [f"{booking.car} stands in {len(stays)} bays"]
    stay = stays[0]
    found = []
    inside = [s.bay == stay.bay and stay.start <= s.start < s.end <= stay.end for s in slots]
    if not all(inside):
        found.append(f"{booking.car}: work outside its bay")
    over = stay.end - booking.due if booking.due is not None else 0
    if max(over, 0) != table.late.get(booking.car, 0):
        found.append(f"{booking.car}: lateness misstated")
    return found


def _people(table: Timetable, shop: Shop, bookings: dict[str, Booking]) -> list[str]:
    found = []
    skills = {p.name: set(p.skills) for p in shop.people}
    machine: defaultdict[tuple[str, int], float] = defaultdict(float)
    minutes: dict[str, set[int]] = {p.name: set() for p in shop.people}
    for slot in table.slots:
        task = next(t for t in bookings[slot.car].tasks if t.name == slot.task)
        if slot.person is None:
            found += [f"{slot.car}: nobody at {slot.task}"] if task.skill else []
            continue
        if task.skill not in skills[slot.person]:
            found.append(f"{slot.person} cannot do {slot.task}")
        span = set(range(slot.start, slot.end))
        if span & minutes[slot.person]:
            found.append(f"{slot.person} is in two places")
        minutes[slot.person] |= span
        machine[slot.person, slot.start // 1440] += (slot.end - slot.start) * task.on_machine
    most = {p.name: p.machine_minutes for p in shop.people}
    return found + [
        f"{person} is too long on the machine on day {day}"
        for (person, day), used in machine.items()
        if used > most[person] + 1e-6
    ]


def _bays(table: Timetable) -> list[str]:
    return [
        f"{a.car} and {b.car} in bay {a.bay} at once"
        for a, b in combinations(table.stays, 2)
        if a.bay == b.bay and a.start < b.end and b.start < a.end
    ]


def _hours(table: Timetable, shop: Shop) -> list[str]:
    open_minutes = {m for start, end in shop.open for m in range(start, end)}
    own = {
        p.name: {m for start, end in p.hours for m in range(start, end)}
        for p in shop.people
        if p.hours is not None
    }
    found = []
    for slot in (s for s in table.slots if s.person is not None):
        span = set(range(slot.start, slot.end))
        if not (span <= open_minutes and span <= own.get(slot.person, span)):
            found += [f"{slot.person} works out of hours at {slot.start}"]
    return found
