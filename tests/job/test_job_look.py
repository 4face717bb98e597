"""Looking at photos together: the same findings as one by one, each photo measured once."""

from collections import Counter

import msgspec
import pytest

from leastcut.inspect import compare, scratches
from leastcut.job.gather import look_all
from leastcut.job.look import Look, groups, looks, see, see_together
from leastcut.job.sources import Folder
from leastcut.shop import photos

SQUARE_MM = 60.0


def look(kind: str, number: int, *files: str, square_mm: float | None = SQUARE_MM) -> Look:
    return Look(kind=kind, number=number, files=files, square_mm=square_mm)  # type: ignore[arg-type]


def test_a_photo_goes_with_the_pair_that_shows_it_at_the_same_scale() -> None:
    proof, trial = look("proof", 0, "a", "b"), look("trial", 0, "c", "d")
    here, after, twice = look("photo", 0, "a"), look("photo", 1, "b"), look("photo", 2, "a")
    alone, other_scale = look("photo", 3, "e"), look("photo", 4, "a", square_mm=50.0)
    asked = [here, alone, after, other_scale, twice, trial, proof]
    assert groups(asked) == [[proof, here, after, twice], [trial], [alone], [other_scale]]
    assert groups([alone, here, twice]) == [[here, twice], [alone]]
    assert groups([]) == []


def test_a_photo_that_two_pairs_share_goes_with_one_of_them() -> None:
    asked = [look("proof", 0, "a", "b"), look("proof", 1, "a", "c"), look("photo", 0, "a")]
    made = groups(asked)
    assert sorted(map(len, made)) == [1, 2]
    assert sorted((x.kind, x.number) for group in made for x in group) == sorted(
        (x.kind, x.number) for x in asked
    )


def test_photos_seen_together_are_measured_once_and_found_as_alone(
    demo,  # noqa: ANN001 - the shared fixture's class lives in conftest
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    folder = Folder.open(demo.job_file)
    group = groups(list(looks(folder.job)))[0]
    assert [one.kind for one in group] == ["proof", "photo"]
    alone = [see(one, *map(folder.read, one.files)) for one in group]
    times: Counter[str] = Counter()

    def counted(module: object, name: str) -> None:
        real = getattr(module, name)
        monkeypatch.setattr(module, name, lambda *a, **k: times.update([name]) or real(*a, **k))

    counted(photos, "decode")
    counted(scratches, "gather")
    together = see_together(group, {name: folder.read(name) for name in group[0].files})
    assert times == {"decode": 2, "gather": 2}
    assert msgspec.json.encode(together) == msgspec.json.encode(alone)


def test_a_pair_that_was_measured_is_compared_as_the_photos_are(
    demo,  # noqa: ANN001 - as above
) -> None:
    folder = Folder.open(demo.job_file)
    pair = next(one for one in looks(folder.job) if one.kind == "trial")
    before, after = (photos.decode(folder.read(name), name).linear for name in pair.files)
    seen, pictures = see(pair, *map(folder.read, pair.files))
    assert seen.compared == compare.compare(before, after, square_mm=SQUARE_MM)
    assert (seen.found, pictures) == ((), ())


def test_what_is_known_is_not_looked_at_and_the_order_is_the_job_files(
    demo,  # noqa: ANN001 - as above
) -> None:
    folder = Folder.open(demo.job_file)
    asked = [(one.kind, one.number) for one in looks(folder.job)]
    wanted = asked[1]
    bare = msgspec.structs.replace(folder.job, trial=(), proof=(), photo=())
    assert look_all(folder, bare) == {}
    one = msgspec.structs.replace(bare, photo=folder.job.photo[:2])
    told: list[str] = []
    first = look_all(folder, one, progress=told.append)
    assert list(first) == asked[:2]
    assert sorted(words[-8:] for words in told) == ["(1 of 2)", "(2 of 2)"]
    assert look_all(folder, one, known={wanted: first[wanted]})[wanted] is first[wanted]
