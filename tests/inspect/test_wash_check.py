"""The wash-and-clay check: ready only when nothing is left to do."""

from hypothesis import given
from hypothesis import strategies as st

from leastcut.inspect.records import WashCheck
from leastcut.inspect.wash import before_proof, check

CHECKS = st.builds(
    WashCheck,
    washed=st.sampled_from(["unwashed", "rinsed", "washed"]),
    feel=st.sampled_from(["not-felt", "rough", "smooth"]),
    tar_or_iron=st.sampled_from([None, True, False]),
    dry=st.sampled_from([None, True, False]),
)
READY = WashCheck(washed="washed", feel="smooth", tar_or_iron=False, dry=True)


@given(CHECKS)
def test_ready_exactly_when_all_is_done(state: WashCheck) -> None:
    ready, missing = check(state)
    assert ready == (state == READY)
    assert ready == (not missing)
    assert len(set(missing)) == len(missing)


def test_nothing_known_asks_for_everything_in_order_of_work() -> None:
    _, missing = check(WashCheck())
    assert [m.split()[0] for m in missing] == ["Wash", "Look", "Feel", "Make"]


def test_rough_paint_is_clayed_and_claying_may_mar() -> None:
    _, (only,) = check(WashCheck(washed="washed", feel="rough", tar_or_iron=False, dry=True))
    assert "clay it first" in only
    assert "mar" in only


def test_tar_comes_with_its_safety_words() -> None:
    _, missing = check(WashCheck(washed="rinsed", feel="smooth", tar_or_iron=True, dry=False))
    assert "gloves" in missing[1]
    assert len(missing) == 3


def test_proof_photos_need_bare_paint() -> None:
    assert "oils" in before_proof(READY)[-1]
    assert len(before_proof(WashCheck())) == 5
