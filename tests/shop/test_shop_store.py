"""The record on both databases: what is handed in comes back, once, in order, from any thread."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest
from sqlalchemy import inspect

from leastcut.shop.carrows import LabelError, folded
from leastcut.shop.factrows import MAX_BODY, FactError
from leastcut.shop.facts import NewFact
from leastcut.shop.store import Shop, open_shop
from leastcut.shop.trouble import NoRowError, NoShopError

Begin = Callable[..., Shop]


def fact(key: str, body: object = 1, field: str = "car.length", base: int | None = None) -> NewFact:
    return NewFact(key=key, kind="set", field=field, body=body, base=base, made_s=7.25)


def add(shop: Shop, visit: int, *facts: NewFact, at_s: float = 9.0) -> dict[str, int]:
    return shop.append(visit, facts, device=None, person="Ana", now_s=at_s).taken


def test_a_fact_comes_back_as_it_was_written(shop: Shop, visit: int) -> None:
    body = {"µm": [1.5, None, True, "naïve\u0000\U0001f697"], "deep": {"er": -0.1}}
    number = add(shop, visit, fact("k-1", body, base=3))["k-1"]
    (found,) = shop.facts(visit)
    assert found.body == body
    told = (found.id, found.key, found.kind, found.field, found.base, found.made_s, found.at_s)
    assert told == (number, "k-1", "set", "car.length", 3, 7.25, 9.0)
    assert (found.device, found.person) == (None, "Ana")


def test_the_same_key_is_one_fact(shop: Shop, visit: int) -> None:
    first = add(shop, visit, fact("a", 1), fact("a", 2), fact("b", 3))
    again = add(shop, visit, fact("b", 4), fact("c", 5), fact("a", 6))
    assert again == first | {"c": again["c"]}
    assert [f.body for f in shop.facts(visit)] == [1, 3, 5]


def test_numbers_rise_in_the_order_handed_in(shop: Shop, visit: int) -> None:
    keys = [f"k{n}" for n in range(1_300)]
    taken = add(shop, visit, *(fact(key, n) for n, key in enumerate(keys)))
    numbers = [taken[key] for key in keys]
    assert numbers == sorted(set(numbers))
    assert [f.body for f in shop.facts(visit)] == list(range(1_300))
    assert shop.head(visit) == numbers[-1]
    assert [f.id for f in shop.facts(visit, after=numbers[1_200])] == numbers[1_201:]
    assert add(shop, visit, *(fact(key) for key in keys)) == taken


def test_visits_do_not_mix(shop: Shop, visit: int) -> None:
    other = shop.new_visit(shop.new_car("red coupe", now_s=1.0), now_s=2.0)
    mine = add(shop, visit, fact("same"))["same"]
    theirs = add(shop, other, fact("same"))["same"]
    assert mine < theirs
    assert (shop.head(visit), shop.head(other)) == (mine, theirs)
    assert shop.append(visit, (), device=None, person="", now_s=0.0).head == mine


@pytest.mark.parametrize(
    "bad",
    [
        fact("has space"),
        fact(""),
        fact("k" * 41),
        fact("ok", field="'; DROP TABLE facts; --"),
        fact("ok", field=""),
        fact("ok", body="x" * (MAX_BODY + 1)),
        fact("ok", body=object()),
        fact("ok", body="\ud800"),
    ],
)
def test_what_cannot_be_written_leaves_nothing(shop: Shop, visit: int, bad: NewFact) -> None:
    with pytest.raises(FactError, match="Nothing of this entry was kept"):
        add(shop, visit, fact("good"), bad)
    assert shop.facts(visit) == ()
    assert shop.head(visit) == 0


def test_what_is_not_there_is_told(shop: Shop) -> None:
    for ask in (
        lambda: add(shop, 99, fact("a")),
        lambda: shop.head(99),
        lambda: shop.new_visit(99, now_s=0.0),
        lambda: shop.rename_car(99, "x"),
        lambda: shop.blob("0" * 64),
        lambda: shop.blob("../shop.sqlite"),
    ):
        with pytest.raises(NoRowError):
            ask()
    assert (shop.visit(99), shop.visits(99), shop.facts(99)) == (None, (), ())
    assert (shop.photo("0" * 64), shop.dossier(99)) == (None, None)


def test_cars_are_found_by_words_without_case_and_accents(shop: Shop) -> None:
    made = [shop.new_car(f"car {n}", client="Peña 100%", now_s=float(n)) for n in range(7)]
    shop.new_visit(made[2], now_s=50.0)
    first = shop.cars(search="PENA car", per_page=3)
    assert (first.total, first.pages, first.page) == (7, 3, 1)
    assert [row.car for row in first.rows] == [made[2], made[6], made[5]]
    assert [row.car for row in shop.cars(page=99, per_page=3).rows] == [made[0]]
    assert shop.cars(search="100%").total == 7
    assert shop.cars(search="1_0%").total == 0
    assert shop.cars(search="' OR 1=1 --").rows == ()


def test_the_newest_visit_and_its_summary_stand_in_the_list(shop: Shop, visit: int) -> None:
    car = shop.cars().rows[0].car
    newer = shop.new_visit(car, now_s=2_000.0)
    shop.note_summary(newer, "inspected")
    shop.rename_car(car, " Blue \n estate ", client="Bo")
    row = shop.cars().rows[0]
    assert (row.visit, row.summary, row.label, row.client) == (
        newer,
        "inspected",
        "Blue estate",
        "Bo",
    )
    assert [v.visit for v in shop.visits(car)] == [visit, newer]
    assert shop.visit(newer) == shop.visits(car)[1]


@pytest.mark.parametrize("label", ["", " \t ", "bell\a", "x" * 201])
def test_a_label_must_be_plain_text(shop: Shop, label: str) -> None:
    with pytest.raises(LabelError):
        shop.new_car(label, now_s=0.0)
    assert shop.cars().total == 0


def test_a_photo_is_kept_once_and_linked_to_visits(shop: Shop, visit: int) -> None:
    content = bytes(range(256)) * 9_000
    digest = shop.put_blob(BytesIO(content))
    assert digest == sha256(content).hexdigest() == shop.put_blob(content)
    assert shop.blob(digest) == content
    assert shop.photo(digest) is None
    other = shop.new_visit(shop.new_car("b", now_s=0.0), now_s=0.0)
    for held in (visit, other, visit):
        shop.note_photo(held, digest, "image/png", 40, 30, len(content), 5.0)
    photo = shop.photo(digest)
    assert photo is not None
    assert (photo.visits, photo.media, photo.width, photo.height) == (
        (visit, other),
        "image/png",
        40,
        30,
    )
    assert photo.bytes == len(content)
    with shop.blob_file(digest) as path:
        assert path.read_bytes() == content
    with pytest.raises(NoRowError):
        shop.note_photo(visit, "f" * 64, "image/png", 1, 1, 1, 5.0)
    with pytest.raises(NoRowError):
        shop.note_photo(99, digest, "image/png", 1, 1, 1, 5.0)


def test_what_was_worked_out_is_kept_and_replaced(shop: Shop) -> None:
    assert shop.finding("k") is shop.picture("k") is None
    for body in (b"one", b"two\0"):
        shop.put_finding("k", body)
        shop.put_picture("k", body)
    assert shop.finding("k") == shop.picture("k") == b"two\0"
    shop.blobs.drop(sha256(b"two\0").hexdigest())
    assert shop.picture("k") is None


def test_an_older_result_never_hides_a_newer_one(shop: Shop, visit: int) -> None:
    assert shop.put_dossier(visit, 4, b"four")
    assert not shop.put_dossier(visit, 3, b"three")
    assert shop.dossier(visit) == (4, b"four")
    assert shop.put_dossier(visit, 4, b"four again")
    assert shop.dossier(visit) == (4, b"four again")


def test_many_writers_lose_nothing_and_readers_see_no_gap(shop: Shop, visit: int) -> None:
    def write(writer: int) -> int:
        for n in range(12):
            add(shop, visit, fact(f"{writer}-{n}"), fact(f"both-{n}"))
        return writer

    def read(_: int) -> bool:
        seen: list[int] = []
        for _ in range(25):
            seen += [f.id for f in shop.facts(visit, after=seen[-1] if seen else 0)]
        seen += [f.id for f in shop.facts(visit, after=seen[-1] if seen else 0)]
        known = [f.id for f in shop.facts(visit) if f.id <= seen[-1]]
        return known == seen

    with ThreadPoolExecutor(8) as pool:
        writers = pool.map(write, range(4))
        assert all(pool.map(read, range(3)))
        assert sorted(writers) == list(range(4))
    keys = [f.key for f in shop.facts(visit)]
    assert len(keys) == len(set(keys)) == 4 * 12 + 12


def test_a_broken_transaction_leaves_nothing(shop: Shop) -> None:
    def fail() -> None:
        with shop.writing():
            shop_car = shop.cars().total
            raise KeyError(shop_car)

    with pytest.raises(KeyError):
        fail()
    assert shop.new_car("after", now_s=0.0) > 0


def test_a_shop_is_opened_again_with_all_it_held(place: str, begin: Begin) -> None:
    first = begin(place)
    visit = first.new_visit(first.new_car("a", now_s=0.0), now_s=0.0)
    add(first, visit, fact("a"))
    digest = first.put_blob(b"photo")
    first.close()
    again = begin(place, create=False)
    assert [f.key for f in again.facts(visit)] == ["a"]
    assert again.blob(digest) == b"photo"
    assert "facts" in inspect(again.database.engine).get_table_names()


def test_no_shop_is_begun_unasked(place: str, begin: Begin) -> None:
    with pytest.raises(NoShopError, match="there is no shop"):
        begin(place, create=False)


def test_folding_takes_case_and_accents_away() -> None:
    assert folded("Ñandú STRASSE Ærø") == "nandu strasse ærø"


def test_where_photos_are_is_kept_in_the_database(
    place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    with closing(open_shop(place)) as shop:
        first = Path(shop.blobs.where)
        assert first.is_relative_to(tmp_path)
    with closing(open_shop(place, blobs=tmp_path / "here")) as shop:
        digest = shop.put_blob(b"photo")
    with closing(open_shop(place, blobs=tmp_path / "moved")):
        pass
    with closing(open_shop(place, create=False)) as shop:
        assert shop.blobs.where == str(tmp_path / "moved")
        assert not shop.blobs.has(digest)


def test_more_threads_than_connections_wait_and_go_on(shop: Shop, visit: int) -> None:
    def ask(n: int) -> int:
        with shop.writing():
            return len(shop.facts(visit)) + n

    with ThreadPoolExecutor(30) as pool:
        assert list(pool.map(ask, range(60))) == list(range(60))
