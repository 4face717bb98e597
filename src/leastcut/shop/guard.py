"""Photos from outside, taken in by a process of its own with narrow limits.

Decoders are large programs fed with bytes from anywhere. Here one runs without the shop's record,
its passwords or its network address in reach, may use so much memory, time and disk and no more, and
is ended when it takes too long; what it hands back is looked at again before it is believed. The
process is this module run as a program.
"""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping
from importlib import import_module
from pathlib import Path
from threading import BoundedSemaphore
from typing import Any

import msgspec

from leastcut.shop.photos import MOST_BYTES, PhotoError

MEMORY_BYTES = 2_500_000_000
CPU_S, WALL_S = 60, 90
FILE_BYTES = 400_000_000
AT_A_TIME = 2
SIZES = {"small": 480, "screen": 1600}
QUALITY = 82
_PLACES = BoundedSemaphore(AT_A_TIME)
_KEPT = ("PATH", "LANG", "LC_ALL", "SYSTEMROOT", "LD_LIBRARY_PATH")


def _jpeg_head(content: bytes) -> bool:
    return content.startswith(b"\xff\xd8\xff")


# What is served later under a media type begins as files of that type do.
HEADS: Mapping[str, Callable[[bytes], bool]] = {
    "image/jpeg": _jpeg_head,
    "image/png": lambda content: content.startswith(b"\x89PNG\r\n\x1a\n"),
    "image/webp": lambda content: content[:4] == b"RIFF" and content[8:12] == b"WEBP",
}


class TakenIn(msgspec.Struct, frozen=True, kw_only=True):
    """A photo as it was taken in.

    Attributes
    ----------
    content : bytes
        The file without place, time or owner.
    media : str
        Its media type, from its own bytes.
    width, height : int
        Upright size [px].
    smaller : dict
        Small versions as JPEG, by the names in `SIZES`.
    """

    content: bytes
    media: str
    width: int
    height: int
    smaller: dict[str, bytes]


class _Told(msgspec.Struct, frozen=True, kw_only=True):
    """What the process says on its way out."""

    media: str = ""
    width: int = 0
    height: int = 0
    what: str = ""
    do: str = ""


def take_in(file: Path) -> TakenIn:
    """Return the photo in a file, decoded and cleaned by a guarded process.

    Raises
    ------
    PhotoError
        If it is no photo, damaged, too large, or too much for the limits.
    """
    if file.stat().st_size > MOST_BYTES:
        raise _too_much()
    with _PLACES, tempfile.TemporaryDirectory(prefix="leastcut-") as folder:
        told = _run(file, Path(folder))
        if told.what:
            raise PhotoError(told.what, do=told.do)
        content = (Path(folder) / "content").read_bytes()
        smaller = {name: (Path(folder) / name).read_bytes() for name in SIZES}
    if not all(map(_jpeg_head, smaller.values())) or not HEADS[told.media](content):
        raise _too_much()
    return TakenIn(
        content=content,
        media=told.media,
        width=told.width,
        height=told.height,
        smaller=smaller,
    )


