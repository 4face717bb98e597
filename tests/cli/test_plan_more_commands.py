"""Offers, what-if, quote and calendar as a person calls them."""

import csv
import json
import subprocess
import sys
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import icalendar
import numpy as np
import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from leastcut.cli import plan_dates, plan_job
from leastcut.cli.plan_more import COMMANDS, OptionError
from leastcut.errors import InputError
from leastcut.plan.build import Around
from leastcut.plan.choose import Inputs
from leastcut.plan.records import Rates

sys.path.insert(0, str(Path(__file__).parents[1] / "plan"))

from plancases import LADDER, car, layout, need, paint

BY_NAME = {command.name: command for command in COMMANDS}
CALENDAR = """
first_day = 2026-11-30
bays = ["left"]
closed = [2026-12-01]
[open]
mon = ["08:00-12:00", "13:00-17:00"]
tue = ["08:00-17:00"]
wed = ["08:00 – 17:00"]
[[person]]
name = "Ana"
skills = ["wash", "polish"]
machine_minutes = 120
[[car]]
name = "blue; van, long-term customer's second car, grün"
ready = 2026-11-30T09:00:00
due = 2026-12-02T10:00:00
task = [
  { name = "wash", minutes = 90, skill = "wash" },
  { name = "correct", minutes = 300, skill = "polish", on_machine = 0.5, splits = true },
  { name = "cure", minutes = 240 },
]
[[car]]
name = "red"
task = [{ name = "wrap", minutes = 90, skill = "wrap" }]
"""


def made(monkeypatch: pytest.MonkeyPatch, *, priced: bool = True) -> None:
    """Stand a small invented car in for the job file's."""
    needs = [need("roof", 0.9, 8.0), need("door", 0.95, 1.5)]
    inputs = Inputs(
        layouts=[layout(n.panel, 1) for n in needs], panels=needs, ladder=LADDER, draws=paint()
    )
    rates = Rates(currency="EUR", labour_per_hour=Decimal(60), tax_percent=Decimal(20))
    around = Around(car=car({"roof": 1, "door": 1}), rates=rates if priced else None)
    monkeypatch.setattr(plan_job, "inputs_of", lambda *_, **__: (inputs, around))


def run(name: str, *arguments: str) -> Result:
    return CliRunner().invoke(BY_NAME[name], arguments, catch_exceptions=False)


