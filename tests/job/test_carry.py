"""A job carried into the shop and back: the same evidence, the same decision; once is enough."""

import tomllib
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.errors import InputError
from leastcut.job.carry import into_folder, into_shop, to_toml
from leastcut.job.gather import Gathering
from leastcut.job.sources import Folder
from leastcut.job.visit import fold
from leastcut.shop.facts import NewFact
from leastcut.shop.jobfile import JobFileError
from leastcut.shop.store import Shop, open_shop

EVENTS = """\
{"kind": "started", "id": "e 1", "at_s": 0.5, "panel": "bonnet", "section": "B1", "process": "x"}
{"kind": "stopped", "id": "e2", "at_s": 60}
"""
OUTLINE = '{"outline_mm": [[0, 0], [900, 0], [900, 700], [0, 700]]}'
MORE = """
[[panel]]
id = "roof"
outline_file = "roof.json"
[[proof]]
panel = "bonnet"
before = "photos/trial-1-before.jpg"
after = "photos/trial-1-after.jpg"
square = "60 mm"
[prices.materials]
"Amber foam, 125 mm" = "9.50"
"""


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return open_shop(tmp_path / "shop")


@pytest.fixture
def job_file(demo: Any, tmp_path: Path) -> Path:
    """The demo with everything else that a job file may name."""
    path: Path = demo.copy(tmp_path / "job")
    path.write_text(path.read_text() + MORE)
    (path.parent / "run.jsonl").write_text(EVENTS)
    (path.parent / "roof.json").write_text(OUTLINE)
    later = "panel,spot,reading_mil,x_mm\nbonnet,1,4.5,300\n"
    (path.parent / "readings-after.csv").write_text(later)
    return path


def read(path: Path) -> Gathering:
    gathered = Gathering(Folder.open(path))
    assert gathered.problems == []
    return gathered


def unnamed(gathered: Gathering) -> tuple[Any, ...]:
    """Everything but file names and the lines that readings stood in."""
    job = msgspec.to_builtins(gathered.job, enc_hook=float)
    for table, names in (
        ("photo", ["file"]),
        ("trial", ["before", "after"]),
        ("proof", ["before", "after"]),
        ("panel", ["outline_file"]),
    ):
        for item in job[table]:
            item.update(dict.fromkeys(names))
    job["film"].update(readings=None, readings_after=None)
    job["run"] = None
    readings = [
        msgspec.structs.replace(r, line=None)
        for r in (*gathered.readings, *gathered.readings_after)
    ]
    events = [msgspec.structs.replace(e, id="") for e in gathered.events]
    return job, gathered.car, gathered.ladder, readings, events


def test_there_and_back_is_the_same_job(job_file: Path, shop: Shop, tmp_path: Path) -> None:
    carried = into_shop(job_file, shop, now_s=1.0)
    visit = fold(shop.facts(carried.visit))
    assert visit.problems == ()
    assert visit.conflicts == ()
    back = into_folder(carried.visit, shop, tmp_path / "back")
    assert unnamed(read(back)) == unnamed(read(job_file))
    again = into_folder(into_shop(back, shop, now_s=2.0).visit, shop, tmp_path / "again")
    assert again.read_text() == back.read_text()
    for photo in read(back).job.photo:
        assert (tmp_path / "back" / photo.file).read_bytes() in {
            p.read_bytes() for p in (job_file.parent / "photos").iterdir()
        }


def test_the_same_job_is_carried_once(job_file: Path, shop: Shop) -> None:
    first, second = into_shop(job_file, shop, now_s=1.0), into_shop(job_file, shop, now_s=2.0)
    assert (first.fresh, second.fresh) == (True, False)
    assert second.visit == first.visit
    (job_file.parent / "readings-after.csv").write_text("panel,spot,reading_um\nbonnet,1,99\n")
    third = into_shop(job_file, shop, now_s=3.0)
    assert (third.fresh, third.car) == (True, first.car)
    assert third.visit != first.visit
    assert shop.cars().total == 1


def test_a_job_with_a_fault_leaves_nothing_in_the_shop(job_file: Path, shop: Shop) -> None:
    (job_file.parent / "photos" / "bonnet.jpg").write_bytes(b"no photo")
    with pytest.raises(InputError, match="not a photo"):
        into_shop(job_file, shop, now_s=1.0)
    (job_file.parent / "run.jsonl").write_text("nonsense\n")
    with pytest.raises(JobFileError, match=r"run\.jsonl:1"):
        into_shop(job_file, shop, now_s=1.0)
    assert shop.cars().total == 0


def test_a_visit_without_a_car_is_not_written(shop: Shop, tmp_path: Path) -> None:
    visit = shop.new_visit(shop.new_car("x", now_s=1.0), now_s=1.0)
    facts = [NewFact(key="a", kind="set", field="car.label", body="x")]
    shop.append(visit, facts, device=None, person="Ada", now_s=1.0)
    with pytest.raises(JobFileError, match="'body' is missing"):
        into_folder(visit, shop, tmp_path / "back")
    assert not (tmp_path / "back").exists()


TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
PLAIN = st.one_of(
    TEXT,
    st.booleans(),
    st.integers(-(2**60), 2**60),
    st.floats(allow_nan=False, allow_infinity=False),
)
TABLES = st.recursive(
    st.dictionaries(TEXT, st.one_of(PLAIN, st.lists(PLAIN, max_size=3)), max_size=3),
    lambda inner: st.dictionaries(
        TEXT, st.one_of(PLAIN, inner, st.lists(inner, min_size=1, max_size=3)), max_size=3
    ),
    max_leaves=8,
)


@given(TABLES)
def test_what_is_written_as_toml_is_read_as_it_was(table: dict[str, Any]) -> None:
    """source: the standard library's TOML reader; status: recomputed."""
    assert tomllib.loads(to_toml(table)) == table
