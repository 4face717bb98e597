"""Colours for numbers: ramps even to the eye, safe for colour-blind readers, good in print.

A ramp runs through a few anchors given as OKLCH and is interpolated in OKLab, lightness strictly
falling, so that equal steps of the number look like equal steps and remain steps when hue is not
seen or the sheet is copied in grey. Source of the space: B. Ottosson, "A perceptual color space
for image processing" (2020); status: from memory, checked against an independent library in the
tests. Contrast follows WCAG 2.2, relative luminance and success criterion 1.4.3.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

Lab = tuple[float, float, float]
INK = "#1c2230"
PAPER = "#ffffff"
_BLACK = "#000000"
_READABLE = 4.5  # WCAG 2.2, success criterion 1.4.3


@dataclass(frozen=True)
class Ramp:
    """Anchors (lightness 0 to 1, chroma, hue in degrees) from the low to the high end."""

    name: str
    anchors: tuple[Lab, ...]

    def colour(self, t: float) -> str:
        """Return the sRGB colour at `t` in [0, 1] as ``#rrggbb``; beyond, the end colour."""
        t = min(max(t, 0.0), 1.0)
        place = t * (len(self.anchors) - 1)
        i = min(int(place), len(self.anchors) - 2)
        a, b = (_oklab(anchor) for anchor in self.anchors[i : i + 2])
        share = place - i
        return _hex([x + (y - x) * share for x, y in zip(a, b, strict=True)])

    def steps(self, n: int) -> tuple[str, ...]:
        """Return `n` colours from end to end, `n` ≥ 2."""
        return tuple(self.colour(i / (n - 1)) for i in range(n))


# Ours: from paper over a chalk blue to ink. Lightness falls by equal amounts between anchors.
CHALK = Ramp(
    "chalk",
    ((0.975, 0.010, 95.0), (0.805, 0.062, 205.0), (0.635, 0.105, 235.0), (0.465, 0.120, 262.0),
     (0.295, 0.085, 282.0)),
)  # fmt: skip


def readable_on(background: str) -> str:
    """Return ink or paper, whichever reads on a background at 4.5 to 1; failing both, black.

    On every colour either black or white reaches 4.58 to 1, so the last resort always serves.

    Examples
    --------
    >>> readable_on("#ffffff")
    '#1c2230'
    """
    fitting = [text for text in (INK, PAPER) if contrast(text, background) >= _READABLE]
    return max(fitting or (_BLACK,), key=lambda text: contrast(text, background))


def contrast(one: str, other: str) -> float:
    """Return the WCAG contrast ratio of two colours, 1 to 21.

    Examples
    --------
    >>> round(contrast("#000000", "#ffffff"), 2)
    21.0
    """
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    linear = [_linear(int(colour[i : i + 2], 16) / 255) for i in (1, 3, 5)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4


def _encoded(channel: float) -> float:
    channel = min(max(channel, 0.0), 1.0)
    return 12.92 * channel if channel <= 0.0031308 else 1.055 * channel ** (1 / 2.4) - 0.055


def _oklab(lch: Lab) -> Lab:
    lightness, chroma, hue = lch
    angle = math.radians(hue)
    return lightness, chroma * math.cos(angle), chroma * math.sin(angle)


def _hex(lab: Sequence[float]) -> str:
    lightness, a, b = lab
    long = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    medium = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    linear = (
        4.0767416621 * long - 3.3077115913 * medium + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * medium - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * medium + 1.7076147010 * short,
    )
    return "#" + "".join(f"{round(_encoded(c) * 255):02x}" for c in linear)
