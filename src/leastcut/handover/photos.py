"""Photos made small enough for a report: upright, without hidden data, within a budget of bytes."""

import io
import math
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from leastcut.errors import InputError

if TYPE_CHECKING:
    from PIL.Image import Image

LONGEST_PX = 1000  # a quarter of a usual camera's 4000: decoded at that size, not shrunk to it
SMALLEST_PX = 320
FINE, COARSE = 80, 60
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
    shares = _shares({name: len(content) for name, content in photos.items()}, budget)
    with ThreadPoolExecutor() as pool:  # decoding and encoding run outside the interpreter's lock
        made = pool.map(lambda name: fit(photos[name], most_bytes=shares[name], where=name), photos)
        return dict(zip(photos, made, strict=True))


def _shares(sizes: Mapping[str, int], budget: int) -> dict[str, int]:
    """Return each photo's part of the budget: alike, but never more than it has already."""
    shares: dict[str, int] = {}
    left = budget
    for n, name in enumerate(sorted(sizes, key=lambda one: (sizes[one], one))):
        shares[name] = min(sizes[name], left // (len(sizes) - n))
        left -= shares[name]
    return shares


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
        image.thumbnail((longest, longest), reducing_gap=2.0)
        made = _jpeg(image, FINE)
        if len(made) > most_bytes:
            made = _jpeg(image, COARSE)
        if len(made) <= most_bytes or longest <= SMALLEST_PX:
            return made
        # Bytes go with the area; a little less, so that one more round is rarely needed.
        shrink = 0.95 * math.sqrt(most_bytes / len(made))
        longest = max(int(longest * min(shrink, 0.9)), SMALLEST_PX)


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
    image.save(stream, "JPEG", quality=quality)
    return stream.getvalue()
