"""Teaching sheets: the proven process as a card, and drills with a section drawn to scale. Pure.

Everything on a drill is computed from the process's own settings: how long one stroke takes, how
much neighbouring strokes overlap, what a kitchen scale must show under the pad, how many turns a
mark on the pad makes. What to feel and look for is common practice, no source.
"""

import math
from collections.abc import Iterable
from typing import Any

import msgspec

from leastcut.car.records import Point, Polygon
from leastcut.car.units import UnitSystem, convert, show
from leastcut.handover import words
from leastcut.handover.drawings import alike
from leastcut.handover.records import Dossier
from leastcut.handover.wall import cards, panel_names
from leastcut.plan.records import Section
from leastcut.testspot.records import Candidate, Process

STANDARD_GRAVITY = 9.80665  # m/s²; source: 3rd CGPM (1901), exact; status: memory
SCALES = (1.0, 2.0, 2.5, 4.0, 5.0, 6.0, 8.0, 10.0)
ROOM_MM = (176.0, 128.0)
EDGE_MM = 7.0


class Drill(msgspec.Struct, frozen=True, kw_only=True):
    """One section to practise on: its drawing to scale, and the numbers to hit."""

    section: str
    scale: float
    svg: str
    strokes: int
    seconds_a_set: float


def teaching_sheet(dossier: Dossier) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Return what the teaching sheets print, and their drawings by name.

    One card for every process that the plan uses; one drill on the plan's section that is nearest
    to a full square, with the strongest process.
    """
    used = dict.fromkeys(step.process for s in dossier.plan.sections for step in s.steps)
    processes = [p for p in dossier.ladder if p.label in used]
    section = _plain_section(dossier)
    drawn = section is not None and bool(processes)
    sheet: dict[str, Any] = {
        "title": f"Teaching sheets: {dossier.car.label}",
        "car": dossier.car.label,
        "cards": [
            card | {"proof": proof_words(dossier, p), "drill": drill_rows(p, dossier.units)}
            for card, p in zip(cards(dossier, used), processes, strict=True)
        ],
        "look": LOOK,
        "stop": STOP,
        "drawing": None,
    }
    if section is None or not drawn:
        return sheet, {}
    drill = draw_section(section, processes[-1])
    sheet["drawing"] = _drawing_words(dossier, section, drill, processes[-1])
    return sheet, {"section.svg": drill.svg.encode()}


LOOK = [
    ["The pad turns", "a mark on its edge goes round; when it stands still, lift the pressure or flatten the pad."],
    ["The film of liquid", "is thin and even; a dry line means more liquid, a spray at the edge means less."],
    ["Your eyes", "are ahead of the pad, on the next line; your elbow is above the machine."],
    ["After each set", "wipe, look under the lamp, feel the panel with the back of your hand."],
]  # fmt: skip
STOP = [
    ["The target is met", "one set more spends clear coat for nothing."],
    ["Two sets change nothing", "go back to the test spot; more of the same will not help."],
    ["The panel is too hot to keep the hand on", "let it cool, and ask why it got hot."],
    ["Colour on the pad", "stop at once: that is the base coat, unless the paint is single-stage."],
]  # fmt: skip


def proof_words(dossier: Dossier, process: Process) -> str:
    """Return what is known of a process on this paint, from the test spot."""
    known = [c for c in dossier.testspot.candidates if c.process == process.label]
    trials = sum(t.process == process.label for t in dossier.trials)
    tried = {0: "Not tried on this paint.", 1: "Tried once on this paint."}.get(
        trials, f"Tried {trials} times on this paint."
    )
    return (
        f"{tried} {_candidate_words(max(known, key=lambda c: c.p_target), dossier)}"
        if known
        else tried
    )


def _candidate_words(best: Candidate, dossier: Dossier) -> str:
    sets = "One set takes" if best.sets == 1 else f"{best.sets} sets take"
    cut = words.thickness(best.cut_um.mean, dossier.units)
    return (
        f"{sets} {cut} ({words.thickness_between(best.cut_um, dossier.units)}) and reach the target "
        f"with {words.percent(best.p_target)}."
    )


def drill_rows(process: Process, units: UnitSystem) -> list[list[str]]:
    """Return the numbers to practise: what, the number, how to check it without a machine shop."""
    pace = convert(500.0, "millimeter", "millimeter") / process.arm_speed_mm_s
    overlap = 1 - process.stroke_spacing_mm / process.pad_diameter_mm
    rows = [
        ["Arm speed", show(process.arm_speed_mm_s, "millimeter/second", units),
         f"two tapes {show(500.0, 'millimeter', units)} apart: cross in {pace:.0f} s, count aloud"],
        ["Overlap", words.percent(max(overlap, 0.0)),
         f"the next stroke lies {show(process.stroke_spacing_mm, 'millimeter', units)} further; rule the lines with chalk"],
        ["Push", show(process.force_n, "newton", units), f"a scale under the pad shows {_mass(process.force_n, units)}, machine included"],
    ]  # fmt: skip
    if process.spin_rpm > 0:
        turns = process.spin_rpm / 6
        rows.append(["Spin", f"{process.spin_rpm:.0f}{words.NBSP}rpm",
                     f"{turns:.0f} turns in 10 s: film the mark in slow motion and count"])  # fmt: skip
    return rows


def _mass(force_n: float, units: UnitSystem) -> str:
    """Return what a scale shows under a force: kilograms or pounds."""
    if units == "us":
        return f"{convert(force_n, 'newton', 'pound_force'):.1f}{words.NBSP}lb"
    return f"{force_n / STANDARD_GRAVITY:.1f}{words.NBSP}kg"


def _plain_section(dossier: Dossier) -> Section | None:
    """Return the section nearest to a full square among those with strokes and work."""
    worked = {(s.panel, s.id) for s in dossier.plan.sections if s.steps}
    sections = [
        s
        for layout in dossier.layouts
        for s in layout.sections
        if (s.panel, s.id) in worked and s.strokes_mm
    ]
    return max(sections, key=_plainness, default=None)


def _plainness(section: Section) -> tuple[float, str]:
    longest = max(section.width_mm, section.height_mm)
    return round(section.area_mm2 / longest**2, 6), section.id


def _drawing_words(
    dossier: Dossier, section: Section, drill: Drill, process: Process
) -> dict[str, Any]:
    panel = panel_names(dossier).get(section.panel, section.panel)
    size = " × ".join(
        show(mm, "millimeter", dossier.units) for mm in (section.width_mm, section.height_mm)
    )
    return {
        "file": "section.svg",
        "scale": f"1 : {drill.scale:g}",
        "alt": (
            f"One section of {panel}, {size}, drawn 1 to {drill.scale:g}, with {drill.strokes} "
            "strokes numbered as they are walked: first all in one direction, then across."
        ),
        "panel": panel,
        "size": size,
        "rows": [
            ["Strokes in a set", f"{drill.strokes}"],
            ["One set", words.short_time(drill.seconds_a_set)],
            ["With", process.label],
        ],
    }


def draw_section(section: Section, process: Process) -> Drill:
    """Draw a section to scale with its strokes numbered as they are walked.

    The scale is the largest of a draughtsman's scales at which it fits the page; the SVG's size in
    millimetres is true, so a ruler on the print gives the panel's millimetres.
    """
    xs, ys = zip(*section.worked_mm, strict=True)
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    scale = next(
        (s for s in SCALES if wide / s <= ROOM_MM[0] and high / s <= ROOM_MM[1]), SCALES[-1]
    )

    def paper(points: Iterable[Point]) -> list[Point]:
        return [
            (EDGE_MM + (x - min(xs)) / scale, EDGE_MM + (max(ys) - y) / scale) for x, y in points
        ]

    size = (wide / scale + 2 * EDGE_MM, high / scale + 2 * EDGE_MM)
    lines = [paper(stroke) for stroke in section.strokes_mm]
    walked = math.fsum(math.dist(*stroke) for stroke in section.strokes_mm)
    return Drill(
        section=section.id,
        scale=scale,
        svg=_svg(size, paper(section.worked_mm), paper(section.cell_mm), lines),
        strokes=len(lines),
        seconds_a_set=walked / process.arm_speed_mm_s,
    )


def _svg(size: Point, worked: list[Point], cell: list[Point], strokes: list[list[Point]]) -> str:
    body = [
        f'<path d="{_closed(worked)}" fill="none" stroke="#000" stroke-width="0.5"/>',
        f'<path d="{_closed(cell)}" fill="none" stroke="#000" stroke-width="0.25" stroke-dasharray="1.6 1.2"/>',
        *(
            part
            for n, line in enumerate(strokes, 1)
            for part in _stroke(n, line, across=not alike(strokes[0], line))
        ),
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size[0]:.2f}mm" height="{size[1]:.2f}mm" '
        f'viewBox="0 0 {size[0]:.2f} {size[1]:.2f}">{"".join(body)}</svg>\n'
    )


def _closed(points: Polygon | list[Point]) -> str:
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + "Z"


def _stroke(n: int, line: list[Point], *, across: bool) -> list[str]:
    """Return a stroke with its arrow head and its number where it begins; the crossing ones pale."""
    (x0, y0), (x1, y1) = line
    length = math.dist(*line) or 1.0
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    ink = "#6b7683" if across else "#17324d"
    head = [(x1, y1), (x1 - 2 * ux - uy * 0.9, y1 - 2 * uy + ux * 0.9), (x1 - 2 * ux + uy * 0.9, y1 - 2 * uy - ux * 0.9)]  # fmt: skip
    dash = ' stroke-dasharray="2.4 1.2"' if across else ""
    return [
        f'<path d="M{x0:.2f} {y0:.2f}L{x1:.2f} {y1:.2f}" stroke="{ink}" stroke-width="0.4"{dash}/>',
        f'<path d="{_closed(head)}" fill="{ink}"/>',
        f'<circle cx="{x0:.2f}" cy="{y0:.2f}" r="1.9" fill="#fff" stroke="{ink}" stroke-width="0.25"/>',
        f'<text x="{x0:.2f}" y="{y0 + 0.85:.2f}" font-size="2.4" text-anchor="middle" font-family="Atkinson Hyperlegible">{n}</text>',
    ]
