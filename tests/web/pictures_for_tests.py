"""Small real photos, made by Pillow, with what phones write beside the pixels."""

import io
from typing import Any

import numpy as np
from PIL import Image

SECRETS = ("Ana Lopez", "51 deg 30 min", "SN-1234567", "script")


def pixels(width: int = 320, height: int = 200, *, seed: int = 1) -> np.ndarray[Any, Any]:
    """Return smooth random colours: no two photos alike, all small."""
    rng = np.random.default_rng(seed)
    small = rng.integers(0, 255, (8, 12, 3), dtype=np.uint8)
    return np.asarray(Image.fromarray(small).resize((width, height), Image.Resampling.BICUBIC))


def exif(turn: int = 1) -> Image.Exif:
    """Return Exif as a phone writes it: owner, number, place, remarks."""
    made = Image.Exif()
    made[0x0112] = turn
    made[0x013B] = "Ana Lopez"
    made[0xA431] = "SN-1234567"
    made[0x010E] = "<script>alert(1)</script>"
    place = made.get_ifd(0x8825)
    place[1], place[2], place[0x1D] = "N", (51.0, 30.0, 0.0), "2026:11:25"
    place[0x1B] = b"51 deg 30 min"
    return made


def photo(kind: str = "JPEG", *, turn: int = 1, seed: int = 1, **more: Any) -> bytes:
    """Return a photo's file with remarks."""
    out = io.BytesIO()
    Image.fromarray(pixels(seed=seed)).save(out, kind, exif=exif(turn), **more)
    return out.getvalue()


def upright(content: bytes) -> np.ndarray[Any, Any]:
    """Return a file's pixels, turned by its own Exif, as Pillow decodes them."""
    from PIL import ImageOps

    with Image.open(io.BytesIO(content)) as image:
        return np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
