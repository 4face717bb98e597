"""Phones' HEIC photos: read as a lossless copy is read, turned upright, no place kept, bad ones refused.

The files are written by libheif's encoder (through pillow-heif), which is not our code.
"""

import io
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from leastcut.shop import guard, photos
from leastcut.shop.photos import PhotoError, decode

pillow_heif: Any = pytest.importorskip("pillow_heif")
TURNED, PLACE = 6, 0x8825  # Exif 2.3: 0x0112 orientation, 0x8825 the GPS directory


def picture() -> Image.Image:
    """Draw a dark ground with a few bright arcs, as a lamp shows them."""
    row, column = np.mgrid[:240, :320]
    light = 25 + 90 * np.exp(-((np.hypot(row - 120, column - 160) - 70) ** 2) / 4)
    light += 10 * np.sin(column / 40)
    return Image.fromarray(np.repeat(light[..., None], 3, axis=2).astype(np.uint8))


def heic(image: Image.Image, **more: object) -> bytes:
    out = io.BytesIO()
    pillow_heif.from_pillow(image).save(out, quality=95, **more)
    return out.getvalue()


def tagged(turn: int) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = turn
    exif.get_ifd(PLACE)[1] = "N"
    exif.get_ifd(PLACE)[2] = (48.0, 12.0, 34.5)
    return exif.tobytes()


def lossless(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def test_it_is_read_as_a_lossless_copy_is() -> None:
    ours, copy = decode(heic(picture())).linear, decode(lossless(picture())).linear
    assert ours.shape == copy.shape == (240, 320, 3)
    assert float(np.abs(ours - copy).mean()) < 0.002
    assert np.corrcoef(ours.ravel(), copy.ravel())[0, 1] > 0.999


def test_it_is_turned_upright() -> None:
    ours = decode(heic(picture(), exif=tagged(TURNED))).linear
    copy = decode(lossless(picture().transpose(Image.Transpose.ROTATE_270))).linear
    assert ours.shape == (320, 240, 3)
    assert float(np.abs(ours - copy).mean()) < 0.002


def test_the_guarded_worker_keeps_no_place(tmp_path: Path) -> None:
    file = tmp_path / "IMG_0001.HEIC"
    file.write_bytes(heic(picture(), exif=tagged(TURNED)))
    assert pillow_heif.open_heif(file).info["exif"]
    taken = guard.take_in(file)
    assert (taken.media, taken.width, taken.height) == ("image/jpeg", 240, 320)
    with Image.open(io.BytesIO(taken.content)) as kept:
        assert kept.size == (240, 320)
        assert not kept.getexif().get_ifd(PLACE)


def test_what_is_cut_short_is_refused() -> None:
    whole = heic(picture())
    for part in (len(whole) // 2, len(whole) - 40, 60):
        with pytest.raises(PhotoError, match="damaged or cut short"):
            decode(whole[:part])


def test_too_many_pixels_are_refused_before_decoding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "MOST_PIXELS", 320 * 240 - 1)
    monkeypatch.setattr(pillow_heif.HeifFile, "to_pillow", lambda _: pytest.fail("decoded"))
    with pytest.raises(PhotoError, match="too many pixels: 320 x 240"):
        decode(heic(picture()))


def test_without_its_reader_the_remedy_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(PhotoError, match="HEIC photo") as caught:
        decode(heic(picture()))
    assert "most compatible" in caught.value.do
