"""The side of the car, drawn as the left side is seen: front to the left, z up."""

import math

from leastcut.car._curves import (
    Corner,
    along,
    arc,
    box,
    cut_at,
    disc,
    height_at,
    inward,
    outline,
    path,
)
from leastcut.car._frame import Frame
from leastcut.car._piece import Piece
from leastcut.car.records import Point, Polygon, Polyline

BUMPER_CUT_FRONT_DEG = 156.0
BUMPER_CUT_REAR_DEG = 20.0
_GAP_MM = 4.0


def sides(f: Frame) -> list[Piece]:
    """Return all pieces of one side, from the top downwards and from the front to the rear."""
    pieces = [pillar(f), wing(f), front_door(f)]
    if not f.two_door:
        pieces.append(rear_door(f))
    rear = f.ratios.rear
    pieces += [back_pillar(f), bed_side(f)] if rear == "bed" else [quarter(f)]
    return [*pieces, sill(f)]


def edge_of_roof(f: Frame) -> Polyline:
    """Return the outer edge of windscreen pillar and roof in side view, front to rear."""
    r, drop = f.ratios, 0.030 * f.height
    foot_x = f.mid(r.cowl)[0] + 0.020 * f.wb
    header, end = f.mid(r.header), f.mid(r.rear_header)
    rise = f.height - drop - (header[1] + end[1]) / 2 + drop
    return path(
        [
            Corner(foot_x, f.belt(foot_x) + 0.012 * f.height, bow=-0.012 * f.height),
            Corner(header[0], header[1] - drop, r=0.12 * f.wb, bow=-rise),
            Corner(end[0], end[1] - drop),
        ]
    )


def _rail_width(f: Frame) -> float:
    return 0.064 * f.height


def _rail_end(f: Frame) -> float:
    """Where the roof rail meets the rear quarter [mm]."""
    r = f.ratios
    if r.rear == "slab":
        return f.door_end
    if r.rear == "bed":
        return f.mid(r.rear_header)[0]
    return f.xf + min(r.window_end - 0.070, r.rear_header[0] - 0.035) * f.wb


def pillar(f: Frame) -> Piece:
    """Return windscreen pillar and roof rail as one strip."""
    outer = cut_at(edge_of_roof(f), _rail_end(f))
    inner = inward(outer, _rail_width(f))
    inner = (*(p for p in inner if p[0] < outer[-1][0]), (outer[-1][0], inner[-1][1]))
    shape = outline([Corner(x, z) for x, z in (*inner, *reversed(outer))])
    return Piece(
        id="pillar-a", name="pillar and roof rail", facing="side", outline=shape, radius=60
    )


def _crest(f: Frame, x: float) -> float:
    """Return the upper edge of the front wing at x [mm], unrolled over the shoulder.

    The wing's top lies beside the bonnet, so the edge stands higher than in side view by most of
    what the bonnet leaves of half the width; less at the nose, where the lamp takes it, and at
    the door, where the bonnet comes near.
    """
    nose_x, nose_z = f.fore(f.ratios.nose)
    top_x = min(f.mid(f.ratios.cowl)[0] + 0.02 * f.wb, f.hinge)
    top_z = f.belt(top_x) + 0.012 * f.height
    t = min(max((x - nose_x) / (top_x - nose_x), 0.0), 1.0)
    beside = 0.5 * (1 - f.ratios.bonnet_width) * f.width
    return nose_z + (top_z - nose_z) * (1.45 * t - 0.45 * t * t) + beside * _roll(t)


def _roll(t: float) -> float:
    return 0.18 + 1.1 * t * (1 - t) + 0.12 * t


def front_cut(f: Frame) -> tuple[Point, Point, Point]:
    """Return the seam between wing and front bumper: arch, lamp foot at its rear, at its front."""
    low = f.ratios.nose[1] - 0.085
    at_arch = arc((f.xf, f.hub), f.arch, BUMPER_CUT_FRONT_DEG, BUMPER_CUT_FRONT_DEG)[0]
    behind = min(0.50 * f.xf, at_arch[0] - 0.01 * f.wb)
    return at_arch, (behind, low * f.height), (0.27 * f.xf, (low + 0.004) * f.height)


