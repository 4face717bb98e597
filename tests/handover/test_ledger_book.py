"""The ledger as a book: order, merging, checks; the file: sealed, altered, unreadable."""

import json
from typing import Any

import jsonschema
import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.handover.ledger import Ledger, LedgerEntry, LedgerError, add, merge, months, panels
from leastcut.handover.ledger_file import from_json, schema, to_json
from leastcut.handover.records import Dossier
from leastcut.handover.visits import visit

DAYS = st.dates().map(lambda d: d.isoformat())
ENTRIES = st.builds(
    LedgerEntry,
    car=st.just("c"),
    panel=st.sampled_from(["roof", "bonnet", "door-rear-left"]),
    when=DAYS,
    kind=st.sampled_from(["clear", "cut", "load", "gloss"]),
    value=st.floats(0, 200, allow_subnormal=False),
    sd=st.floats(0.01, 20),
    how=st.sampled_from(["measured", "estimated", "stated"]),
    process=st.text(max_size=12),
    shop=st.text(max_size=12),
)
BOOKS = st.lists(ENTRIES, max_size=8).map(lambda rows: add(Ledger(car="c"), rows))


def entry(**more: Any) -> Any:
    base = {"car": "c", "panel": "roof", "when": "2024-05-01", "kind": "cut", "value": 1.0}
    return LedgerEntry(**(base | {"sd": 0.2, "how": "measured"} | more))


@given(BOOKS, BOOKS, BOOKS)
@settings(max_examples=40, deadline=None)
def test_merging_is_a_union(a: Any, b: Any, c: Any) -> None:
    assert merge(a, b) == merge(b, a)
    assert merge(merge(a, b), c) == merge(a, merge(b, c))
    assert merge(a, a) == a
    assert {e.id for e in merge(a, b).entries} == {e.id for e in (*a.entries, *b.entries)}


@given(BOOKS)
@settings(max_examples=40, deadline=None)
def test_the_file_comes_back_as_it_was(book: Any) -> None:
    data = to_json(book, key=b"secret")
    assert from_json(data, key=b"secret") == book
    assert to_json(from_json(data), key=b"secret") == data


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"car": "other"}, "belongs to the car 'other'"),
        ({"when": "May 2024"}, "'May 2024' is not a date"),
        ({"when": "2024-13-01"}, "not a date"),
        ({"sd": 0.0}, "not a measurement"),
        ({"value": float("nan")}, "not a measurement"),
        ({"kind": "clear", "value": -3.0}, "a clear of -3 µm is impossible"),
    ],
)
def test_an_impossible_entry_is_refused_with_its_place(change: Any, said: str) -> None:
    with pytest.raises(LedgerError, match=said) as caught:
        add(Ledger(car="c"), [entry(**change)])
    assert caught.value.do
    assert "roof" in caught.value.where


def test_order_is_by_time_and_readings_stand_before_cuts() -> None:
    rows = [
        entry(when="2024-05-01", kind="cut"),
        entry(when="2024-05-01", kind="clear", value=40.0),
        entry(when="2023-01-01", kind="cut"),
        entry(when="2024-05-01T17:00", kind="clear", value=39.0),
    ]
    book = add(Ledger(car="c"), rows)
    assert [(e.when[:4], e.kind, e.value) for e in book.entries] == [
        ("2023", "cut", 1.0), ("2024", "clear", 40.0), ("2024", "cut", 1.0), ("2024", "clear", 39.0)
    ]  # fmt: skip
    assert panels(book) == ("roof",)


def test_a_month_is_a_twelfth_of_the_mean_gregorian_year() -> None:
    # source: the Gregorian calendar's 146097 days in 400 years; recomputed
    assert months("2400-01-01") - months("2000-01-01") == pytest.approx(4800.0)


def altered(data: bytes, change: Any) -> Any:
    tree = json.loads(data)
    change(tree)
    return json.dumps(tree).encode()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda t: t["entries"][1]["entry"].update(value=0.5), r"entry 2 \(roof, 2024-06-01\)"),
        (lambda t: t["entries"].pop(), "the list of entries was altered"),
        (lambda t: t.update(sha256="0" * 64), "was altered"),
        (lambda t: t.update(leastcut_ledger=9), "format 9"),
        (lambda t: t.update(extra=1), "no ledger file"),
        (lambda t: t.update(car="other"), "belongs to the car"),
    ],
)
def test_an_altered_file_is_refused_with_the_place(change: Any, said: str) -> None:
    book = add(Ledger(car="c"), [entry(), entry(when="2024-06-01")])
    with pytest.raises(LedgerError, match=said):
        from_json(altered(to_json(book), change), where="x.json")


@given(st.binary(max_size=60))
def test_any_bytes_are_a_ledger_or_a_clear_error(data: bytes) -> None:
    with pytest.raises(LedgerError, match="no ledger file"):
        from_json(data)


def test_a_seal_needs_its_key() -> None:
    data = to_json(Ledger(car="c", entries=()), key=b"ours")
    assert from_json(data).car == "c"
    for key, file in ((b"theirs", data), (b"ours", to_json(Ledger(car="c")))):
        with pytest.raises(LedgerError, match="seal"):
            from_json(file, key=key)


def test_the_file_fits_its_schema_and_is_readable(dossier: Dossier) -> None:
    book = visit(dossier, when="2026-03-14")
    data = to_json(book, key=b"k")
    jsonschema.Draft202012Validator(schema()).validate(json.loads(data))
    text = data.decode()
    assert text.count("\n") > len(book.entries) * 5
    assert '"units"' in text


def test_a_visit_writes_what_was_measured_and_nothing_that_was_planned(dossier: Dossier) -> None:
    book = visit(dossier, when="2026-03-14")
    kinds = {(e.panel, e.kind) for e in book.entries}
    assert ("roof", "clear") in kinds
    assert ("roof", "load") in kinds
    assert ("bumper-front", "clear") not in kinds  # nobody measured it
    assert ("sill-left", "load") not in kinds  # no photo
    assert not any(kind == "cut" for _, kind in kinds)
    roof = next(e for e in book.entries if (e.panel, e.kind) == ("roof", "clear"))
    film = dossier.panels[0].film.clear_um
    assert (roof.sd**2 + roof.shared_sd**2) ** 0.5 == pytest.approx(
        (film.high - film.low) / 3.919927969080108
    )


def test_recorded_work_enters_with_its_proof(dossier: Dossier) -> None:
    from leastcut.car.records import Interval
    from leastcut.handover.records import PanelCut, PanelProof

    cut = Interval(mean=1.4, low=0.6, high=2.2)
    done = msgspec.structs.replace(
        dossier,
        cuts=(
            PanelCut(panel="roof", cut_um=cut, sd_um=0.4, how="estimated", process="p"),
            PanelCut(panel="bonnet", cut_um=cut, sd_um=0.4, how="measured", section="2"),
        ),
        proofs=(
            PanelProof(
                panel="roof",
                before_mm_per_cm2=Interval(mean=9, low=7, high=12),
                after_mm_per_cm2=Interval(mean=0.8, low=0.5, high=1.2),
            ),
        ),
    )
    book = visit(done, when="2026-03-14")
    roof, bonnet = sorted(
        (e for e in book.entries if e.kind == "cut"), key=lambda e: e.panel, reverse=True
    )
    assert (roof.sd**2 + roof.shared_sd**2) ** 0.5 == pytest.approx(0.4)
    assert roof.shared_with
    assert bonnet.sd == 0.4
    assert [e.value for e in book.entries if e.after_work] == [0.8]
