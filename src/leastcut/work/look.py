"""Learn what the pad looks like: from a click, or from what moves and is round.

What differs from the still ground is grouped by colour (k-means, Lloyd, IEEE Trans. Inf. Theory 28
(1982) 129; from memory); the group that fills a disc of one size best, in one frame after another,
is the pad. An arm moves too, but is not round; the ground uncovered by a pad that stood there is
round too, but has the colour of the paint.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from leastcut.errors import Refusal
from leastcut.inspect.arrays import F32, U8, Bools
from leastcut.work.sheet import Sheet

GROUPS = 6
TRIED_MM = tuple(float(r) for r in np.geomspace(22, 115, 22))  # radii of pads: 45 to 230 mm
LEAST_QUALITY = 0.36
LEAST_APART = 3.6  # pad from paint, in their own spreads
MOVED = 26.0  # Lab units between a pixel and the still ground that count as changed
FLOOR = np.array([10.0, 5.0, 5.0], np.float32)  # least spread of a colour: shading, compression
COARSE = 3
BARE_SHARE = 0.12  # of the frames in which a place must show paint to count as paint
MOVES = 0.7  # radii that a pad must move over within the frames looked at
NEARLY = 0.85  # of the best quality that another look must have to be tried
OTHER = 0.3  # what hides the pad counts this much for it
RING = 1.6  # the pad's colour around the disc counts this much against it: an arm goes on


@dataclass(frozen=True)
class Look:
    """How the pad and the ground look in the raster.

    Attributes
    ----------
    colour, spread : ndarray (3,)
        Lab colour of the pad and its spread, 8-bit units.
    ground : ndarray (n, n, 3) float32
        Lab colour of the ground.
    known : ndarray (n, n) bool
        Where the ground has been seen.
    radius_px : float
        Radius of the pad in the raster.
    quality : float
        How well the colour fills discs, 0 to 1.
    gap : float
        How far pad and paint are apart, in their spreads.
    """

    colour: F32
    spread: F32
    ground: F32
    known: Bools
    radius_px: float
    quality: float = 1.0
    gap: float = 0.0


def lab(flat: U8) -> F32:
    """Return a raster in Lab, 8-bit units as float."""
    return np.asarray(cv2.cvtColor(flat, cv2.COLOR_BGR2LAB), np.float32)


def learn(flats: Sequence[U8], sheet: Sheet, seen: Bools) -> tuple[Look, ...] | Refusal:
    """Learn what could be the pad from frames seen square on, the likeliest first.

    The machine's body is round and moves too, and an arm in glare may fill small discs: where
    several are nearly as likely, the caller tells by their rims.

    Parameters
    ----------
    flats : sequence of ndarray (n, n, 3) uint8
        Frames spread over some seconds.
    sheet : Sheet
        Their raster.
    seen : ndarray (n, n) bool
        Which pixels the camera shows.
    """
    pictures = _shown(flats, sheet, seen)
    ground = _bared(pictures, sheet)
    away = _distance(pictures, ground)
    changed = (away > MOVED) & seen
    if changed.mean() < 5e-4:
        return Refusal(
            why="nothing moves in the video",
            do="Film while the pad works, camera still, the whole taped square in view",
        )
    colours = pictures[changed]
    centres = _groups(colours)
    tried = [
        _candidate(pictures, ground, changed, centres[k], centres, sheet)
        for k in range(len(centres))
    ]
    tried.sort(key=lambda found: -found[0])
    if tried[0][0] < LEAST_QUALITY:
        return Refusal(
            why="no round pad of one colour was found moving over the square",
            do="Click the pad in the first frame (--pad-at X,Y), and keep arm and cord from hiding it",
        )
    likely = [found for found in tried if found[0] >= max(NEARLY * tried[0][0], LEAST_QUALITY)]
    looks = [Look(f[1], f[2], ground, seen, f[3] / sheet.grid_mm, f[0]) for f in likely]
    return tuple(cleared(look, pictures, seen, sheet) for look in looks)


def from_colour(colour: F32, flats: Sequence[U8], sheet: Sheet, seen: Bools) -> Look | Refusal:
    """Learn size and ground for a pad whose Lab colour is known."""
    pictures = _shown(flats, sheet, seen)
    ground = _bared(pictures, sheet)
    spread = FLOOR * 1.3
    hit = (_far(pictures, colour, spread) < 3.0) & ~(_far(ground, colour, spread) < 3.0)
    changed = _distance(pictures, ground) > MOVED
    quality, radius = _roundness(hit, ~changed & ~hit, sheet)
    if quality < LEAST_QUALITY:
        return Refusal(
            why="no round pad of the clicked colour was found",
            do="Click the middle of the pad's face, not machine, label or glare",
        )
    look = Look(colour, spread, ground, seen, radius / sheet.grid_mm, quality)
    return cleared(look, pictures, seen, sheet)


def apart(look: Look, sheet: Sheet) -> Look | Refusal:
    """Refuse a pad that looks like the paint."""
    step = (look.colour - _paint(look.ground, sheet)) / np.maximum(look.spread, FLOOR)
    gap = float(np.sqrt((step**2).sum()))
    if gap < LEAST_APART:
        return Refusal(
            why="pad and paint look too much alike in this light",
            do="Use a pad of another colour, or put a ring of coloured tape round the backing plate",
        )
    return replace(look, gap=gap)


def cleared(look: Look, pictures: F32, seen: Bools, sheet: Sheet) -> Look:
    """Return the look with the ground freed from the pad, and where it is known.

    What has the pad's colour for most of the time is a pad that stood there only if paint was seen
    there at least once; else it is tape, tyre or a thing laid down, and is left as it is: the votes
    then say nothing there, until the place is seen free.
    """
    paint = _paint(look.ground, sheet)
    hidden = _far(pictures, look.colour, look.spread) < 3.5
    kernel = np.ones((5, 5), np.uint8)
    hidden = np.stack([cv2.dilate(h.astype(np.uint8), kernel) for h in hidden]) > 0
    masked = np.where(hidden[..., None], np.float32(np.nan), pictures)
    enough = (~hidden).sum(0) >= max(2, len(pictures) // 8)
    stays = (hidden.mean(0) > 0.5) & ~((_distance(pictures, paint) < MOVED) & ~hidden).any(0)
    masked[:, ~enough] = paint
    masked[:, stays] = _still(pictures)[stays]
    ground = np.nanmedian(masked, axis=0).astype(np.float32)
    return replace(look, ground=ground, known=np.asarray(enough & ~stays & seen))


def _shown(flats: Sequence[U8], sheet: Sheet, seen: Bools) -> F32:
    """Return the pictures in Lab, with paint where not all of them show anything."""
    pictures = np.stack([lab(f) for f in flats])
    pictures[:, ~seen] = _paint(_still(pictures), sheet)
    return pictures


def _still(pictures: F32) -> F32:
    return np.asarray(np.median(pictures, axis=0), np.float32)


def _bared(pictures: F32, sheet: Sheet) -> F32:
    """Return the still ground, with paint where something stood in the square for most of the time.

    A slow pad hides one place for longer than half of the frames looked at; glare stays for all.
    """
    ground = _still(pictures)
    paint = _paint(ground, sheet)
    bare = (_distance(pictures, paint) < MOVED).mean(0) > BARE_SHARE
    inner = _inner(sheet)
    ground[inner][bare[inner]] = paint
    return ground


def _inner(sheet: Sheet) -> tuple[slice, slice]:
    """Return the inside of the square, clear of the tape."""
    low = round((sheet.margin_mm + 0.03 * sheet.side_mm) / sheet.grid_mm)
    high = round((sheet.margin_mm + 0.97 * sheet.side_mm) / sheet.grid_mm)
    return slice(low, high), slice(low, high)


def _paint(ground: F32, sheet: Sheet) -> F32:
    """Return the colour of the paint: the middle one within the square."""
    low = round(sheet.margin_mm / sheet.grid_mm)
    high = low + round(sheet.side_mm / sheet.grid_mm)
    return np.asarray(np.median(ground[low:high, low:high].reshape(-1, 3), axis=0), np.float32)


def _distance(pictures: F32, ground: F32) -> F32:
    gap = pictures - ground
    return np.asarray(np.sqrt(0.5 * gap[..., 0] ** 2 + 2 * (gap[..., 1:] ** 2).sum(-1)), np.float32)


def _far(pictures: F32, colour: F32, spread: F32) -> F32:
    gap = (pictures - colour) / np.maximum(spread, FLOOR)
    return np.asarray(np.sqrt((gap**2).sum(-1)), np.float32)


def _groups(colours: F32) -> F32:
    step = max(1, len(colours) // 6000)
    sample = np.ascontiguousarray(colours[::step])
    count = min(GROUPS, len(sample))
    cv2.setRNGSeed(1)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.5)
    _, _, centres = cv2.kmeans(sample, count, None, stop, 3, cv2.KMEANS_PP_CENTERS)
    return np.asarray(centres, np.float32)


def _candidate(
    pictures: F32, ground: F32, changed: Bools, centre: F32, centres: F32, sheet: Sheet
) -> tuple[float, F32, F32, float]:
    """Return quality, colour, spread and radius [mm] of one group of colours as the pad."""
    colours = pictures[changed]
    colours = colours[:: max(1, len(colours) // 20000)]
    gaps = ((colours[:, None] - centres) ** 2).sum(-1)
    near = ((colours - centre) ** 2).sum(-1) <= gaps.min(1)
    colour = np.median(colours[near], axis=0).astype(np.float32)
    spread = 1.4826 * np.median(np.abs(colours[near] - colour), axis=0)
    spread = np.clip(spread, FLOOR, 2.5 * FLOOR).astype(np.float32)
    gap = np.abs(colour - _paint(ground, sheet)) / FLOOR
    if float(np.sqrt((gap**2).sum())) < 0.7 * LEAST_APART:
        return 0.0, colour, spread, 0.0
    # Tape of the pad's colour, or trembling at its edges, is not the pad: the ground has it too.
    hit = (_far(pictures, colour, spread) < 3.0) & ~(_far(ground, colour, spread) < 3.0)
    quality, radius = _roundness(hit, ~changed & ~hit, sheet)
    return quality, colour, spread, radius


def _roundness(hit: Bools, ground: Bools, sheet: Sheet) -> tuple[float, float]:
    """Return how well a colour fills a disc of one size over the frames, and its radius [mm].

    A disc counts what of it has the colour, less what shows the ground, less what of the colour
    lies in the ring around it: the ring makes a disc too small lose, the ground one too large.
    """
    step = sheet.grid_mm * COARSE
    chosen = np.linspace(0, len(hit) - 1, min(10, len(hit))).astype(int)
    layers = [(_shrunk(hit[i]), _shrunk(ground[i])) for i in chosen]
    found = np.array([[_best(h, g, r / step) for h, g in layers] for r in TRIED_MM])
    quality = found[..., 0]
    typical = np.sort(quality, axis=1)[:, quality.shape[1] // 3 :].mean(1)
    k = int(typical.argmax())
    good = found[k][found[k, :, 0] > 0.7 * typical[k], 1:]
    reach = np.subtract(*np.quantile(good, [0.9, 0.1], axis=0)) if len(good) > 1 else np.zeros(2)
    moved = float(np.hypot(*reach)) * step
    return (float(typical[k]) if moved > MOVES * TRIED_MM[k] else 0.0), TRIED_MM[k]


def _shrunk(mask: Bools) -> F32:
    size = (mask.shape[1] // COARSE, mask.shape[0] // COARSE)
    return np.asarray(
        cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA), np.float32
    )


def _best(hit: F32, ground: F32, radius: float) -> tuple[float, int, int]:
    reach = int(np.ceil(1.35 * radius)) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    r = np.hypot(x, y)
    inside = np.clip(radius + 0.5 - r, 0, 1).astype(np.float32)
    ring = np.clip(1.35 * radius + 0.5 - r, 0, 1).astype(np.float32) - inside
    inside /= inside.sum()
    ring /= ring.sum()
    other = np.clip(1 - hit - ground, 0, 1)  # machine and arm in front of the pad
    filled = hit + OTHER * other - ground
    score = cv2.filter2D(filled, -1, inside, borderType=cv2.BORDER_CONSTANT)
    score -= RING * cv2.filter2D(hit, -1, ring, borderType=cv2.BORDER_REPLICATE)
    _, high, _, (x, y) = cv2.minMaxLoc(score)
    return float(high), x, y
