"""More commands of the plan stage: offers, what-if, quote, calendar."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from leastcut.cli import options
from leastcut.errors import InputError

if TYPE_CHECKING:
    from leastcut.plan.records import Figures, Plan
    from leastcut.plan.shifts import Task, Timetable

SEED = 20  # the same job gives the same quote


class OptionError(InputError):
    """An option that cannot be read."""


_pace_log = click.option(
    "--pace",
    "log",
    type=click.Path(path_type=Path),
    help="CSV log of your own operation times to plan by; see plan pace.",
)


@click.command()
@options.job_file
@_pace_log
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Folder for the pictures.")
@options.as_json
def offers(job_file: Path, log: Path | None, out: Path | None, *, as_json: bool) -> None:
    """Make three offers to the client, and draw minutes against clear coat against finish."""
    import msgspec
    import numpy as np

    from leastcut.cli.plan_job import inputs_of
    from leastcut.plan.frontier import frontier
    from leastcut.plan.frontier import offers as three

    inputs, around = inputs_of(job_file, log=log)
    found = three(inputs, around=around, rng=np.random.default_rng(SEED))
    points = frontier(inputs)
    if out is not None:
        _draw(out, found[1].plan, points)
    if as_json:
        rows = [
            {
                "name": offer.name,
                "what": offer.what,
                "left_factor": offer.left_factor,
                "figures": offer.figures,
            }
            for offer in found
        ]
        click.echo(msgspec.json.encode({"offers": rows, "frontier": points}).decode())
        return
    for offer in found:
        click.echo(f"{offer.name:6} {_line(offer.figures)}\n       {offer.what}")


def _draw(folder: Path, plan: "Plan", points: Sequence[object]) -> None:
    """Write the pictures of the plan asked for."""
    from leastcut.plan import pictures
    from leastcut.shop.files import write_whole

    drawn = {
        "day.svg": pictures.draw_day(pictures.day_bars(plan)),
        "frontier.svg": pictures.draw_frontier(points),  # type: ignore[arg-type]
    }
    if plan.price:
        shares = pictures.price_shares(plan.price)
        drawn["price.svg"] = pictures.draw_price(shares, currency=plan.price.currency)
    folder.mkdir(parents=True, exist_ok=True)
    for name, svg in drawn.items():
        write_whole(folder / name, svg)


def _line(figures: "Figures") -> str:
    """Say what a plan comes to in one line."""
    gone = figures.removed_percent
    parts = [
        f"{figures.minutes.p50 / 60:.1f} h (P80 {figures.minutes.p80 / 60:.1f} h)",
        f"{figures.cut_um:.2f} µm of clear coat",
        "nothing to remove" if gone is None else f"{gone:.0f} % of the scratches gone",
    ]
    return ", ".join(parts if figures.total is None else [*parts, f"price {figures.total}"])


@click.command("what-if")
@options.job_file
@click.option("--without", multiple=True, metavar="PROCESS", help="Take a process off the ladder.")
@click.option("--leave", multiple=True, metavar="PANEL", help="Leave a panel alone.")
@click.option("--budget", multiple=True, metavar="PANEL=UM", help="Set a panel's budget [µm].")
@click.option("--required", multiple=True, metavar="PANEL=PERCENT", help="Share that must go.")
@click.option("--minutes", type=float, help="Most minutes on the sections.")
@click.option("--minutes-per-um", type=float, help="What 1 µm on a section is worth in minutes.")
@click.option("--chance", type=float, help="Chance of meeting the target [%].")
@click.option("--no-finish", is_flag=True, help="No finishing step after a process that hazes.")
@options.as_json
def what_if(
    job_file: Path,
    *,
    without: tuple[str, ...],
    leave: tuple[str, ...],
    budget: tuple[str, ...],
    required: tuple[str, ...],
    minutes: float | None,
    minutes_per_um: float | None,
    chance: float | None,
    no_finish: bool,
    as_json: bool,
) -> None:
    """Change a number and see what the plan answers."""
    import msgspec
    import numpy as np

    from leastcut.cli.plan_job import inputs_of
    from leastcut.plan.records import Change
    from leastcut.plan.whatif import ask
    from leastcut.plan.wishes import gathered

    change = Change(
        without=without,
        leave=leave,
        budget_um=_pairs(budget, "--budget"),
        required={k: v / 100 for k, v in _pairs(required, "--required").items()},
        minutes=minutes,
        minutes_per_um=minutes_per_um,
        p_target=None if chance is None else chance / 100,
        finish_step=False if no_finish else None,
    )
    inputs, around = inputs_of(job_file)
    answer, _ = ask(inputs, change, around=around, rng=np.random.default_rng(SEED))
    if as_json:
        click.echo(msgspec.json.encode(answer).decode())
        return
    click.echo(f"now    {_line(answer.before)}\nthen   {_line(answer.after)}\n{answer.say}")
    for line in gathered(answer.relaxations):
        click.echo(f"  {line}")


def _pairs(given: tuple[str, ...], option: str) -> dict[str, float]:
    """Read ``name=number`` pairs."""
    found = {}
    for pair in given:
        name, _, number = pair.rpartition("=")
        try:
            found[name] = float(number)
        except ValueError:
            name = ""
        if not name:
            raise OptionError(
                f"cannot read {pair!r}", where=option, do="Write the panel, =, and a number"
            )
    return found


@click.command()
@options.job_file
@_pace_log
@click.option("-o", "--out", type=click.Path(path_type=Path), help="CSV file for the quote.")
@options.as_json
def quote(job_file: Path, log: Path | None, out: Path | None, *, as_json: bool) -> None:
    """Print the quote line by line, and write it as CSV; the job needs a prices table."""
    import msgspec
    import numpy as np

    from leastcut.cli.plan_job import inputs_of
    from leastcut.plan.build import plan_of
    from leastcut.plan.quote import rows
    from leastcut.shop.files import write_whole

    inputs, around = inputs_of(job_file, log=log)
    plan, _ = plan_of(inputs, around=around, rng=np.random.default_rng(SEED))
    if plan.price is None:
        raise OptionError("no prices", where=str(job_file), do="Add a [prices] table to the job")
    if out is not None:
        write_whole(out, _csv(rows(plan.price)))
    if as_json:
        click.echo(msgspec.json.encode(plan.price).decode())
        return
    for what, amount, currency in rows(plan.price)[1:]:
        click.echo(f"{amount:>12} {currency}  {what}")
    for risk in plan.price.risks:
        click.echo(f"  {risk}")


def _csv(table: Sequence[tuple[str, str, str]]) -> str:
    import csv
    import io

    text = io.StringIO()
    csv.writer(text).writerows(table)
    return text.getvalue()


@click.command()
@click.argument("calendar_file", metavar="CALENDAR.toml", type=click.Path(path_type=Path))
@click.option("-o", "--out", type=click.Path(path_type=Path), help="iCalendar file to write.")
@options.as_json
def calendar(calendar_file: Path, out: Path | None, *, as_json: bool) -> None:
    """Lay out cars over bays and people, and write the calendar."""
    from datetime import UTC, datetime

    import msgspec
    import numpy as np

    from leastcut.cli import plan_dates
    from leastcut.plan.calendar import schedule
    from leastcut.shop.files import write_whole

    where = str(calendar_file)
    try:
        data = calendar_file.read_bytes()
    except OSError as error:
        raise OptionError(
            error.strerror or "cannot read it", where=where, do="Name a file"
        ) from None
    file = plan_dates.read(data, where)
    shop = plan_dates.shop_of(file, where)
    cars = plan_dates.bookings_of(file, lambda name: _planned(calendar_file.parent / name))
    table = schedule(shop, cars, rng=np.random.default_rng(SEED))
    if out is not None:
        now = datetime.now(UTC)
        write_whole(out, plan_dates.icalendar(table, first_day=file.first_day, now=now))
    if as_json:
        click.echo(msgspec.json.encode(table).decode())
    else:
        _show(table, file)


def _planned(job: Path) -> "tuple[Task, ...]":
    """Plan a job file and return its tasks."""
    import numpy as np

    from leastcut.cli.plan_job import inputs_of
    from leastcut.plan.bookings import booking_of
    from leastcut.plan.build import plan_of

    inputs, around = inputs_of(job)
    plan, _ = plan_of(inputs, around=around, rng=np.random.default_rng(SEED))
    return booking_of(plan, car=job.stem).tasks


def _show(table: "Timetable", file: object) -> None:
    from leastcut.cli.plan_dates import CalendarFile, when_of

    assert isinstance(file, CalendarFile)
    for slot in table.slots:
        begin, end = (when_of(minute, file.first_day) for minute in (slot.start, slot.end))
        who = slot.person or "-"
        click.echo(
            f"{begin:%a %d %b %H:%M} - {end:%a %H:%M}  {slot.bay:8} {slot.car:12} {slot.task}  {who}"
        )
    for car, minutes in sorted(table.late.items()):
        click.echo(f"{car}: {minutes / 60:.1f} h later than promised")
    for left in table.unplaced:
        click.echo(f"{left.car}: no room. {left.why}")


@click.command()
@click.argument("log", metavar="LOG.csv", type=click.Path(path_type=Path))
@options.as_json
def pace(log: Path, *, as_json: bool) -> None:
    """Learn your own pace from LOG.csv: job, operation, planned_minutes, actual_minutes.

    Planned minutes are those of the plan without a log; call the time on the paint "sets".
    """
    import msgspec

    from leastcut.cli.plan_job import log_of
    from leastcut.plan.learn import learn

    found = learn(log_of(log))
    if as_json:
        click.echo(msgspec.json.encode(found).decode())
        return
    for operation, factor in sorted(found.factor.items()):
        click.echo(
            f"{operation:32} ×{factor.mean:.2f}  (95 % {factor.low:.2f} to {factor.high:.2f})"
        )
    click.echo(f"{found.n_jobs} jobs; operations of a job vary together by {found.correlation:.2f}")


COMMANDS: list[click.Command] = [offers, what_if, quote, calendar, pace]
