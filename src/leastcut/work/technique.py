"""Technique measured from video: the path of the pad, and what it says about the work."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from leastcut.car.records import Polygon
from leastcut.errors import Refusal
from leastcut.inspect.arrays import F64
from leastcut.polish.removal import RemovalMap
from leastcut.work import coverage, cutmap, trust
from leastcut.work.advice import advise
from leastcut.work.follow import Ask, Frame, Track, follow
from leastcut.work.path import STILL_MM_S, Path, down_path
from leastcut.work.records import Spread, TechniqueFinding, Wanted
from leastcut.work.strokes import Hatch, hatch, simplified

LEAST_S = 1.0
LEAST_FPS = 8.0
LEAST_SQUARE = 0.7  # of the frames that must show the square
LEAST_PAD = 0.6  # of the frames since the pad came that must show it
LEAST_WAY = 1.5  # pad diameters that the pad must go


@dataclass(frozen=True)
class Technique:
    """The finding, with the path and the removal map behind it; both None when refused."""

    finding: TechniqueFinding
    path: Path | None = None
    cut: RemovalMap | None = None


def technique(
    frames: Iterable[Frame],
    ask: Ask,
    *,
    wanted: Wanted | None = None,
    section_mm: Polygon | None = None,
    grid_mm: float = 4.0,
) -> Technique:
    """Measure the technique of one take.

    Parameters
    ----------
    frames : iterable of (time [s], frame (H, W, 3) uint8)
        Blue, green, red, upright, in order; read once, not kept.
    ask : Ask
        The taped square, and what is known of the pad.
    wanted : Wanted, optional
        What the take is measured against; common practice by default.
    section_mm : Polygon, optional
        The section, in the square's frame; the inside of the square by default.
    grid_mm : float
        Cell size of the removal map [mm].

    Returns
    -------
    Technique
        ``finding.refused`` says why nothing could be judged.
    """
    wanted = wanted or Wanted()
    followed = follow(frames, ask)
    if isinstance(followed, Refusal):
        return Technique(TechniqueFinding(refused=followed))
    section = section_mm or _inside(ask.square_mm)
    track, dropped = trust.sifted(followed)
    refused = _too_little(track) or trust.doubt(track, dropped, ask.square_mm)
    path = down_path(track)
    refused = refused or _hardly_moves(path, track)
    if refused is not None:
        return Technique(TechniqueFinding(**_about(track, section), refused=refused))
    return _measured(track, path, section, wanted, grid_mm)


def _inside(side: float) -> Polygon:
    return ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side))


def _about(track: Track, section: Polygon) -> dict[str, Any]:
    """Return what is known of any take."""
    step = float(np.median(np.diff(track.t_s))) if len(track.t_s) > 1 else 0.0
    return {
        "fps": 1 / step if step > 0 else None,
        "seconds": float(np.ptp(track.t_s)),
        "section_mm": section,
        "pad_diameter_mm": 2 * track.pad_radius_mm,
        "pad_colour": track.colour,
    }


def _too_little(track: Track) -> Refusal | None:
    seconds = float(np.ptp(track.t_s))
    if seconds < LEAST_S:
        return Refusal(
            why=f"the video lasts only {seconds:.1f} s",
            do="Film at least one whole stroke; a whole set says more",
        )
    fps = (len(track.t_s) - 1) / seconds
    if fps < LEAST_FPS:
        return Refusal(
            why=f"only {fps:.1f} frames a second: an arm moves too far in between",
            do="Film at 24 frames a second or more, not as a time lapse",
        )
    square = float((track.square_seen >= 0.3).mean())
    if square < LEAST_SQUARE:
        return Refusal(
            why=f"the taped square could be followed in only {square:.0%} of the frames",
            do="Put the phone on a tripod, the whole square in view from start to end",
        )
    return None


def _hardly_moves(path: Path, track: Track) -> Refusal | None:
    seen = np.isfinite(track.x_mm)
    since = seen[int(seen.argmax()) :] if seen.any() else seen
    if not len(path.t_s) or since.mean() < LEAST_PAD:
        share = float(since.mean()) if len(since) else 0.0
        return Refusal(
            why=f"the pad could be seen in only {share:.0%} of the frames",
            do="Film from the side away from arm and cord, without the lamp's glare on the pad",
        )
    reach = float(np.hypot(*np.ptp(path.xy_mm, axis=0)))
    if _way_mm(path, track.pad_radius_mm) < LEAST_WAY * 2 * track.pad_radius_mm or (
        reach < track.pad_radius_mm
    ):
        return Refusal(
            why="the pad hardly moves",
            do="Film while the pad works; a whole set says most",
        )
    return None


def _way_mm(path: Path, radius_mm: float) -> float:
    """Return the length of the way without its trembling [mm]."""
    total = 0.0
    for number in np.unique(path.piece):
        xy = path.xy_mm[path.piece == number]
        knots = xy[simplified(xy, 0.2 * radius_mm)]
        total += float(np.hypot(*np.diff(knots, axis=0).T).sum())
    return total


def _measured(
    track: Track, path: Path, section: Polygon, wanted: Wanted, grid_mm: float
) -> Technique:
    settings = wanted.settings
    rate = wanted.preston_um_per_kpa_m
    result = cutmap.cut_map(path, section, settings, preston_um_per_kpa_m=rate, grid_mm=grid_mm)
    bare = _finding(track, path, section, wanted)
    finding = msgspec.structs.replace(bare, cut=cutmap.summary(result, section, rate))
    finding = msgspec.structs.replace(finding, advice=advise(finding, wanted))
    return Technique(finding, path, result)


def _finding(track: Track, path: Path, section: Polygon, wanted: Wanted) -> TechniqueFinding:
    pad_mm = 2 * track.pad_radius_mm
    lines = hatch(path, pad_mm=pad_mm)
    covered, holes = coverage.missed(section, coverage.swept(path, pad_mm))
    edge = coverage.edges(path, section, pad_mm)
    spacing = lines.spacing_mm
    moving = path.speed_mm_s >= STILL_MM_S
    return TechniqueFinding(
        **_about(track, section),
        worked_s=float(path.spells_s()[moving].sum()),
        path=tuple(zip(path.t_s.tolist(), path.x_mm.tolist(), path.y_mm.tolist(), strict=True)),
        path_sd_mm=float(np.sqrt((path.sd_mm**2).mean())),
        arm_speed_mm_s=_speeds(path, lines),
        stroke_spacing_mm=spacing,
        overlap_fraction=None if spacing is None else 1 - spacing / pad_mm,
        sets=min(lines.covers),
        covers=lines.covers,
        direction_deg=lines.degrees if lines.strokes else None,
        strokes=lines.strokes,
        coverage_fraction=covered,
        missed_mm=holes,
        edge_s=edge.edge_s,
        tape_s=edge.tape_s,
        tape_speed_mm_s=edge.tape_speed_mm_s,
        parked=coverage.parked(path, wanted.settings),
        lifted_s=path.lifted_s,
        unseen_s=path.unseen_s,
    )


def _speeds(path: Path, lines: Hatch) -> Spread | None:
    """Return the arm's speed along the strokes, by time, without their very ends."""
    inner = np.zeros(len(path.t_s), bool)
    for stroke in lines.strokes:
        ease = min(0.15, 0.1 * stroke.seconds)
        inner |= (path.t_s >= stroke.t_s + ease) & (path.t_s <= stroke.t_s + stroke.seconds - ease)
    speed, spell = path.speed_mm_s[inner], path.spells_s()[inner]
    if not len(speed):
        return None
    low, middle, high = _by_time(speed, spell, (0.05, 0.5, 0.95))
    return Spread(median=middle, p05=low, p95=high)


def _by_time(values: F64, spell: F64, shares: tuple[float, ...]) -> list[float]:
    order = np.argsort(values)
    at = np.cumsum(spell[order])
    return [float(np.interp(share * at[-1], at, values[order])) for share in shares]
