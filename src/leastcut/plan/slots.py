"""Free time of people, and the earliest pieces of work that fit into it. Whole minutes."""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from leastcut.plan.shifts import Person, Task, Window

DAY = 1440
LEAST = 15  # shorter pieces of a split task are not worth the walk: common practice, no source


@dataclass(frozen=True)
class Piece:
    """Somebody (or nobody) at a task without a break."""

    task: str
    person: str | None
    start: int
    end: int
    on_machine: float


class Books:
    """One person's free time, and the time on a machine day by day."""

    def __init__(self, hours: Sequence[Window], shop_open: Sequence[Window], most: float) -> None:
        self.free = sorted(
            (max(a, c), min(b, d)) for a, b in hours for c, d in shop_open if max(a, c) < min(b, d)
        )
        self.most = most
        self.machine: dict[int, float] = {}

    def take(self, start: int, end: int, on_machine: float) -> None:
        """Book the time from `start` to `end`."""
        kept = []
        for a, b in self.free:
            kept += [(x, y) for x, y in ((a, min(b, start)), (max(a, end), b)) if x < y]
        self.free = kept
        day = start // DAY
        self.machine[day] = self.machine.get(day, 0.0) + (end - start) * on_machine

    def room(self, at: int, task: Task, minutes: int, own: Mapping[int, float]) -> Window | None:
        """Return the first free time from `at` on that is long enough.

        Parameters
        ----------
        at : int
            Not before [min].
        task : Task
            For its share on a machine and whether it splits.
        minutes : int
            What is left of the task [min].
        own : mapping of int to float
            Time on a machine by day that the same car has taken up already [min].
        """
        enough = min(LEAST, minutes) if task.splits else minutes
        first = max(0, bisect_right(self.free, (at, at)) - 1)
        for a, b in self.free[first:]:
            start = max(a, at)
            length = min(b - start, minutes)
            if task.on_machine > 0:
                day = start // DAY
                left = self.most - self.machine.get(day, 0.0) - own.get(day, 0.0)
                length = min(length, int(left / task.on_machine))
            if length >= enough:
                return start, start + length
        return None


def find_pieces(
    tasks: Sequence[Task], at: int, books: Mapping[str, Books], people: Sequence[Person]
) -> list[Piece] | None:
    """Return the earliest pieces for tasks done one after the other, or None without room.

    A task that splits goes on, piece by piece, with whoever is free first; the rest are done in
    one go by one person.
    """
    pieces: list[Piece] = []
    machine: dict[str, dict[int, float]] = {person.name: {} for person in people}
    for task in tasks:
        if task.skill is None:
            pieces.append(Piece(task.name, None, at, at + task.minutes, 0.0))
            at += task.minutes
            continue
        able = [person.name for person in people if task.skill in person.skills]
        left = task.minutes
        while left > 0:
            piece = _next(task, at, left, {name: books[name] for name in able}, machine)
            if piece is None:
                return None
            pieces.append(piece)
            left -= piece.end - piece.start
            at = piece.end
    return pieces


def _next(
    task: Task,
    at: int,
    left: int,
    books: Mapping[str, Books],
    machine: Mapping[str, dict[int, float]],
) -> Piece | None:
    """Return the piece of whoever can begin first; of those, who can go on longest."""
    rooms = [(book.room(at, task, left, machine[name]), name) for name, book in books.items()]
    found = [(room[0], -room[1], name, room) for room, name in rooms if room is not None]
    if not found:
        return None
    *_, name, (start, end) = min(found)
    day = start // DAY
    machine[name][day] = machine[name].get(day, 0.0) + (end - start) * task.on_machine
    return Piece(task.name, name, start, end, task.on_machine)
