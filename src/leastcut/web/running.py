"""The workbench started, reachable, and stopped: what the command ``serve`` does."""

import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

import msgspec

from leastcut.errors import InputError
from leastcut.job.analyst import Analyst
from leastcut.job.carry import into_shop
from leastcut.shop.access import Access
from leastcut.shop.config import Config
from leastcut.shop.opening import is_url
from leastcut.shop.store import Shop, open_shop
from leastcut.web import authority
from leastcut.web.settings import LOOPBACK, Limits, Settings

ENTER_LIFE_S = 5 * 60.0
# Addresses to listen on that include this machine's own.
_EVERYWHERE = ("", "127.0.0.1", "0.0.0.0", "::")  # noqa: S104 - compared, not bound


class ServeError(InputError):
    """The workbench cannot be started like this."""


class Ways(msgspec.Struct, frozen=True, kw_only=True):
    """How the running workbench is reached.

    Attributes
    ----------
    enter : str
        Lets the browser on this machine in, once, for a few minutes.
    pair : str
        Lets a phone of the owner's in, once; empty where no phone reaches it.
    certificate : str
        Where a phone fetches the authority; empty without https of our own.
    fingerprint : str
        Of that authority.
    """

    enter: str
    pair: str = ""
    certificate: str = ""
    fingerprint: str = ""


def address_here() -> str:
    """Return this machine's address on the local network; loopback when it is on none."""
    # Nothing is sent: the system only chooses the address that it would send from. The first is
    # never anybody's (RFC 5737); the others serve where there is no way out of the local network.
    for there in ("192.0.2.1", "192.168.255.254", "10.255.255.254", "172.31.255.254"):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked, suppress(OSError):
            asked.connect((there, 9))
            return str(asked.getsockname()[0])
    return "127.0.0.1"


def settings_for(config: Config, *, https: bool, home: Path) -> Settings:
    """Return the workbench's settings from this machine's.

    Parameters
    ----------
    config : Config
        This machine's settings.
    https : bool
        Whether it is served encrypted.
    home : Path
        Folder for pieces of uploads.

    Raises
    ------
    ServeError
        If a limit is not one of ours.
    """
    here = address_here() if config.lan else "127.0.0.1"
    if config.host not in _EVERYWHERE:
        here = config.host
    machine = socket.gethostname().lower()
    named = (here, machine, f"{machine.split('.')[0]}.local") if config.lan else (here,)
    scheme = "https" if https else "http"
    # Where a person named the workbench, that name is the one to show.
    shown = config.hosts[0] if config.hosts else here
    return Settings(
        hosts=tuple(dict.fromkeys((*LOOPBACK, *named, *map(str.lower, config.hosts)))),
        address=f"{scheme}://{shown}:{config.port}",
        https=https,
        lan=config.lan,
        uploads=home / "uploads",
        limits=_limits(config.limits),
    )


def _limits(given: dict[str, float]) -> Limits:
    try:
        return msgspec.convert(given, Limits, strict=False)
    except msgspec.ValidationError as error:
        do = f"The limits are {', '.join(Limits.__struct_fields__)}"
        raise ServeError(str(error), where="limits", do=do) from None


def home_of(place: str) -> Path:
    """Return the folder for what stays on this machine: the shop's own, else the user's."""
    if not is_url(place):
        return Path(place)
    from platformdirs import user_data_path

    return user_data_path("leastcut", appauthor=False)


@contextmanager
def listening(host: str, port: int) -> Iterator[socket.socket]:
    """Yield a socket that listens, so that a port in use is told before anything else happens.

    Raises
    ------
    ServeError
        If the port or address cannot be had.
    """
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as made:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((host, port))
        except OSError as error:
            raise ServeError(
                f"cannot listen there: {error.strerror or error}",
                where=f"{host}:{port}",
                do="Stop the other program, or choose another --port",
            ) from None
        yield made


