"""Shop, people, tasks and timetables, as immutable records. Times are whole minutes on one axis."""

import msgspec

Window = tuple[int, int]


class Person(msgspec.Struct, frozen=True, kw_only=True):
    """Somebody who works.

    Attributes
    ----------
    name : str
        Unique in the shop.
    skills : tuple of str
        What they can do.
    machine_minutes : float
        Most minutes a day on a vibrating machine; see ``leastcut safety vibration``.
    hours : tuple of (start, end) or None
        When they work [min]; None for the shop's opening hours.
    """

    name: str
    skills: tuple[str, ...]
    machine_minutes: float = 480.0
    hours: tuple[Window, ...] | None = None


class Shop(msgspec.Struct, frozen=True, kw_only=True):
    """Bays, people, and opening hours within days [min]."""

    bays: tuple[str, ...]
    people: tuple[Person, ...]
    open: tuple[Window, ...]


class Task(msgspec.Struct, frozen=True, kw_only=True):
    """One piece of work on a car.

    Attributes
    ----------
    minutes : int
        How long.
    skill : str or None
        Who can do it; None when nobody need stand by: it then runs on through the night.
    on_machine : float
        Share of the time with a vibrating machine in hand, 0 to 1.
    splits : bool
        Whether it may be laid down and taken up again, also by somebody else.
    """

    name: str
    minutes: int
    skill: str | None = None
    on_machine: float = 0.0
    splits: bool = False


class Booking(msgspec.Struct, frozen=True, kw_only=True):
    """A car with its tasks in order, when it can come, and when it is promised [min]."""

    car: str
    tasks: tuple[Task, ...]
    ready: int = 0
    due: int | None = None


class Slot(msgspec.Struct, frozen=True, kw_only=True):
    """Somebody (or nobody: a cure) at one task of one car, from `start` to `end` [min]."""

    car: str
    task: str
    person: str | None
    bay: str
    start: int
    end: int


class Stay(msgspec.Struct, frozen=True, kw_only=True):
    """A car in a bay, without a break, from `start` to `end` [min]."""

    car: str
    bay: str
    start: int
    end: int


class Unplaced(msgspec.Struct, frozen=True, kw_only=True):
    """A car for which there is no room, and why."""

    car: str
    why: str


class Timetable(msgspec.Struct, frozen=True, kw_only=True):
    """Who does what when; ``late`` is by car, in minutes past the promise."""

    slots: tuple[Slot, ...]
    stays: tuple[Stay, ...]
    late: dict[str, int]
    unplaced: tuple[Unplaced, ...] = ()
