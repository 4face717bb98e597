"""Any order of messages, repeated, torn into pieces: the record and a plain model agree."""

from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from leastcut.shop.facts import NewFact
from leastcut.shop.moving import move
from leastcut.shop.store import Shop, open_shop

KEYS = st.sampled_from([f"k{n}" for n in range(8)])
BODIES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=6,
)
FACTS = st.builds(
    NewFact,
    key=KEYS,
    kind=st.sampled_from(["set", "add", "drop"]),
    field=st.sampled_from(["car.length", "photo", "note/k1"]),
    body=BODIES,
    base=st.none() | st.integers(0, 2**63 - 1),
    made_s=st.none() | st.floats(0, 4e9),
)
MESSAGES = st.lists(st.tuples(st.booleans(), st.lists(FACTS, max_size=4)), max_size=6)


@pytest.fixture
def two(shop: Shop) -> tuple[Shop, int]:
    return shop, shop.new_car("a", now_s=0.0)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(messages=MESSAGES)
def test_the_record_is_what_was_sent_once_in_order(
    two: tuple[Shop, int], messages: list[tuple[bool, list[NewFact]]]
) -> None:
    shop, car = two
    visits = [shop.new_visit(car, now_s=0.0) for _ in range(2)]
    model: dict[int, dict[str, NewFact]] = {visit: {} for visit in visits}
    for second, facts in messages:
        visit = visits[second]
        for fact in facts:
            model[visit].setdefault(fact.key, fact)
        told = shop.append(visit, facts, device=None, person="Ana", now_s=1.0)
        assert set(told.taken) == {fact.key for fact in facts}
        assert told.head == shop.head(visit)
    for visit in visits:
        found = shop.facts(visit)
        sent = list(model[visit].values())
        assert [(f.key, f.kind, f.field, f.base, f.made_s) for f in found] == [
            (f.key, f.kind, f.field, f.base, f.made_s) for f in sent
        ]
        assert [f.body for f in found] == [f.body for f in sent]
        assert [f.id for f in found] == sorted({f.id for f in found})


@settings(
    max_examples=6,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(facts=st.lists(FACTS, min_size=1, max_size=8), label=st.text(min_size=1, max_size=9))
def test_any_content_moves_unchanged(
    tmp_path_factory: pytest.TempPathFactory, facts: list[NewFact], label: str
) -> None:
    folder: Path = tmp_path_factory.mktemp("any")
    with closing(open_shop(folder / "a")) as shop:
        visit = shop.new_visit(shop.new_car(f"x{label!r}", now_s=0.0), now_s=0.0)
        shop.append(visit, facts, device=None, person=label, now_s=1.0)
        shop.put_finding("f", label.encode(errors="replace"))
        before = shop.facts(visit), shop.cars(), shop.finding("f")
        move(shop, folder / "b")
    with closing(open_shop(folder / "b", create=False)) as moved:
        assert (moved.facts(visit), moved.cars(), moved.finding("f")) == before
