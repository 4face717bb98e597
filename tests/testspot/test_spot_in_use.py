"""Once work has begun: what is in use and why, and no further trial asked for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.car.records import Interval
from leastcut.testspot import decide, ladder
from leastcut.testspot.in_use import in_use
from leastcut.testspot.records import TestSpot as Answer
from leastcut.testspot.records import Trial
from leastcut.testspot.rules import Prices, Rules
from leastcut.web import words

LABELS = [process.label for process in ladder.DEFAULT]
FINISHING, POLISHING, CUTTING, MICROFIBRE = LABELS


def one_trial(process: str, removed: float) -> Trial:
    seen = Interval(mean=removed, low=removed - 0.05, high=removed + 0.05)
    return Trial(process=process, sets=2, removed=seen)


@pytest.fixture(scope="module")
def tried() -> Answer:
    trials = [one_trial(POLISHING, 0.8)]
    return decide.assess(trials, ladder.DEFAULT, budget_um=7.0, n_draws=512)[0]


def used(spot: Answer, *sections: dict[str, int], planned: int = 40) -> Answer:
    done = {("bonnet", f"A{n}"): sets for n, sets in enumerate(sections)}
    trials = [one_trial(POLISHING, 0.8)]
    return in_use(spot, done, planned=planned, ladder=ladder.DEFAULT, trials=trials)


def test_work_in_hand_is_said_with_what_the_trials_know(tried: Answer) -> None:
    assert tried.next.do == "try"
    spot = used(tried, {POLISHING: 3}, {POLISHING: 3}, {POLISHING: 1})
    assert (spot.next.do, spot.next.process, spot.next.sets) == ("use", POLISHING, 3)
    assert spot.next.in_use
    known = next(c for c in tried.candidates if (c.process, c.sets) == (POLISHING, 3))
    assert "on 3 of 40 sections so far" in spot.next.why
    assert f"tried on the test spot: {known.cut_um.mean:.1f} µm of cut expected" in spot.next.why
    assert (spot.candidates, spot.softness) == (tried.candidates, tried.softness)


def test_a_process_never_tried_is_said_to_be_so(tried: Answer) -> None:
    spot = used(tried, {FINISHING: 2})
    assert "It was never tried on the test spot: " in spot.next.why
    many = used(tried, {FINISHING: 9})
    assert "It was never tried on the test spot. Each section's" in many.next.why


def test_the_finishing_step_goes_with_the_process_that_cuts(tried: Answer) -> None:
    spot = used(tried, {CUTTING: 2, FINISHING: 2}, {CUTTING: 2, FINISHING: 2}, {CUTTING: 1})
    assert (spot.next.process, spot.next.finish, spot.next.finish_sets) == (CUTTING, FINISHING, 2)
    rare = used(tried, {CUTTING: 2}, {CUTTING: 2, FINISHING: 1})
    assert rare.next.finish is None


def test_trials_that_have_proven_something_else_are_not_hidden() -> None:
    sure = [one_trial(FINISHING, 0.2), one_trial(POLISHING, 0.97)]
    dear = Rules(prices=Prices(look_min=1e4))
    spot = decide.assess(sure, ladder.DEFAULT, rules=dear, n_draws=512)[0]
    assert spot.next.do == "use"
    other = in_use(
        spot, {("roof", "A1"): {MICROFIBRE: 1}}, planned=3, ladder=ladder.DEFAULT, trials=sure
    )
    assert other.notes[-1] == (
        f"the trials point to {POLISHING} × {spot.next.sets}, and something else is in use"
    )
    same = in_use(
        spot, {("roof", "A1"): {POLISHING: 1}}, planned=3, ladder=ladder.DEFAULT, trials=sure
    )
    assert same.notes == spot.notes


@pytest.mark.parametrize("sections", [[], [{}], [{POLISHING: 0}], [{"a pad of yesterday": 4}]])
def test_before_any_set_the_trials_speak(tried: Answer, sections: list[dict[str, int]]) -> None:
    assert used(tried, *sections) == tried


@given(
    st.lists(
        st.dictionaries(st.sampled_from([*LABELS, "gone"]), st.integers(0, 9), max_size=3),
        max_size=8,
    ),
    st.integers(0, 5),
)
def test_whatever_was_done_nothing_is_left_to_try(
    tried: Answer, sections: list[dict[str, int]], planned: int
) -> None:
    spot = used(tried, *sections, planned=planned)
    done = [(p, n) for sets in sections for p, n in sets.items() if n and p in LABELS]
    if not done:
        assert spot == tried
        return
    assert spot.next.do == "use"
    assert spot.next.process in {p for p, _ in done}
    mains = [
        max((p for p, n in s.items() if n and p in LABELS), key=LABELS.index, default=None)
        for s in sections
    ]
    assert mains.count(spot.next.process) == max(mains.count(p) for p in mains if p)


@pytest.mark.parametrize("sets", [{POLISHING: 3}, {CUTTING: 2, FINISHING: 2}, {FINISHING: 9}])
def test_the_sentence_reads_in_spanish(tried: Answer, sets: dict[str, int]) -> None:
    said = words.told("es", used(tried, sets).next.why)
    assert said.startswith("En uso: ")
    for english in ("foam", "then", "tried", "chance", "sections"):
        assert english not in said
