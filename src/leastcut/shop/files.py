"""Whole-file writes: a reader never sees half a file, a failed command leaves none."""

import os
import tempfile
from pathlib import Path

from leastcut.errors import InputError


class WriteError(InputError):
    """A file or folder that cannot be written."""


def write_whole(path: Path, data: bytes | str) -> Path:
    """Write `data` to `path` beside it first, flush, then rename over it.

    Parameters
    ----------
    path : Path
        Where the file shall stand; its folder is made when missing.
    data : bytes or str
        The whole content; text is written as UTF-8.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    WriteError
        If the folder cannot be made or the file not written.
    """
    content = data.encode() if isinstance(data, str) else data
    scratch: str | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(scratch).chmod(0o644)
        Path(scratch).replace(path)
    except OSError as error:
        if scratch is not None:
            Path(scratch).unlink(missing_ok=True)
        raise WriteError(
            f"cannot write it: {error.strerror or error}",
            where=str(path),
            do="Choose a folder that exists, has room and may be written with -o",
        ) from None
    return path
