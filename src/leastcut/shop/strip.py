"""Take from a photo's file what is no picture: place, time, owner, remarks, anything behind its end.

The pixels' own bytes stay as they are, so nothing that the camera recorded of the paint is lost.
What stays besides: the turn of the camera, the colour profile, the resolution. Files of other kinds
than these three are to be written anew.

Sources: ITU-T T.81 (JPEG) annex B; PNG (third edition) 5 and 11; WebP container specification,
RFC 9649 section 2; Exif 2.3 section 4.6 for the turn; status: memory.
"""

import struct
import zlib
from collections.abc import Iterator

from leastcut.shop.photos import PhotoError

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = {
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"pHYs",
    b"iCCP", b"bKGD", b"cICP",
}  # fmt: skip
_WEBP_KEPT = {b"VP8 ", b"VP8L", b"ALPH", b"ICCP"}
MOST_PROFILE = 2_000_000
_ALPHA, _ICC, _EXIF, _XMP = 0x10, 0x20, 0x08, 0x04


def turn_only(turn: int) -> bytes:
    """Return Exif data that says nothing but how the camera was turned (1 to 8).

    >>> len(turn_only(6))
    26
    """
    # Big-endian TIFF, one directory with one entry: 0x0112, SHORT, 1 value.
    entry = struct.pack(">HHIHH", 0x0112, 3, 1, turn, 0)
    return b"MM\x00\x2a" + struct.pack(">IH", 8, 1) + entry + struct.pack(">I", 0)


def _cut_short() -> PhotoError:
    return PhotoError("the file is damaged or cut short", do="Copy it from the phone again")


def jpeg(data: bytes, turn: int) -> bytes:
    """Return a JPEG without its remarks.

    Parameters
    ----------
    data : bytes
        The file.
    turn : int
        Of the camera, as Exif has it; 1 is upright.

    Raises
    ------
    PhotoError
        If it is no whole JPEG.
    """
    kept = [b"\xff\xd8"]
    if turn != 1:
        body = b"Exif\x00\x00" + turn_only(turn)
        kept.append(b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body)
    kept += [piece for kind, piece in _segments(data) if _kept_segment(kind, piece)]
    return b"".join(kept)


def _kept_segment(kind: int, piece: bytes) -> bool:
    """Keep all that decodes the picture; of what applications add, the few that tell its colours."""
    if kind == 0xFE:
        return False
    if not 0xE0 <= kind <= 0xEF:
        return True
    body = piece[4:]
    return (
        (kind == 0xE0 and body.startswith(b"JFIF\x00") and len(piece) == 18)
        or (kind == 0xE2 and body.startswith(b"ICC_PROFILE\x00"))
        or (kind == 0xEE and body.startswith(b"Adobe") and len(piece) <= 18)
    )


def _segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield kind and bytes of each segment up to the end of the picture; a scan is one with its data."""
    if data[:2] != b"\xff\xd8":
        raise _cut_short()
    at = 2
    while True:
        if data[at : at + 1] != b"\xff":
            raise _cut_short()
        while data[at + 1 : at + 2] == b"\xff":  # filling
            at += 1
        kind = data[at + 1] if at + 1 < len(data) else 0
        if kind == 0xD9:
            yield kind, b"\xff\xd9"
            return
        end = at + 2 + _length(data, at + 2)
        if kind == 0xDA:
            end = _scan_end(data, end)
        yield kind, data[at:end]
        at = end


def _length(data: bytes, at: int) -> int:
    if at + 2 > len(data):
        raise _cut_short()
    length = int.from_bytes(data[at : at + 2], "big")
    if length < 2 or at + length > len(data):
        raise _cut_short()
    return length


def _scan_end(data: bytes, at: int) -> int:
    """Return where the next marker begins that is neither stuffing nor a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise _cut_short()
        following = data[at + 1]
        if following != 0 and not 0xD0 <= following <= 0xD7 and following != 0xFF:
            return at
        at += 1 if following == 0xFF else 2


def png(data: bytes, turn: int) -> bytes:
    """Return a PNG without its remarks; arguments and errors as for :func:`jpeg`.

    Raises
    ------
    PhotoError
        If it is no whole PNG.
    """
    kept, at = [_PNG], len(_PNG)
    while True:
        if at + 12 > len(data):
            raise _cut_short()
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        kind, piece = data[at + 4 : at + 8], data[at:end]
        if end > len(data):
            raise _cut_short()
        if kind in _PNG_KEPT and (kind != b"iCCP" or _small_profile(piece[8:-4])):
            kept.append(piece)
        if kind == b"IHDR" and turn != 1:
            kept.append(_chunk(b"eXIf", turn_only(turn)))
        if kind == b"IEND":
            return b"".join(kept)
        at = end


def _chunk(kind: bytes, body: bytes) -> bytes:
    check = zlib.crc32(kind + body)
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", check)


def _small_profile(body: bytes) -> bool:
    """Tell whether a packed profile unpacks to something of a profile's size."""
    _, _, packed = body.partition(b"\x00")
    try:
        unpacked = zlib.decompressobj()
        unpacked.decompress(packed[1:], MOST_PROFILE)
    except zlib.error:
        return False
    return unpacked.eof


def webp(data: bytes, turn: int) -> bytes:
    """Return a WebP without its remarks; arguments and errors as for :func:`jpeg`.

    Raises
    ------
    PhotoError
        If it is no whole WebP.
    """
    end = 8 + int.from_bytes(data[4:8], "little")
    if data[:4] != b"RIFF" or data[8:12] != b"WEBP" or end > len(data):
        raise _cut_short()
    chunks = list(_riff(data[12:end]))
    kept = [(kind, body) for kind, body in chunks if kind in _WEBP_KEPT]
    canvas = next((body for kind, body in chunks if kind == b"VP8X"), None)
    if canvas is not None:
        flags = canvas[0] & ~(_EXIF | _XMP) | (_EXIF if turn != 1 else 0)
        kept.insert(0, (b"VP8X", bytes([flags]) + canvas[1:]))
        if turn != 1:
            kept.append((b"EXIF", turn_only(turn)))
    body = b"".join(
        kind + struct.pack("<I", len(one)) + one + b"\x00" * (len(one) % 2) for kind, one in kept
    )
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body


def _riff(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 0
    while at + 8 <= len(data):
        length = int.from_bytes(data[at + 4 : at + 8], "little")
        if at + 8 + length > len(data):
            raise _cut_short()
        yield data[at : at + 4], data[at + 8 : at + 8 + length]
        at += 8 + length + length % 2


LOSSLESS = {"JPEG": jpeg, "MPO": jpeg, "PNG": png, "WEBP": webp}
MEDIA = {"JPEG": "image/jpeg", "MPO": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
