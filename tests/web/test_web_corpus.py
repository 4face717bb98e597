"""What the fuzzer kept: each input ends in a result or in a sentence for a person, never a crash."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from parsers import BEGINNINGS, PARSERS, outcome

CORPUS = Path(__file__).parents[1] / "data" / "fuzz"


@pytest.mark.parametrize("name", PARSERS)
def test_the_corpus_crashes_nothing(name: str) -> None:
    inputs = sorted((CORPUS / name).glob("*.bin"))
    assert inputs
    for path in inputs:
        what, crash = outcome(name, path.read_bytes())
        assert crash is None, f"{path.name}: {what}"


@pytest.mark.parametrize("name", PARSERS)
def test_the_beginnings_are_no_crash_and_differ_from_rubbish(name: str) -> None:
    told = {outcome(name, data)[0] for data in BEGINNINGS[name]}
    assert not any(what.startswith("crash") for what in told)


# Decoding video loads a large library for each try: the fuzzer in bench does it at length.
@pytest.mark.parametrize("name", sorted(set(PARSERS) - {"video"}))
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.binary(max_size=200))
def test_rubbish_crashes_nothing(name: str, data: bytes) -> None:
    what, crash = outcome(name, data)
    assert crash is None, what


def test_a_crash_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(data: bytes) -> object:
        return data[1000]

    monkeypatch.setitem(PARSERS, "broken", broken)
    what, crash = outcome("broken", b"")
    assert what == "crash IndexError"
    assert isinstance(crash, IndexError)
