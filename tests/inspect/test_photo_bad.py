"""Bad and borderline photos: each is refused or answered as its name says; none crashes."""

import io
import struct
import zlib
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps
from render import render
from render_parts import smooth_field, unsrgb
from render_scene import Scene

from leastcut.inspect.scratches import find
from leastcut.shop import photos
from leastcut.shop.photos import PhotoError, decode, load

GOOD = Scene(
    seed=7, width_px=1000, height_px=800, um_per_px=45.0, swirl_load=60.0, lamp_radius_mm=4.0,
    roughness_deg=1.2, glint_gain=2.0,
)  # fmt: skip


@cache
def good() -> np.ndarray:
    photo = render(GOOD)[0]
    photo.setflags(write=False)
    return photo


def encoded(image: np.ndarray, kind: str = "JPEG", **options: object) -> bytes:
    file = io.BytesIO()
    Image.fromarray(image).save(file, kind, **options)
    return file.getvalue()


def bomb(width: int, height: int) -> bytes:
    """A PNG that says it is huge, with next to nothing in it."""

    def chunk(name: bytes, body: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + body))
        return struct.pack(">I", len(body)) + name + body + check

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = zlib.compress(b"\0" * 100_000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def animated(kind: str) -> bytes:
    frames = [Image.fromarray(np.full((60, 80, 3), v, np.uint8)) for v in (0, 90, 200)]
    file = io.BytesIO()
    frames[0].save(file, kind, save_all=True, append_images=frames[1:])
    return file.getvalue()


UNREADABLE = {
    "zero bytes": lambda: b"",
    "one byte": lambda: b"\xff",
    "only a JPEG mark": lambda: b"\xff\xd8\xff",
    "text": lambda: b"panel,spot,reading_um\nbonnet,1,120\n",
    "text named jpg": "Grüße".encode,
    "random bytes": lambda: np.random.default_rng(0).bytes(5000),
    "PDF": lambda: b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n",
    "zip": lambda: b"PK\x03\x04" + bytes(400),
    "SVG": lambda: b'<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10"/>',
    "MP4": lambda: b"\0\0\0\x18ftypmp42" + bytes(200),
    "JPEG cut to a half": lambda: (d := encoded(good()))[: len(d) // 2],
    "JPEG cut in its header": lambda: encoded(good())[:200],
    "PNG cut to a half": lambda: (d := encoded(good(), "PNG"))[: len(d) // 2],
    "WebP cut to a half": lambda: (d := encoded(good(), "WEBP"))[: len(d) // 2],
    "TIFF cut to a half": lambda: (d := encoded(good(), "TIFF"))[: len(d) // 2],
    "1x1": lambda: encoded(good()[:1, :1], "PNG"),
    "1 pixel high": lambda: encoded(good()[:1], "PNG"),
    "200 megapixels": lambda: bomb(20_000, 10_000),
    "decompression bomb": lambda: bomb(60_000, 60_000),
    "PNG of no size": lambda: bomb(0, 10),
    "animated PNG": lambda: animated("PNG"),
    "animated WebP": lambda: animated("WEBP"),
    "stack of TIFF pages": lambda: animated("TIFF"),
    "GIF": lambda: animated("GIF"),
    "HEIC without its reader": lambda: b"\0\0\0\x18ftypheic" + bytes(300),
}


@pytest.mark.parametrize("name", UNREADABLE)
def test_unreadable_files_are_refused_in_one_line(name: str) -> None:
    with pytest.raises(PhotoError) as caught:
        decode(UNREADABLE[name]())
    assert caught.value.what
    assert caught.value.do
    assert "\n" not in str(caught.value)


def changed(name: str) -> np.ndarray:
    photo = good().copy()
    small = cv2.GaussianBlur(photo, (0, 0), 9.0)
    noise = np.random.default_rng(1).integers(0, 3, photo.shape).astype(np.uint8)
    moved = cv2.filter2D(photo, -1, np.eye(41) / 41)
    film = 300 + 250 * smooth_field(np.random.default_rng(2), photo.shape[:2], 300, 1.0)
    colour = np.stack([1 + 0.6 * np.cos(4 * np.pi * 1.45 * film / w) for w in (610, 550, 465)], -1)
    return {
        "out of focus": small,
        "moved while exposing": cv2.GaussianBlur(moved, (0, 0), 4.0),
        "burnt out": np.clip(photo.astype(int) * 6 + 60, 0, 255).astype(np.uint8),
        "all white": np.full_like(photo, 255),
        "all black": np.zeros_like(photo),
        "lens cap on": noise,
        "thumbnail": cv2.resize(photo, (160, 120), interpolation=cv2.INTER_AREA),
        "film of oil": np.clip(photo * colour, 0, 255).astype(np.uint8),
    }[name]


REFUSED = {
    "out of focus": "blurred",
    "moved while exposing": "blurred",
    "burnt out": "burnt out",
    "all white": "burnt out",
    "all black": "too dark",
    "lens cap on": "too dark",
    "thumbnail": "too small",
    "film of oil": "rainbow",
}


@pytest.mark.parametrize("name", REFUSED)
def test_photos_that_cannot_carry_the_answer_say_why_and_what_to_do(name: str) -> None:
    finding = find(decode(encoded(changed(name), "PNG")).linear, um_per_px=45.0)
    assert finding.refused is not None
    assert REFUSED[name] in finding.refused.why
    assert finding.refused.do
    assert finding.load_mm_per_cm2 is None
    assert finding.scratches == ()


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ({}, "no scale"),
        ({"square_mm": 30.0}, "no taped or printed square"),
        (
            {"um_per_px": 400.0},
            "cannot be told apart; the narrowest width this scale can resolve is 800 µm",
        ),
    ],
)
def test_no_scale_no_square_too_coarse(options: dict[str, float], why: str) -> None:
    finding = find(decode(encoded(good(), "PNG")).linear, **options)
    assert finding.refused is not None
    assert why in finding.refused.why


def cmyk() -> bytes:
    file = io.BytesIO()
    Image.fromarray(good()).convert("CMYK").save(file, "JPEG", quality=92)
    return file.getvalue()


def alpha(kind: str) -> bytes:
    full = np.full((*good().shape[:2], 1), 255, np.uint8)
    return encoded(np.concatenate([good(), full], -1), kind)


def sixteen(kind: str) -> bytes:
    wide = cv2.cvtColor(good(), cv2.COLOR_RGB2BGR).astype(np.uint16) * 257
    return cv2.imencode(kind, wide)[1].tobytes()


ANSWERED = {
    "JPEG": lambda: encoded(good(), quality=93),
    "progressive JPEG": lambda: encoded(good(), quality=93, progressive=True),
    "PNG": lambda: encoded(good(), "PNG"),
    "WebP": lambda: encoded(good(), "WEBP", quality=95),
    "TIFF": lambda: encoded(good(), "TIFF"),
    "CMYK JPEG": cmyk,
    "grey JPEG": lambda: encoded(cv2.cvtColor(good(), cv2.COLOR_RGB2GRAY), quality=93),
    "16-bit PNG": lambda: sixteen(".png"),
    "16-bit TIFF": lambda: sixteen(".tiff"),
    "PNG with transparency": lambda: alpha("PNG"),
    "palette PNG": lambda: encoded(np.asarray(Image.fromarray(good()).quantize(256)), "PNG"),
    "JPEG with bytes after its end": lambda: encoded(good(), quality=93) + b"tail" * 50,
}


@pytest.mark.parametrize("name", ANSWERED)
def test_every_usual_kind_of_file_is_answered(name: str) -> None:
    photo = decode(ANSWERED[name](), name)
    assert photo.linear.shape == (800, 1000, 3)
    assert photo.linear.dtype == np.float32
    if name != "palette PNG":  # 256 colours leave steps that look like lines
        finding = find(photo.linear, um_per_px=45.0)
        reference = find(unsrgb(good() / 255.0).astype(np.float32), um_per_px=45.0)
        assert finding.refused is None
        assert finding.load_seen_mm_per_cm2 == pytest.approx(
            reference.load_seen_mm_per_cm2, rel=0.12
        )


def test_a_wrong_extension_does_not_matter_and_a_missing_file_is_told(tmp_path: Path) -> None:
    wrong = tmp_path / "photo.txt"
    wrong.write_bytes(encoded(good(), "PNG"))
    assert load(wrong).pixel_type == "8-bit RGB"
    for path in (tmp_path / "none.jpg", tmp_path):
        with pytest.raises(PhotoError, match="cannot read the file"):
            load(path)


def test_the_exif_turn_is_honoured_and_nothing_else_kept() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # turned a quarter to the right
    exif.get_ifd(0x8825)[1] = "N"  # a place
    photo = decode(encoded(good(), exif=exif.tobytes()))
    assert photo.linear.shape == (1000, 800, 3)
    upright = decode(encoded(np.rot90(good(), -1).copy()))
    assert np.abs(photo.linear - upright.linear).mean() < 0.01
    assert set(vars(photo)) == {"linear", "pixel_type", "name"}


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
@pytest.mark.parametrize("turn", range(1, 9))
def test_sixteen_bits_of_colour_are_kept_and_turned_as_eight_are(kind: str, turn: int) -> None:
    """The turn against Pillow's own, the tones against an 8-bit file of the same picture."""
    rng = np.random.default_rng(turn)
    wide = rng.integers(0, 65536, (40, 60, 3)).astype(np.uint16)
    exif = Image.Exif()
    exif[0x0112] = turn
    narrow = Image.fromarray((wide >> 8).astype(np.uint8))
    narrow.getexif()[0x0112] = turn
    upright = np.asarray(ImageOps.exif_transpose(narrow))
    raw = cv2.imencode(f".{kind.lower()}", np.ascontiguousarray(wide[..., ::-1]))[1].tobytes()
    image = Image.open(io.BytesIO(raw))
    image.getexif = lambda: exif  # the file itself carries none
    found = photos.deep_colour(image, raw)
    assert found.dtype == np.uint16
    assert np.array_equal(found >> 8, upright)
    whole = decode(raw)
    assert whole.pixel_type == "16-bit colour"
    assert len(np.unique(whole.linear)) > 1000
