"""What-ifs on a car whose work has begun: the sections stay as they were drawn."""

import re
import time
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from typing import Any

import msgspec
import pytest

from leastcut.job import settle
from leastcut.job.analyst import as_begun, held, holds
from leastcut.job.carry import into_shop
from leastcut.job.look import Seen, key
from leastcut.job.sources import shop_source
from leastcut.job.visit import fold
from leastcut.job.weigh import sections_drawn_for
from leastcut.shop.facts import NewFact
from leastcut.web.wonder import Wish, Wonderer


class AtOnce:
    """Does the work in the caller's thread."""

    def submit(self, work: Any, /, *arguments: Any) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(work(*arguments))
        return done

    def close(self) -> None:
        """Nothing to end."""


def job_with_a_small_pad(demo_file: Path) -> Path:
    """Return the demo's job in which the strongest process draws other sections."""
    head, mark, tail = demo_file.read_text("utf-8").partition('label = "Firm foam, strong liquid"')
    assert mark
    tail = tail.replace('pad_diameter = "130 mm"', 'pad_diameter = "80 mm"', 1)
    job = demo_file.with_name("small-pad.toml")
    head = re.sub(r"^sections_for = .*\n", "", head, flags=re.MULTILINE)
    job.write_text(head + mark + tail, "utf-8")
    return job


@pytest.fixture(scope="module")
def begun(demo, workbench) -> int:  # noqa: ANN001 - shared fixtures
    """A visit with work recorded, and a finish asked for afterwards that wants another process."""
    shop = workbench.shop
    visit = into_shop(job_with_a_small_pad(demo.job_file), shop, now_s=time.time()).visit
    later = {"target.finish": "show", "target.reserve": "22 µm"}
    facts = [
        NewFact(key=name.replace(".", "-"), kind="set", field=name, body=body)
        for name, body in later.items()
    ]
    shop.append(visit, facts, device=None, person="Ada", now_s=time.time())
    workbench.analyst.poke(visit)
    assert workbench.analyst.wait(visit, timeout_s=120)
    return visit


def drawn_for(workbench: Any, visit: int, *, begun: bool) -> str:
    """Return what the sections are drawn for, by what was known when the work began or by all."""
    shop = workbench.shop
    facts = shop.facts(visit)
    now = fold(facts)
    source = shop_source(
        now,
        content=partial(held, shop),
        holds=partial(holds, shop, visit),
        before=as_begun(facts, now) if begun else None,
    )
    seen = {
        (look.kind, look.number): msgspec.json.decode(shop.finding(key(look)), type=Seen)
        for look in settle.needed(source)
    }
    return sections_drawn_for(settle.evidence_of(source, seen))


def asked(workbench: Any, visit: int, wish: Wish) -> Any:
    shop = workbench.shop
    wonderer = Wonderer(shop, AtOnce())
    facts = shop.facts(visit)
    assert wonderer.ask(visit, fold(facts), facts[-1].id, wish) is None
    return wonderer.ask(visit, fold(facts), facts[-1].id, wish)


def test_a_question_is_about_the_sections_being_worked(workbench, begun) -> None:  # noqa: ANN001
    dossier = settle.read(workbench.shop.dossier(begun)[1])
    found = asked(workbench, begun, Wish(confidence_percent=89.0))
    assert found.why == ""
    now = drawn_for(workbench, begun, begun=False)
    then = drawn_for(workbench, begun, begun=True)
    assert now != then, "else this shows nothing"
    assert dossier.sections_for == then
    assert found.before.minutes == dossier.plan.minutes
    assert 0 <= found.changed <= len(dossier.plan.sections)


def test_nothing_asked_changes_nothing(workbench, begun) -> None:  # noqa: ANN001
    found = asked(workbench, begun, Wish(finish="show"))
    assert found.changed == 0
    assert found.before == found.after
