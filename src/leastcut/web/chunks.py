"""Uploads on their way: pieces in a folder, so that neither a cut nor a restart loses them.

Each upload is two files: what came so far, and a note of what it shall become. The note's name is
random and belongs to the device that began it.
"""

import re
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Lock

import msgspec

from leastcut.errors import InputError

LIFE_S = 24 * 3600.0
_NAME = re.compile(r"[0-9a-f]{32}")


class UploadError(InputError):
    """An upload that cannot be begun or go on."""


class Note(msgspec.Struct, frozen=True, kw_only=True):
    """What an upload shall become.

    Attributes
    ----------
    device : int
        Who began it.
    bytes : int
        Its whole length.
    visit : int or None
        The visit that it was finished for.
    file : str or None
        What it became: the digest.
    width, height : int
        Size of the picture [px].
    """

    device: int
    bytes: int
    visit: int | None = None
    file: str | None = None
    width: int = 0
    height: int = 0


class Chunks:
    """The folder of uploads on their way; safe from several threads.

    Parameters
    ----------
    folder : Path
        Made when it is needed.
    most : int
        Uploads that one device may have open.
    """

    def __init__(self, folder: Path, *, most: int) -> None:
        self._folder, self._most = folder, most
        self._turn = Lock()
        self._busy: set[str] = set()

    @contextmanager
    def alone(self, name: str) -> Iterator[bool]:
        """Yield whether nobody else works on an upload now; who gets True keeps others off it."""
        with self._turn:
            mine = name not in self._busy
            self._busy.add(name)
        try:
            yield mine
        finally:
            if mine:
                with self._turn:
                    self._busy.discard(name)

    def begin(self, device: int, size: int) -> str:
        """Begin an upload and return its name.

        Raises
        ------
        UploadError
            If the device has too many open.
        """
        with self._turn:
            self._folder.mkdir(parents=True, exist_ok=True)
            self._sweep()
            mine = [note for _, note in self._notes() if note.device == device and not note.file]
            if len(mine) >= self._most:
                raise UploadError(
                    f"{len(mine)} photos of this device are still on their way",
                    where="upload",
                    do="Let them finish first",
                )
            name = secrets.token_hex(16)
            self.keep(name, Note(device=device, bytes=size))
            self.part(name).touch()
        return name

    def note(self, name: str, device: int) -> Note | None:
        """Return an upload's note, None when there is none or it is another device's."""
        if _NAME.fullmatch(name) is None:
            return None
        try:
            found = msgspec.json.decode(self._note(name).read_bytes(), type=Note)
        except (OSError, msgspec.DecodeError):
            return None
        return found if found.device == device else None

    def keep(self, name: str, note: Note) -> None:
        """Write an upload's note: whole or not at all."""
        beside = self._note(name).with_suffix(".new")
        beside.write_bytes(msgspec.json.encode(note))
        beside.replace(self._note(name))

    def part(self, name: str) -> Path:
        """Return the file of what came so far."""
        return self._folder / f"{name}.part"

    def have(self, name: str) -> int:
        """Return how many bytes came so far."""
        try:
            return self.part(name).stat().st_size
        except OSError:
            return 0

    def write(self, name: str, at: int, piece: bytes) -> int:
        """Write bytes at a place and return how many there are now."""
        with self.part(name).open("r+b") as file:
            file.seek(at)
            file.write(piece)
        return at + len(piece)

    def drop(self, name: str) -> None:
        """Give an upload up."""
        for file in (self.part(name), self._note(name)):
            with suppress(OSError):
                file.unlink(missing_ok=True)

    def empty(self, name: str) -> None:
        """Let the bytes go; the note stays, for whoever did not hear how it ended."""
        with suppress(OSError):
            self.part(name).unlink(missing_ok=True)

    def _note(self, name: str) -> Path:
        return self._folder / f"{name}.json"

    def _notes(self) -> list[tuple[Path, Note]]:
        found = []
        for file in self._folder.glob("*.json"):
            with suppress(OSError, msgspec.DecodeError):
                found.append((file, msgspec.json.decode(file.read_bytes(), type=Note)))
        return found

    def _sweep(self) -> None:
        """Let go what nobody went on with for a day."""
        old = time.time() - LIFE_S
        for file in self._folder.iterdir():
            with suppress(OSError):
                if file.suffix in {".part", ".json", ".new"} and file.stat().st_mtime < old:
                    file.unlink()
