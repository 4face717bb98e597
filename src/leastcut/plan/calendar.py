"""The shop's calendar: several cars, bays and people with skills, hours and vibration allowance.

Cars are placed one after the other, each where it is ready soonest without breaking any rule (a
serial schedule); a search over the order of the cars then lessens lateness. Every timetable that
comes out keeps all rules; what does not fit is left unplaced and named. Times are whole minutes on
one axis, minute 0 being midnight before the first day; the shell turns them into dates.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import msgspec
import numpy as np

from leastcut.errors import InputError
from leastcut.plan.shifts import Booking, Shop, Slot, Stay, Task, Timetable, Unplaced, Window
from leastcut.plan.slots import DAY, Books, Piece, find_pieces


class CalendarError(InputError):
    """A shop or a booking that no timetable can be made from."""


@dataclass(frozen=True)
class Begun:
    """What has happened already when the calendar is laid again.

    Attributes
    ----------
    slots : sequence of Slot
        Work done or begun; it stays as it is.
    in_bay : mapping of str to Stay
        Cars that stand in a bay: they stay there.
    left : sequence of Stay
        Stays of cars with no work left to place.
    now : int
        Nothing is placed before [min].
    """

    slots: Sequence[Slot] = ()
    in_bay: Mapping[str, Stay] = field(default_factory=dict)
    left: Sequence[Stay] = ()
    now: int = 0


def schedule(
    shop: Shop,
    bookings: Sequence[Booking],
    *,
    rng: np.random.Generator,
    rounds: int = 120,
    begun: Begun | None = None,
) -> Timetable:
    """Lay out a timetable.

    Parameters
    ----------
    shop : Shop
        Bays, people, opening hours.
    bookings : sequence of Booking
        The cars.
    rng : numpy.random.Generator
        For the search over the order of the cars.
    rounds : int
        How many orders to try after the first.
    begun : Begun or None
        What has happened already.

    Returns
    -------
    Timetable
        Keeps every rule: one car at a time in a bay, one task at a time for a person, within
        hours, skills and the daily time on a machine, tasks in order, none before the car is
        ready. Least cars unplaced, then least lateness, then earliest ends.

    Raises
    ------
    CalendarError
        If names are not unique or hours are not in order.
    """
    _check(shop, bookings)
    past = begun or Begun()
    order = sorted(range(len(bookings)), key=lambda i: _urgency(bookings[i]))
    best = _Laid(shop, past).all(bookings, order)
    for _ in range(rounds if len(order) > 1 else 0):
        trial = _moved(order, best, bookings, rng)
        laid = _Laid(shop, past).all(bookings, trial)
        if _merit(laid) <= _merit(best):
            order, best = trial, laid
    return best


def _urgency(booking: Booking) -> tuple[float, int]:
    slack = (
        float("inf")
        if booking.due is None
        else booking.due - sum(task.minutes for task in booking.tasks)
    )
    return slack, booking.ready


def _merit(table: Timetable) -> tuple[int, int, int]:
    ends = sum(stay.end for stay in table.stays)
    return len(table.unplaced), sum(table.late.values()), ends


def _moved(
    order: Sequence[int], best: Timetable, bookings: Sequence[Booking], rng: np.random.Generator
) -> list[int]:
    """Move one car forward, a late one by preference, or swap two."""
    new = list(order)
    late = [i for i in new if bookings[i].car in best.late]
    if late and rng.random() < 0.7:
        i = late[int(rng.integers(len(late)))]
        new.remove(i)
        new.insert(int(rng.integers(order.index(i) + 1)), i)
        return new
    a, b = rng.integers(len(new), size=2)
    new[a], new[b] = new[b], new[a]
    return new


class _Laid:
    """A timetable in the making: the books of people and bays."""

    def __init__(self, shop: Shop, begun: Begun) -> None:
        self.shop = shop
        self.begun = begun
        self.books = {
            person.name: Books(person.hours or shop.open, shop.open, person.machine_minutes)
            for person in shop.people
        }
        self.stays: dict[str, list[Stay]] = {bay: [] for bay in shop.bays}

    def all(self, bookings: Sequence[Booking], order: Sequence[int]) -> Timetable:
        """Place the cars in order: those in a bay first, for they block it."""
        minutes = {(b.car, t.name): t.on_machine for b in bookings for t in b.tasks}
        for slot in self.begun.slots:
            if slot.person is not None:
                share = minutes.get((slot.car, slot.task), 0.0)
                self.books[slot.person].take(slot.start, slot.end, share)
        slots = list(self.begun.slots)
        unplaced = []
        inside = [i for i in order if bookings[i].car in self.begun.in_bay]
        for stay in (*self.begun.left, *self.begun.in_bay.values()):
            self.stays[stay.bay].append(stay)
        for i in [*inside, *(i for i in order if i not in inside)]:
            found = self._place(bookings[i])
            if isinstance(found, Unplaced):
                unplaced.append(found)
            else:
                slots += found
        stays = tuple(stay for bay in self.shop.bays for stay in self.stays[bay])
        due = {b.car: b.due for b in bookings if b.due is not None}
        late = {s.car: s.end - due[s.car] for s in stays if s.car in due and s.end > due[s.car]}
        done = tuple(sorted(slots, key=lambda s: (s.start, s.car)))
        return Timetable(slots=done, stays=stays, late=late, unplaced=tuple(unplaced))

    def _place(self, booking: Booking) -> list[Slot] | Unplaced:
        """Place one car in the bay where it is ready soonest."""
        inside = self.begun.in_bay.get(booking.car)

        @cache  # bays free at the same time get the same pieces
        def find(at: int) -> list[Piece] | None:
            return find_pieces(booking.tasks, at, self.books, self.shop.people)

        tries = [
            (pieces, bay)
            for bay in ([inside.bay] if inside else self.shop.bays)
            if (pieces := self._in_bay(booking, bay, inside, find)) is not None
        ]
        if not tries:
            return Unplaced(car=booking.car, why=self._why(booking))
        pieces, bay = min(tries, key=lambda found: (found[0][-1].end, -found[0][0].start))
        start = inside.start if inside else pieces[0].start
        if inside:
            self.stays[bay].remove(inside)
        self.stays[bay].append(Stay(car=booking.car, bay=bay, start=start, end=pieces[-1].end))
        for piece in pieces:
            if piece.person is not None:
                self.books[piece.person].take(piece.start, piece.end, piece.on_machine)
        return [
            Slot(
                car=booking.car,
                task=piece.task,
                person=piece.person,
                bay=bay,
                start=piece.start,
                end=piece.end,
            )
            for piece in pieces
        ]

    def _in_bay(
        self,
        booking: Booking,
        bay: str,
        inside: Stay | None,
        find: Callable[[int], list[Piece] | None],
    ) -> list[Piece] | None:
        """Return the earliest pieces in one bay, or None when there is no room."""
        own = [slot.end for slot in self.begun.slots if slot.car == booking.car]
        earliest = max([booking.ready, self.begun.now, *own])
        taken = sorted((s.start, s.end) for s in self.stays[bay] if s is not inside)
        starts = sorted({earliest, *(end for _, end in taken if end > earliest)})
        free = [at for at in starts if not any(start <= at < end for start, end in taken)]
        tries = (find(at) for at in free)
        return next((found for found in tries if found is None or _fits(found, taken)), None)

    def _why(self, booking: Booking) -> str:
        skills = {skill for person in self.shop.people for skill in person.skills}
        missing = sorted({t.skill for t in booking.tasks if t.skill} - skills)
        if missing:
            return f"nobody can do: {', '.join(missing)}"
        return "no bay and people free for long enough in the opening hours given"


def _fits(pieces: Sequence[Piece], taken: Sequence[Window]) -> bool:
    begin, end = pieces[0].start, pieces[-1].end
    return not any(start < end and begin < stop for start, stop in taken)


def _check(shop: Shop, bookings: Sequence[Booking]) -> None:
    for what, names in (
        ("bay", shop.bays),
        ("person", [person.name for person in shop.people]),
        ("car", [booking.car for booking in bookings]),
    ):
        twice = sorted({name for name in names if list(names).count(name) > 1})
        if twice:
            raise CalendarError(f"two are called {twice[0]!r}", where=what, do="Name each its own")
    for start, end in (*shop.open, *(w for p in shop.people for w in p.hours or ())):
        if not start < end or start // DAY != (end - 1) // DAY:
            raise CalendarError(
                f"hours from {start} to {end} min", do="Let hours begin and end within one day"
            )
    for booking in bookings:
        if not booking.tasks or any(task.minutes < 1 for task in booking.tasks):
            raise CalendarError(
                "a task without minutes", where=booking.car, do="Give each task a minute or more"
            )


def reflow(
    table: Timetable,
    shop: Shop,
    bookings: Sequence[Booking],
    *,
    now: int,
    longer: Mapping[str, int],
    rng: np.random.Generator,
    rounds: int = 120,
) -> Timetable:
    """Lay the rest of the calendar again when work runs late.

    Parameters
    ----------
    table : Timetable
        The calendar so far; taken as kept up to `now`.
    shop, bookings
        As for :func:`schedule`.
    now : int
        The time [min].
    longer : mapping of str to int
        Minutes that a car's unfinished task takes longer, by car.
    rng : numpy.random.Generator
        For the search.
    rounds : int
        Orders to try.

    Returns
    -------
    Timetable
        What was begun before `now` is kept as planned, an overrun follows as a piece of its own;
        cars in a bay stay in it.
    """
    done = [slot for slot in table.slots if slot.start < now]
    stays = {stay.car: stay for stay in table.stays}
    rest, finished, in_bay = [], [], {}
    for booking in bookings:
        left = _left(booking, [s for s in done if s.car == booking.car], longer)
        if not left:
            finished.append(stays[booking.car])
            continue
        rest.append(msgspec.structs.replace(booking, tasks=left))
        stay = stays.get(booking.car)
        if stay is not None and stay.start < now:
            last = max(slot.end for slot in done if slot.car == booking.car)
            in_bay[booking.car] = msgspec.structs.replace(stay, end=max(last, now))
    begun = Begun(slots=done, in_bay=in_bay, left=finished, now=now)
    laid = schedule(shop, rest, rng=rng, rounds=rounds, begun=begun)
    known = {stay.car: table.late[stay.car] for stay in finished if stay.car in table.late}
    return msgspec.structs.replace(laid, late={**known, **laid.late})


def _left(booking: Booking, done: Sequence[Slot], longer: Mapping[str, int]) -> tuple[Task, ...]:
    """Return the tasks still to do, the first unfinished one lengthened."""
    left = []
    extra = longer.get(booking.car, 0)
    for task in booking.tasks:
        worked = sum(slot.end - slot.start for slot in done if slot.task == task.name)
        minutes = task.minutes - worked
        if minutes > 0:
            left.append(msgspec.structs.replace(task, minutes=minutes + extra, splits=task.splits))
            extra = 0
    return tuple(left)
