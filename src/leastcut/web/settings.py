"""What the person who runs the workbench chose: names it answers to, limits, where chunks wait."""

from pathlib import Path

import msgspec

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
MB = 1_000_000


class Limits(msgspec.Struct, frozen=True, kw_only=True):
    """How much one request, one device and one stranger may ask for.

    Attributes
    ----------
    form_bytes, json_bytes, photos_bytes, chunk_bytes : int
        Largest body: a form, JSON, a form with photos, a piece of an upload.
    upload_bytes, uploads : int
        Largest upload, and how many one device may have open.
    head_s, body_s, idle_s : float
        Time for a request's head, grace for its body beyond the slowest rate, time between pieces.
    slowest_bytes_s : float
        A body may take as long as it does at this rate.
    device_per_s, device_burst : float
        Requests of one paired device.
    stranger_per_s, stranger_burst : float
        Requests of one address without a device.
    tries_per_s, tries_burst : float
        Codes, keys and passwords that one address may try.
    all_tries_per_s, all_tries_burst : float
        The same, of all addresses together.
    """

    form_bytes: int = 256_000
    json_bytes: int = 1 * MB
    photos_bytes: int = 120 * MB
    chunk_bytes: int = 4 * MB
    upload_bytes: int = 200 * MB
    uploads: int = 40
    head_s: float = 10.0
    body_s: float = 20.0
    idle_s: float = 15.0
    slowest_bytes_s: float = 20_000.0
    device_per_s: float = 30.0
    device_burst: float = 240.0
    stranger_per_s: float = 5.0
    stranger_burst: float = 60.0
    tries_per_s: float = 1 / 12
    tries_burst: float = 8.0
    all_tries_per_s: float = 1 / 3
    all_tries_burst: float = 40.0


class Settings(msgspec.Struct, frozen=True, kw_only=True):
    """Settings of one workbench.

    Attributes
    ----------
    hosts : tuple of str
        Names and addresses, without port, under which pages may be asked for: a page of another
        name that leads here gets nothing.
    address : str
        The address to show and to put into codes, for example ``http://192.168.1.7:8136``.
    https : bool
        Whether it is served encrypted: cookies are then kept from plain http.
    lan : bool
        Whether other machines reach it.
    uploads : Path or None
        Folder where pieces of uploads wait; without it a folder of the system's temporary files.
    limits : Limits
        See there.
    """

    hosts: tuple[str, ...] = LOOPBACK
    address: str = "http://127.0.0.1:8136"
    https: bool = False
    lan: bool = False
    uploads: Path | None = None
    limits: Limits = Limits()
