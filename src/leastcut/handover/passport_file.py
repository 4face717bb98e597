"""The passport as one archive: a plain ZIP that any tool opens, with a manifest that shows changes.

::

    README.txt        what this is, for a person
    passport.json     the record
    schema.json       its JSON Schema
    photos/…          the photos, untouched
    MANIFEST.sha256   one line per file, as ``sha256sum -c`` reads them
    SEAL.hmac         the manifest's HMAC-SHA-256 when the shop seals with a key

Files are stored without compression, in a fixed order, with a fixed date: the same passport gives
the same bytes everywhere (source: PKWARE APPNOTE 6.3, method 0; status: memory).
"""

import hashlib
import hmac
import io
import re
import zipfile
from typing import Any

import msgspec

from leastcut.errors import InputError
from leastcut.handover.passport import FORMAT, Passport, Photos

README = """This is a car passport: the paint history of one car, written by leastcut.

passport.json holds every visit, what was measured and what was taken, and the ledger of clear coat.
schema.json describes it. photos/ has the photos that go with it. MANIFEST.sha256 has the checksum of
every file: `sha256sum -c MANIFEST.sha256` tells whether anything was changed.
"""
MANIFEST, SEAL = "MANIFEST.sha256", "SEAL.hmac"
LARGEST = 2_000_000_000
_PHOTO = re.compile(r"photos/[A-Za-z0-9][A-Za-z0-9._-]{0,120}")
_FIXED = ("README.txt", "passport.json", "schema.json")


class PassportError(InputError):
    """An archive that is no passport, or was altered."""


def pack(passport: Passport, photos: Photos, *, key: bytes | None = None) -> bytes:
    """Return the archive's bytes; the same passport, photos and key give the same bytes.

    Raises
    ------
    PassportError
        If a photo's name could not stand in the archive.
    """
    files = {
        "README.txt": README.encode(),
        "passport.json": _json(passport),
        "schema.json": msgspec.json.format(msgspec.json.encode(schema()), indent=1),
    } | {f"photos/{name}": content for name, content in sorted(photos.items())}
    for name in files:
        if name not in _FIXED and not _PHOTO.fullmatch(name):
            raise PassportError(
                f"{name!r} is no photo name", where="passport", do="Use letters, digits, . _ -"
            )
    manifest = "".join(f"{_hash(content)}  {name}\n" for name, content in files.items()).encode()
    files[MANIFEST] = manifest
    if key is not None:
        files[SEAL] = hmac.new(key, manifest, hashlib.sha256).hexdigest().encode() + b"\n"
    return _zip(files)


def _json(passport: Passport) -> bytes:
    """Return the record as JSON, as it will be once read back: numbers in their final form."""
    settled = msgspec.json.decode(msgspec.json.encode(passport), type=Passport)
    return msgspec.json.format(msgspec.json.encode(settled), indent=1)


def _zip(files: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for name, content in files.items():
            info = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            info.create_system, info.external_attr = 3, 0o644 << 16
            archive.writestr(info, content)
    return stream.getvalue()


def unpack(
    data: bytes, *, where: str = "passport", key: bytes | None = None
) -> tuple[Passport, dict[str, bytes]]:
    """Read an archive and check every byte of it.

    Parameters
    ----------
    data : bytes
        The archive.
    where : str
        Its name, for messages.
    key : bytes, optional
        The shop's secret; when given, an archive without a fitting seal is refused.

    Returns
    -------
    tuple of Passport and dict
        The record, and the photos by name.

    Raises
    ------
    PassportError
        If it is no passport, a file in it was altered, added or removed (the message names the
        file), or the seal does not fit.
    """
    files = _unzip(data, where)
    _check_manifest(files, where)
    if key is not None:
        _check_seal(files, where, key)
    passport = _passport(files.pop("passport.json"), where)
    photos = {name.removeprefix("photos/"): c for name, c in files.items() if "/" in name}
    missing = sorted({ref.name for ref in passport.photos} ^ set(photos))
    if missing:
        raise _wrong(where, f"photos/{missing[0]}", "stands in only one of record and archive")
    return passport, photos


def schema() -> dict[str, Any]:
    """Return the JSON Schema of ``passport.json``."""
    return msgspec.json.schema(Passport)


def _unzip(data: bytes, where: str) -> dict[str, bytes]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
            if sum(info.file_size for info in infos) > LARGEST:
                raise _wrong(where, "the archive", "unpacks to more than 2 GB")
            names = [info.filename for info in infos]
            for name in names:
                _check_name(name, names, where)
            return {info.filename: _member(archive, info, where) for info in infos}
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, ValueError) as error:
        raise PassportError(
            f"it is no archive: {error}", where=where, do="Give a passport that leastcut wrote"
        ) from None


def _member(archive: zipfile.ZipFile, info: zipfile.ZipInfo, where: str) -> bytes:
    import zlib

    try:
        return archive.read(info)
    except (zipfile.BadZipFile, RuntimeError, zlib.error):
        raise _wrong(where, info.filename, "was altered or is damaged") from None


def _check_name(name: str, names: list[str], where: str) -> None:
    known = name in {*_FIXED, MANIFEST, SEAL} or _PHOTO.fullmatch(name)
    if not known or names.count(name) != 1:
        raise _wrong(where, name, "has no place in a passport")


def _check_manifest(files: dict[str, bytes], where: str) -> None:
    lines = files.get(MANIFEST, b"").decode(errors="replace").splitlines()
    listed = {name: digest for digest, _, name in (line.partition("  ") for line in lines)}
    for name in sorted({*files, *listed, *_FIXED} - {MANIFEST, SEAL}):
        if name not in listed:
            raise _wrong(where, name, "was added after the archive was written")
        if name not in files:
            raise _wrong(where, name, "is missing")
        if _hash(files[name]) != listed[name]:
            raise _wrong(where, name, "was altered after the archive was written")


def _check_seal(files: dict[str, bytes], where: str, key: bytes) -> None:
    right = hmac.new(key, files[MANIFEST], hashlib.sha256).hexdigest().encode()
    if not hmac.compare_digest(files.get(SEAL, b"").strip(), right):
        raise _wrong(where, SEAL, "does not fit the key")


def _passport(data: bytes, where: str) -> Passport:
    try:
        passport = msgspec.json.decode(data, type=Passport)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise _wrong(where, "passport.json", f"does not fit its schema: {error}") from None
    if passport.leastcut_passport != FORMAT:
        raise PassportError(
            f"format {passport.leastcut_passport} is not known",
            where=where,
            do=f"Use a leastcut that reads format {passport.leastcut_passport}",
        )
    return passport


def _wrong(where: str, name: str, what: str) -> PassportError:
    return PassportError(
        f"{name} {what}", where=where, do="Ask for an untouched copy of the passport"
    )


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
