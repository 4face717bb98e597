"""A whole job with plausible numbers, made without any of the stages' code."""

import itertools
import math
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from shapely.geometry import Polygon, box

from leastcut.car.records import Car, Interval, KeepOut, Paint, Panel
from leastcut.handover.drawings import Drawings
from leastcut.handover.records import Dossier, Help, PanelState, People, PhotoFinding, Stage
from leastcut.inspect.records import (
    Direction,
    FilmFinding,
    Gauge,
    LoadByKind,
    ScratchFinding,
    WashCheck,
)
from leastcut.plan.records import (
    Layout,
    Material,
    Minutes,
    Operation,
    Plan,
    Price,
    PriceLine,
    Section,
    SectionPlan,
    Step,
)
from leastcut.protect.records import Window
from leastcut.safety.records import Caution
from leastcut.testspot.records import (
    Advice,
    Candidate,
    DepthKnowledge,
    Measured,
    Process,
    TestSpot,
    Trial,
)

NOW = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)

# id, name, side, facing, material, outline, keep-outs, body lines, height, load, clear, finding
_SHAPES = (
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
FOAM = Process(label="White foam, fine", pad="foam-finishing", liquid="finishing", force_n=40)
MEDIUM = Process(label="Orange foam, one-step", pad="foam-polishing", liquid="medium")
STRONG = Process(
    label="Microfibre, heavy", pad="microfibre", liquid="heavy", force_n=55, spin_rpm=0, max_sets=3
)


def _points(text: Any) -> Any:
    return tuple(tuple(float(v) for v in p.split(",")) for p in text.split())


def _corners(text: Any) -> Any:
    (x0, y0), (x1, y1) = _points(text)
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def _panel(row: Any) -> Any:
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


def _layout(panel: Any) -> Any:
    sections = _sections(panel)
    return Layout(
        panel=panel.id,
        sections=sections,
        order=tuple(s.id for s in sections),
        covered_fraction=0.985,
        lower_bound=len(sections),
    )


def _state(row: Any) -> Any:
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


def _steps(load: Any, budget: Any, index: Any) -> Any:
    if budget < 0.4:
        return ()
    if budget < 2:
        return (Step(process=FOAM.label, sets=2, seconds=150 + 7 * index),)
    first = Step(process=MEDIUM.label, sets=2 if load < 20 else 3, seconds=205 + 11 * index)
    return (first, Step(process=FOAM.label, sets=1, seconds=85))


def _section_plan(section: Any, state: Any, index: Any) -> Any:
    steps = _steps(state.load_mm_per_cm2.mean, state.film.budget_um, index)
    mean = 0.0 + sum(s.sets * (0.55 if s.process == MEDIUM.label else 0.12) for s in steps)
    note = "" if steps else "Leave it: too thin to spend."
    return SectionPlan(
        panel=section.panel,
        id=section.id,
        steps=steps,
        cut_um=Interval(mean=mean, low=0.6 * mean, high=1.6 * mean),
        clear_after_low_um=state.film.clear_um.low - 1.6 * mean,
        p_target=0.94 if len(steps) == 2 else 0.71 if steps else 0.0,
        note=note,
    )


def _trial(process: Any, sets: Any, removed: Any, cut: Any) -> Any:
    return Trial(
        process=process.label,
        sets=sets,
        removed=Interval(mean=removed, low=removed - 0.06, high=min(1, removed + 0.05)),
        cut_um=Measured(value=cut, sd=0.5),
        verdict="clean" if removed > 0.9 else "some-left",
        panel="bonnet",
        before_load_mm_per_cm2=24.0,
        after_load_mm_per_cm2=24.0 * (1 - removed),
    )


def _photo(row: Any) -> Any:
    ident, load = row[0], row[-2]
    return PhotoFinding(
        panel=ident,
        photo=f"{ident}-before.jpg",
        finding=ScratchFinding(
            um_per_px=42.0,
            scale_from="square",
            area_cm2=180.0,
            load_mm_per_cm2=load,
            load_low=load * 0.8,
            load_high=load * 1.3,
            load_seen_mm_per_cm2=load * 0.6,
            by_kind=LoadByKind(swirl=load * 0.75, trail=load * 0.18, deep=load * 0.07),
            haze=0.04,
            direction=Direction(resultant=0.12, degrees=34.0),
            light_px=(800.0, 520.0),
        ),
    )


def _cautions() -> Any:
    texts = (
        ("vibration", "work", "Hand-arm vibration adds up over the day", "Change hands and rest; stop at the action value of the plan, 3 h 40 at this machine's declared figure. Tingling or white fingers: see a doctor.", "Directive 2002/44/EC", None),
        ("cord", "work", "Water and mains power share the bay", "Use a residual-current device and keep the joint off the floor. Local code goes first; a licensed electrician decides.", "IEC 60364-4-41", None),
        ("vapour", "protect", "Solvent vapour when wiping down", "Air the bay and wear gloves; read the product's safety data sheet.", "Regulation (EC) 1907/2006", None),
        ("thin-quarter-left", "plan", "Clear coat is thin here", "Do not machine this panel today; wax hides what stays.", "common practice, no source", "quarter-left"),
        ("edge-bonnet", "work", "Two creases run the length of the bonnet", "Tape them; keep the pad flat and 10 mm away.", "common practice, no source", "bonnet"),
        ("plastic-bumper-front", "work", "Plastic holds heat", "Feel it with the back of the hand every set; move on when it is too warm to keep the hand there.", "common practice, no source", "bumper-front"),
    )  # fmt: skip
    keys = ("id", "stage", "what", "do", "source", "panel")
    return tuple(Caution(**dict(zip(keys, row, strict=True))) for row in texts)


def _materials() -> Any:
    rows = (
        ("Medium liquid", 120, "ml", "14.40", "4 ml a section and set"),
        ("Finishing liquid", 60, "ml", "6.60", "3 ml a section and set"),
        ("Polishing foam pads", 3, "pads", "36.00", "one for every 8 sections"),
        ("Finishing foam pads", 2, "pads", "22.00", "one for every 12 sections"),
        ("Towels", 14, "towels", "8.40", "one for every 3 sections"),
        ("Masking tape", 18, "m", "2.70", "creases, handles and badges"),
    )
    return tuple(
        Material(name=n, amount=a, unit=u, cost=Decimal(c), why=w) for n, a, u, c, w in rows
    )


def _plan(states: Any, layouts: Any) -> Any:
    sections = tuple(
        _section_plan(section, states[layout.panel], index)
        for layout in layouts
        for index, section in enumerate(layout.sections)
    )
    working = sum(step.seconds for s in sections for step in s.steps) / 60
    lines = (("Labour, 6 h", "372.00"), ("Materials", "90.10"))
    return Plan(
        sections=sections,
        operations=tuple(
            Operation(
                stage=stage,
                name=name,
                minutes=Interval(mean=m, low=0.7 * m, high=1.5 * m),
                source="common practice, no source",
            )
            for stage, name, m in (
                ("inspect", "Wash and dry", 55),
                ("inspect", "Clay", 35),
                ("plan", "Tape edges and keep-outs", 30),
                ("work", "Clean pads between sections", 28),
                ("work", "Wipe down and look again", 40),
                ("protect", "Last layer", 45),
            )
        ),
        minutes=Minutes(p50=working + 250, p80=working + 305),
        section_minutes=working,
        materials=_materials(),
        price=Price(
            currency="EUR",
            lines=tuple(PriceLine(what=w, amount=Decimal(a)) for w, a in lines),
            net=Decimal("462.10"),
            tax=Decimal("87.80"),
            total=Decimal("549.90"),
        ),
        proven_gap=0.0,
        notes=("Left rear quarter stays as it is: no budget.",),
    )


def _testspot() -> Any:
    return TestSpot(
        softness=Interval(mean=1.3, low=0.9, high=1.8),
        depth_um=DepthKnowledge(median=0.55, p95=1.6),
        candidates=(
            Candidate(
                process=MEDIUM.label,
                sets=2,
                p_target=0.93,
                cut_um=Interval(mean=1.2, low=0.7, high=1.9),
                p_within_budget=0.97,
            ),
        ),
        next=Advice(
            do="use",
            process=MEDIUM.label,
            sets=2,
            why="Two sets reach the target with 93 % and spend 1.2 µm; one set reaches it with 61 %.",
        ),
        n_trials=2,
    )


def _stages() -> Any:
    return (
        Stage(stage="car", done=True),
        Stage(stage="inspect", done=True, missing=("photo of the sill", "readings on the bumper")),
        Stage(stage="testspot", done=True),
        Stage(stage="plan", done=True),
        Stage(stage="work", done=False, missing=("no work recorded yet",)),
        Stage(stage="protect", done=False),
        Stage(stage="handover", done=False),
    )


def _car() -> Any:
    return Car(
        label="Dark blue three-box, tenth year",
        body="three-box",
        length_mm=4620,
        width_mm=1790,
        height_mm=1440,
        wheelbase_mm=2720,
        panels=tuple(_panel(row) for row in _SHAPES),
        paint=Paint(
            system="clear-over-base", shade="dark", history="factory", label="blue metallic"
        ),
        year=2016,
    )


def build_dossier() -> Any:
    car = _car()
    states = {row[0]: _state(row) for row in _SHAPES}
    layouts = tuple(_layout(panel) for panel in car.panels)
    return Dossier(
        car=car,
        people=People(client="Odalys Brennwick", shop="Quayside Paintwork", date="2026-03-14"),
        target="daily",
        units="metric",
        wash=WashCheck(washed="washed", feel="smooth", tar_or_iron=False, dry=True),
        photos=tuple(_photo(row) for row in _SHAPES[:7]),
        gauge=Gauge(bias_um=0.8, sd_um=1.4, checked=True),
        panels=tuple(states.values()),
        ladder=(FOAM, MEDIUM, STRONG),
        trials=(_trial(FOAM, 2, 0.48, 0.3), _trial(MEDIUM, 2, 0.92, 1.3)),
        testspot=_testspot(),
        layouts=layouts,
        plan=_plan(states, layouts),
        cautions=_cautions(),
        window=Window(dew_point_c=9.3, margin_c=8.7, ok=True, why="The surface is 8.7 °C above the dew point; 3 °C is asked."),
        stages=_stages(),
        would_help_most=(
            Help(evidence="gauge readings", panel="bumper-front", why="The clear coat there is assumed from factory ranges, ±11 µm."),
            Help(evidence="a photo under the lamp", panel="sill-left", why="Its scratch load is assumed from the other panels."),
            Help(evidence="a second test spot on aluminium", panel="bonnet", why="It would narrow the cut per set by about a third."),
        ),
    )  # fmt: skip


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
