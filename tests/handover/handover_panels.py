"""The invented car: outlines, sections, what is known of every panel, plain drawings."""

import itertools
import math
from typing import Any

from shapely.geometry import Polygon, box

from leastcut.car.records import Interval, KeepOut, Panel
from leastcut.handover.drawings import Drawings
from leastcut.handover.records import PanelState
from leastcut.inspect.records import (
    FilmFinding,
)
from leastcut.plan.records import (
    Layout,
    Section,
)

SHAPES = (
    ("roof", "Roof", "centre", "top", "steel", "60,0 1090,0 1150,1380 0,1380", "", "", 1420, 9, 46),
    (
        "bonnet",
        "Bonnet",
        "centre",
        "top",
        "aluminium",
        "110,0 1330,0 1440,980 0,980",
        "660,30 780,110",
        "250,60 180,940|1190,60 1260,940",
        960,
        24,
        44,
    ),
    (
        "boot-lid",
        "Boot lid",
        "centre",
        "top",
        "steel",
        "0,0 1240,0 1180,520 60,520",
        "570,440 670,500",
        "",
        1010,
        16,
        43,
    ),
    (
        "wing-front-left",
        "Left front wing",
        "left",
        "side",
        "steel",
        "0,240 140,60 330,60 520,330 760,330 930,60 1040,60 1060,620 420,600 0,420",
        "",
        "20,430 1050,560",
        720,
        14,
        42,
    ),
    (
        "door-front-left",
        "Left front door",
        "left",
        "side",
        "steel",
        "0,0 1080,0 1120,430 1090,720 20,690",
        "830,520 1010,570",
        "10,470 1110,520|10,130 1090,150",
        690,
        19,
        44,
    ),
    (
        "door-rear-left",
        "Left rear door",
        "left",
        "side",
        "steel",
        "0,0 560,0 900,300 980,720 0,720",
        "60,530 240,580",
        "0,480 950,540",
        690,
        12,
        45,
    ),
    (
        "quarter-left",
        "Left rear quarter, with the fuel flap",
        "left",
        "side",
        "steel",
        "0,300 220,330 420,60 560,60 700,360 1040,380 1100,700 640,820 60,760",
        "420,560 580,720",
        "40,560 1080,600",
        760,
        17,
        33,
    ),
    (
        "sill-left",
        "Left sill",
        "left",
        "side",
        "steel",
        "0,0 1620,0 1640,150 0,160",
        "",
        "",
        300,
        30,
        43,
    ),
    (
        "bumper-front",
        "Front bumper",
        "centre",
        "front",
        "plastic",
        "0,60 160,0 1640,0 1800,60 1760,420 40,420",
        "620,120 1180,260",
        "",
        480,
        22,
        36,
    ),
)
_RESERVE = 35.6


def _points(text: Any) -> Any:
    return tuple(tuple(float(v) for v in p.split(",")) for p in text.split())


def _corners(text: Any) -> Any:
    (x0, y0), (x1, y1) = _points(text)
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def panel_of(row: Any) -> Any:
    ident, name, side, facing, material, outline, keep, lines, height, _, _ = row
    return Panel(
        id=ident,
        name=name,
        side=side,
        facing=facing,
        material=material,
        outline_mm=_points(outline),
        keep_outs=(KeepOut(name="badge or handle", outline_mm=_corners(keep)),) if keep else (),
        body_lines_mm=tuple(_points(line) for line in lines.split("|") if line),
        centre_height_mm=height,
    )


def _ring(shape: Any) -> Any:
    return tuple((float(x), float(y)) for x, y in shape.exterior.coords[:-1])


