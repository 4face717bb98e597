"""Photos made small enough for a report: upright, without hidden data, within a budget of bytes."""

import io
from collections.abc import Mapping
from typing import TYPE_CHECKING

from leastcut.errors import InputError

if TYPE_CHECKING:
    from PIL.Image import Image

LONGEST_PX = 1100
SMALLEST_PX = 320
QUALITIES = (82, 72, 60)
# All photos of one report together: what leaves a document of 6 MB room for its words.
BUDGET_BYTES = 5_000_000
MOST_PIXELS = 200_000_000


class ReportPhotoError(InputError):
    """A photo that cannot be put into a report."""


def fit_all(photos: Mapping[str, bytes], *, budget: int = BUDGET_BYTES) -> dict[str, bytes]:
    """Return every photo as a JPEG for a report, all together within `budget` bytes.

    A photo that needs less than its share leaves the rest to the others.

    Raises
    ------
    ReportPhotoError
        If one cannot be read; the message names it.
    """
    fitted: dict[str, bytes] = {}
    left = budget
    by_size = sorted(photos, key=lambda name: (len(photos[name]), name))
    for n, name in enumerate(by_size):
        fitted[name] = fit(photos[name], most_bytes=left // (len(by_size) - n), where=name)
        left -= len(fitted[name])
    return {name: fitted[name] for name in photos}


def fit(content: bytes, *, most_bytes: int, where: str = "photo") -> bytes:
    """Return one photo as an upright JPEG of at most `most_bytes`, as large as that allows.

    Raises
    ------
    ReportPhotoError
        If it cannot be read or is absurdly large.
    """
    image = _open(content, where)
    longest = LONGEST_PX
    while True:
        image.thumbnail((longest, longest))
        for quality in QUALITIES:
            made = _jpeg(image, quality)
            if len(made) <= most_bytes or (longest <= SMALLEST_PX and quality == QUALITIES[-1]):
                return made
        longest = max(int(longest * 0.8), SMALLEST_PX)


def _open(content: bytes, where: str) -> "Image":
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        image = Image.open(io.BytesIO(content))
        if image.width * image.height > MOST_PIXELS:
            raise ReportPhotoError(
                f"{image.width} × {image.height} pixels are too many",
                where=where,
                do="Save it smaller, or leave it out",
            )
        image.draft("RGB", (LONGEST_PX, LONGEST_PX))
        image.load()
        return ImageOps.exif_transpose(image).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise ReportPhotoError(
            f"it cannot be read as a photo: {error}",
            where=where,
            do="Save it as JPEG or PNG, or leave it out",
        ) from None


def _jpeg(image: "Image", quality: int) -> bytes:
    stream = io.BytesIO()
    image.save(stream, "JPEG", quality=quality, optimize=True)
    return stream.getvalue()