def wing(f: Frame) -> Piece:
    """Return the front wing with its wheel arch; the lamp's rear half lies in its front tip."""
    at_arch, lamp_rear, lamp_front = front_cut(f)
    foot = f.arch_at(f.xf, f.z0, +1)
    start = math.degrees(math.atan2(f.z0 - f.hub, foot[0] - f.xf))
    tip_x, top_x = 0.28 * f.xf, f.hinge + 0.008 * f.wb
    crest = along(lambda x: _crest(f, x), top_x, tip_x)
    shape = outline(
        [
            Corner(*foot, r=12),
            Corner(f.hinge - _GAP_MM, f.z0, r=40, bow=0.006 * f.wb),
            Corner(*crest[0], r=18, via=crest[1:-1]),
            Corner(*crest[-1], r=10),
            Corner(*lamp_front, r=10),
            Corner(*lamp_rear, r=30),
            Corner(*at_arch, via=arc((f.xf, f.hub), f.arch, BUMPER_CUT_FRONT_DEG, start)[1:-1]),
        ]
    )
    return Piece(
        id="wing-front",
        name="front wing",
        facing="side",
        outline=shape,
        keep_outs=(("headlamp", _headlamp(f)),),
        lines=(along(f.shoulder, f.xf - 0.4 * f.arch, f.hinge + 50), arch_lip(f, f.xf)),
        radius=1200,
    )


def arch_lip(f: Frame, axle: float) -> Polyline:
    """Return the raised lip that follows a wheel arch."""
    return arc((axle, f.hub), f.arch + 0.016 * f.wb, 10, 170)


def _headlamp(f: Frame) -> Polygon:
    low, high = (f.ratios.nose[1] - 0.095) * f.height, _crest(f, 0.30 * f.xf)
    return outline(
        [
            Corner(0.10 * f.xf, low),
            Corner(0.44 * f.xf, low + 0.012 * f.height, r=40),
            Corner(0.60 * f.xf, high + 0.006 * f.height, r=18, bow=8),
            Corner(0.36 * f.xf, high + 0.020 * f.height),
            Corner(0.10 * f.xf, high + 0.030 * f.height),
        ]
    )


def _door(f: Frame, piece_id: str, name: str, shape: Polygon, rear: float) -> Piece:
    shelf = f.shoulder(rear)
    back = (0.060 if shape[0][0] < f.door_end - 1 else 0.100) * f.wb
    handle = box(
        rear - back,
        shelf + 0.42 * (f.belt(rear) - shelf),
        0.075 * f.wb,
        0.030 * f.height,
        12,
    )
    xs = min(x for x, _ in shape), max(x for x, _ in shape)
    return Piece(
        id=piece_id,
        name=name,
        facing="side",
        outline=shape,
        keep_outs=(("handle", handle),),
        lines=(along(f.shoulder, *xs), along(f.hem, *xs)),
        radius=3000,
    )


def front_door(f: Frame) -> Piece:
    """Return the front door skin up to the window sill."""
    x0, x1 = f.hinge + _GAP_MM, f.door_end
    curved = f.ratios.rear != "slab"  # a van's doors meet on a straight upright
    top = x0 + 0.012 * f.wb
    shape = outline(
        [
            Corner(x0, f.z1, r=45),
            Corner(x1, f.z1, r=40, bow=0.004 * f.wb * curved),
            Corner(x1 + 0.006 * f.wb * curved, f.belt(x1), r=14),
            Corner(top, f.belt(top), r=14, bow=-0.006 * f.wb),
        ]
    )
    piece = _door(f, "door-front", "front door", shape, x1)
    mirror = box(top + 0.040 * f.wb, f.belt(top), 0.052 * f.wb, 0.056 * f.height, 14)
    return Piece(**{**vars(piece), "keep_outs": (*piece.keep_outs, ("mirror base", mirror))})


def rear_cut(f: Frame) -> list[Corner]:
    """Return the rear edge of the last door, from its foot up to the window sill."""
    r, gap = f.ratios, f.arch + 0.030 * f.wb
    if f.two_door:
        x = f.door_end
        return [Corner(x, f.z1, r=40, bow=0.004 * f.wb), Corner(x + 0.006 * f.wb, f.belt(x), r=14)]
    if r.rear == "slab":
        x = f.xr - gap - 0.02 * f.wb
        return [Corner(x, f.z1, r=30), Corner(x, height_at(edge_of_roof(f), x) - 0.02 * f.height)]
    x = f.xf + min(r.window_end, 1.0) * f.wb
    if x < f.xr - gap:
        return [Corner(x, f.z1, r=40), Corner(x, f.belt(x), r=14)]
    foot = f.xr - math.sqrt(gap**2 - (f.z1 - f.hub) ** 2)
    start = math.degrees(math.atan2(f.z1 - f.hub, foot - f.xr)) % 360
    curve = arc((f.xr, f.hub), gap, start, 138)
    return [
        Corner(foot, f.z1, r=30, via=curve[1:-1]),
        Corner(*curve[-1], r=60),
        Corner(x, f.belt(x), r=14),
    ]


