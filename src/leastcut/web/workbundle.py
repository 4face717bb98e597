"""What the work screen carries with it, so that it needs nobody while the work goes on."""

import math
from collections.abc import Iterable
from functools import lru_cache
from hashlib import sha256
from itertools import pairwise

import msgspec

from leastcut.car.records import Panel, Point, Polygon
from leastcut.car.sheet import lay_out
from leastcut.handover.records import Dossier
from leastcut.plan.records import Section, SectionPlan, Step
from leastcut.safety.records import Caution, ToolUse
from leastcut.safety.vibration import exposure
from leastcut.shop.facts import Fact
from leastcut.testspot.records import Process
from leastcut.web.factsapi import Contradiction, contradictions
from leastcut.web.pages.choices import worded
from leastcut.web.pages.visit import Look
from leastcut.web.reply import Reader
from leastcut.web.who import Who
from leastcut.work.prompts import Rules

# A section that comes this near to its panel's edge warns of it: a pad's rim reaches over.
# Our judgement, no source.
NEAR_EDGE_MM = 40.0
# Less than this above what must stay counts as thin: the gauge's own error. Our judgement.
NARROW_UM = 3.0
SHEET_MM = (112.0, 100.0)
# Cautions that concern whoever works, at the first start of a day.
OF_THE_DAY = frozenset({
    "eyes-hands-lungs", "stance-and-cord", "rcd", "alone", "noise-unknown", "noise-offer",
    "noise-wear", "solvent", "rags", "vapour-high", "cord-weak", "circuit-full",
    "vibration-unknown", "vibration-action", "vibration-limit", "old-paint",
})  # fmt: skip
# Cautions of a panel, at each start on it.
OF_PANEL = frozenset({
    "plastic", "hot", "trim", "film-thin", "film-unmeasured", "film-on-plastic", "film-filled",
    "film-repainted", "airbag", "single-stage", "sanding",
})  # fmt: skip

Ring = tuple[tuple[int, int], ...]


class Me(msgspec.Struct, frozen=True, kw_only=True):
    """Who holds the device: ``by`` tells workers apart in events."""

    by: str
    person: str
    decides: bool
    csrf: str


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """A caution in the reader's language: what, what to do, who says so."""

    id: str
    what: str
    do: str
    source: str


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """A named value in the reader's units."""

    name: str
    says: str


class Tool(msgspec.Struct, frozen=True, kw_only=True):
    """A process: its settings as lines, and what the moving dot needs."""

    label: str
    lines: tuple[Line, ...]
    arm_speed_mm_s: float
    pad_mm: float


class Piece(msgspec.Struct, frozen=True, kw_only=True):
    """One section: where it lies, how it is walked, what it costs; lengths in mm."""

    panel: str
    id: str
    steps: tuple[Step, ...]
    cell: Ring
    worked: Ring
    strokes: tuple[tuple[tuple[int, int], tuple[int, int]], ...]
    says: tuple[Line, ...]
    note: str
    edge: bool
    line: bool
    thin: bool


class Sheeted(msgspec.Struct, frozen=True, kw_only=True):
    """One panel: its outline and what to keep off [mm], and where it lies on the small sheet."""

    id: str
    name: str
    number: int
    outline: Ring
    keep_off: tuple[Ring, ...]
    lines: tuple[Ring, ...]
    at: tuple[float, float]
    cautions: tuple[Told, ...]


class Vibration(msgspec.Struct, frozen=True, kw_only=True):
    """Minutes with the machine running until the day's values are reached, K included [min]."""

    to_action: float
    to_limit: float
    source: str


