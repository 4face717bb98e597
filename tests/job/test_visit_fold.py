"""The fold of a visit's facts: order, repeats, contradictions, undo, values that do not fit."""

from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.job.visit import Visit, fold
from leastcut.shop.facts import Fact
from leastcut.shop.jobschema import JobFile
from leastcut.shop.quantities import decode

PEN, TABLET = 1, 2


def fact(number: int, kind: str, field: str, body: Any = None, **more: Any) -> Fact:
    known = {"key": f"k{number}", "at_s": 1000.0 + number, "device": PEN, "person": "Ada", **more}
    return msgspec.convert(
        {"id": number, "kind": kind, "field": field, "body": body, **known}, Fact
    )


def car(*facts: Fact) -> Visit:
    begun = (fact(1, "set", "car.label", "mine"), fact(2, "set", "car.body", "suv"))
    return fold((*begun, *facts))


def test_facts_make_a_job_file() -> None:
    visit = car(
        fact(3, "set", "car.length", "4.5 m"),
        fact(4, "set", "car.materials.bonnet", "aluminium"),
        fact(5, "set", "target.finish", "show"),
        fact(6, "add", "photo", {"panel": "bonnet", "file": "ab12", "square": "60 mm"}),
        fact(7, "add", "film.check", {"known": "0 µm", "shown": "-1 µm"}),
        fact(8, "add", "proof", {"panel": "roof", "before": "a1", "after": "b2"}),
    )
    assert visit.problems == ()
    assert visit.job == msgspec.convert(visit.raw, JobFile, dec_hook=decode)
    assert visit.job is not None
    assert (visit.job.car.length_mm, visit.job.target.finish) == (4500.0, "show")
    assert visit.job.photo[0].square_mm == 60.0
    assert visit.job.film.check[0].shown_um == -1.0
    assert visit.heads["photo/k6"] == 6


def test_names_may_be_set_at_once_or_one_by_one() -> None:
    whole = fact(3, "set", "car.materials", {"roof": "steel", "bonnet": "steel"})
    one = fact(4, "set", "car.materials.bonnet", "aluminium")
    assert car(whole, one).raw["car"]["materials"] == {"roof": "steel", "bonnet": "aluminium"}
    assert car(one, whole).values["car.materials"] == {"roof": "steel", "bonnet": "steel"}


def test_without_a_label_there_is_no_job_yet() -> None:
    visit = fold([fact(1, "set", "car.body", "suv"), fact(2, "set", "target.finish", "show")])
    assert visit.job is None
    assert [(p.where, p.what) for p in visit.problems] == [("car.label", "'label' is missing")]
    assert fold([]).job is None


BAD = (
    ("set", "car.length", "4500", "car.length"),
    ("set", "car.bodi", "suv", "car.bodi"),
    ("set", "car", {"label": "x"}, "car"),
    ("set", "car.materials", {"roof": "straw"}, "car.materials"),
    ("set", "film.readings", "x.csv", "film.readings"),
    ("set", "format", 2, "format"),
    ("set", "photo/none.square", "60 mm", "photo/none.square"),
    ("set", "", None, "input"),
    ("set", "room.people", 0, "room.people"),
    ("add", "wheels", {"a": 1}, "wheels"),
    ("add", "photo", "no table", "photo/k9"),
    ("add", "photo", {"panel": "roof"}, "photo/k9"),
    ("add", "reading", {"panel": "roof", "reading_um": -3}, "reading/k9"),
    ("add", "reading", {"panel": "roof", "reading_um": 9e9}, "reading/k9"),
    ("add", "event", {"kind": "flown"}, "event/k9"),
    ("add", "event", {"kind": "stopped", "at_s": -1}, "event/k9"),
    ("add", "note", {}, "note/k9"),
    ("drop", "photo/none", None, "photo/none"),
    ("drop", "car.label", None, "car.label"),
)


@pytest.mark.parametrize(("kind", "field", "body", "where"), BAD)
def test_what_does_not_fit_is_told_and_costs_nothing_else(
    kind: str, field: str, body: Any, where: str
) -> None:
    good, with_bad = car(), car(fact(9, kind, field, body))
    assert [p.where for p in with_bad.problems] == [where]
    assert with_bad.problems[0].do
    assert (with_bad.job, with_bad.raw) == (good.job, good.raw)


def test_a_bad_value_leaves_the_good_one_and_is_forgotten_when_mended() -> None:
    bad = (fact(3, "set", "car.length", "4 m"), fact(4, "set", "car.length", "long"))
    visit = car(*bad)
    assert visit.values["car.length"] == "4 m"
    assert visit.heads["car.length"] == 3
    assert car(*bad, fact(5, "set", "car.length", "4.1 m", base=3)).problems == ()


def test_one_bad_part_of_an_item_costs_only_that_part() -> None:
    visit = car(fact(3, "add", "photo", {"panel": "roof", "file": "ab", "square": "big"}))
    assert visit.raw["photo"] == [{"panel": "roof", "file": "ab"}]
    assert [p.where for p in visit.problems] == ["photo/k3.square"]
    mended = car(
        fact(3, "add", "photo", {"panel": "roof", "file": "ab", "square": "big"}),
        fact(4, "set", "photo/k3.square", "60 mm"),
    )
    assert mended.problems == ()
    assert mended.raw["photo"][0]["square"] == "60 mm"


def test_a_begun_price_table_waits_until_it_is_whole() -> None:
    begun = fact(3, "set", "prices.currency", "EUR")
    visit = car(begun)
    assert "prices" not in visit.raw
    assert visit.values["prices.currency"] == "EUR"
    assert [p.where for p in visit.problems] == ["prices.labour_per_hour"]
    whole = car(begun, fact(4, "set", "prices.labour_per_hour", "46.00"))
    assert whole.job is not None
    assert whole.job.prices is not None


