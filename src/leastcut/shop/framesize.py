"""Read the size of the picture from a coded frame, without decoding it.

The video library brings every frame to the size that the file states at its start, so a change on
the way cannot be seen from the frames. The coded frames say it: JPEG in its frame header (ITU-T
T.81, B.2.2), VP8 in its key frames (RFC 6386, 9.1), H.264 in its sequence parameter set (ITU-T
H.264, 7.3.2.1.1); from memory, checked by files that another program wrote.
"""

from collections.abc import Iterator

Size = tuple[int, int]

_WITH_CHROMA = frozenset({100, 110, 122, 244, 44, 83, 86, 118, 128, 138, 139, 134, 135})


def coded_size(packet: bytes, code: str) -> Size | None:
    """Return width and height [px] that a coded frame states, None where it states none.

    Parameters
    ----------
    packet : bytes
        One frame as it lies in the file; H.264 with start codes.
    code : str
        The coding's four letters, in any case: ``mjpg``, ``jpeg``, ``vp80``, ``h264``, ``avc1``.

    Examples
    --------
    >>> coded_size(bytes.fromhex("1022019d012a4001f000"), "VP80")
    (320, 240)
    """
    readers = {"mjpg": _jpeg, "jpeg": _jpeg, "vp80": _vp8, "h264": _h264, "avc1": _h264}
    reader = readers.get(code.lower())
    try:
        return reader(packet) if reader else None
    except IndexError:  # cut off in the middle of its header
        return None


def _jpeg(data: bytes) -> Size | None:
    at = 2
    while data[at] == 0xFF:
        kind, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if 0xC0 <= kind <= 0xCF and kind not in {0xC4, 0xC8, 0xCC}:
            high, wide = (int.from_bytes(data[at + k : at + k + 2], "big") for k in (5, 7))
            return (wide, high) if len(data) >= at + 9 else None
        at += 2 + length
    return None


def _vp8(data: bytes) -> Size | None:
    if data[0] & 1 or data[3:6] != b"\x9d\x01\x2a" or len(data) < 10:
        return None
    return (
        int.from_bytes(data[6:8], "little") & 0x3FFF,
        int.from_bytes(data[8:10], "little") & 0x3FFF,
    )


def _h264(data: bytes) -> Size | None:
    at = data.find(b"\0\0\1")
    while at >= 0:
        if data[at + 3] & 0x1F == 7:
            return _parameters(_Bits(data[at + 4 : at + 260].replace(b"\0\0\3", b"\0\0")))
        at = data.find(b"\0\0\1", at + 3)
    return None


class _Bits:
    """Read bits and Exp-Golomb numbers, the highest bit first."""

    def __init__(self, data: bytes) -> None:
        self._bits: Iterator[int] = (byte >> k & 1 for byte in data for k in range(7, -1, -1))

    def take(self, count: int) -> int:
        value = 0
        for _ in range(count):
            bit = next(self._bits, None)
            if bit is None:
                raise IndexError
            value = value << 1 | bit
        return value

    def number(self) -> int:
        zeros = 0
        while not self.take(1):
            zeros += 1
        return (1 << zeros) - 1 + self.take(zeros)

    def signed(self) -> int:
        value = self.number()
        return (value + 1) // 2 if value % 2 else -(value // 2)


def _parameters(bits: _Bits) -> Size:
    profile = bits.take(8)
    bits.take(16)
    bits.number()
    chroma = _chroma(bits) if profile in _WITH_CHROMA else 1
    bits.number()
    _order(bits)
    bits.number()
    bits.take(1)
    wide, units = bits.number() + 1, bits.number() + 1
    fields = 1 if bits.take(1) else 2
    if fields == 2:
        bits.take(1)
    bits.take(1)
    left, right, top, bottom = [bits.number() for _ in range(4)] if bits.take(1) else [0, 0, 0, 0]
    across = 2 if chroma in {1, 2} else 1
    down = fields * (2 if chroma == 1 else 1)
    return 16 * wide - across * (left + right), 16 * fields * units - down * (top + bottom)


def _chroma(bits: _Bits) -> int:
    """Read colour format and bit depths, past the scaling lists."""
    chroma = bits.number()
    if chroma == 3:
        bits.take(1)
    bits.number()
    bits.number()
    bits.take(1)
    if bits.take(1):
        for k in range(12 if chroma == 3 else 8):
            if bits.take(1):
                _skip_scaling(bits, 16 if k < 6 else 64)
    return chroma


def _skip_scaling(bits: _Bits, count: int) -> None:
    last, following = 8, 8
    for _ in range(count):
        if following:
            following = (last + bits.signed()) % 256
        last = following or last


def _order(bits: _Bits) -> None:
    """Read past how the frames are put in order."""
    kind = bits.number()
    if kind == 0:
        bits.number()
    elif kind == 1:
        bits.take(1)
        bits.signed()
        bits.signed()
        for _ in range(bits.number()):
            bits.signed()
