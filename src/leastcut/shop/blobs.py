"""Photos and other large content, kept under the SHA-256 of what they hold.

A blob is written to a file of its own beside the store, forced to the disk, and only then given its
name: under a name there is always the whole content. Nothing is overwritten with something else,
for the name is the content. A folder is the usual store; any other place goes through fsspec.
"""

import hashlib
import os
import re
import secrets
from collections.abc import Iterator
from contextlib import closing, suppress
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import IO, Any, BinaryIO, Protocol, cast

from leastcut.shop.trouble import NoRowError, NoShopError, sorting

DIGEST = re.compile(r"[0-9a-f]{64}")
CHUNK = 1 << 20
# Stores in which an object appears only when it is whole: no second name is needed there.
_WHOLE = {"s3", "s3a", "gs", "gcs", "az", "abfs", "abfss", "adl", "oss", "memory"}


class Blobs(Protocol):
    """Where blobs are kept."""

    where: str

    def put(self, content: bytes | BinaryIO) -> str:
        """Keep `content` and return its digest; it is on the disk when this returns."""

    def get(self, digest: str) -> bytes:
        """Return a blob's content."""

    def open(self, digest: str) -> BinaryIO:
        """Open a blob for reading."""

    def path(self, digest: str) -> Path | None:
        """Return the file that holds a blob; None where the store is no folder."""

    def has(self, digest: str) -> bool:
        """Tell whether a blob is there."""

    def all(self) -> Iterator[tuple[str, int, float]]:
        """Yield digest, size [bytes] and time of writing [Unix s] of every blob."""

    def drop(self, digest: str) -> None:
        """Remove a blob if it is there."""

    def sweep(self, before_s: float) -> int:
        """Remove what interrupted writers left before a time; return how much."""


def checked(digest: str) -> str:
    """Return `digest` if it can be one.

    Raises
    ------
    NoRowError
        If it is not 64 hexadecimal digits.
    """
    if DIGEST.fullmatch(digest) is None:
        raise NoRowError("no photo has such a name", where="photo", do="Open it from its visit")
    return digest


def digest_of(stream: BinaryIO) -> str:
    """Return the SHA-256 of what is left in a stream, as 64 hexadecimal digits."""
    found = hashlib.sha256()
    while chunk := stream.read(CHUNK):
        found.update(chunk)
    return found.hexdigest()


def force(handle: int) -> None:
    """Bring a file's content to the disk itself, where the system lets us ask for it."""
    os.fsync(handle)
    with suppress(ImportError, OSError):
        import fcntl

        if (full := getattr(fcntl, "F_FULLFSYNC", None)) is not None:
            fcntl.fcntl(handle, full)


def force_folder(folder: Path) -> None:
    """Bring a folder's list of names to the disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def force_tree(folder: Path) -> None:
    """Bring everything under a folder to the disk."""
    for path in sorted(folder.rglob("*"), reverse=True):
        if path.is_dir():
            force_folder(path)
        else:
            with path.open("rb") as file:
                force(file.fileno())
    force_folder(folder)


def _missing(digest: str) -> NoRowError:
    return NoRowError(
        "the photo is not in the store",
        where=digest[:12],
        do="Run `leastcut shop verify`, then restore it from a backup or take it again",
    )


def _pour(content: bytes | BinaryIO, file: IO[bytes]) -> str:
    stream = BytesIO(content) if isinstance(content, bytes) else content
    found = hashlib.sha256()
    while chunk := stream.read(CHUNK):
        found.update(chunk)
        file.write(chunk)
    return found.hexdigest()


class FolderBlobs:
    """Blobs in a folder: ``ab/cdef…`` under it, new ones in ``incoming`` until they are whole.

    With ``forced=False`` the caller brings them to the disk, all at once.
    """

    def __init__(self, folder: Path, *, forced: bool = True) -> None:
        self.folder = folder
        self._forced = forced
        self.where = str(folder)

    def _file(self, digest: str) -> Path:
        return self.folder / checked(digest)[:2] / digest[2:]

    def put(self, content: bytes | BinaryIO) -> str:
        """Keep `content` and return its digest; it is on the disk when this returns."""
        scratch = self.folder / "incoming" / secrets.token_hex(12)
        with sorting(self.where):
            scratch.parent.mkdir(parents=True, exist_ok=True)
            try:
                with scratch.open("xb") as file:
                    digest = _pour(content, file)
                    file.flush()
                    if self._forced:
                        force(file.fileno())
                self._name(scratch, self._file(digest))
            finally:
                with suppress(OSError):
                    scratch.unlink(missing_ok=True)
        return digest

    def _name(self, scratch: Path, final: Path) -> None:
        if not final.parent.is_dir():
            final.parent.mkdir(exist_ok=True)
            self._force(self.folder)
        scratch.replace(final)
        self._force(final.parent)

    def _force(self, folder: Path) -> None:
        if self._forced:
            force_folder(folder)

    def get(self, digest: str) -> bytes:
        """Return a blob's content."""
        with self.open(digest) as file:
            return file.read()

    def open(self, digest: str) -> BinaryIO:
        """Open a blob for reading.

        Raises
        ------
        NoRowError
            If it is not there.
        """
        try:
            with sorting(self.where):
                return self._file(digest).open("rb")
        except NoRowError:
            raise
        except Exception as error:
            if isinstance(error.__cause__, FileNotFoundError):
                raise _missing(digest) from None
            raise

    def path(self, digest: str) -> Path | None:
        """Return the file that holds a blob."""
        return self._file(digest)

    def has(self, digest: str) -> bool:
        """Tell whether a blob is there."""
        return self._file(digest).is_file()

    def all(self) -> Iterator[tuple[str, int, float]]:
        """Yield digest, size [bytes] and time of writing [Unix s] of every blob."""
        for file in sorted(self.folder.glob("[0-9a-f][0-9a-f]/*")):
            digest = file.parent.name + file.name
            if DIGEST.fullmatch(digest):
                with suppress(FileNotFoundError):
                    told = file.stat()
                    yield digest, told.st_size, told.st_mtime

    def drop(self, digest: str) -> None:
        """Remove a blob if it is there."""
        with sorting(self.where):
            self._file(digest).unlink(missing_ok=True)

    def sweep(self, before_s: float) -> int:
        """Remove what interrupted writers left before a time; return how much."""
        n = 0
        for file in self.folder.glob("incoming/*"):
            with sorting(self.where), suppress(FileNotFoundError):
                if file.stat().st_mtime < before_s:
                    file.unlink()
                    n += 1
        return n


