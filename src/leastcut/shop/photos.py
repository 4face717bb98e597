"""Read a photo as linear light. Only pixels are kept: no place, time or owner of the photo.

The file's own bytes decide what it is, not its name. A photo is turned upright by its EXIF turn
before anything else looks at it.
"""

import importlib
import io
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from leastcut.errors import InputError

MOST_PIXELS = 100_000_000
MOST_BYTES = 400_000_000
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")
HEIC_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")


class PhotoError(InputError):
    """A photo that cannot be read."""


@dataclass(frozen=True)
class Photo:
    """One photo, upright.

    Attributes
    ----------
    linear : ndarray (H, W, 3) float32
        Linear light, red, green, blue, 0 to 1.
    pixel_type : str
        What the file held, for example ``8-bit RGB`` or ``16-bit grey``.
    name : str
        File name without its folder.
    """

    linear: npt.NDArray[np.float32]
    pixel_type: str
    name: str


def load(path: Path) -> Photo:
    """Read the photo at `path`.

    Raises
    ------
    PhotoError
        If there is no such file, it is empty, cut short, too large, animated or no photo.
    """
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise PhotoError(
                f"the file is too large: {size / 1e6:.0f} MB",
                where=str(path),
                do=f"Save it as a JPEG of at most {MOST_PIXELS // 1_000_000} megapixels",
            )
        data = path.read_bytes()
    except OSError as error:
        raise PhotoError(
            f"cannot read the file: {error.strerror or error}",
            where=str(path),
            do="Check the name and that you may read it",
        ) from None
    try:
        return decode(data, path.name)
    except PhotoError as error:
        raise error.at(str(path)) from None


ORIENTATION = 0x0112  # EXIF tag; its values: TIFF 6.0, page 36; from memory
_UPRIGHT: dict[int, Callable[[npt.NDArray[Any]], npt.NDArray[Any]]] = {
    2: np.fliplr,
    3: lambda v: np.rot90(v, 2),
    4: np.flipud,
    5: lambda v: v.transpose(1, 0, 2),
    6: lambda v: np.rot90(v, -1),
    7: lambda v: np.rot90(v, 2).transpose(1, 0, 2),
    8: np.rot90,
}


def decode(data: bytes, name: str = "photo") -> Photo:
    """Decode a photo from its bytes, as :func:`load` does from a file.

    Raises
    ------
    PhotoError
        As for :func:`load`.
    """
    image = open_checked(data)
    try:
        deep = deep_colour(image, data)
        return _convert(image, name) if deep is None else _linear(deep, "16-bit colour", name)
    finally:
        image.close()


def open_checked(data: bytes) -> Any:
    """Open a photo with Pillow, not yet decoded nor turned upright; close it after use.

    Parameters
    ----------
    data : bytes
        The file.

    Raises
    ------
    PhotoError
        If it is empty, too large, animated or no photo.
    """
    if not data:
        raise PhotoError("the file is empty", do="Copy it from the phone again")
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        return _open_heic(data)
    return _open(data)


@contextmanager
def _faults() -> Iterator[None]:
    """Turn whatever a decoder raises over a broken file into a sentence: it is about the file."""
    try:
        yield
    except PhotoError:
        raise
    except Exception as error:  # noqa: BLE001 - decoders raise nearly anything over broken files
        raise _damaged(error) from None


def _open(data: bytes) -> Any:
    """Open with Pillow, refusing what is too large before any pixel is decoded."""
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the library's own size warnings: we check below
            image = Image.open(io.BytesIO(data), formats=FORMATS)
    except UnidentifiedImageError:
        raise PhotoError(
            "this is not a photo that can be read",
            do="Give a JPEG, PNG, WebP, TIFF or HEIC file; a renamed or damaged file will not do",
        ) from None
    except Image.DecompressionBombError:
        raise _too_many_pixels() from None
    except (OSError, ValueError, SyntaxError) as error:
        raise _damaged(error) from None
    with _faults():
        _check(image)
    return image


def _open_heic(data: bytes) -> Any:
    """Open a HEIC photo with the optional package, if the user installed it."""
    try:
        pillow_heif: Any = importlib.import_module("pillow_heif")
    except ImportError:
        raise PhotoError(
            "this is a HEIC photo, and the package that reads it is not installed",
            do="Install it with pip install 'leastcut[heic]', or set the phone to take JPEG (camera format: most compatible)",
        ) from None
    with _faults():
        held = pillow_heif.open_heif(io.BytesIO(data))
        _check_size(*held.size)  # decoding comes next
        return held.to_pillow()


