"""Encode pictures for files and pages."""

import base64
import html
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


def side_by_side(
    before: npt.NDArray[np.uint8], after: npt.NDArray[np.uint8]
) -> npt.NDArray[np.uint8]:
    """Return two pictures of one height beside each other with a white bar between them."""
    bar = np.full((before.shape[0], max(4, before.shape[1] // 200), 3), 255, np.uint8)
    return np.concatenate([before, bar, after], axis=1)


_SLIDER = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>Before and after</title>
<style>
body {{ margin: 0; padding: 1rem; font: 1.125rem/1.4 sans-serif; background: #fff; color: #1b1b1b }}
figure {{ margin: 0; position: relative; max-width: {width}px }}
img {{ display: block; width: 100% }}
img + img {{ position: absolute; inset: 0; clip-path: inset(0 0 0 var(--cut, 50%)) }}
input {{ width: 100%; max-width: {width}px; height: 48px; margin: 0 }}
p {{ max-width: 40rem }}
</style></head><body>
<figure><img src="data:image/jpeg;base64,{before}" alt="Before">
<img id="after" src="data:image/jpeg;base64,{after}" alt="After, laid over it"></figure>
<label>Before, left; after, right: <input type="range" min="0" max="100" value="50"
 oninput="document.getElementById('after').style.setProperty('--cut', this.value + '%')"></label>
<p>{text}</p></body></html>
"""


def slider_page(before: npt.NDArray[np.uint8], after: npt.NDArray[np.uint8], text: str) -> str:
    """Return one HTML page, complete in itself, that slides the after picture over the before.

    Parameters
    ----------
    before, after : ndarray (H, W, 3) uint8
        sRGB, of one size, the second laid over the first.
    text : str
        What is written below them.
    """
    first, second = (base64.b64encode(encode_jpeg(p)).decode() for p in (before, after))
    width = min(before.shape[1], LONGEST_SIDE_PX)
    return _SLIDER.format(before=first, after=second, width=width, text=html.escape(text))
