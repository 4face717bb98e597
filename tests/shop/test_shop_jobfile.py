"""The job file's reader: places, words, and no traceback for any bytes."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.errors import InputError
from leastcut.shop import jobfile
from leastcut.shop.jobschema import JobFile
from leastcut.shop.tomlwhere import line_of

GOOD = """\
format = 1
[car]
label = "my car"
body = "suv"
length = "15 ft 2 in"
"""


def only_problem(text: str) -> str:
    job, problems = jobfile.parse(text, "a.toml")
    assert job is None
    (problem,) = problems
    return str(problem)


def test_a_small_file_is_enough() -> None:
    job, problems = jobfile.parse(GOOD, "a.toml")
    assert problems == ()
    assert job is not None
    # source: 1 ft = 304.8 mm, 1 in = 25.4 mm exactly (international yard and pound, 1959)
    assert job.car.length_mm == pytest.approx(15 * 304.8 + 2 * 25.4)


@pytest.mark.parametrize(
    ("change", "where", "what", "do"),
    [
        ('length = "4.2 kg"', "a.toml:5 car.length", "'kg' does not measure this", "unit"),
        ("length = 4200", "a.toml:5 car.length", "4200 has no unit", "unit"),
        ('length = "-4 m"', "a.toml:5 car.length", "'-4 m' is below zero", "size"),
        ('lenght = "4 m"', "a.toml:5 car.lenght", "unknown field", "Did you mean 'length'?"),
        ("year = true", "a.toml:5 car.year", "expected a whole number", "Model year"),
        ("doors = 9", "a.toml:5 car.doors", "expected a whole number <= 6", "doors"),
        ('[car.paint]\nshade = "drak"', "a.toml:6 car.paint.shade", "unknown word", "one of: dark"),
        ("[[photo]]\npanel = 3", "a.toml:6 photo 1 panel", "expected text, got", "Panel id"),
        ('[[photo]]\npanel = "x"', "a.toml:5 photo 1", "'file' is missing", "Write file = …"),
        ("[wash", "a.toml:5", "not valid TOML", "Mend the line"),
    ],
)
def test_faults_say_where_what_and_what_to_do(change: str, where: str, what: str, do: str) -> None:
    text = "\n".join(GOOD.splitlines()[:4]) + "\n" + change + "\n"
    said = only_problem(text)
    assert said.startswith(where)
    assert what in said
    assert do in said


def test_every_table_gets_its_own_problem() -> None:
    text = GOOD + '[[photo]]\npanel = 1\n[[photo]]\nfile = 2\n[target]\nfinish = "best"\n'
    _, problems = jobfile.parse(text, "a.toml")
    assert [p.where for p in problems] == [
        "a.toml:7 photo 1 panel",
        "a.toml:9 photo 2 file",
        "a.toml:11 target.finish",
    ]


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"x" * (jobfile.MAX_BYTES + 1), "too big"),
    ],
)
def test_files_that_are_not_text(tmp_path: Path, content: bytes, what: str) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=what):
        jobfile.read(path)


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.toml"):
        with pytest.raises(InputError, match="cannot read it"):
            jobfile.read(path)


def test_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    job, _ = jobfile.read(path)
    assert job is not None


words = st.sampled_from(
    [
        *JobFile.__struct_fields__,
        "label",
        "body",
        "suv",
        "file",
        "square",
        "4 m",
        "nan",
        "=",
        "[",
        "]]",
    ]
)
values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=12,
)


@given(st.text() | st.lists(words).map(" ".join) | st.lists(words).map("\n".join))
def test_any_text_gives_a_job_or_problems(text: str) -> None:
    job, problems = jobfile.parse(text, "a.toml")
    assert (job is None) == bool(problems)
    assert all(p.what and p.where.startswith("a.toml") for p in problems)


@given(st.dictionaries(st.sampled_from(JobFile.__struct_fields__), values, max_size=5))
def test_any_table_gives_a_job_or_problems(raw: dict[str, object]) -> None:
    text = as_toml(raw)
    job, problems = jobfile.parse(text, "a.toml")
    assert (job is None) == bool(problems)


def as_toml(raw: dict[str, object]) -> str:
    """Write inline TOML: a writer of its own, to reach deep faults of every type."""

    def one(value: object) -> str:
        if isinstance(value, bool):
            return str(value).lower()
        if isinstance(value, dict):
            return "{" + ", ".join(f'"{k}" = {one(v)}' for k, v in value.items()) + "}"
        if isinstance(value, list):
            return "[" + ", ".join(map(one, value)) + "]"
        if isinstance(value, str):
            return (
                '"'
                + "".join(f"\\U{ord(c):08x}" for c in value if not 0xD800 <= ord(c) < 0xE000)
                + '"'
            )
        return repr(value) if isinstance(value, int | float) else '"none"'

    text = "\n".join(f"{key} = {one(value)}" for key, value in raw.items())
    tomllib.loads(text)
    return text


@given(st.lists(words).map("\n".join), st.lists(words | st.integers(0, 3)))
def test_line_of_never_fails(text: str, keys: list[str | int]) -> None:
    line = line_of(text, keys)
    assert line is None or 1 <= line <= text.count("\n") + 1
