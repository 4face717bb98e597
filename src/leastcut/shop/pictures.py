"""Encode pictures for files and pages."""

import io

import numpy as np
import numpy.typing as npt

# Enough for a page or a screen; a larger picture only costs disk and time.
LONGEST_SIDE_PX = 1600


def encode_jpeg(picture: npt.NDArray[np.uint8], *, quality: int = 86) -> bytes:
    """Return a picture as JPEG, scaled down to at most 1600 px, without any metadata.

    Parameters
    ----------
    picture : ndarray (H, W, 3) uint8
        sRGB.
    quality : int
        As the JPEG library counts it, 1 to 95.
    """
    from PIL import Image

    image = Image.fromarray(picture)
    image.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    held = io.BytesIO()
    image.save(held, "JPEG", quality=quality, optimize=True)
    return held.getvalue()
