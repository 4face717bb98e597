"""Published values beside ours: met to the digits as printed, each with source and status.

Where print and formula differ the row says so and why, and the test makes sure that they still do:
a silent change of the formula would show.
"""

from collections import Counter
from dataclasses import replace

import pytest
from allchecks import FILES, every
from published import DATA, STATUSES, Check, Quantity

ALL = every()
ASSERTED = [check for check in ALL if check.status != "memory"]
PUBLISHED = [check for check in ALL if check.published and check.agrees]


@pytest.mark.parametrize("check", ASSERTED, ids=[check.ident for check in ASSERTED])
def test_value(check: Check) -> None:
    told = f"ours {check.ours!r}, printed {check.printed} ({check.allowed}): {check.note}"
    assert check.met == check.agrees, told


def test_enough_is_published_and_recalled_values_do_not_count() -> None:
    assert len(PUBLISHED) >= 200
    assert len({check.source for check in PUBLISHED}) >= 15
    assert not any(check.status == "memory" for check in PUBLISHED)


def test_every_row_names_source_and_status() -> None:
    assert all(check.source and check.status in STATUSES for check in ALL)
    assert all(check.note for check in ALL if not check.agrees)


def test_a_stated_tolerance_is_narrow() -> None:
    # A tolerance wider than 2 % of the value would let a wrong formula pass.
    wide = [c for c in ALL if c.within and c.tolerance > 0.02 * abs(float(c.printed))]
    assert {c.name for c in wide} <= {"rayleigh", "gum_h2", "reassessed"}


def test_no_row_stands_twice() -> None:
    keys = [(c.name, c.inputs, c.printed, c.source) for c in ALL]
    assert [key for key, count in Counter(keys).items() if count > 1] == []


def test_every_table_of_checks_is_read() -> None:
    heads = {
        path.name
        for path in (DATA / "published").glob("*.csv")
        if "\nquantity," in path.read_text(encoding="utf-8")
    }
    assert heads == set(FILES)


@pytest.mark.parametrize(
    ("ours", "printed", "note", "within", "met"),
    [
        (2.4251, "2.43", "", "", True),
        (2.4249, "2.43", "", "", False),
        (3.5599, "3.55", "cut", "", True),
        (3.5599, "3.55", "", "", False),
        (1.019, "1.0", "", "0.02", True),
        (1.021, "1.0", "", "0.02", False),
        (2000.0, "2004", "", "0.002 rel", True),
        (2000.0, "2005", "", "0.002 rel", False),
        (53.9, "54-62", "", "", False),
        (54.0, "54-62", "", "", True),
        (-0.355, "-0.36", "", "", False),  # half goes up
    ],
)
def test_a_check_can_fail(ours: float, printed: str, note: str, within: str, *, met: bool) -> None:
    quantity = Quantity("car", "nothing", lambda _: ours)
    check = replace(ALL[0], quantity=quantity, printed=printed, note=note, within=within, unit="")
    assert check.met == met