class RemoteBlobs:
    """Blobs in any place that fsspec reaches, by URL."""

    def __init__(self, url: str) -> None:
        self.where = url.split("?", maxsplit=1)[0]
        self._fs, self._root = _filesystem(url)

    def _name(self, digest: str) -> str:
        return f"{self._root}/{checked(digest)[:2]}/{digest[2:]}"

    def put(self, content: bytes | BinaryIO) -> str:
        """Keep `content` and return its digest; the store has taken it when this returns."""
        import tempfile

        with sorting(self.where), tempfile.NamedTemporaryFile() as file:
            digest = _pour(content, file)
            file.flush()
            self._send(file.name, self._name(digest))
        return digest

    def _send(self, local: str, final: str) -> None:
        self._fs.makedirs(final.rsplit("/", 1)[0], exist_ok=True)
        protocols = self._fs.protocol
        if set((protocols,) if isinstance(protocols, str) else protocols) & _WHOLE:
            self._fs.put_file(local, final)
            return
        self._fs.makedirs(f"{self._root}/incoming", exist_ok=True)
        scratch = f"{self._root}/incoming/{secrets.token_hex(12)}"
        self._fs.put_file(local, scratch)
        self._fs.mv(scratch, final)

    def get(self, digest: str) -> bytes:
        """Return a blob's content."""
        with closing(self.open(digest)) as file:
            return file.read()

    def open(self, digest: str) -> BinaryIO:
        """Open a blob for reading.

        Raises
        ------
        NoRowError
            If it is not there.
        """
        name = self._name(digest)
        try:
            return cast("BinaryIO", self._fs.open(name, "rb"))
        except FileNotFoundError:
            raise _missing(digest) from None

    def path(self, digest: str) -> Path | None:
        """Return None: there is no file of this machine."""
        checked(digest)
        return None

    def has(self, digest: str) -> bool:
        """Tell whether a blob is there."""
        with sorting(self.where):
            return bool(self._fs.isfile(self._name(digest)))

    def all(self) -> Iterator[tuple[str, int, float]]:
        """Yield digest, size [bytes] and time of writing [Unix s] of every blob."""
        with sorting(self.where):
            found = self._fs.find(self._root, detail=True) if self._fs.exists(self._root) else {}
        for name, told in sorted(found.items()):
            digest = "".join(name.rsplit("/", 2)[-2:])
            if DIGEST.fullmatch(digest):
                yield digest, int(told["size"]), _written(told)

    def drop(self, digest: str) -> None:
        """Remove a blob if it is there."""
        with sorting(self.where), suppress(FileNotFoundError):
            self._fs.rm_file(self._name(digest))

    def sweep(self, before_s: float) -> int:
        """Remove what interrupted writers left before a time; return how much."""
        n = 0
        with sorting(self.where), suppress(FileNotFoundError):
            for told in self._fs.ls(f"{self._root}/incoming", detail=True):
                if _written(told) < before_s:
                    self._fs.rm_file(told["name"])
                    n += 1
        return n


def _written(told: dict[str, Any]) -> float:
    """Return a time of writing [Unix s] from what a store tells; 0 when it tells none."""
    for name in ("mtime", "LastModified", "last_modified", "updated", "created"):
        value = told.get(name)
        if isinstance(value, int | float):
            return float(value)
        if isinstance(value, datetime):
            return value.timestamp()
    return 0.0


def _filesystem(url: str) -> tuple[Any, str]:
    import fsspec

    try:
        fs, root = fsspec.core.url_to_fs(url)
    except (ImportError, ValueError) as error:
        raise NoShopError(
            f"this kind of store cannot be used: {error}",
            where=url.split("?", maxsplit=1)[0],
            do="Install the package it names, or use a folder",
        ) from None
    return fs, str(root).rstrip("/")


def open_blobs(url: str | Path) -> Blobs:
    """Return the store at a folder or URL; a folder is made when the first blob comes."""
    text = str(url)
    if text.startswith(("file://", "local://")):
        return FolderBlobs(Path(text.split("://", 1)[1]))
    return RemoteBlobs(text) if "://" in text or "::" in text else FolderBlobs(Path(text))
