"""Write AVI files chunk by chunk: motion JPEG with frames of any size, or sound alone.

source: Microsoft, "AVI RIFF File Reference" (avih, strh, strf, movi); status: from memory, checked
by the video library opening the sound files' picture twin.
"""

import struct

import cv2
import numpy as np


def _chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)


def _list(name: bytes, *parts: bytes) -> bytes:
    return _chunk(b"LIST", name + b"".join(parts))


def _riff(header: bytes, stream: bytes, pieces: list[bytes]) -> bytes:
    body = _list(b"hdrl", header, stream) + _list(b"movi", *pieces)
    return _chunk(b"RIFF", b"AVI " + body)


def jpeg(size: tuple[int, int], seed: int = 0) -> bytes:
    """Return a JPEG of noise in large blocks, (width, height)."""
    small = np.random.default_rng(seed).integers(0, 255, (9, 16, 3)).astype(np.uint8)
    return cv2.imencode(".jpg", cv2.resize(small, size))[1].tobytes()


def pictures(jpegs: list[bytes], size: tuple[int, int], fps: int = 30) -> bytes:
    """Return an AVI whose header says `size`, whatever the frames are."""
    w, h = size
    avih = struct.pack("<14I", 1_000_000 // fps, 0, 0, 0, len(jpegs), 0, 1, 0, w, h, 0, 0, 0, 0)
    strh = struct.pack(
        "<4s4sIHHIIIIIIII4H",
        b"vids",
        b"MJPG",
        0,
        0,
        0,
        0,
        1,
        fps,
        0,
        len(jpegs),
        0,
        0,
        0,
        0,
        0,
        w,
        h,
    )
    strf = struct.pack("<IiiHH4sIiiII", 40, w, h, 1, 24, b"MJPG", w * h * 3, 0, 0, 0, 0)
    stream = _list(b"strl", _chunk(b"strh", strh), _chunk(b"strf", strf))
    return _riff(_chunk(b"avih", avih), stream, [_chunk(b"00dc", j) for j in jpegs])


def sound(seconds: float = 1.0) -> bytes:
    """Return an AVI that holds a tone and no picture."""
    rate = 8000
    n = int(rate * seconds)
    tone = (8000 * np.sin(np.arange(n) * 0.3)).astype("<i2").tobytes()
    avih = struct.pack("<14I", 100_000, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0)
    strh = struct.pack(
        "<4s4sIHHIIIIIIII4H",
        b"auds",
        b"\0\0\0\0",
        0,
        0,
        0,
        0,
        2,
        2 * rate,
        0,
        n,
        0,
        0,
        2,
        0,
        0,
        0,
        0,
    )
    strf = struct.pack("<HHIIHH", 1, 1, rate, 2 * rate, 2, 16)
    stream = _list(b"strl", _chunk(b"strh", strh), _chunk(b"strf", strf))
    return _riff(_chunk(b"avih", avih), stream, [_chunk(b"00wb", tone)])
