"""Around the pieces: title, key figure, scale bar, legends, and the words for screen readers.

Letters and marks shrink with the paper, but never below what 6 points leave.
"""

from collections.abc import Mapping

from leastcut.car._label import IDENT, Dress
from leastcut.car._layout import Sheet
from leastcut.car._marks import legend, scale_bar, swatch
from leastcut.car._svg import QUIET, num, shape_path, tag, text
from leastcut.car.outline import painted_area_m2
from leastcut.car.ramp import INK
from leastcut.car.records import Car, Panel
from leastcut.car.units import UnitSystem, show

_FULL_WIDTH_MM = 300.0  # paper from which letters have their full size
_LEAST_GRADE = 0.85


def grade(sheet: Sheet) -> float:
    """Return by how much letters and marks are made smaller on small paper."""
    return min(1.0, max(_LEAST_GRADE, sheet.page_mm[0] / _FULL_WIDTH_MM))


def head(
    sheet: Sheet,
    car: Car,
    dress: Dress,
    *,
    units: UnitSystem,
    title: str | None,
    subtitle: str | None,
) -> list[str]:
    """Return title, facts and key figure; nothing where no head was kept free."""
    tall = sheet.head_mm
    if tall < 8:
        return []
    area = show(sum(painted_area_m2(p) for p in car.panels), "meter**2", units)
    facts = f"{len(sheet.placements)} pieces, {area} of paint, drawn 1 : {1 / sheet.scale:.0f}"
    size, x = min(6.0, 0.3 * tall), sheet.margin_mm
    return [
        text((x, 0.5 * tall), title or car.label, size=size, anchor="start", bold=True),
        text((x, 0.76 * tall), subtitle or facts, size=0.5 * size, anchor="start", fill=QUIET),
        *_key_figure(sheet, car, dress),
    ]


def _key_figure(sheet: Sheet, car: Car, dress: Dress) -> list[str]:
    """Return the left side of the car put together, small, in the sheet's upper right corner."""
    pieces = [(p, p.place_mm) for p in car.panels if p.side == "left" and p.place_mm is not None]
    tall = min(17.0, sheet.head_mm - 3.0)
    scale = min(62.0 / car.length_mm, tall / car.height_mm)
    left, base = sheet.page_mm[0] - sheet.margin_mm - scale * car.length_mm, tall + 1.5

    def drawn(panel: Panel, x: float, y: float) -> str:
        points = [(left + scale * (x + u), base - scale * (y + v)) for u, v in panel.outline_mm]
        fill = dress.fill(panel.id)
        return tag("path", d=shape_path([points]), fill=fill, stroke=INK, stroke_width=0.2)

    return [drawn(panel, *place) for panel, place in pieces]


def foot(sheet: Sheet, dress: Dress, *, units: UnitSystem, value_words: str) -> list[str]:
    """Return scale bar, key of the marks, and the ramp if there are values."""
    if sheet.foot_mm < 6:
        return []
    base, g = sheet.page_mm[1] - 0.3 * sheet.foot_mm, grade(sheet)
    left = sheet.margin_mm + 2.0
    most = min(60.0, 0.17 * sheet.page_mm[0])
    parts = [scale_bar((left, base), sheet.scale, units=units, most_mm=most)]
    x = left + most + 9.0
    fields = [(f"url(#{IDENT}-keepout)", "keep off")]
    if dress.values is not None:
        fields.append((f"url(#{IDENT}-unmeasured)", "not measured"))
        width = min(60.0, 0.22 * sheet.page_mm[0])
        at = (sheet.page_mm[0] - sheet.margin_mm - 2.0 - width, base)
        ends = dress.shown(dress.low), dress.shown(dress.high)
        words = value_words.removesuffix(" []")
        parts.append(legend(at, dress.ramp, *ends, words, width=width, size=2.6 * g))
    for fill, words in fields:
        parts.append(swatch((x, base), fill, words, size=2.6 * g))
        x += (10.5 + 1.35 * len(words)) * g
    return [*parts, *_notch_key(x, base, g)]


def _notch_key(x: float, base: float, g: float) -> list[str]:
    parts = []
    for marks, words in ((1, "front edge"), (2, "rear edge")):
        for _ in range(marks):
            triangle = [(x, base - 0.6), (x + 1.6, base - 0.6), (x + 0.8, base - 2.2)]
            parts.append(tag("path", d=shape_path([triangle]), fill=INK))
            x += 2.2
        parts.append(text((x + 0.4, base - 0.5), words, size=2.6 * g, anchor="start"))
        x += (3.5 + 1.35 * len(words)) * g
    return parts


def description(
    sheet: Sheet, panels: Mapping[str, Panel], dress: Dress, name: str, unit: str
) -> str:
    """Return the sheet in words: every piece in order of work with its value."""
    lines = [f"All panels to one scale, 1 to {num(round(1 / sheet.scale))}, in order of work."]
    for placement in sheet.placements:
        words = f"{placement.number} {panels[placement.panel].name}"
        if dress.values is not None:
            value = dress.word(placement.panel)
            shown = f"{value} {unit}".strip() if value else "not measured"
            words += f", {name}: {shown}" if name else f": {shown}"
        lines.append(words + ".")
    return " ".join(lines)