def test_two_writers_contradict_until_one_who_saw_both_decides() -> None:
    first = fact(3, "set", "target.finish", "daily", person="Ada")
    other = fact(4, "set", "target.finish", "show", device=TABLET, person="Ben")
    visit = car(first, other)
    (conflict,) = visit.conflicts
    assert conflict.field == "target.finish"
    assert conflict.values == ((3, "daily", "Ada", 1003.0), (4, "show", "Ben", 1004.0))
    assert visit.values["target.finish"] == "show"
    decided = car(first, other, fact(5, "set", "target.finish", "daily", base=4))
    assert decided.conflicts == ()
    assert decided.values["target.finish"] == "daily"
    late = fact(5, "set", "target.finish", "daily", base=3)
    assert len(car(first, other, late).conflicts) == 1


def test_the_same_value_twice_is_no_contradiction() -> None:
    first = fact(3, "set", "target.finish", "show")
    assert car(first, fact(4, "set", "target.finish", "show", device=TABLET)).conflicts == ()


def test_a_device_that_changes_its_mind_offline_contradicts_nobody() -> None:
    mine = (fact(3, "set", "room.people", 1), fact(4, "set", "room.people", 2))
    assert car(*mine).conflicts == ()
    theirs = fact(5, "set", "room.people", 3, device=TABLET, person="Ben")
    (conflict,) = car(*mine, theirs, fact(6, "set", "room.people", 4)).conflicts
    assert [claim[:2] for claim in conflict.values] == [(5, 3), (6, 4)]


def test_an_item_is_taken_back() -> None:
    added = fact(3, "add", "reading", {"panel": "roof", "reading_mil": "4.0"})
    after = fact(4, "add", "reading", {"panel": "roof", "reading_um": 99, "after": True})
    visit = car(added, after)
    assert [r.reading_um for r in visit.readings] == [
        pytest.approx(101.6)
    ]  # source: 1 mil = 25.4 µm
    assert [r.reading_um for r in visit.readings_after] == [99.0]
    gone = car(added, after, fact(5, "drop", "reading/k3"))
    assert gone.readings == ()
    assert (gone.heads["reading/k3"], gone.problems, gone.conflicts) == (5, (), ())


def test_taking_back_what_another_changed_is_a_contradiction() -> None:
    added = fact(3, "add", "trial", {"process": "foam", "sets": 2})
    change = fact(4, "set", "trial/k3.verdict", "clean", device=TABLET, person="Ben")
    unseen = car(added, change, fact(5, "drop", "trial/k3", base=3))
    assert [c.field for c in unseen.conflicts] == ["trial/k3"]
    seen = car(added, change, fact(5, "drop", "trial/k3", base=4))
    assert (seen.conflicts, "trial" in seen.raw) == ((), False)
    behind = car(
        added, fact(4, "drop", "trial/k3", base=3), msgspec.structs.replace(change, id=5, key="k5")
    )
    assert [c.field for c in behind.conflicts] == ["trial/k3"]


def test_a_work_event_goes_by_its_fact() -> None:
    begun = {"kind": "started", "panel": "roof", "section": "roof-1", "process": "foam"}
    visit = car(
        fact(3, "add", "event", begun, made_s=500.0),
        fact(4, "add", "event", {"kind": "stopped", "id": "else", "at_s": 530}),
    )
    assert [(e.id, e.at_s) for e in visit.events] == [("k3", 500.0), ("k4", 530.0)]


FIELDS = st.sampled_from(
    ["car.length", "target.finish", "room.people", "photo/k3.square", "photo/k3"]
)
BODIES = st.sampled_from(
    [None, "4 m", "show", "daily", 2, "60 mm", {"panel": "roof", "file": "f"}, []]
)


@st.composite
def logs(draw: st.DrawFn) -> list[Fact]:
    length = draw(st.integers(0, 12))
    bases = st.one_of(st.none(), st.integers(1, 14))
    made = [
        fact(n, draw(st.sampled_from(["set", "set", "add", "drop"])), draw(st.one_of(FIELDS, st.just("photo"))),
             draw(BODIES), base=draw(bases), device=draw(st.sampled_from([None, 1, 2])))
        for n in range(3, 3 + length)
    ]  # fmt: skip
    return [fact(1, "set", "car.label", "mine"), fact(2, "set", "car.body", "suv"), *made]


@given(logs(), st.randoms(use_true_random=False))
@settings(max_examples=150, deadline=None)
def test_the_order_of_arrival_and_repeats_do_not_matter(log: list[Fact], rng: Any) -> None:
    mixed = [*log, *log[: len(log) // 2]]
    rng.shuffle(mixed)
    assert fold(mixed) == fold(log)
    assert fold(log).job is not None
    again = msgspec.json.decode(msgspec.json.encode(log), type=list[Fact])
    assert fold(again) == fold(log)


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
        ),
        max_leaves=6,
    ),
    st.sampled_from(["set", "add", "drop"]),
    st.one_of(
        st.text(max_size=12),
        FIELDS,
        st.sampled_from(["reading", "event", "note", "panel", "proof"]),
    ),
)
@settings(max_examples=200, deadline=None)
def test_nothing_a_client_sends_breaks_the_visit(body: Any, kind: str, field: str) -> None:
    visit = car(fact(3, "add", "photo", {"panel": "roof", "file": "f"}), fact(4, kind, field, body))
    assert visit.job is not None
    assert visit.values["car.label"] == "mine" or field == "car.label"
