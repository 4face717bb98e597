"""Settings: file, then environment; what cannot be used is told with what can."""

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.shop.config import Config, ConfigError, read_config


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "leastcut.toml"
    path.write_text('shop = "/srv/shop"\nport = 9000\nlan = true\nhosts = ["bay.local"]\n')
    return path


def test_without_anything_the_defaults_hold(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    found = read_config({})
    assert found == Config()
    assert Path(found.place()).is_relative_to(tmp_path)


def test_the_environment_counts_before_the_file(file: Path) -> None:
    found = read_config({"LEASTCUT_PORT": "9001", "LEASTCUT_LAN": "false"}, file=file)
    assert (found.shop, found.port, found.lan) == ("/srv/shop", 9001, False)
    assert found.hosts == ("bay.local",)
    assert found.place() == "/srv/shop"


def test_the_file_is_named_by_the_environment(file: Path) -> None:
    found = read_config({"LEASTCUT_CONFIG": str(file), "LEASTCUT_HOSTS": "a.local b.local"})
    assert (found.port, found.hosts) == (9000, ("a.local", "b.local"))


def test_a_secret_address_comes_from_a_file(tmp_path: Path, file: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("postgresql://a:b@host/shop\n")
    assert read_config({"LEASTCUT_SHOP_FILE": str(secret)}, file=file).shop.endswith("host/shop")
    both = {"LEASTCUT_SHOP_FILE": str(secret), "LEASTCUT_SHOP": "/here"}
    assert read_config(both, file=file).shop == "/here"
    with pytest.raises(ConfigError, match="LEASTCUT_SHOP_FILE"):
        read_config({"LEASTCUT_SHOP_FILE": str(tmp_path / "none")}, file=file)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("prot = 9000", "no setting is called `prot`"),
        ("port = 0", "port"),
        ('port = "no"', "port"),
        ("port = ", "not readable as TOML"),
        ('log = "xml"', "xml"),
        ("workers = 1000", "workers"),
    ],
)
def test_what_cannot_be_used_is_told(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(text)
    with pytest.raises(ConfigError, match=told) as error:
        read_config({}, file=path)
    assert str(path) in str(error.value)


def test_a_bad_environment_and_a_missing_file_are_told(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r"environment.*port"):
        read_config({"LEASTCUT_PORT": "http"}, file=None)
    with pytest.raises(ConfigError, match="cannot read it"):
        read_config({}, file=tmp_path / "none.toml")


@given(content=st.binary(max_size=300))
def test_no_file_breaks_it(content: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_bytes(content)
    with suppress(ConfigError):
        assert isinstance(read_config({}, file=path), Config)
