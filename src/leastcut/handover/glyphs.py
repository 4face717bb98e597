"""Make a person's own words printable: what the fonts in the package cannot show is replaced.

Archival and accessible PDF (ISO 19005-2, ISO 14289-1) forbid text that no embedded font can show,
so a name with a rare letter would stop the report. The coverage is read from the fonts' own
character maps (OpenType specification, table ``cmap``, formats 4 and 12).
"""

import re
import struct
import unicodedata
from collections.abc import Iterator
from functools import cache, lru_cache
from pathlib import Path

FONTS = Path(__file__).parent / "fonts"
REPLACEMENT = "\N{WHITE VERTICAL RECTANGLE}"
LONGEST = 240

_JOINERS = {0x200C, 0x200D, *range(0xFE00, 0xFE10)}
_SPACES = re.compile(r"[^\S\u00a0\u202f]+")
_KEPT_SPACES = "\u00a0\u202f"
_UNBROKEN = re.compile(r"\S{18,}")
_IN_TYPESETTER = frozenset(map(ord, REPLACEMENT + "→←↑↓"))  # its own fallback fonts have these
_BREAK = "\N{ZERO WIDTH SPACE}"


@cache
def covered(folder: Path = FONTS) -> frozenset[int]:
    """Return the code points that at least one font in `folder` can show."""
    found: set[int] = set()
    for path in sorted(folder.glob("*.ttf")):
        found.update(_code_points(path.read_bytes()))
    return frozenset(found)


def _code_points(font: bytes) -> Iterator[int]:
    """Yield the code points of a font's character map."""
    n_tables = struct.unpack_from(">H", font, 4)[0]
    records = (struct.unpack_from(">4s3I", font, 12 + 16 * i) for i in range(n_tables))
    base = next(offset for tag, _, offset, _ in records if tag == b"cmap")
    n_maps = struct.unpack_from(">H", font, base + 2)[0]
    for i in range(n_maps):
        start = base + struct.unpack_from(">HHI", font, base + 4 + 8 * i)[2]
        form = struct.unpack_from(">H", font, start)[0]
        if form == 4:
            yield from _segments(font, start)
        elif form == 12:
            yield from _groups(font, start)


def _segments(font: bytes, start: int) -> Iterator[int]:
    """Yield the code points of a format 4 map: segments of the basic plane."""
    twice = struct.unpack_from(">H", font, start + 6)[0]
    count = twice // 2
    ends = struct.unpack_from(f">{count}H", font, start + 14)
    starts = struct.unpack_from(f">{count}H", font, start + 16 + twice)
    for first, last in zip(starts, ends, strict=True):
        yield from range(first, min(last, 0xFFFE) + 1)


def _groups(font: bytes, start: int) -> Iterator[int]:
    """Yield the code points of a format 12 map: groups over all planes."""
    count = struct.unpack_from(">I", font, start + 12)[0]
    for i in range(count):
        first, last, _ = struct.unpack_from(">3I", font, start + 16 + 12 * i)
        yield from range(first, last + 1)


def printable(text: str) -> str:
    r"""Return `text` as the reports can print it.

    Control and direction-forcing characters go, white space runs become one space, letters that no
    font in the package has become ``▯``, and unbroken runs get places to break.

    Examples
    --------
    >>> printable("  Ada\t\x00Lovelace ")
    'Ada Lovelace'
    """
    shown = "".join(map(_shown, unicodedata.normalize("NFC", text)))
    tidy = _SPACES.sub(" ", shown).strip()
    return _UNBROKEN.sub(lambda run: _BREAK.join(_chunks(run[0])), tidy)


def short(text: str, longest: int = LONGEST) -> str:
    """Return a person's words cut to `longest` characters, with ``…`` where something was cut.

    Examples
    --------
    >>> short("a very long name", 7)
    'a very…'
    """
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


@lru_cache(4096)
def _shown(character: str) -> str:
    code = ord(character)
    if code in _JOINERS:
        return character
    category = unicodedata.category(character)
    if character in _KEPT_SPACES:
        return character
    if character.isspace() or category == "Cc":
        return " "
    if category == "Cf":
        return ""
    return character if code in covered() or code in _IN_TYPESETTER else REPLACEMENT


def _chunks(run: str, size: int = 8) -> list[str]:
    """Cut an unbroken run before a base character, never inside a joined group."""
    cut, last = [0], 0
    for i in range(1, len(run)):
        joined = unicodedata.combining(run[i]) or ord(run[i]) in _JOINERS
        if i - last >= size and not joined and ord(run[i - 1]) not in _JOINERS:
            cut.append(i)
            last = i
    return [run[a:b] for a, b in zip(cut, [*cut[1:], len(run)], strict=True)]
