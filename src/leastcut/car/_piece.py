"""From a piece drawn in the car's own view to a finished panel in its own plane."""

from dataclasses import dataclass, replace

from leastcut.car._checked import checked
from leastcut.car._curves import clip_area, clip_line, mirrored, tidy
from leastcut.car.records import Facing, KeepOut, Material, Panel, Point, Polygon, Polyline, Side

_LINE_INSET_MM = 8.0
# A face curved from top to bottom is higher along its surface than in side view. An arc that
# turns by 35 degrees is 1.6 % longer than its chord, one by 65 degrees 5.5 % (θ/2 over sin θ/2);
# the angles are our own estimate of a car's side and of a bumper cover.
_SWELL: dict[Facing, float] = {"top": 1.0, "side": 1.016, "front": 1.055, "rear": 1.0}


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A panel as drawn: side pieces of the left side, x from the front end, y from the ground.

    `radius` is the smallest radius of curvature of the face [mm], typical figures (status: from
    memory); `height` the height of its middle above the ground, taken from the outline itself
    when not given.
    """

    id: str
    name: str
    facing: Facing
    outline: Polygon
    radius: float
    material: Material | None = None
    keep_outs: tuple[tuple[str, Polygon], ...] = ()
    lines: tuple[Polyline, ...] = ()
    height: float | None = None


def finish(piece: Piece, side: Side, material: Material) -> Panel:
    """Return the panel: clipped, moved to its own origin, mirrored for the right side.

    Side pieces are drawn as the left side is seen, front to the left, so the right side is the
    mirror image.

    Raises
    ------
    OutlineError
        If the dimensions are so odd that the piece crosses itself.
    """
    piece = _swollen(piece)
    x0, y0 = (min(p[axis] for p in piece.outline) for axis in (0, 1))
    mirror = max(p[0] for p in piece.outline) - x0 if side == "right" else None
    outline = checked(_moved(piece.outline, (x0, y0), mirror))
    return Panel(
        id=piece.id if side == "centre" else f"{piece.id}-{side}",
        name=piece.name if side == "centre" else f"{side.capitalize()} {piece.name}",
        side=side,
        facing=piece.facing,
        outline_mm=outline,
        material=piece.material or material,
        keep_outs=_keep_outs(piece, outline, (x0, y0), mirror),
        body_lines_mm=_lines(piece, outline, (x0, y0), mirror),
        centre_height_mm=round(_height(piece)),
        curvature_radius_mm=piece.radius,
        place_mm=(round(x0, 1), round(y0, 1)),
    )


def _swollen(piece: Piece) -> Piece:
    swell = _SWELL["front" if piece.id.startswith("bumper") else piece.facing]
    if swell == 1.0:
        return piece
    return replace(
        piece,
        outline=_raised(piece.outline, swell),
        keep_outs=tuple((name, _raised(p, swell)) for name, p in piece.keep_outs),
        lines=tuple(_raised(line, swell) for line in piece.lines),
        height=_height(piece),
    )


def _raised(points: Polyline, swell: float) -> Polyline:
    return tuple((x, y * swell) for x, y in points)


def symmetric(piece: Piece) -> Piece:
    """Return a piece drawn as its right half (x ≥ 0), completed by the mirrored left half.

    Keep-outs and lines named in the right half with x > 0 throughout are doubled; those that
    stand on the middle line are kept as they are.
    """
    keep_outs = [*piece.keep_outs]
    keep_outs += [(name, mirrored(p)) for name, p in piece.keep_outs if min(x for x, _ in p) > 0]
    lines = [*piece.lines]
    lines += [
        tuple((-x, y) for x, y in line) for line in piece.lines if min(x for x, _ in line) > 0
    ]
    whole = tidy((*piece.outline, *mirrored(piece.outline)))
    return replace(piece, outline=whole, keep_outs=tuple(keep_outs), lines=tuple(lines))


def _moved(points: Polyline, origin: Point, mirror: float | None) -> Polyline:
    shifted = tidy((x - origin[0], y - origin[1]) for x, y in points)
    return shifted if mirror is None else mirrored(shifted, round(mirror, 1) / 2)


def _keep_outs(
    piece: Piece, outline: Polygon, origin: Point, mirror: float | None
) -> tuple[KeepOut, ...]:
    placed = ((name, clip_area(_moved(p, origin, mirror), outline)) for name, p in piece.keep_outs)
    return tuple(KeepOut(name=name, outline_mm=p) for name, p in placed if p)


def _lines(
    piece: Piece, outline: Polygon, origin: Point, mirror: float | None
) -> tuple[Polyline, ...]:
    placed = (
        clip_line(_moved(line, origin, mirror), outline, inset_mm=_LINE_INSET_MM)
        for line in piece.lines
    )
    return tuple(line for line in placed if line)


def _height(piece: Piece) -> float:
    if piece.height is not None:
        return piece.height
    ys = [y for _, y in piece.outline]
    return (min(ys) + max(ys)) / 2
