"""Whole files or none; tables of readings."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.errors import InputError
from leastcut.shop.files import WriteError, write_whole
from leastcut.shop.readings import read_rows


def test_write_makes_the_folder_and_leaves_nothing_else(tmp_path: Path) -> None:
    write_whole(tmp_path / "a" / "b.txt", "one")
    write_whole(tmp_path / "a" / "b.txt", b"two")
    assert [p.name for p in (tmp_path / "a").iterdir()] == ["b.txt"]
    assert (tmp_path / "a" / "b.txt").read_bytes() == b"two"


def test_a_failed_write_keeps_what_was_there(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old")
    with pytest.raises(WriteError, match="cannot write it"):
        write_whole(tmp_path / "a" / "b.txt", "new")
    (tmp_path / "d").mkdir()
    with pytest.raises(WriteError):
        write_whole(tmp_path / "d", "new")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "d"]
    assert (tmp_path / "a").read_text() == "old"


@pytest.mark.parametrize(
    "text",
    [
        "panel,spot,reading_um\nbonnet,1,120\n\n# note\nbonnet,1,121\n",
        "Panel; Spot ;reading_um\nbonnet;1;120\n\n# note\nbonnet;1;121\n",
        "\ufeffpanel\tspot\treading_um\r\nbonnet\t1\t120\r\n\r\n# note\r\nbonnet\t1\t121\r\n",
    ],
)
def test_rows_keep_their_lines(tmp_path: Path, text: str) -> None:
    path = tmp_path / "r.csv"
    path.write_bytes(text.encode())
    assert read_rows(path) == [
        (2, {"panel": "bonnet", "spot": "1", "reading_um": "120"}),
        (5, {"panel": "bonnet", "spot": "1", "reading_um": "121"}),
    ]


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "empty file"),
        (b"\n# only a note\n", "empty file"),
        (b"panel,spot,reading_um\n", "no readings"),
        (b"panel,,reading_um\na,b,1\n", "empty or repeated"),
        (b"panel,panel\na,b\n", "empty or repeated"),
        (b"panel,spot\na,b,1\n", "3 values under 2 columns"),
        (b'panel,spot\n"a,b\nc",1\n', "quoted field|not a table"),
        ("panel,spot\na,\u00b5".encode("latin-1"), "not UTF-8"),
    ],
)
def test_tables_that_cannot_be_read(tmp_path: Path, content: bytes, what: str) -> None:
    path = tmp_path / "r.csv"
    path.write_bytes(content)
    with pytest.raises(InputError, match=what):
        read_rows(path)


@given(content=st.binary(max_size=200))
def test_any_bytes_give_rows_or_one_error(
    content: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("any") / "r.csv"
    path.write_bytes(content)
    try:
        rows = read_rows(path)
    except InputError as error:
        rows = [(0, {"said": error.what})]
    assert rows
    assert all(any(cells) for _, cells in rows)