def _run(file: Path, folder: Path) -> _Told:
    source = Path(__file__).resolve().parents[2]
    environment = {name: os.environ[name] for name in _KEPT if name in os.environ}
    environment |= {"PYTHONPATH": str(source), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-m", "leastcut.shop.guard", str(file.resolve()), str(folder)]
    try:
        done = subprocess.run(  # noqa: S603 - our own program and two paths of ours
            command,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=WALL_S,
            check=False,
        )
        told = msgspec.json.decode(done.stdout, type=_Told)
    except (subprocess.TimeoutExpired, msgspec.DecodeError):
        raise _too_much() from None
    whole = told.media in HEADS and 0 < told.width < 100_000 and 0 < told.height < 100_000
    if not told.what and (done.returncode != 0 or not whole):
        raise _too_much()
    return told


def _too_much() -> PhotoError:
    return PhotoError(
        "taking it in needs more memory or time than a photo does",
        do="Save it as a JPEG of at most 50 megapixels and send that",
    )


def _limit() -> None:
    """Narrow this process: memory, processor time, size of a file it writes, no more processes."""
    import resource

    for what, most in (
        (resource.RLIMIT_AS, MEMORY_BYTES),
        (resource.RLIMIT_CPU, CPU_S),
        (resource.RLIMIT_FSIZE, FILE_BYTES),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(what)
        least = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(what, (least, least))


def clean(data: bytes, folder: Path) -> _Told:
    """Decode a photo, write it without remarks and its smaller versions, and tell what it is.

    Parameters
    ----------
    data : bytes
        The file as it was sent.
    folder : Path
        Where ``content`` and the smaller versions are written.

    Raises
    ------
    PhotoError
        If it is no photo, damaged or too large.
    """
    from PIL import ImageOps

    from leastcut.shop.photos import open_checked
    from leastcut.shop.strip import LOSSLESS, MEDIA

    with open_checked(data) as image:
        kind, turn = str(image.format), _turn(image)
        image.load()
        upright = ImageOps.exif_transpose(image)
    if min(upright.size) < 2:
        raise PhotoError("the picture has next to no pixels", do="Give the camera's own file")
    if kind in LOSSLESS:
        content, media = LOSSLESS[kind](data, turn), MEDIA[kind]
        with open_checked(content) as again:
            again.load()  # what is kept must open as well as what came
    else:
        content, media = _anew(upright, kind)
    (folder / "content").write_bytes(content)
    for name, side in SIZES.items():
        (folder / name).write_bytes(_smaller(upright, side))
    return _Told(media=media, width=upright.width, height=upright.height)


def _turn(image: Any) -> int:
    try:
        turn = int(image.getexif().get(0x0112, 1))
    except (ValueError, TypeError, SyntaxError, OSError, KeyError):
        return 1
    return turn if 1 <= turn <= 8 else 1


def _anew(upright: Any, kind: str) -> tuple[bytes, str]:
    """Write a picture anew: without loss where the file was without loss."""
    import io

    out = io.BytesIO()
    if kind == "TIFF":
        _savable(upright).save(out, "PNG", compress_level=3)
        return out.getvalue(), "image/png"
    rgb = upright.convert("RGB")
    rgb.save(out, "JPEG", quality=97, subsampling=0)
    return out.getvalue(), "image/jpeg"


def _savable(image: Any) -> Any:
    mode = str(image.mode)
    fits = mode in {"1", "L", "LA", "P", "RGB", "RGBA", "I;16"}
    return image if fits else image.convert("RGB")


def _smaller(upright: Any, side: int) -> bytes:
    import io

    small = _flat(upright)
    small.thumbnail((side, side), reducing_gap=3.0)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


def _flat(image: Any) -> Any:
    """Return a copy in eight bits of red, green, blue; what is clear becomes black."""
    from PIL import Image

    mode = str(image.mode)
    if mode.startswith(("I", "F")):
        top = 65535.0 if mode != "F" else 1.0
        return image.point(lambda value: value * (255.0 / top)).convert("L").convert("RGB")
    if mode in {"RGBA", "LA", "PA"}:
        flat = Image.new("RGBA", image.size, (0, 0, 0, 255))
        flat.alpha_composite(image.convert("RGBA"))
        return flat.convert("RGB")
    return image.convert("RGB")


def main() -> int:
    """Run as the guarded process: ``FILE FOLDER``; tell on standard output, in JSON, what became."""
    file, folder = Path(sys.argv[1]), Path(sys.argv[2])
    # Loaded before the limits: a library's own appetite is no fault of the photo.
    for kind in ("Jpeg", "Png", "WebP", "Tiff", "Mpo"):
        import_module(f"PIL.{kind}ImagePlugin")
    _limit()
    try:
        told = clean(file.read_bytes(), folder)
    except PhotoError as error:
        told = _Told(what=error.what, do=error.do)
    except MemoryError:
        told = _Told(what=_too_much().what, do=_too_much().do)
    except Exception as error:  # noqa: BLE001 - whatever a decoder raises, it is about the file
        told = _Told(
            what=f"the file is damaged or cut short ({type(error).__name__})",
            do="Copy it from the phone again",
        )
    sys.stdout.write(json.dumps(msgspec.to_builtins(told)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
