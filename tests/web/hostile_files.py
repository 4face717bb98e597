"""Hostile files as data: what is no photo or too much of one; markup and code as words."""

import io
import struct
import zlib

from pictures_for_tests import photo, pixels
from PIL import Image


def _png(width: int, height: int, body: bytes, *, colour: int = 2) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def _animated(kind: str) -> bytes:
    out = io.BytesIO()
    frames = [Image.fromarray(pixels(60, 40, seed=n)) for n in range(3)]
    frames[0].save(out, kind, save_all=True, append_images=frames[1:])
    return out.getvalue()


def _other(kind: str, mode: str = "RGB") -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels(60, 40)).convert(mode).save(out, kind)
    return out.getvalue()


def _renamed(size: int) -> bytes:
    whole = bytearray(photo())
    at = whole.index(b"\xff\xc0")
    whole[at + 5 : at + 9] = struct.pack(">HH", size, size)
    return bytes(whole)


# What is no photo, or too much of one: each must be refused with words, and the shop live on.
FILES: dict[str, bytes] = {
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "svg with a doctype": b'<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY x "y">]><svg/>',
    "html": b"<!doctype html><script>alert(1)</script>",
    "html that begins like gif": b"GIF89a/*<script>alert(1)</script>*/=1",
    "html behind a jpeg's head": b"\xff\xd8\xff\xe0\x00\x10JFIF\x00<script>alert(1)</script>",
    "html behind a png's head": b"\x89PNG\r\n\x1a\n<script>alert(1)</script>",
    "javascript": b"alert(1)//",
    "pdf": b"%PDF-1.7\n1 0 obj<</OpenAction<</S/JavaScript/JS(app.alert(1))>>>>endobj",
    "zip": b"PK\x03\x04" + b"\x00" * 60,
    "gzip bomb": b"\x1f\x8b\x08\x00" + zlib.compress(b"\x00" * 1_000_000),
    "program": b"\x7fELF" + b"\x00" * 80,
    "shell script": b"#!/bin/sh\nrm -rf /\n",
    "one byte": b"\x00",
    "zeros": b"\x00" * 4096,
    "jpeg's first bytes": b"\xff\xd8\xff",
    "jpeg cut in half": photo()[: len(photo()) // 2],
    "png cut in half": photo("PNG")[: len(photo("PNG")) // 2],
    "webp cut in half": photo("WEBP")[: len(photo("WEBP")) // 2],
    "png of a hundred thousand squared": _png(100_000, 100_000, zlib.compress(b"\x00" * 1000)),
    "png of two thousand million across": _png(2**31 - 1, 1, zlib.compress(b"\x00" * 1000)),
    "png of no width": _png(0, 10, zlib.compress(b"\x00" * 10)),
    "png bomb": _png(12_000, 12_000, zlib.compress(b"\x00" * 4_000_000, 9)),
    "png whose pixels are missing": _png(400, 400, zlib.compress(b"\x00" * 10)),
    "png of one pixel": _png(1, 1, zlib.compress(b"\x00" * 4)),
    "png of unknown colours": _png(4, 4, zlib.compress(b"\x00" * 64), colour=5),
    "png with rubbish for pixels": _png(40, 40, b"\x00\xff" * 50),
    "jpeg that says 65535 squared": _renamed(65_535),
    "jpeg without a scan": b"\xff\xd8\xff\xd9",
    "jpeg with an endless segment": b"\xff\xd8\xff\xe1\xff\xff" + b"\x00" * 100,
    "jpeg of fill bytes": b"\xff\xd8" + b"\xff" * 50_000,
    "animated gif": _animated("GIF"),
    "animated webp": _animated("WEBP"),
    "animated png": _animated("PNG"),
    "tiff of several pages": _animated("TIFF"),
    "gif": _other("GIF", "P"),
    "bmp": _other("BMP"),
    "icon": _other("ICO"),
    "photoshop": b"8BPS\x00\x01" + b"\x00" * 30,
    "eps that would run a program": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(/bin/sh) run\n",
    "tiff with a loop of directories": b"II*\x00\x08\x00\x00\x00\x00\x00\x08\x00\x00\x00",
    "heic head": b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40,
    "avif head": b"\x00\x00\x00\x18ftypavif" + b"\x00" * 40,
    "video": b"\x00\x00\x00\x18ftypmp42" + b"\x00" * 400,
    "webp of odd lengths": b"RIFF\xff\xff\xff\xffWEBPVP8X" + b"\x00" * 20,
    "text of another language": "не фото".encode("utf-16"),
}

# Markup and code as words: kept as words, shown as words.
WORDS = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'><svg/onload=alert(1)>",
    "javascript:alert(1)",
    "{{ 7 * 7 }}{% raw %}",
    "${7*7}#{7*7}",
    "</title><script>alert(1)</script>",
    "<!--<script>",
    "&lt;script&gt;",
    "' OR 1=1; DROP TABLE facts; --",
    "%_\\",
)
