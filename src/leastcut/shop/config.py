"""How this machine runs leastcut: a TOML file, then the environment, then the command's options.

What stands later counts. In the environment each key is ``LEASTCUT_`` and its name in capitals;
``LEASTCUT_SHOP_FILE`` names a file that holds the address, for the secret stores of services.
"""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from leastcut.errors import InputError

PREFIX = "LEASTCUT_"
_LONGEST = 1 << 16


class ConfigError(InputError):
    """A setting that cannot be used."""


class Config(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The settings of one machine.

    Attributes
    ----------
    shop : str
        Folder or PostgreSQL URL; empty: the user's own folder for data.
    blobs : str
        Folder or fsspec URL of the photos; empty: in the shop's folder.
    host : str
        Address to listen on; empty: this machine only, or every address with `lan`.
    port : int
        Port of the workbench.
    lan : bool
        Whether other machines may reach it.
    hosts : tuple of str
        Further names under which it may be asked for.
    cert, key : str
        Certificate and key for https.
    workers : int
        Worker processes for photos; 0: as many as there are processors, less one.
    cluster : str
        Address of a Dask scheduler for the analysis of photos.
    log : {"text", "json"}
        Form of the log on standard error.
    log_level : {"debug", "info", "warning", "error"}
        What is logged.
    limits : dict of str to float
        Limits of requests, see the chapter on the shop.
    """

    shop: str = ""
    blobs: str = ""
    host: str = ""
    port: Annotated[int, Meta(ge=1, le=65_535)] = 8136
    lan: bool = False
    hosts: tuple[str, ...] = ()
    cert: str = ""
    key: str = ""
    workers: Annotated[int, Meta(ge=0, le=256)] = 0
    cluster: str = ""
    log: Literal["text", "json"] = "text"
    log_level: Literal["debug", "info", "warning", "error"] = "warning"
    limits: dict[str, float] = {}

    def place(self) -> str:
        """Return folder or URL of the shop."""
        if self.shop:
            return self.shop
        from platformdirs import user_data_path

        return str(user_data_path("leastcut", appauthor=False) / "shop")


def read_config(environ: Mapping[str, str], *, file: Path | None = None) -> Config:
    """Return the settings of this machine.

    Parameters
    ----------
    environ : mapping of str to str
        The environment.
    file : Path or None
        The TOML file; without it the one that ``LEASTCUT_CONFIG`` names, else ``leastcut.toml`` in
        the user's folder for settings when there is one.

    Returns
    -------
    Config
        Defaults where nothing is set.

    Raises
    ------
    ConfigError
        If a file cannot be read, or a key or value cannot be used.
    """
    named = file or (Path(environ["LEASTCUT_CONFIG"]) if environ.get("LEASTCUT_CONFIG") else None)
    path = named or _usual()
    given = _from_file(path) if named is not None or path.is_file() else {}
    _checked(given, str(path))
    told = _from_environment(environ)
    _checked(told, "the environment")
    return _checked(given | told, str(path))


def _usual() -> Path:
    from platformdirs import user_config_path

    return user_config_path("leastcut", appauthor=False) / "leastcut.toml"


def _from_file(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_bytes()[:_LONGEST].decode())
    except OSError as error:
        raise ConfigError(
            f"cannot read it: {error.strerror}", where=str(path), do="Name another file"
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ConfigError(
            f"not readable as TOML: {error}", where=str(path), do="Correct it"
        ) from None


def _from_environment(environ: Mapping[str, str]) -> dict[str, Any]:
    given: dict[str, Any] = {}
    for name in Config.__struct_fields__:
        value = environ.get(PREFIX + name.upper())
        if value is not None and name != "limits":
            given[name] = tuple(value.split()) if name == "hosts" else value
    if (secret := environ.get("LEASTCUT_SHOP_FILE")) and "shop" not in given:
        try:
            given["shop"] = Path(secret).read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError):
            raise ConfigError(
                "cannot read it", where=f"LEASTCUT_SHOP_FILE {secret}", do="Name another file"
            ) from None
    return given


def _checked(given: dict[str, Any], where: str) -> Config:
    try:
        # Not strict: the environment writes numbers and yes/no as text.
        return msgspec.convert(given, Config, strict=False)
    except msgspec.ValidationError as error:
        what = str(error).replace("Object contains unknown field", "no setting is called")
        raise ConfigError(
            what, where=where, do=f"The settings are {', '.join(Config.__struct_fields__)}"
        ) from None
