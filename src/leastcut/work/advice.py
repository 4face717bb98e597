"""Three sentences on what to change, the most telling first."""

import math

from leastcut.work.records import TechniqueFinding, Wanted

EDGE_SHARE = 0.35
LEAST_MISS = 0.015  # of the section


def advise(finding: TechniqueFinding, wanted: Wanted) -> tuple[str, ...]:
    """Return three sentences: what to change, then what to keep.

    The order is by what each fault costs: a pad that stands burns; what is missed keeps its marks;
    a wrong speed or spacing changes the cut in proportion.
    """
    told = [
        *_parked(finding),
        *_missed(finding),
        *_sets(finding, wanted),
        *_speed(finding, wanted),
        *_spacing(finding, wanted),
        *_uneven(finding),
        *_tape(finding),
        *_lifted(finding),
    ]
    return tuple([*told, *_kept(finding, wanted)][:3])


def _parked(f: TechniqueFinding) -> list[str]:
    if not f.parked:
        return []
    worst = max(f.parked, key=lambda p: p.seconds)
    return [
        (
            f"Keep the pad moving: at {worst.t_s:.0f} s it stood for {worst.seconds:.1f} s at "
            f"({worst.x_mm:.0f}, {worst.y_mm:.0f}) mm, which can warm plastic by up to {worst.rise_k:.0f} K."
        )
    ]


def _missed(f: TechniqueFinding) -> list[str]:
    share = _avoidable(f)
    if share < LEAST_MISS or not f.missed_mm:
        return []
    open_ = [ring for ring in f.missed_mm if not set(ring) & set(f.section_mm)]
    ring = (open_ or f.missed_mm)[0]  # largest first; corners only where nothing else was missed
    x = sum(p[0] for p in ring) / len(ring)
    y = sum(p[1] for p in ring) / len(ring)
    where = _whereabouts(x, y, f)
    return [
        (
            f"Go over the whole section: {share:.0%} was missed besides the corners that a round "
            f"pad leaves, most of it {where}; let each row start and end at the tape."
        )
    ]


def _avoidable(f: TechniqueFinding) -> float:
    """Return the share missed, less the four corners that a round pad cannot reach from inside."""
    if f.coverage_fraction is None or f.pad_diameter_mm is None or not f.section_mm:
        return 0.0
    ring = zip(f.section_mm, (*f.section_mm[1:], f.section_mm[0]), strict=True)
    area = abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in ring)) / 2
    corners = (4 - math.pi) * (f.pad_diameter_mm / 2) ** 2
    return 1 - f.coverage_fraction - corners / area


def _whereabouts(x: float, y: float, f: TechniqueFinding) -> str:
    wide = max(p[0] for p in f.section_mm)
    high = max(p[1] for p in f.section_mm)
    across = ("left", "middle", "right")[min(2, int(3 * x / wide))]
    up = ("lower", "middle", "upper")[min(2, int(3 * y / high))]
    return "in the middle" if across == up == "middle" else f"{up} {across}"


def _sets(f: TechniqueFinding, wanted: Wanted) -> list[str]:
    one, other = f.covers
    if one and other and one != other:
        return [
            f"Finish each set in both directions: one direction was covered {one} times, the other {other}."
        ]
    if (one > 0) != (other > 0):
        return ["Cross the strokes: the section was covered in one direction only."]
    if wanted.sets is not None and f.sets != wanted.sets:
        return [f"Do {wanted.sets} sets as planned; {f.sets} were done."]
    return []


def _speed(f: TechniqueFinding, wanted: Wanted) -> list[str]:
    if f.arm_speed_mm_s is None:
        return []
    ratio = f.arm_speed_mm_s.median / wanted.arm_speed_mm_s
    if 0.85 <= ratio <= 1.15:
        return []
    done = f"the arm went {f.arm_speed_mm_s.median:.0f} mm/s against {wanted.arm_speed_mm_s:.0f}"
    if ratio > 1:
        return [f"Slow down: {done}, so each set cut only {1 / ratio:.0%} of what it should."]
    return [f"Move faster: {done}, so each set cut and warmed {1 / ratio:.1f} times as much."]


def _spacing(f: TechniqueFinding, wanted: Wanted) -> list[str]:
    if f.stroke_spacing_mm is None or f.pad_diameter_mm is None:
        return []
    asked = wanted.stroke_spacing_mm or f.pad_diameter_mm / 2
    ratio = f.stroke_spacing_mm / asked
    if 0.8 <= ratio <= 1.2:
        return []
    how = "closer together" if ratio > 1 else "further apart"
    return [
        (
            f"Lay the strokes {how}: they lie {f.stroke_spacing_mm:.0f} mm apart against {asked:.0f} mm, "
            f"an overlap of {f.overlap_fraction:.0%}."
        )
    ]


def _uneven(f: TechniqueFinding) -> list[str]:
    s = f.arm_speed_mm_s
    if s is None or s.p95 < 1.8 * s.p05:
        return []
    return [
        (
            f"Keep one pace: along the strokes the arm went from {s.p05:.0f} to {s.p95:.0f} mm/s, "
            "and the cut varies as much the other way round."
        )
    ]


def _tape(f: TechniqueFinding) -> list[str]:
    if not f.tape_s or not f.worked_s or f.tape_s < EDGE_SHARE * f.worked_s:
        return []
    return [
        (
            f"Stay inside: {f.tape_s / f.worked_s:.0%} of the time the pad was partly over the tape, "
            "where edges burn through first."
        )
    ]


def _lifted(f: TechniqueFinding) -> list[str]:
    if not f.lifted_s or f.lifted_s < 1.0:
        return []
    return [f"Stay on the paint to the end of the set: the pad was off it for {f.lifted_s:.1f} s."]


def _kept(f: TechniqueFinding, wanted: Wanted) -> list[str]:
    """Say what was right, so that there are always three sentences."""
    kept = []
    if f.coverage_fraction is not None and not _missed(f):
        kept.append(f"Keep the coverage: {f.coverage_fraction:.0%} of the section was gone over.")
    if f.arm_speed_mm_s is not None and not _speed(f, wanted):
        kept.append(f"Keep the pace: {f.arm_speed_mm_s.median:.0f} mm/s is what was asked for.")
    if f.stroke_spacing_mm is not None and not _spacing(f, wanted):
        kept.append(f"Keep the spacing: {f.stroke_spacing_mm:.0f} mm between strokes.")
    if not f.parked:
        kept.append("The pad never stood still for longer than a turn takes: keep that.")
    kept.append("Film the next set in the same way, so that the two can be compared.")
    return [*kept, "Wipe the section bare before judging it."]
