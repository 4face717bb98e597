"""Read a video frame by frame, upright, with the time stamp of each frame.

Frames are made smaller as they come and are not kept, so memory does not grow with the length. The
file's own first bytes decide what it is: play lists and addresses, which could fetch other files,
are not opened.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from leastcut.errors import InputError
from leastcut.shop.framesize import Size, coded_size

U8 = npt.NDArray[np.uint8]

MOST_PIXELS = 9_500_000  # 4K of the cinema; more says nothing more about an arm
LONGEST_SIDE_PX = 960
LEAST_SIDE_PX = 120
KINDS = "MP4, MOV, AVI or WebM"
_BOXES = (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot")


class VideoError(InputError):
    """A video that cannot be read."""


@dataclass(frozen=True)
class Clip:
    """A video that can be opened.

    Attributes
    ----------
    path : Path
        The file.
    width_px, height_px : int
        Upright size.
    fps : float
        As the file states; phones vary it.
    shrink : float
        Factor from the file's pixels to those of the frames that :func:`frames` yields.
    """

    path: Path
    width_px: int
    height_px: int
    fps: float
    shrink: float


def probe(path: Path) -> Clip:
    """Look at a video without reading it through.

    Raises
    ------
    VideoError
        If there is no such file, it is empty, no video, damaged, holds sound only, or is larger
        than 4K.
    """
    _check_kind(path)
    with _released(path) as capture:
        return _clip(path, capture)


def frames(path: Path) -> Iterator[tuple[float, U8]]:
    """Yield time [s] and frame (H, W, 3), blue, green, red, upright, longest side at most 960 px.

    Raises
    ------
    VideoError
        As :func:`probe`; when no frame can be decoded; or when the picture changes its size.

    Notes
    -----
    The video library brings every frame to the size that the file states, so the size is read from
    the coded frames beside it (:mod:`leastcut.shop.framesize`): JPEG, VP8 and H.264 state it. In
    other codings a change is not seen here; what it does to the shape of the picture, the taped
    square shows the tracker.
    """
    clip = probe(path)
    with _released(path) as capture, _released(path) as coded:
        coded.set(_prop("ORIENTATION_AUTO"), 0)
        coded.set(_prop("FORMAT"), -1)  # frames as they lie in the file
        yield from _read(clip, capture, coded)


@contextmanager
def _released(path: Path) -> Iterator[Any]:
    capture = _opened(path)
    try:
        yield capture
    finally:
        capture.release()


def _read(clip: Clip, capture: Any, coded: Any) -> Iterator[tuple[float, U8]]:
    number, last = 0, -1.0
    sizes = _Sizes(clip, coded)
    while True:
        sizes.check(max(last, 0.0))
        ok, frame = capture.read()
        if not ok:
            break
        stamp = float(capture.get(_prop("POS_MSEC"))) / 1000
        time = stamp if stamp > last else max(last, 0.0) + (1 / clip.fps if number else 0.0)
        yield time, _shrunk(frame, clip.shrink)
        number, last = number + 1, time
    if number == 0:
        raise VideoError(
            "no picture in it can be decoded",
            where=str(clip.path),
            do=f"The file may be damaged: copy it from the phone again, or save it as {KINDS}",
        )


class _Sizes:
    """Watch the size that the coded frames state."""

    def __init__(self, clip: Clip, coded: Any) -> None:
        self._clip, self._coded = clip, coded
        self._code = int(coded.get(_prop("FOURCC"))).to_bytes(4, "little").decode("latin-1")
        self._first: Size | None = None

    def check(self, now_s: float) -> None:
        """Look at the next coded frame.

        Raises
        ------
        VideoError
            If it states another size than the first.
        """
        ok, packet = self._coded.read()
        size = coded_size(packet.tobytes(), self._code) if ok else None
        self._first = self._first or size
        if size is not None and size != self._first:
            (a, b), (c, d) = self._first or size, size
            raise VideoError(
                f"the picture changes its size from {a} × {b} to {c} × {d} pixels at about {now_s:.1f} s",
                where=str(self._clip.path),
                do="Cut the video there and give one part, or film again at one resolution",
            )


def _shrunk(frame: U8, shrink: float) -> U8:
    if shrink >= 1.0:
        return frame
    import cv2

    size = (round(frame.shape[1] * shrink), round(frame.shape[0] * shrink))
    return np.asarray(cv2.resize(frame, size, interpolation=cv2.INTER_AREA), np.uint8)


def _prop(name: str) -> int:
    import cv2

    return int(getattr(cv2, f"CAP_PROP_{name}"))


def _check_kind(path: Path) -> None:
    try:
        with path.open("rb") as file:
            head = file.read(16)
    except OSError as error:
        raise VideoError(
            f"cannot read the file: {error.strerror or error}",
            where=str(path),
            do="Check the name and that you may read it",
        ) from None
    if not head:
        raise VideoError("the file is empty", where=str(path), do="Copy it from the phone again")
    known = head[4:8] in _BOXES or head[:4] == b"\x1a\x45\xdf\xa3"
    if not known and not (head[:4] == b"RIFF" and head[8:12] == b"AVI "):
        raise VideoError(
            "this is not a video that can be read", where=str(path), do=f"Give an {KINDS} file"
        )


def _opened(path: Path) -> Any:
    """Open with the video library, whose own chatter on the error stream is turned off."""
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    import cv2

    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    capture = cv2.VideoCapture(str(path.resolve()), cv2.CAP_FFMPEG)
    if not capture.isOpened():
        capture.release()
        raise VideoError(
            "there are no pictures in it that can be decoded",
            where=str(path),
            do=f"It may hold sound only, or be damaged: copy it again, or save it as {KINDS}",
        )
    capture.set(cv2.CAP_PROP_ORIENTATION_AUTO, 1)
    return capture


def _clip(path: Path, capture: Any) -> Clip:
    width, height = int(capture.get(_prop("FRAME_WIDTH"))), int(capture.get(_prop("FRAME_HEIGHT")))
    if width * height > MOST_PIXELS:
        raise VideoError(
            f"the picture has {width} × {height} pixels, more than needed",
            where=str(path),
            do="Film at 1080p or 4K, or save it smaller: a pad is followed no better at 8K",
        )
    if min(width, height) < LEAST_SIDE_PX:
        raise VideoError(
            f"the picture has only {width} × {height} pixels",
            where=str(path),
            do="Film at 720p or more",
        )
    fps = float(capture.get(_prop("FPS")))
    fps = fps if np.isfinite(fps) and 1.0 <= fps <= 1000.0 else 30.0
    return Clip(path, width, height, fps, min(1.0, LONGEST_SIDE_PX / max(width, height)))
