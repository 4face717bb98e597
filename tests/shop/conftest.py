"""A shop on each database: every test of the record runs on SQLite and on PostgreSQL."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

import postgres
from leastcut.shop.store import Shop, open_shop


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[postgres.Server]:
    yield from postgres.for_tests()


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An address at which no shop has been begun yet."""
    if request.param == "sqlite":
        yield str(tmp_path / "shop")
        return
    server: postgres.Server = request.getfixturevalue("postgres_server")
    url = server.database()
    yield url
    server.drop(url)


@pytest.fixture
def begin(tmp_path: Path) -> Iterator[Callable[..., Shop]]:
    """Open shops that are closed after the test; their photos lie in the test's folder."""
    opened: list[Shop] = []

    def at(place: str | Path, **options: bool) -> Shop:
        blobs = tmp_path / "blobs" if str(place).startswith("postgresql") else None
        opened.append(open_shop(place, blobs=blobs, **options))
        return opened[-1]

    yield at
    for shop in opened:
        shop.close()


@pytest.fixture
def shop(place: str, begin: Callable[..., Shop]) -> Shop:
    return begin(place)


@pytest.fixture
def visit(shop: Shop) -> int:
    return shop.new_visit(shop.new_car("blue estate", client="Ana", now_s=1_000.0), now_s=1_001.0)
