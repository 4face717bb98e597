"""The printed target: bars seen reflected for clarity, a square for the scale, a ruler to check it.

Bars of 0.125 to 2 mm are those of the optical comb of ISO 10215 and JIS K 7374 (numbers from
memory). Around the bars stands a square frame of known inner side, which gives scale and place;
three of its corners carry a filled mark and the fourth an open one, so that a turned or mirrored
view is told.
"""

from dataclasses import dataclass

BARS_MM = (0.125, 0.25, 0.5, 1.0, 2.0)
SIDE_MM = 100.0  # inner side of the frame
FRAME_MM = 6.0  # its thickness
QUIET_MM = 8.0  # white between frame and bars
MARK_MM = 5.0
RULER_MM = 150
PAPERS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}


@dataclass(frozen=True)
class Band:
    """One band of bars: bar width, and its rectangle in the square's own mm (origin top left)."""

    bar_mm: float
    x: float
    y: float
    width: float
    height: float

    @property
    def bars(self) -> list[float]:
        """Left edges of the dark bars [mm]; bar and gap are equally wide."""
        number = int(self.width / (2 * self.bar_mm))
        return [self.x + 2 * self.bar_mm * k for k in range(number)]


def bands() -> list[Band]:
    """Return the five bands from the widest bars at the top to the finest at the bottom."""
    inner = SIDE_MM - 2 * QUIET_MM
    heights = (18.0, 16.0, 14.0, 12.0, 12.0)
    y, placed = QUIET_MM, []
    for bar, height in zip(reversed(BARS_MM), heights, strict=True):
        placed.append(Band(bar, QUIET_MM, y, inner, height))
        y += height + 3.0
    return placed


def marks() -> list[tuple[float, float, bool]]:
    """Return the corner marks: centre x, y in the square's mm, and whether filled."""
    near, far = QUIET_MM / 2, SIDE_MM - QUIET_MM / 2
    return [(near, near, False), (far, near, True), (far, far, True), (near, far, True)]


def svg(paper: str = "a4") -> str:
    """Return the sheet as an SVG picture in true size.

    Parameters
    ----------
    paper : {"a4", "letter"}
        Paper size.

    Returns
    -------
    str
        SVG with millimetres as its user units.
    """
    width, height = PAPERS[paper]
    left, top = (width - SIDE_MM) / 2, 45.0
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}">'
        ),
        f'<g transform="translate({left:.3f} {top:.3f})">',
        *_frame(),
        *(_rect(x, b.y, b.bar_mm, b.height) for b in bands() for x in b.bars),
        *_marks(),
        "</g>",
        *_ruler((width - RULER_MM) / 2, top + SIDE_MM + FRAME_MM + 30.0),
        "</svg>",
    ]
    return "\n".join(parts)


def _rect(x: float, y: float, width: float, height: float) -> str:
    return f'<rect x="{x:.4f}" y="{y:.4f}" width="{width:.4f}" height="{height:.4f}" fill="#000"/>'


def _frame() -> list[str]:
    outer = SIDE_MM + 2 * FRAME_MM
    return [
        _rect(-FRAME_MM, -FRAME_MM, outer, FRAME_MM),
        _rect(-FRAME_MM, SIDE_MM, outer, FRAME_MM),
        _rect(-FRAME_MM, 0, FRAME_MM, SIDE_MM),
        _rect(SIDE_MM, 0, FRAME_MM, SIDE_MM),
    ]


def _marks() -> list[str]:
    size = MARK_MM
    return [
        _rect(x - size / 2, y - size / 2, size, size)
        if filled
        else f'<circle cx="{x}" cy="{y}" r="{size / 2 - 0.5}" fill="none" stroke="#000"/>'
        for x, y, filled in marks()
    ]


def _ruler(x: float, y: float) -> list[str]:
    """Return a ruler of 150 mm, ticks each mm, longer each 5 and 10."""
    lines = [_rect(x, y, RULER_MM, 0.2)]
    for k in range(RULER_MM + 1):
        length = 6.0 if k % 10 == 0 else 4.5 if k % 5 == 0 else 3.0
        lines.append(_rect(x + k - 0.05, y - length, 0.1, length))
    return lines


def typst(paper: str = "a4") -> str:
    """Return the sheet's text in the typesetter's language; the picture is read as ``target.svg``."""
    width, height = PAPERS[paper]
    ruler = (width - RULER_MM) / 2
    numbers = "\n".join(
        f"#place(top + left, dx: {ruler + k - 5:.1f}mm, dy: 182mm, box(width: 10mm, align(center)[{k}]))"
        for k in range(0, RULER_MM + 1, 50)
    )
    bars = "\n".join(
        f"#place(top + left, dx: {(width - SIDE_MM) / 2 + SIDE_MM + FRAME_MM + 3:.1f}mm, "
        f"dy: {45 + b.y + b.height / 2 - 1.5:.1f}mm)[{b.bar_mm:g} mm]"
        for b in bands()
    )
    return f"""#set document(title: "Scale and clarity target")
#set page(width: {width}mm, height: {height}mm, margin: 0mm)
#set text(font: "Atkinson Hyperlegible", size: 10pt, lang: "en")
#place(top + left, image("target.svg", width: {width}mm, alt: "Square frame of 100 mm inner side with five bands of bars, and a ruler of 150 mm"))
#place(top + center, dy: 14mm, text(size: 16pt)[Scale and clarity target])
#place(top + center, dy: 24mm)[Print at 100 %, no "fit to page". Inner side of the frame: 100 mm.]
{bars}
{numbers}
#place(top + center, dy: 190mm, box(width: 160mm)[
Lay a ruler on the printed one: 150 mm must be 150 mm within half a millimetre, else type the
true side with #"--square-mm".

*Scale:* lay the sheet flat beside the place, or cut out the inside of the frame and lay the frame
round the place. *Clarity:* glue the sheet to a stiff board, hold it upright or tilted over the
panel, and photograph its reflection, focused on the bars.
])
"""
