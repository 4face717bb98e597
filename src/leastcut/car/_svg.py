"""Writing SVG: text made safe, numbers kept short, the few elements that drawings need."""

from collections.abc import Iterable, Sequence
from html import escape

from leastcut.car.ramp import INK, PAPER
from leastcut.car.records import Point

FONT = "'Atkinson Hyperlegible', 'Liberation Sans', sans-serif"
QUIET = "#5c6472"  # secondary lines and text: 6:1 on paper


def safe(text: str) -> str:
    """Return text that may stand in XML: escaped, without characters that XML forbids."""
    legal = (c for c in text if c in "\t\n" or 0x20 <= ord(c) < 0xD800 or 0xE000 <= ord(c) < 0xFFFE)
    return escape("".join(legal))


def num(value: float) -> str:
    """Return a coordinate to a hundredth without trailing zeros."""
    return (
        f"{value:.2f}".rstrip("0").rstrip(".").replace("-0", "0")
        if abs(value) < 0.005
        else (f"{value:.2f}".rstrip("0").rstrip("."))
    )


def shape_path(rings: Iterable[Sequence[Point]], *, closed: bool = True) -> str:
    """Return path data of one or more rings or lines."""
    end = "Z" if closed else ""
    return "".join(
        "M" + "L".join(f"{num(x)} {num(y)}" for x, y in ring) + end for ring in rings if ring
    )


def tag(name: str, content: str | None = None, **attributes: str | float) -> str:
    """Return an element; underscores in attribute names become hyphens, content is trusted."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{value if isinstance(value, str) else num(value)}"'
        for key, value in attributes.items()
    )
    return f"<{name}{written}/>" if content is None else f"<{name}{written}>{content}</{name}>"


def text(
    at: Point,
    words: str,
    *,
    size: float,
    fill: str = INK,
    anchor: str = "middle",
    bold: bool = False,
    halo: bool = False,
    turn: float = 0.0,
) -> str:
    """Return one line of text; `turn` in degrees clockwise about its own place."""
    extra: dict[str, str | float] = {}
    if bold:
        extra["font_weight"] = "700"
    if halo:
        extra |= {"stroke": PAPER, "stroke_width": 0.18 * size, "paint_order": "stroke"}
        extra["stroke_linejoin"] = "round"
    if turn:
        extra["transform"] = f"rotate({num(turn)} {num(at[0])} {num(at[1])})"
    return tag(
        "text",
        safe(words),
        x=at[0],
        y=at[1],
        font_size=size,
        fill=fill,
        text_anchor=anchor,
        **extra,
    )


def line(a: Point, b: Point, *, width: float = 0.2, stroke: str = INK) -> str:
    """Return a straight line."""
    return tag("path", d=shape_path([(a, b)], closed=False), stroke=stroke, stroke_width=width)


def link(content: str, href: str | None) -> str:
    """Return content as a link; as it is without one."""
    return content if href is None else tag("a", content, href=safe(href))


def document(
    size_mm: Point,
    body: Iterable[str],
    *,
    title: str,
    description: str,
    ident: str,
    role: str = "img",
) -> str:
    """Return a whole SVG document on white ground, with its title and description first.

    ``role`` is ``group`` for a drawing that holds links: inside a picture nothing can be reached.
    """
    w, h = size_mm
    head = (
        tag("title", safe(title), id=f"{ident}-title")
        + tag("desc", safe(description), id=f"{ident}-desc")
        + tag("defs", _patterns(ident))
        + tag("rect", width=w, height=h, fill=PAPER)
    )
    return tag(
        "svg",
        head + "".join(body),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {num(w)} {num(h)}",
        width=f"{num(w)}mm",
        height=f"{num(h)}mm",
        role=role,
        aria_labelledby=f"{ident}-title {ident}-desc",
        font_family=FONT,
        fill="none",
        stroke_linejoin="round",
        stroke_linecap="round",
    )


def _patterns(ident: str) -> str:
    """Return the two hatchings: wide for what is not measured, tight and crossed for keep-outs."""
    wide = tag("path", d="M0 0V3", stroke="#c3c8d1", stroke_width=0.5)
    tight = tag("path", d="M0 0V1.1M0 0H1.1", stroke="#8a92a0", stroke_width=0.24)
    return _hatch(f"{ident}-unmeasured", 3, wide) + _hatch(
        f"{ident}-keepout", 1.1, tag("rect", width=1.1, height=1.1, fill=PAPER) + tight
    )


def _hatch(ident: str, size: float, content: str) -> str:
    return tag(
        "pattern",
        content,
        id=ident,
        width=size,
        height=size,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )
