"""The pieces of the middle: bonnet, roof, lid or tailgate, bumpers.

They are drawn as right halves (x ≥ 0) and completed by their mirror image. Bonnet, roof and boot
lid are developed: their length is measured along the surface, as a tape would.
"""

import math

from leastcut.car._curves import Corner, arc, box, disc, outline, path, swept
from leastcut.car._frame import Frame
from leastcut.car._piece import Piece, symmetric
from leastcut.car._sides import BUMPER_CUT_FRONT_DEG, BUMPER_CUT_REAR_DEG, front_cut
from leastcut.car.records import Polygon, Polyline

_SAG = 1.015  # a gently arched surface is this much longer than its chord; our own estimate


def middle(f: Frame) -> list[Piece]:
    """Return the pieces of the middle, from the top downwards."""
    lid = boot_lid(f) if f.ratios.rear == "deck" else tailgate(f)
    return [roof(f), bonnet(f), lid, front_bumper(f), rear_bumper(f)]


def _half(corners: list[Corner]) -> Polyline:
    """Return the right half of an outline: from the foot of the middle line to its top."""
    return path(corners)


def _chord(a: tuple[float, float], b: tuple[float, float]) -> float:
    return math.dist(a, b) * _SAG


def roof(f: Frame) -> Piece:
    """Return the roof from windscreen to rear glass, front edge below."""
    header, end = f.mid(f.ratios.header), f.mid(f.ratios.rear_header)
    long = _chord(header, end)
    half = 0.5 * f.ratios.roof_width * f.width
    bend, slab = 0.022 * f.width, f.ratios.rear == "slab"
    shape = _half(
        [
            Corner(0, -bend, via=swept(-bend, (0.98 * half, 0))),
            Corner(0.98 * half, 0, r=60, bow=0.012 * f.width),
            Corner(0.95 * half, long, r=50, via=swept(long + bend, (0.95 * half, long))[::-1]),
            Corner(0, long + bend),
        ]
    )
    inset = 0.86 * half
    ditches: tuple[Polyline, ...] = (((inset, 0.0), (inset * 0.97, long)),)
    if slab:
        ditches += (((0.48 * half, 0.08 * long), (0.48 * half, 0.95 * long)),)
    aerial = box(0, 0.93 * long, 0.03 * f.width, 0.06 * f.width, 20)
    return symmetric(
        Piece(
            id="roof",
            name="Roof",
            facing="top",
            outline=shape,
            keep_outs=(("aerial", aerial),),
            lines=ditches,
            radius=4000,
            height=f.height - 20,
        )
    )


def bonnet(f: Frame) -> Piece:
    """Return the bonnet, front edge below."""
    nose, cowl = f.fore(f.ratios.nose), f.mid(f.ratios.cowl)
    long = _chord(nose, cowl)
    half = 0.5 * f.ratios.bonnet_width * f.width
    bend = 0.055 * f.width
    front, rear = (0.84 * half, 1.2 * bend), (half, long - 0.7 * bend)
    shape = _half(
        [
            Corner(0, 0, via=swept(0, front)),
            Corner(*front, r=110, bow=0.016 * f.width),
            Corner(*rear, r=60, via=swept(long + 0.4 * bend, rear)[::-1]),
            Corner(0, long + 0.4 * bend),
        ]
    )
    crease = path(
        [
            Corner(0.52 * half, 0.06 * long, bow=0.02 * f.width),
            Corner(0.78 * half, 0.96 * long),
        ]
    )
    nozzle = disc(0.36 * half, 0.93 * long, 0.010 * f.width)
    badge = disc(0, 0.055 * long + 0.02 * f.width, 0.022 * f.width)
    return symmetric(
        Piece(
            id="bonnet",
            name="Bonnet",
            facing="top",
            outline=shape,
            keep_outs=(("badge", badge), ("washer nozzle", nozzle)),
            lines=(crease,),
            radius=2500,
            height=(nose[1] + cowl[1]) / 2,
        )
    )


def boot_lid(f: Frame) -> Piece:
    """Return the boot lid developed: deck from the rear glass, then the drop to the bumper."""
    glass, tail = f.aft(f.ratios.glass), f.aft(f.ratios.tail)
    foot = f.aft((0.965, f.ratios.rear_bumper + 0.015))
    deck, drop = _chord(glass, tail), math.dist(tail, foot)
    half = 0.5 * f.ratios.tail_width * f.width
    edge, bend = deck + drop, 0.014 * f.width
    shape = _half(
        [
            Corner(0, -bend, via=swept(-bend, (0.94 * half, bend))),
            Corner(0.94 * half, bend, r=60, bow=0.008 * f.width),
            Corner(half, deck, r=60),
            Corner(0.96 * half, deck + 0.62 * drop, r=50),
            Corner(0.68 * half, edge - 0.01 * f.width, r=90),
            Corner(0, edge),
        ]
    )
    lamp = outline(
        [
            Corner(0.62 * half, deck + 0.22 * drop, r=20),
            Corner(1.1 * half, deck + 0.14 * drop),
            Corner(1.1 * half, deck + 0.62 * drop),
            Corner(0.66 * half, deck + 0.56 * drop, r=20),
        ]
    )
    plate = box(0, deck + 0.66 * drop, 540, 0.42 * drop, 14)
    badge = disc(0, deck + 0.26 * drop, 0.020 * f.width)
    return symmetric(
        Piece(
            id="boot-lid",
            name="Boot lid",
            facing="top",
            outline=shape,
            keep_outs=(("badge", badge), ("plate recess", plate), ("tail lamp", lamp)),
            lines=(path([Corner(-half, deck), Corner(half, deck)]),),
            radius=1500,
            height=(glass[1] + foot[1]) / 2,
        )
    )


def tailgate(f: Frame) -> Piece:
    """Return the tailgate as seen from behind, foot below; or a pickup's, without glass."""
    if f.ratios.rear == "bed":
        return _drop_gate(f)
    end, glass = f.mid(f.ratios.rear_header), f.aft(f.ratios.glass)
    tail, low = f.aft(f.ratios.tail), f.aft((0.965, f.ratios.rear_bumper + 0.012))
    skin = math.dist(low, tail) + math.dist(tail, glass)
    screen = math.dist(glass, end)
    half, roof_half = 0.5 * f.ratios.tail_width * f.width, 0.46 * f.ratios.roof_width * f.width
    high, bend = skin + screen, 0.018 * f.width
    shape = _half(
        [
            Corner(0, 0),
            Corner(0.80 * half, 0.012 * f.width, r=70),
            Corner(half, 0.34 * skin, r=60),
            Corner(0.985 * half, skin, r=40, bow=0.006 * f.width),
            Corner(roof_half, high, r=70, via=swept(high + bend, (roof_half, high))[::-1]),
            Corner(0, high + bend),
        ]
    )
    return symmetric(
        Piece(
            id="tailgate",
            name="Tailgate",
            facing="rear",
            outline=shape,
            keep_outs=_tailgate_keep_outs(f, half, skin, screen),
            lines=(((-half, 0.60 * skin), (half, 0.60 * skin)),),
            radius=1800,
            height=(low[1] + end[1]) / 2,
        )
    )


def _tailgate_keep_outs(
    f: Frame, half: float, skin: float, screen: float
) -> tuple[tuple[str, Polygon], ...]:
    framed = f.ratios.rear == "slab"  # a van's glass stands in a painted frame
    side, spoiler = (0.76 * half, 0.24) if framed else (1.2 * half, 0.20)
    glass = outline(
        [
            Corner(-side, skin + 0.01 * screen, r=50),
            Corner(side, skin + 0.01 * screen, r=50),
            Corner(0.92 * side, skin + (1 - spoiler) * screen, r=50),
            Corner(-0.92 * side, skin + (1 - spoiler) * screen, r=50),
        ]
    )
    lamp = outline(
        [
            Corner(0.66 * half, 0.62 * skin, r=16),
            Corner(1.1 * half, 0.56 * skin),
            Corner(1.1 * half, 0.92 * skin),
            Corner(0.70 * half, 0.84 * skin, r=16),
        ]
    )
    plate = box(0, 0.36 * skin, 540, 0.24 * skin, 14)
    badge = disc(0, 0.76 * skin, 0.022 * f.width)
    kept = [("rear glass", glass), ("plate recess", plate), ("badge", badge)]
    return tuple(kept if framed else [*kept, ("tail lamp", lamp)])


def _drop_gate(f: Frame) -> Piece:
    low, high = f.z1 + 0.03 * f.height, f.ratios.tail[1] * f.height
    half, tall = 0.5 * f.ratios.tail_width * f.width, high - low
    shape = _half(
        [
            Corner(0, 0),
            Corner(half, 0, r=30),
            Corner(half, tall, r=25),
            Corner(0, tall, bow=0),
        ]
    )
    handle = box(0, 0.80 * tall, 0.12 * f.width, 0.12 * tall, 14)
    badge = box(0.62 * half, 0.30 * tall, 0.16 * f.width, 0.07 * tall, 8)
    lip = ((-half, 0.92 * tall), (half, 0.92 * tall))
    return symmetric(
        Piece(
            id="tailgate",
            name="Tailgate",
            facing="rear",
            outline=shape,
            keep_outs=(("handle", handle), ("badge", badge)),
            lines=(lip, ((-half, 0.55 * tall), (half, 0.55 * tall))),
            radius=3000,
            height=(low + high) / 2,
        )
    )


def front_bumper(f: Frame) -> Piece:
    """Return the front bumper cover unrolled: the nose and both returns to the wheel arches."""
    _, lamp_rear, lamp_front = front_cut(f)
    nose_z, low = f.fore(f.ratios.nose)[1], f.z0 - 0.01 * f.height
    flat = 0.36 * f.width

    def unrolled(x: float) -> float:
        return flat + (f.xf - x) * -0.92 + f.xf * 0.92

    hub = unrolled(f.xf)
    foot = math.degrees(math.asin(max(-0.95, (low - f.hub) / f.arch)))
    lip = arc((hub, f.hub), f.arch, 180 - foot, BUMPER_CUT_FRONT_DEG)
    chin, brow = low - 0.014 * f.height, nose_z - 0.004 * f.height
    inner, top = (
        (0.90 * flat, lamp_front[1] + 0.004 * f.height),
        (0.74 * flat, brow - 0.016 * f.height),
    )
    lamp_foot = lamp_rear[1] - 4 + 0.012 * f.height
    shape = _half(
        [
            Corner(0, chin, via=swept(chin, lip[0])),
            Corner(*lip[0], r=18, via=lip[1:-1]),
            Corner(*lip[-1], r=8, bow=0.004 * f.wb),
            Corner(unrolled(lamp_rear[0]), lamp_foot, r=60),
            Corner(unrolled(lamp_front[0]), lamp_foot, bow=-0.006 * f.wb),
            Corner(*inner, r=50),
            Corner(*top, r=40, via=swept(brow, top)[::-1]),
            Corner(0, brow),
        ]
    )
    return symmetric(
        Piece(
            id="bumper-front",
            name="Front bumper",
            facing="front",
            outline=shape,
            material="plastic",
            keep_outs=_nose_keep_outs(f, nose_z, low, flat),
            lines=(path([Corner(0.9 * flat, low + 0.05 * f.height), Corner(lip[0][0], f.hub)]),),
            radius=250,
        )
    )


def _nose_keep_outs(
    f: Frame, nose_z: float, low: float, flat: float
) -> tuple[tuple[str, Polygon], ...]:
    tall = nose_z - low
    grille = outline(
        [
            Corner(-0.44 * flat, low + 0.66 * tall, r=30),
            Corner(0.44 * flat, low + 0.66 * tall, r=30),
            Corner(0.58 * flat, low + 0.93 * tall, r=30),
            Corner(-0.58 * flat, low + 0.93 * tall, r=30),
        ]
    )
    intake = outline(
        [
            Corner(-0.66 * flat, low + 0.12 * tall, r=30),
            Corner(0.66 * flat, low + 0.12 * tall, r=30),
            Corner(0.56 * flat, low + 0.36 * tall, r=30),
            Corner(-0.56 * flat, low + 0.36 * tall, r=30),
        ]
    )
    plate = box(0, low + 0.50 * tall, 520, 112, 8)
    fog = box(1.02 * flat, low + 0.26 * tall, 0.085 * f.width, 0.13 * tall, 25)
    return (("grille", grille), ("number plate", plate), ("intake", intake), ("fog lamp", fog))


def rear_bumper(f: Frame) -> Piece:
    """Return the rear bumper cover unrolled: the tail and both returns to the wheel arches."""
    high, low = f.ratios.rear_bumper * f.height, f.z0 + 0.005 * f.height
    flat, reach = 0.36 * f.width, 0.92 * f.rear_overhang
    if f.ratios.rear == "bed":
        return _step_bumper(f, high, low)
    hub = flat + reach
    foot = math.degrees(math.asin(max(-0.95, (low - f.hub) / f.arch)))
    lip = arc((hub, f.hub), f.arch, 180 - foot, 180 - BUMPER_CUT_REAR_DEG)
    dip = high - 0.030 * f.height
    shape = _half(
        [
            Corner(0, low + 0.020 * f.height),
            Corner(0.52 * flat, low + 0.020 * f.height, r=60),
            Corner(0.66 * flat, low, r=60),
            Corner(*lip[0], r=18, via=lip[1:-1]),
            Corner(*lip[-1], r=8, bow=0.006 * f.wb),
            Corner(flat + 0.22 * reach, high - 4, r=120),
            Corner(0.98 * flat, high + 0.004 * f.height, r=40),
            Corner(
                0.88 * flat, dip, r=40, via=swept(dip - 0.004 * f.height, (0.88 * flat, dip))[::-1]
            ),
            Corner(0, dip - 0.004 * f.height),
        ]
    )
    tall = high - low
    reflector = box(0.98 * flat, low + 0.36 * tall, 0.10 * f.width, 0.08 * tall, 8)
    sensor = disc(0.46 * flat, low + 0.62 * tall, 0.012 * f.width)
    return symmetric(
        Piece(
            id="bumper-rear",
            name="Rear bumper",
            facing="rear",
            outline=shape,
            material="plastic",
            keep_outs=(("reflector", reflector), ("sensor", sensor)),
            lines=(((-1.2 * flat, low + 0.70 * tall), (1.2 * flat, low + 0.70 * tall)),),
            radius=250,
        )
    )


def _step_bumper(f: Frame, high: float, low: float) -> Piece:
    half, tall = 0.47 * f.width, high - low
    shape = _half(
        [
            Corner(0, low + 0.30 * tall),
            Corner(0.34 * f.width, low + 0.30 * tall, r=30),
            Corner(half, low + 0.42 * tall, r=40),
            Corner(half, high, r=30),
            Corner(0, high),
        ]
    )
    plate = box(0, low + 0.66 * tall, 540, 0.52 * tall, 10)
    return symmetric(
        Piece(
            id="bumper-rear",
            name="Rear bumper",
            facing="rear",
            outline=shape,
            material="plastic",
            keep_outs=(("plate recess", plate),),
            radius=250,
        )
    )
