"""The calendar's file and its dates: TOML in, iCalendar out.

The planner counts whole minutes from midnight before the first day; here they become local dates.
iCalendar text follows RFC 5545: lines end in CR LF and are folded at 75 octets (3.1), text is
escaped (3.3.11), times are "floating" local times (3.3.5, form 1); from memory.
"""

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import msgspec

from leastcut.errors import InputError
from leastcut.plan.shifts import Booking, Person, Shop, Task, Timetable, Window
from leastcut.safety.sharing import minutes_left
from leastcut.shop.quantities import SEPARATOR, MetresPerSecondSquared, decode

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
MIDNIGHT = datetime.min.time()


class CalendarFileError(InputError):
    """A calendar file that cannot be used."""


class CarTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A car in the file: its tasks, or the job file they come from; times are local."""

    name: str
    task: tuple[Task, ...] = ()
    job: str | None = None
    ready: datetime | None = None
    due: datetime | None = None


class CalendarFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The calendar file.

    ``open`` gives the hours of each weekday (``mon = ["08:00-12:00", "13:00-17:00"]``), ``closed``
    the days without; ``days`` is how far ahead to look. With the machine's declared vibration
    (``vibration = "6 m/s²"``, ``vibration_k = "1.5 m/s²"``) nobody polishes longer in a day than
    the daily limit allows, K included.
    """

    first_day: date
    bays: tuple[str, ...]
    person: tuple[Person, ...]
    car: tuple[CarTable, ...]
    open: dict[str, tuple[str, ...]]
    closed: tuple[date, ...] = ()
    days: int = 90
    vibration_m_s2: MetresPerSecondSquared | None = msgspec.field(name="vibration", default=None)
    vibration_k_m_s2: MetresPerSecondSquared | None = msgspec.field(
        name="vibration_k", default=None
    )


def read(data: bytes, where: str) -> CalendarFile:
    """Read a calendar file.

    Raises
    ------
    CalendarFileError
        If it is not TOML, lacks a field, or has one too many.
    """
    try:
        return msgspec.toml.decode(data, type=CalendarFile, dec_hook=decode)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise CalendarFileError(
            str(error).replace(SEPARATOR, ". "),
            where=where,
            do="Write it as the planning chapter shows",
        ) from None


def shop_of(file: CalendarFile, where: str) -> Shop:
    """Return bays, people and opening hours over the days ahead.

    Raises
    ------
    CalendarFileError
        If hours cannot be read.
    """
    week = {day: tuple(_window(text, where) for text in file.open.get(day, ())) for day in DAYS}
    unknown = sorted(set(file.open) - set(DAYS))
    if unknown:
        raise CalendarFileError(
            f"no weekday {unknown[0]!r}", where=f"{where} open", do=f"Use {', '.join(DAYS)}"
        )
    hours: list[Window] = []
    for k in range(file.days):
        day = file.first_day + timedelta(days=k)
        if day not in file.closed:
            hours += [(1440 * k + a, 1440 * k + b) for a, b in week[DAYS[day.weekday()]]]
    return Shop(bays=file.bays, people=people_of(file), open=tuple(hours))


def people_of(file: CalendarFile) -> tuple[Person, ...]:
    """Return the people, none longer on the machine in a day than its vibration allows.

    Raises
    ------
    leastcut.safety.check.ExposureError
        If the vibration cannot be as stated.
    """
    if file.vibration_m_s2 is None:
        return file.person
    most = minutes_left(0.0, file.vibration_m_s2, k_m_s2=file.vibration_k_m_s2, ceiling="limit")
    return tuple(
        msgspec.structs.replace(person, machine_minutes=min(person.machine_minutes, most))
        for person in file.person
    )


def _window(text: str, where: str) -> Window:
    found = re.fullmatch(r"(\d{1,2}):(\d{2})\s*[-–]\s*(\d{1,2}):(\d{2})", text.strip())
    if not found:
        raise CalendarFileError(
            f"cannot read the hours {text!r}", where=f"{where} open", do='Write "08:00-17:00"'
        )
    a, b, c, d = (int(part) for part in found.groups())
    return 60 * a + b, 60 * c + d


def bookings_of(file: CalendarFile, tasks_of: Callable[[str], tuple[Task, ...]]) -> list[Booking]:
    """Return the cars with their times in minutes; `tasks_of` gives the tasks of a job file."""
    return [
        Booking(
            car=car.name,
            tasks=car.task if car.job is None else tasks_of(car.job),
            ready=0 if car.ready is None else max(0, minute_of(car.ready, file.first_day)),
            due=None if car.due is None else minute_of(car.due, file.first_day),
        )
        for car in file.car
    ]


def minute_of(when: datetime, first_day: date) -> int:
    """Return a local time in minutes from midnight before the first day."""
    start = datetime.combine(first_day, MIDNIGHT)
    return int((when.replace(tzinfo=None) - start) / timedelta(minutes=1))


def when_of(minute: int, first_day: date) -> datetime:
    """Return the local time of a minute."""
    return datetime.combine(first_day, MIDNIGHT) + timedelta(minutes=minute)


def icalendar(table: Timetable, *, first_day: date, now: datetime) -> str:
    """Return the timetable as iCalendar text, one event per piece of work."""
    stamp = now.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//leastcut//plan//EN"]
    for k, slot in enumerate(table.slots):
        who = slot.person or "nobody needed"
        lines += [
            "BEGIN:VEVENT",
            f"UID:{stamp}-{k}-{slot.start}@leastcut",
            f"DTSTAMP:{stamp}",
            f"DTSTART:{when_of(slot.start, first_day):%Y%m%dT%H%M%S}",
            f"DTEND:{when_of(slot.end, first_day):%Y%m%dT%H%M%S}",
            f"SUMMARY:{escaped(f'{slot.car}: {slot.task} ({who})')}",
            f"LOCATION:{escaped(slot.bay)}",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines)


def escaped(text: str) -> str:
    r"""Escape text for iCalendar (RFC 5545, 3.3.11).

    Examples
    --------
    >>> escaped("wash, dry; wait")
    'wash\\, dry\\; wait'
    """
    for raw, safe in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\r\n", "\\n"), ("\n", "\\n")):
        text = text.replace(raw, safe)
    return text.replace("\r", "\\n")


def folded(line: str) -> str:
    """Fold a line so that none is longer than 75 octets (RFC 5545, 3.1), never inside a letter."""
    rows, row = [], b""
    for letter in line:
        octets = letter.encode()
        if len(row) + len(octets) > 75:
            rows.append(row)
            row = b" "
        row += octets
    return b"\r\n".join([*rows, row]).decode()