def test_three_offers_and_their_pictures(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    made(monkeypatch)
    said = run("offers", "job.toml").output
    assert [line.split()[0] for line in said.splitlines()[::2]] == ["light", "asked", "fine"]
    found = json.loads(run("offers", "job.toml", "--json", "-o", str(tmp_path / "p")).output)
    assert len(found["offers"]) == 3
    assert found["frontier"]
    assert {f.name for f in (tmp_path / "p").iterdir()} == {"day.svg", "frontier.svg", "price.svg"}


def test_what_if_says_what_changes_and_what_would_help(monkeypatch: pytest.MonkeyPatch) -> None:
    made(monkeypatch)
    changes = ("--leave", "roof", "--required", "door=90", "--budget", "door=1.2", "--no-finish")
    said = run("what-if", "job.toml", *changes, "--chance", "80", "--minutes-per-um", "5").output
    assert said.startswith("now ")
    assert "sections would be worked otherwise" in said
    assert "door:" in said
    found = json.loads(run("what-if", "job.toml", "--without", "hard", "--json").output)
    assert set(found) == {"before", "after", "changed", "relaxations", "say"}


@pytest.mark.parametrize("wrong", ["door", "door=much", "=3"])
def test_pairs_that_cannot_be_read(monkeypatch: pytest.MonkeyPatch, wrong: str) -> None:
    made(monkeypatch)
    with pytest.raises(OptionError, match="cannot read"):
        run("what-if", "job.toml", "--budget", wrong)


def test_the_csv_quote_adds_up(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    made(monkeypatch)
    said = run("quote", "job.toml", "-o", str(tmp_path / "q.csv")).output
    rows = list(csv.reader((tmp_path / "q.csv").read_text(encoding="utf-8").splitlines()))
    amounts = {what: Decimal(amount) for what, amount, _ in rows[1:]}
    assert amounts["Net"] + amounts["Tax"] == amounts["Total"]
    assert str(amounts["Total"]) in said
    found = json.loads(run("quote", "job.toml", "--json").output)
    assert Decimal(found["total"]) == amounts["Total"]


def test_no_prices_no_quote_and_no_price_picture(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    made(monkeypatch, priced=False)
    with pytest.raises(OptionError, match="no prices"):
        run("quote", "job.toml")
    run("offers", "job.toml", "-o", str(tmp_path))
    assert {f.name for f in tmp_path.iterdir()} == {"day.svg", "frontier.svg"}


@pytest.mark.process
def test_a_job_without_evidence_is_quoted_as_a_process(tmp_path: Path) -> None:
    job = tmp_path / "small.toml"
    job.write_text(
        'format = 1\n[car]\nlabel = "invented"\nbody = "coupe"\n[prices]\ncurrency = "JPY"\n'
        'labour_per_hour = "6500"\ntax_percent = "10"\n'
    )
    words = [sys.executable, "-m", "leastcut", "plan", "quote", str(job), "--json"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert Decimal(found["total"]) == Decimal(found["total"]).to_integral_value()


def test_the_calendar_is_shown_and_written(tmp_path: Path) -> None:
    (tmp_path / "c.toml").write_text(CALENDAR, encoding="utf-8")
    said = run("calendar", str(tmp_path / "c.toml"), "-o", str(tmp_path / "c.ics")).output
    lines = said.splitlines()
    assert lines[0].startswith("Mon 30 Nov 09:00 - Mon 10:30")
    # 120 machine minutes at half the time: 240 min on Monday, Tuesday closed, an hour on Wednesday
    assert any(line.startswith("Wed 02 Dec 08:00") and "correct" in line for line in lines)
    assert any("h later than promised" in line for line in lines)
    assert "red: no room. nobody can do: wrap" in said
    found = json.loads(run("calendar", str(tmp_path / "c.toml"), "--json").output)
    assert found["unplaced"][0]["car"] == "red"
    events = unfolded((tmp_path / "c.ics").read_bytes())
    assert events.count("BEGIN:VEVENT") == events.count("END:VEVENT") == len(found["slots"])
    assert "DTSTART:20261130T090000" in events
    name = r"SUMMARY:blue\; van\, long-term customer's second car\, grün: wash (Ana)"
    assert name in events


def test_a_strong_machine_shortens_everybodys_day() -> None:
    text = 'vibration = "6 m/s²"\nvibration_k = "1.5 m/s²"\n' + CALENDAR.lstrip()
    ana, *_ = plan_dates.people_of(plan_dates.read(text.encode(), "c.toml"))
    # source: time to a level T = 8 h · (5 / a)², Directive 2002/44/EC; a = 6 + 1.5 with K;
    # status: formula seen, recomputed
    assert ana.machine_minutes == 120  # her own limit is shorter than the machine's 213
    (free, *_) = plan_dates.people_of(
        plan_dates.read(text.replace("machine_minutes = 120\n", "").encode(), "c.toml")
    )
    assert free.machine_minutes == pytest.approx(480 * (5 / 7.5) ** 2)
    with pytest.raises(plan_dates.CalendarFileError, match="kg"):
        plan_dates.read(text.replace("6 m/s²", "6 kg").encode(), "c.toml")


def test_a_general_parser_opens_the_calendar(tmp_path: Path) -> None:
    (tmp_path / "c.toml").write_text(CALENDAR)
    run("calendar", str(tmp_path / "c.toml"), "-o", str(tmp_path / "c.ics"))
    shown = json.loads(run("calendar", str(tmp_path / "c.toml"), "--json").output)
    opened = icalendar.Calendar.from_ical((tmp_path / "c.ics").read_bytes())
    events = list(opened.walk("VEVENT"))
    assert len(events) == len(shown["slots"]) > 0
    assert all(event["DTEND"].dt > event["DTSTART"].dt for event in events)
    assert len({str(event["UID"]) for event in events}) == len(events)


def test_a_planned_job_is_put_into_the_calendar(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    made(monkeypatch)
    start = CALENDAR.index("task = [\n")
    end = CALENDAR.index("]\n", CALENDAR.index("cure")) + 2
    people = CALENDAR.replace('["wash", "polish"]', '["wash", "polish", "protect"]')
    shift = len(people) - len(CALENDAR)
    text = people[: start + shift] + 'job = "job.toml"\n' + people[end + shift :]
    (tmp_path / "c.toml").write_text(text, encoding="utf-8")
    found = json.loads(run("calendar", str(tmp_path / "c.toml"), "--json").output)
    tasks = [slot["task"] for slot in found["slots"]]
    assert list(dict.fromkeys(tasks))[:3] == ["prepare", "test spot", "correct"]


def unfolded(data: bytes) -> list[str]:
    """Undo the folding as RFC 5545, 3.1 says, and check what it demands of every line."""
    assert data.endswith(b"\r\n")
    rows = data.removesuffix(b"\r\n").split(b"\r\n")
    assert all(len(row) <= 75 and b"\n" not in row and b"\r" not in row for row in rows)
    return b"\r\n".join(rows).replace(b"\r\n ", b"").decode().split("\r\n")


@given(st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"]), max_size=300))
def test_folding_and_unfolding_gives_the_line_back(text: str) -> None:
    line = f"SUMMARY:{plan_dates.escaped(text)}"
    assert unfolded(f"{plan_dates.folded(line)}\r\n".encode()) == [line]


@given(st.text(max_size=60))
def test_escaped_text_holds_no_bare_separator(text: str) -> None:
    safe = plan_dates.escaped(text)
    plain = safe.replace("\\\\", "").replace("\\;", "").replace("\\,", "").replace("\\n", "")
    assert not set(plain) & set(";,\\\n\r")


@given(st.integers(0, 10**6))
def test_minutes_and_dates_go_both_ways(minute: int) -> None:
    first = date(2026, 11, 30)
    assert plan_dates.minute_of(plan_dates.when_of(minute, first), first) == minute


def test_an_empty_calendar_is_still_a_calendar() -> None:
    from leastcut.plan.shifts import Timetable

    empty = Timetable(slots=(), stays=(), late={})
    text = plan_dates.icalendar(empty, first_day=date(2026, 1, 1), now=datetime.now(UTC))
    assert text.split("\r\n")[0] == "BEGIN:VCALENDAR"
    assert np.array_equal(unfolded(text.encode())[-1:], ["END:VCALENDAR"])


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("bays", "boys", "boys"),
        ("first_day = 2026-11-30", "first_day = = 3", "Write it as"),
        ('"08:00-17:00"', '"eight"', "cannot read the hours"),
        ("tue =", "someday =", "no weekday"),
    ],
)
def test_calendar_files_that_cannot_be(tmp_path: Path, old: str, new: str, word: str) -> None:
    path = tmp_path / "c.toml"
    path.write_text(CALENDAR.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(plan_dates.CalendarFileError) as caught:
        run("calendar", str(path))
    assert word in str(caught.value)


def test_no_calendar_file() -> None:
    with pytest.raises(OptionError, match="No such file"):
        run("calendar", "nowhere.toml")


LOG = "job,operation,planned_minutes,actual_minutes\n" + "".join(
    f"{job},{name},20,{minutes}\n"
    for job in "abcde"
    for name, minutes in (("clay", 30), ("sets", 40))
)


def test_pace_is_learnt_from_a_log(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8-sig")
    lines = run("pace", str(tmp_path / "log.csv")).output.splitlines()
    assert lines[0].startswith("clay ")
    assert 1.3 < float(lines[0].split("×")[1].split()[0]) < 1.6
    assert lines[-1].startswith("5 jobs")
    found = json.loads(run("pace", str(tmp_path / "log.csv"), "--json").output)
    assert set(found["factor"]) == {"clay", "sets"}


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("job,operation\na,b\n", "log.csv:2"),
        (LOG + "f,clay,20,much\n", "log.csv:12"),
        (LOG + "f,clay,20,0\n", "log.csv:12"),
    ],
)
def test_logs_that_cannot_be(tmp_path: Path, text: str, word: str) -> None:
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        run("pace", str(tmp_path / "log.csv"))
    assert word in str(caught.value)


def test_no_log() -> None:
    with pytest.raises(plan_job.LogError, match="cannot read it"):
        run("pace", "nowhere.csv")


@pytest.mark.process
def test_a_slow_shops_quote_is_dearer(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    job = tmp_path / "small.toml"
    job.write_text(
        'format = 1\n[car]\nlabel = "invented"\nbody = "coupe"\n[prices]\ncurrency = "EUR"\n'
        'labour_per_hour = "60"\n'
    )
    usual = Decimal(json.loads(run("quote", str(job), "--json").output)["total"])
    words = ("quote", str(job), "--json", "--pace", str(tmp_path / "log.csv"))
    assert Decimal(json.loads(run(*words).output)["total"]) > usual