def run(
    config: Config,
    *,
    job_file: Path | None = None,
    own_https: bool = False,
    told: Callable[[Ways], None],
) -> None:
    """Serve the workbench until it is told to stop, then end everything in good order.

    Parameters
    ----------
    config : Config
        This machine's settings.
    job_file : Path or None
        A job to carry into the shop and to open.
    own_https : bool
        Serve https with a certificate of the shop's own authority.
    told : callable
        Called with the ways in, shortly before it answers.

    Raises
    ------
    InputError
        If shop, job, certificate or port cannot be used.
    """
    place = config.place()
    home = home_of(place)
    https = own_https or bool(config.cert)
    settings = settings_for(config, https=https, home=home)
    host = config.host or ("0.0.0.0" if config.lan else "127.0.0.1")  # noqa: S104 - asked for by --lan
    with listening(host, config.port) as door, _opened(config, place) as (shop, analyst):
        then = "/" if job_file is None else _carried(shop, analyst, job_file)
        key, chain, ways = _certificates(config, settings, home, own_https=own_https)
        _serve(
            shop,
            analyst,
            settings,
            door,
            key=key,
            chain=chain,
            told=lambda: told(_ways(shop, settings, config, ways, then)),
        )


@contextmanager
def _opened(config: Config, place: str) -> Iterator[tuple[Shop, Analyst]]:
    shop = open_shop(place, blobs=config.blobs or None)
    analyst = Analyst(shop, _executor(config))
    try:
        yield shop, analyst
    finally:
        analyst.close()
        shop.close()


def _executor(config: Config) -> Any:
    from leastcut.shop import executors

    if config.cluster:
        return executors.Cluster(config.cluster)
    return executors.Local(config.workers) if config.workers else None


def _carried(shop: Shop, analyst: Analyst, job_file: Path) -> str:
    carried = into_shop(job_file, shop, now_s=time.time())
    analyst.poke(carried.visit)
    return f"/v/{carried.visit}"


def _certificates(
    config: Config, settings: Settings, home: Path, *, own_https: bool
) -> tuple[Path | None, Path | None, Ways]:
    ways = Ways(enter="")
    if config.cert:
        return Path(config.key or config.cert), Path(config.cert), ways
    if not own_https:
        return None, None, ways
    names = [name.strip("[]") for name in settings.hosts]
    made = authority.papers(home / "https", names, now=authority.now())
    ways = Ways(
        enter="", certificate=f"{settings.address}/authority.crt", fingerprint=made.fingerprint
    )
    return made.key, made.chain, ways


def _ways(shop: Shop, settings: Settings, config: Config, ways: Ways, then: str) -> Ways:
    """Return the ways in, with fresh codes in them."""
    access, now_s = Access(shop.database), time.time()
    owner = access.owner(now_s=now_s)
    key = access.new_code(owner, now_s=now_s, life_s=ENTER_LIFE_S)
    here = settings.address
    if config.host in _EVERYWHERE:
        here = f"{here.partition('://')[0]}://127.0.0.1:{config.port}"
    pair = ""
    if settings.lan:
        pair = f"{settings.address}/pair?code={access.new_code(owner, now_s=now_s)}"
    return msgspec.structs.replace(
        ways, enter=f"{here}/enter?key={key}&then={quote(then)}", pair=pair
    )


def _serve(
    shop: Shop,
    analyst: Analyst,
    settings: Settings,
    door: socket.socket,
    *,
    key: Path | None,
    chain: Path | None,
    told: Callable[[], None],
) -> None:
    from leastcut.web.app import create_app
    from leastcut.web.server import run as run_server
    from leastcut.web.server import server

    app = create_app(shop, analyst, settings)
    app.state.authority = chain.parent / "authority.crt" if chain else None
    host, port = door.getsockname()[:2]
    served = server(app, settings, host=host, port=port, key=key, certificate=chain)
    run_server(served, door, told=told)