def _check(image: Any) -> None:
    _check_size(*image.size)
    # A phone's JPEG may carry a second, hidden picture; only formats for motion are refused.
    if image.format != "MPO" and getattr(image, "n_frames", 1) > 1:
        raise PhotoError(
            f"this file holds {image.n_frames} pictures (an animation or a stack of pages)",
            do="Save the one picture that shows the place as a JPEG",
        )


def _check_size(width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        raise _too_many_pixels(width, height)


def _too_many_pixels(width: int = 0, height: int = 0) -> PhotoError:
    size = f": {width} x {height}" if width else ""
    return PhotoError(
        f"the picture has too many pixels{size}",
        do=f"Save it with at most {MOST_PIXELS // 1_000_000} megapixels, or cut it to the place",
    )


def _damaged(error: Exception) -> PhotoError:
    return PhotoError(
        f"the file is damaged or cut short ({str(error)[:80]})", do="Copy it from the phone again"
    )


def deep_colour(image: Any, data: bytes) -> npt.NDArray[Any] | None:
    """Return the pixels of a 16-bit colour PNG or TIFF, upright, which Pillow would cut to 8 bits.

    Parameters
    ----------
    image : PIL.Image.Image
        The photo as opened, for its kind and its turn.
    data : bytes
        The file.

    Returns
    -------
    ndarray (H, W, 3) uint16 or None
        None for every other kind of file.

    Raises
    ------
    PhotoError
        If the file is damaged.
    """
    raw = [str(tile[3]) for tile in getattr(image, "tile", [])[:1]]
    if image.mode != "RGB" or not any(";16" in mode for mode in raw):
        return None
    import cv2

    with _faults():
        turn = int(image.getexif().get(ORIENTATION, 1))
        found: Any = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if found is None or found.dtype != np.uint16 or found.ndim != 3 or found.shape[2] != 3:
        return None
    upright, pixels = _UPRIGHT.get(turn), found[..., ::-1]
    return np.ascontiguousarray(upright(pixels) if upright else pixels)


def _convert(image: Any, name: str) -> Photo:
    from PIL import ImageOps

    mode = image.mode
    with _faults(), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image.load()
        upright = ImageOps.exif_transpose(image)
    array, kind = _pixels(upright, mode)
    if array.shape[0] < 2 or array.shape[1] < 2:
        raise PhotoError(
            f"the picture is only {array.shape[1]} x {array.shape[0]} pixels",
            do="Give the camera's own file",
        )
    return _linear(array, kind, name)


def _pixels(image: Any, mode: str) -> tuple[npt.NDArray[Any], str]:
    """Return the pixels as (H, W, 3) of 8 or 16 bits, and what they were."""
    if mode in {"I;16", "I;16B", "I;16L", "I"}:
        grey = np.clip(np.asarray(image).astype(np.int64), 0, 65535).astype(np.uint16)
        return np.repeat(grey[..., None], 3, axis=2), "16-bit grey"
    if mode == "F":
        grey = np.clip(np.nan_to_num(np.asarray(image)), 0, 1)
        return np.repeat((grey * 65535).astype(np.uint16)[..., None], 3, axis=2), "float grey"
    if mode in {"RGBA", "LA", "PA"} or "transparency" in image.info:
        from PIL import Image

        flat = Image.new("RGBA", image.size, (0, 0, 0, 255))
        flat.alpha_composite(image.convert("RGBA"))
        return np.asarray(flat.convert("RGB")), f"8-bit {mode}"
    kind = {"L": "8-bit grey", "1": "1-bit", "P": "8-bit palette"}.get(mode, f"8-bit {mode}")
    return np.asarray(image.convert("RGB")), kind


def _linear(array: npt.NDArray[Any], kind: str, name: str) -> Photo:
    """Undo the sRGB curve by a table. source: IEC 61966-2-1; status: memory."""
    import cv2

    top = np.iinfo(array.dtype).max
    code = np.arange(top + 1) / top
    table = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    table = table.astype(np.float32)
    linear = cv2.LUT(array, table) if top == 255 else table[array]
    return Photo(linear, kind, name)