def rear_door(f: Frame) -> Piece:
    """Return the rear door skin, or the sliding door of a van up to the roof edge."""
    x0 = f.door_end + _GAP_MM
    cut = rear_cut(f)
    slab = f.ratios.rear == "slab"
    top = height_at(edge_of_roof(f), x0) - 0.02 * f.height if slab else f.belt(x0)
    shape = outline(
        [
            Corner(x0, f.z1, r=40),
            *cut,
            Corner(x0 + (0 if slab else 0.006 * f.wb), top, r=14, bow=0 if slab else -0.004 * f.wb),
        ]
    )
    if slab:
        return _sliding(f, shape)
    return _door(f, "door-rear", "rear door", shape, cut[-1].x)


def _sliding(f: Frame, shape: Polygon) -> Piece:
    x0 = f.door_end
    piece = _door(f, "door-rear", "sliding door", shape, x0 + 0.13 * f.wb)
    upper = along(lambda x: f.belt(x) + 0.22 * f.height, x0, f.xr)
    return Piece(**{**vars(piece), "lines": (*piece.lines, upper)})


def quarter(f: Frame) -> Piece:
    """Return the rear quarter from the last door to the bumper and up to the roof."""
    cut = rear_cut(f)
    arch_front = f.arch_at(f.xr, f.z1, -1)
    start = math.degrees(math.atan2(f.z1 - f.hub, arch_front[0] - f.xr)) % 360
    lip = arc((f.xr, f.hub), f.arch, start, BUMPER_CUT_REAR_DEG)
    back = f.aft((0.955, f.ratios.rear_bumper))
    corners = [
        Corner(*arch_front, via=lip[1:-1]),
        Corner(*lip[-1], bow=-0.004 * f.wb),
        Corner(*back, r=20, bow=0.01 * f.wb),
        *_rear_edge(f),
        *_window(f, cut[-1]),
        *_walked_back(cut),
    ]
    return Piece(
        id="quarter",
        name="rear quarter",
        facing="side",
        outline=outline(corners),
        keep_outs=(("tail lamp", _tail_lamp(f)),),
        lines=(along(f.shoulder, f.door_end, f.length), arch_lip(f, f.xr)),
        radius=1200,
    )


def _walked_back(cut: list[Corner]) -> list[Corner]:
    """Return a run of corners the other way, a shut gap further back, each edge with its points."""
    back = []
    for i in range(len(cut) - 1, -1, -1):
        edge = cut[i - 1] if i else None
        via = tuple((x + _GAP_MM, z) for x, z in reversed(edge.via)) if edge else ()
        bow = -edge.bow if edge else 0.0
        back.append(Corner(cut[i].x + _GAP_MM, cut[i].y, r=cut[i].r, bow=bow, via=via))
    return back


def _rear_edge(f: Frame) -> list[Corner]:
    """Return the edge from the tail up over the lid and rear pillar to the end of the roof."""
    r = f.ratios
    tail, glass = f.aft(r.tail), f.aft(r.glass)
    roof = edge_of_roof(f)
    end = roof[-1]
    corners = [Corner(*tail, r=60)]
    if r.rear == "deck":
        # Unrolled: the strip beside the boot lid lies flat on top of the car.
        beside = 0.22 * (1 - r.tail_width) * f.width
        corners = [Corner(tail[0], tail[1] + 0.4 * beside, r=60, bow=0.012 * f.wb)]
        corners.append(
            Corner(glass[0], glass[1] - 0.012 * f.height + beside, r=90, bow=0.010 * f.wb)
        )
    else:
        corners.append(Corner(*glass, r=80, bow=0.008 * f.wb))
    return [*corners, Corner(end[0] - _GAP_MM, end[1], r=26)]