class Bundle(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that the work screen needs.

    Attributes
    ----------
    plan : str
        Changes when sections, steps or settings do.
    plan_head, head : int
        The newest fact that the plan knows; the newest there is.
    sheet : tuple of float
        Width, height [mm] and scale of the small pattern sheet.
    rules : Rules
        When to remind of pads.
    facts : tuple of Fact
        The record of the work so far.
    """

    visit: int
    label: str
    lang: str
    units: str
    me: Me
    plan: str
    plan_head: int
    head: int
    now_s: float
    sheet: tuple[float, float, float]
    panels: tuple[Sheeted, ...]
    sections: tuple[Piece, ...]
    tools: tuple[Tool, ...]
    cautions: tuple[Told, ...]
    vibration: Vibration | None
    rules: Rules
    facts: tuple[Fact, ...]
    conflicts: tuple[Contradiction, ...]


def bundle_of(found: Look, dossier: Dossier, reader: Reader, who: Who, now_s: float) -> Bundle:
    """Return what the work screen carries.

    Parameters
    ----------
    found : Look
        The visit.
    dossier : Dossier
        Its plan.
    reader : Reader
        Language and units.
    who : Who
        Who holds the device.
    now_s : float
        The shop's clock [Unix s].
    """
    sheet, panels = _panels(dossier, reader)
    sections = tuple(_pieces(dossier, reader))
    tools = tuple(_tool(process, reader) for process in dossier.ladder)
    room = found.job.room if found.job else None
    return Bundle(
        visit=found.visit,
        label=found.label,
        lang=reader.lang,
        units=reader.units,
        me=Me(
            by=f"d{who.device or 0}",
            person=who.person,
            decides=who.may("settle"),
            csrf=who.csrf,
        ),
        plan=sha256(msgspec.json.encode((panels, sections, tools))).hexdigest()[:16],
        plan_head=found.known_head,
        head=found.head,
        now_s=now_s,
        sheet=sheet,
        panels=panels,
        sections=sections,
        tools=tools,
        cautions=_cautions(dossier.cautions, OF_THE_DAY, None, reader),
        vibration=None if room is None else _vibration(room.vibration_m_s2, room.vibration_k_m_s2),
        rules=Rules(),
        facts=tuple(f for f in found.facts if f.field.partition("/")[0] == "event"),
        conflicts=contradictions(found.now),
    )


def _vibration(magnitude: float | None, k: float | None) -> Vibration | None:
    if magnitude is None:
        return None
    use = ToolUse(
        magnitude_m_s2=float(magnitude), minutes=1.0, k_m_s2=None if k is None else float(k)
    )
    day = exposure([use])
    return Vibration(
        to_action=day.minutes_to_action_high, to_limit=day.minutes_to_limit_high, source=day.source
    )


def _cautions(
    cautions: Iterable[Caution], ids: frozenset[str], panel: str | None, reader: Reader
) -> tuple[Told, ...]:
    return tuple(
        Told(
            id=c.id,
            what=reader.told(c.what),
            do=reader.told(c.do),
            source=reader.told(c.source),
        )
        for c in cautions
        if c.id in ids and (panel is None or c.panel == panel)
    )


def _panels(
    dossier: Dossier, reader: Reader
) -> tuple[tuple[float, float, float], tuple[Sheeted, ...]]:
    sheet = lay_out(dossier.car.panels, page_mm=SHEET_MM, head_mm=1, foot_mm=1, margin_mm=1)
    lies = {placement.panel: placement for placement in sheet.placements}
    panels = tuple(
        Sheeted(
            id=panel.id,
            name=reader.told(panel.name),
            number=lies[panel.id].number,
            outline=_ring(panel.outline_mm),
            keep_off=tuple(_ring(keep.outline_mm) for keep in panel.keep_outs),
            lines=tuple(_ring(line) for line in panel.body_lines_mm),
            at=lies[panel.id].at_mm,
            cautions=_cautions(dossier.cautions, OF_PANEL, panel.id, reader),
        )
        for panel in dossier.car.panels
    )
    return (*sheet.page_mm, sheet.scale), panels


def _ring(points: Iterable[Point]) -> Ring:
    return tuple((round(x), round(y)) for x, y in points)


def _tool(process: Process, reader: Reader) -> Tool:
    lines = {
        reader.say("Pad"): reader.say(worded("pad", process.pad)),
        reader.say("Liquid"): reader.say(worded("liquid", process.liquid)),
        reader.say("Speed"): f"{process.orbits_per_min:.0f}/min",
        reader.say("Force"): reader.show(process.force_n, "newton"),
        reader.say("Arm speed"): reader.show(process.arm_speed_mm_s, "millimeter/second"),
        reader.say("Stroke spacing"): reader.show(process.stroke_spacing_mm, "millimeter"),
    }
    return Tool(
        label=process.label,
        lines=tuple(Line(name=name, says=says) for name, says in lines.items()),
        arm_speed_mm_s=process.arm_speed_mm_s,
        pad_mm=process.pad_diameter_mm,
    )


def _pieces(dossier: Dossier, reader: Reader) -> Iterable[Piece]:
    sections = {(s.panel, s.id): s for layout in dossier.layouts for s in layout.sections}
    panels = {panel.id: panel for panel in dossier.car.panels}
    reserve = {state.panel: state.film.reserve_um for state in dossier.panels}
    for plan in dossier.plan.sections:
        section = sections.get((plan.panel, plan.id))
        if section is not None:
            yield _piece(plan, section, panels[plan.panel], reserve.get(plan.panel, 0.0), reader)


def _piece(
    plan: SectionPlan, section: Section, panel: Panel, reserve_um: float, reader: Reader
) -> Piece:
    says = {
        reader.say("Cut"): reader.show(plan.cut_um.mean, "micrometer"),
        reader.say("Leaves at least"): reader.show(plan.clear_after_low_um, "micrometer"),
        reader.say("Must stay"): reader.show(reserve_um, "micrometer"),
        reader.say("Size"): f"{reader.show(section.width_mm, 'millimeter')} × "
        f"{reader.show(section.height_mm, 'millimeter')}",
    }
    notes = [reader.told(note) for note in (plan.note, section.note) if note]
    return Piece(
        panel=plan.panel,
        id=plan.id,
        steps=plan.steps,
        cell=_ring(section.cell_mm),
        worked=_ring(section.worked_mm),
        strokes=tuple((_ring(stroke)[0], _ring(stroke)[1]) for stroke in section.strokes_mm)
        if plan.steps
        else (),
        says=tuple(Line(name=name, says=text) for name, text in says.items()),
        note=". ".join(notes),
        edge=near_outline(section.worked_mm, panel.outline_mm),
        line=crosses(section.worked_mm, panel.body_lines_mm),
        thin=plan.clear_after_low_um < reserve_um + NARROW_UM,
    )


@lru_cache(2048)
def near_outline(worked: Polygon, outline: Polygon) -> bool:
    """Tell whether a section comes within a pad's rim of its panel's edge."""
    sides = list(zip(outline, (*outline[1:], outline[0]), strict=True))
    return any(_away(point, *side) < NEAR_EDGE_MM for point in worked for side in sides)


def _away(point: Point, a: Point, b: Point) -> float:
    """Return the distance of a point from a line between two points [mm]."""
    (x, y), (ax, ay), (bx, by) = point, a, b
    length2 = (bx - ax) ** 2 + (by - ay) ** 2
    share = ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length2 if length2 else 0.0
    share = min(1.0, max(0.0, share))
    return math.hypot(x - ax - share * (bx - ax), y - ay - share * (by - ay))


def crosses(worked: Polygon, lines: Iterable[tuple[Point, ...]]) -> bool:
    """Tell whether a body line runs through the rectangle around a section; rather yes than no."""
    low = [min(p[axis] for p in worked) for axis in (0, 1)]
    high = [max(p[axis] for p in worked) for axis in (0, 1)]
    return any(
        all(max(min(p[k], q[k]), low[k]) <= min(max(p[k], q[k]), high[k]) for k in (0, 1))
        for line in lines
        for p, q in pairwise(line)
    )