def _sections(panel: Any) -> Any:
    """Cut a panel into a plain grid of cells of at most 560 mm, rows of strokes 40 mm apart."""
    area = Polygon(panel.outline_mm)
    for keep in panel.keep_outs:
        area = area.difference(Polygon(keep.outline_mm))
    x0, y0, x1, y1 = Polygon(panel.outline_mm).bounds
    nx, ny = math.ceil((x1 - x0) / 560), math.ceil((y1 - y0) / 560)
    w, h = (x1 - x0) / nx, (y1 - y0) / ny
    made = []
    for j, i in itertools.product(range(ny), range(nx)):
        cell = box(x0 + i * w, y0 + j * h, x0 + (i + 1) * w, y0 + (j + 1) * h).intersection(area)
        if cell.is_empty or cell.geom_type != "Polygon":
            cell = max(getattr(cell, "geoms", [cell]), key=lambda g: g.area)
        a, b, c, d = cell.bounds
        strokes = tuple(
            ((a, y), (c, y)) if k % 2 == 0 else ((c, y), (a, y))
            for k, y in enumerate([b + 20 + 40 * n for n in range(int((d - b) // 40))])
        )
        made.append(
            Section(
                id=f"{panel.id}-{len(made) + 1}",
                panel=panel.id,
                cell_mm=_ring(cell.convex_hull),
                worked_mm=_ring(cell.convex_hull.buffer(25, join_style="mitre")),
                width_mm=c - a + 50,
                height_mm=d - b + 50,
                area_mm2=cell.area,
                strokes_mm=strokes,
            )
        )
    return tuple(made)


def layout_of(panel: Any) -> Any:
    sections = _sections(panel)
    return Layout(
        panel=panel.id,
        sections=sections,
        order=tuple(s.id for s in sections),
        covered_fraction=0.985,
        lower_bound=len(sections),
    )


def state_of(row: Any) -> Any:
    ident, clear, load = row[0], row[-1], row[-2]
    half = 5.5 if ident != "bumper-front" else 11.0
    low = clear - half
    finding = "thin" if ident == "quarter-left" else "factory"
    if ident == "bumper-front":
        finding = "unmeasured"
    return PanelState(
        panel=ident,
        load_mm_per_cm2=Interval(mean=load, low=load * 0.8, high=load * 1.3),
        load_assumed=ident in {"sill-left", "bumper-front"},
        film=FilmFinding(
            panel=ident,
            n_spots=0 if finding == "unmeasured" else 5,
            n_readings=0 if finding == "unmeasured" else 15,
            mean_um=None if finding == "unmeasured" else clear * 2.75,
            sd_um=None if finding == "unmeasured" else 3.1,
            min_um=None if finding == "unmeasured" else clear * 2.75 - 6,
            layer=None if finding == "unmeasured" else "total",
            clear_um=Interval(mean=clear, low=low, high=clear + half),
            finding=finding,
            reserve_um=_RESERVE,
            budget_um=max(0.0, min(7.6, low - _RESERVE)),
            confidence=0.95,
            assumed=finding == "unmeasured",
            notes=("Reads low above the wheel arch.",) if finding == "thin" else (),
        ),
    )


def _path(points: Any) -> Any:
    return "M" + " L".join(f"{x:.1f} {-y:.1f}" for x, y in points)


def _panel_svg(panel: Any, layout: Any) -> Any:
    (x0, y0, x1, y1) = Polygon(panel.outline_mm).bounds
    parts = [
        f'<path d="{_path(s.cell_mm)} Z" fill="none" stroke="#000" stroke-width="2"/>'
        f'<text x="{Polygon(s.cell_mm).centroid.x:.0f}" y="{-Polygon(s.cell_mm).centroid.y:.0f}" font-size="70" font-family="Atkinson Hyperlegible">{n}</text>'
        for n, s in enumerate(layout.sections, 1)
    ]
    outline = f'<path d="{_path(panel.outline_mm)} Z" fill="none" stroke="#000" stroke-width="5"/>'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{x0 - 20} {-y1 - 20} {x1 - x0 + 40} {y1 - y0 + 40}">'
    return f"{head}{outline}{''.join(parts)}</svg>"


def plain_drawings(dossier: Any) -> Any:
    """Outlines and numbers only: enough to test the pages without the pattern sheet."""
    layouts = {layout.panel: layout for layout in dossier.layouts}
    panels = {p.id: _panel_svg(p, layouts[p.id]) for p in dossier.car.panels}
    return Drawings(car=panels["bonnet"], panels=panels)
