"""The few SVG elements that the charts of safety and protect need, as text.

Lines are told apart by dashes and by their own words as well as by colour.
"""

from collections.abc import Iterable, Sequence
from html import escape

import msgspec

INK, QUIET, PAPER = "#1c2230", "#5c6472", "#ffffff"
# Blue and orange of the colour-blind-safe set of Okabe and Ito (2008); from memory
BLUE, ORANGE, PALE = "#0072b2", "#b35900", "#dbe9f4"
FONT = "'Atkinson Hyperlegible', 'Liberation Sans', sans-serif"


class Frame(msgspec.Struct, frozen=True, kw_only=True):
    """A plotting area: pixels of its sides, and the values at them."""

    left: float
    right: float
    top: float
    bottom: float
    x_low: float
    x_high: float
    y_low: float
    y_high: float

    def x(self, value: float) -> float:
        """Return the pixel of a value along the page."""
        share = (value - self.x_low) / (self.x_high - self.x_low)
        return self.left + share * (self.right - self.left)

    def y(self, value: float) -> float:
        """Return the pixel of a value up the page."""
        share = (value - self.y_low) / (self.y_high - self.y_low)
        return self.bottom - share * (self.bottom - self.top)


def number(value: float) -> str:
    """Return a coordinate to a tenth.

    Examples
    --------
    >>> number(3.04), number(2.0)
    ('3', '2')
    """
    return f"{value:.1f}".removesuffix(".0")


def text(
    x: float, y: float, words: str, *, anchor: str = "start", size: float = 13.0, fill: str = INK
) -> str:
    """Return one line of text with a pale rim, to be read across lines."""
    return (
        f'<text x="{number(x)}" y="{number(y)}" font-size="{number(size)}" fill="{fill}" '
        f'text-anchor="{anchor}" stroke="{PAPER}" stroke-width="3" paint-order="stroke">'
        f"{escape(words)}</text>"
    )


def line(
    points: Sequence[tuple[float, float]], *, stroke: str = INK, width: float = 1.5, dash: str = ""
) -> str:
    """Return a line through points."""
    path = "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<path d="{path}" fill="none" stroke="{stroke}" stroke-width="{number(width)}"'
        f'{dashed} stroke-linejoin="round"/>'
    )


def box(x: float, y: float, width: float, height: float, *, fill: str, stroke: str = "none") -> str:
    """Return a rectangle; a negative width or height is drawn as none."""
    return (
        f'<rect x="{number(x)}" y="{number(y)}" width="{number(max(0.0, width))}" '
        f'height="{number(max(0.0, height))}" fill="{fill}" stroke="{stroke}"/>'
    )


def document(
    width: float, height: float, body: Iterable[str], *, title: str, description: str
) -> str:
    """Return a whole SVG document with its title and description first."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {number(width)} {number(height)}" '
        f'width="{number(width)}" height="{number(height)}" role="img" font-family="{FONT}">'
        f"<title>{escape(title)}</title><desc>{escape(description)}</desc>"
        f"{box(0, 0, width, height, fill=PAPER)}{''.join(body)}</svg>"
    )