def _window(f: Frame, door_top: Corner) -> list[Corner]:
    """Return the edge from the roof down the rear side of the windows to the last door's top."""
    if f.ratios.rear == "slab":
        x = door_top.x + _GAP_MM
        return [Corner(x, height_at(edge_of_roof(f), x), r=10)]
    top_x = _rail_end(f) + _GAP_MM
    foot_x = f.xf + f.ratios.window_end * f.wb
    edge = height_at(edge_of_roof(f), top_x)
    corners = [Corner(top_x, edge, r=8), Corner(top_x, edge - _rail_width(f), r=10)]
    if foot_x - door_top.x > 0.02 * f.wb:
        corners.append(Corner(foot_x + _GAP_MM, f.belt(foot_x), r=50))
    return corners


def _tail_lamp(f: Frame) -> Polygon:
    r = f.ratios
    x1, low = f.length, (r.rear_bumper + 0.030) * f.height
    if r.rear == "bed":
        low = (r.tail[1] - 0.21) * f.height
        x0, high = f.aft((0.86, 0))[0], (r.tail[1] - 0.035) * f.height
    elif r.rear == "deck":
        x0, high = f.aft((0.62, 0))[0], (r.tail[1] - 0.075) * f.height
    else:
        inner = 0.80 if r.rear == "slab" else 0.60
        x0, high = f.aft((inner, 0))[0], (r.glass[1] - 0.015) * f.height
    lean = 0.0 if r.rear == "bed" else 0.10 * f.rear_overhang
    return outline(
        [
            Corner(x0 + lean, low, r=20),
            Corner(x1, low),
            Corner(x1, high),
            Corner(x0, high, r=30, bow=-6),
        ]
    )


def sill(f: Frame) -> Piece:
    """Return the strip below the doors between the wheel arches."""
    start = f.hinge + _GAP_MM
    end0, end1 = f.arch_at(f.xr, f.z0, -1), f.arch_at(f.xr, f.z1 - _GAP_MM, -1)
    shape = outline(
        [
            Corner(start, f.z0, r=16),
            Corner(*end0, r=10),
            Corner(*end1, r=6),
            Corner(start, f.z1 - _GAP_MM, r=6),
        ]
    )
    return Piece(id="sill", name="sill", facing="side", outline=shape, radius=150)


def back_pillar(f: Frame) -> Piece:
    """Return the strip between a pickup's last door and the back of its cab."""
    cut, back = rear_cut(f), f.mid(f.ratios.rear_header)[0]
    top_z = height_at(edge_of_roof(f), back) - _rail_width(f) - _GAP_MM
    door = cut[-1].x + _GAP_MM
    shape = outline(
        [
            Corner(cut[0].x + _GAP_MM, f.z1, r=10),
            Corner(back, f.z1, r=20),
            Corner(back - 0.012 * f.wb, top_z, r=10),
            Corner(door - 0.010 * f.wb, top_z, r=10),
            Corner(door, cut[-1].y, r=8, bow=-cut[0].bow),
        ]
    )
    return Piece(id="pillar-c", name="rear cab pillar", facing="side", outline=shape, radius=80)


def bed_side(f: Frame) -> Piece:
    """Return the side of a pickup's cargo bed with its wheel arch."""
    front = f.mid(f.ratios.rear_header)[0] + 0.008 * f.wb
    tail = f.aft(f.ratios.tail)
    ahead, behind = f.arch_at(f.xr, f.z1, -1), f.arch_at(f.xr, f.z1, +1)
    angles = [math.degrees(math.atan2(p[1] - f.hub, p[0] - f.xr)) % 360 for p in (ahead, behind)]
    turn = angles[1] - 360 if angles[1] > 180 else angles[1]
    shape = outline(
        [
            Corner(front, f.z1, r=25),
            Corner(*ahead, r=6, via=arc((f.xr, f.hub), f.arch, angles[0], turn)[1:-1]),
            Corner(*behind, r=6),
            Corner(tail[0] - 0.03 * f.rear_overhang, f.z1 + 0.02 * f.height, r=40),
            Corner(*tail, r=25),
            Corner(front, tail[1] + 0.01 * f.height, r=20),
        ]
    )
    return Piece(
        id="bed",
        name="cargo bed side",
        facing="side",
        outline=shape,
        keep_outs=(("tail lamp", _tail_lamp(f)),),
        lines=(along(f.shoulder, front, f.length), arch_lip(f, f.xr)),
        radius=2000,
    )


def fuel_flap(f: Frame) -> Polygon:
    """Return the fuel or charging flap behind the rear wheel arch's crown."""
    z = f.hub + f.arch + 0.55 * (f.shoulder(f.xr) - f.hub - f.arch)
    return disc(f.xr + 0.35 * f.arch, z + 0.06 * f.height, 0.055 * f.height)
