"""Draw videos of a pad at work whose path is known. Own code path: nothing of leastcut is used.

The scene is drawn at twice its size on a flat picture in millimetres (paint, tape, pad, machine,
arm, cord), laid into the camera by a projective map, shaken, lit, blurred and coded.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

SCENE_MM = 1100.0  # the flat picture's side; the square stands in its middle
FINE = 0.8  # flat pixels per mm


@dataclass(frozen=True)
class Take:
    """One take: where the pad goes, and how it is filmed."""

    square_mm: float = 450.0
    spacing_mm: float = 65.0
    speed_mm_s: float = 90.0
    sets: int = 1
    pad_mm: float = 130.0
    pad_bgr: tuple[int, int, int] = (40, 120, 240)
    paint_bgr: tuple[int, int, int] = (45, 30, 25)
    tape_bgr: tuple[int, int, int] = (180, 210, 215)
    fps: float = 30.0
    size: tuple[int, int] = (640, 360)
    shake_px: float = 1.0
    tilt: float = 0.12
    turn_deg: float = 4.0
    blur_px: float = 0.8
    noise: float = 2.0
    glare: float = 0.6
    arm: bool = True
    cord: bool = True
    skip_stroke: int | None = None
    lift_s: tuple[float, float] | None = None
    park_s: tuple[float, float] | None = None  # when, how long
    lead_s: float = 0.0  # before the pad comes
    seed: int = 1
    waypoints_mm: tuple[tuple[float, float], ...] | None = None
    section_mm: float | None = None


def serpentine(
    low: float, high: float, spacing: float, skip: int | None = None
) -> list[tuple[float, float]]:
    """Return the way points of one set: along x from the top down, then along y."""
    count = int(np.floor((high - low) / spacing + 1e-9)) + 1
    first = 0.5 * (low + high - (count - 1) * spacing)
    lines = [first + k * spacing for k in range(count)]
    points = []
    for k, y in enumerate(reversed(lines)):
        if k != skip:
            points += [(low, y), (high, y)] if k % 2 == 0 else [(high, y), (low, y)]
    for k, x in enumerate(lines):
        points += [(x, low), (x, high)] if k % 2 == 0 else [(x, high), (x, low)]
    return points


def way(take: Take) -> np.ndarray:
    """Return the way points of the whole take [mm]."""
    if take.waypoints_mm is not None:
        return np.array(take.waypoints_mm, float)
    r = take.pad_mm / 2
    one = serpentine(r, take.square_mm - r, take.spacing_mm, take.skip_stroke)
    return np.array(one * take.sets, float)


@dataclass(frozen=True)
class Truth:
    """Where the pad was in each frame [s], [mm]; down is False while it is lifted."""

    t_s: np.ndarray
    xy_mm: np.ndarray
    down: np.ndarray
    points_mm: np.ndarray
    extra: dict = field(default_factory=dict)


def truth(take: Take) -> Truth:
    """Walk the way at even speed and look once per frame."""
    points = way(take)
    lengths = np.hypot(*np.diff(points, axis=0).T)
    at = np.concatenate([[0], np.cumsum(lengths)])
    extra = take.park_s[1] if take.park_s else 0.0
    t = np.arange(0, take.lead_s + at[-1] / take.speed_mm_s + extra, 1 / take.fps)
    moving = t - take.lead_s
    if take.park_s:
        start, length = take.park_s
        moving = np.where(moving > start, np.maximum(start, moving - length), moving)
    s = np.clip(moving, 0, None) * take.speed_mm_s
    xy = np.column_stack([np.interp(s, at, points[:, 0]), np.interp(s, at, points[:, 1])])
    down = t >= take.lead_s
    if take.lift_s:
        down &= ~((t >= take.lift_s[0]) & (t < sum(take.lift_s)))
    return Truth(t, xy, down, points)


def camera(take: Take) -> np.ndarray:
    """Return the map from scene millimetres (y down, square's corner at 0) to camera pixels."""
    w, h = take.size
    s = take.square_mm
    half = 0.36 * h * 0.98
    c, n = np.cos(np.radians(take.turn_deg)), np.sin(np.radians(take.turn_deg))
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)
    square = square @ np.array([[c, n], [-n, c]])
    square[:, 0] *= 1 + take.tilt * square[:, 1]
    square[:, 1] *= 1 - 0.3 * take.tilt
    target = (square * half + [w / 2, h / 2]).astype(np.float32)
    source = np.array([[0, 0], [s, 0], [s, s], [0, s]], np.float32)
    return cv2.getPerspectiveTransform(source, target)


def _ground(take: Take, rng: np.random.Generator) -> np.ndarray:
    """Return the empty scene as a flat picture."""
    n = int(SCENE_MM * FINE)
    base = np.empty((n, n, 3), np.float32)
    base[:] = take.paint_bgr
    x = np.linspace(0, 1, n, dtype=np.float32)
    base *= (0.85 + 0.3 * x[None, :] * x[:, None])[..., None]
    off = (SCENE_MM - take.square_mm) / 2 * FINE
    a, b, wide = off, off + take.square_mm * FINE, 36 * FINE
    outer = [int(a - wide), int(b + wide)]
    tape = np.zeros((n, n), np.uint8)
    cv2.rectangle(tape, (outer[0],) * 2, (outer[1],) * 2, 1, -1)
    cv2.rectangle(tape, (round(a), round(a)), (round(b) - 1, round(b) - 1), 0, -1)
    shade = 1 + 0.04 * rng.standard_normal((n, n)).astype(np.float32)
    base[tape > 0] = (np.array(take.tape_bgr, np.float32) * shade[..., None])[tape > 0]
    return np.clip(base, 0, 255).astype(np.uint8)


def _lamp(take: Take) -> np.ndarray:
    """Return the lamp's reflection: a soft bright spot that stays with the camera."""
    w, h = take.size
    y, x = np.mgrid[:h, :w].astype(np.float32)
    spot = np.exp(-(((x - 0.6 * w) / (0.07 * w)) ** 2 + ((y - 0.4 * h) / (0.09 * h)) ** 2))
    return (take.glare * 200 * spot).astype(np.float32)


def _draw(scene: np.ndarray, at: np.ndarray, take: Take, size: float) -> None:
    """Draw pad, machine, arm and cord on a copy of the flat picture; `at` in flat pixels."""
    shift, one = 4, 16
    c = tuple(round(v * one) for v in at)
    r = take.pad_mm / 2 * FINE * size
    cv2.circle(scene, c, int(r * one), take.pad_bgr, -1, cv2.LINE_AA, shift)
    body = tuple(int(v * 0.25 + 30) for v in (90, 90, 90))
    cv2.circle(scene, c, int(0.42 * r * one), body, -1, cv2.LINE_AA, shift)
    if take.arm:
        end = np.array([0.85 * SCENE_MM * FINE, SCENE_MM * FINE * 1.2])
        tip = at + 0.15 * r * (end - at) / np.linalg.norm(end - at)
        p = [tuple(int(v * one) for v in q) for q in (tip, end)]
        cv2.line(
            scene, *p, (95, 130, 190), int(min(62, 0.48 * take.pad_mm) * FINE), cv2.LINE_AA, shift
        )
    if take.cord:
        u = np.linspace(0, 1, 30)[:, None]
        away = np.array([1.1 * SCENE_MM * FINE, 0.2 * SCENE_MM * FINE])
        sag = np.array([0, 90.0]) * FINE * np.sin(np.pi * u)
        line = ((1 - u) * at + u * away + sag) * one
        cv2.polylines(scene, [line.astype(np.int32)], False, (25, 25, 25), 9, cv2.LINE_AA, shift)


def frames(take: Take) -> Iterator[tuple[float, np.ndarray]]:
    """Yield time and frame of a take, one after the other."""
    rng = np.random.default_rng(take.seed)
    true = truth(take)
    ground = _ground(take, rng)
    grain = take.noise * rng.standard_normal((take.size[1] + 40, take.size[0] + 40))
    grain = grain.astype(np.float32)
    lamp, sway = _lamp(take), np.zeros(3)
    off = (SCENE_MM - take.square_mm) / 2
    for t, xy, down in zip(true.t_s, true.xy_mm, true.down, strict=True):
        sway = 0.9 * sway + 0.45 * rng.standard_normal(3)
        scene = ground.copy()
        if t >= take.lead_s:
            at = np.array([xy[0] + off, take.square_mm - xy[1] + off]) * FINE - 0.5
            _draw(scene, at, take, 1.0 if down else 1.14)
        yield float(t), _filmed(scene, take, sway, lamp + _grain(grain, lamp.shape, rng))


def _grain(grain: np.ndarray, shape: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    """Return another piece of the grain for each frame: drawing it afresh takes too long."""
    y, x = rng.integers(0, 40, 2)
    return grain[y : y + shape[0], x : x + shape[1]]


def _filmed(scene: np.ndarray, take: Take, sway: np.ndarray, light: np.ndarray) -> np.ndarray:
    """Lay the flat picture into the camera, shaken, blurred, with the lamp and the grain on it."""
    off = (SCENE_MM - take.square_mm) / 2
    half = 0.5 / FINE - off  # a pixel is counted from its middle
    flat_to_mm = np.array([[1 / FINE, 0, half], [0, 1 / FINE, half], [0, 0, 1]])
    a = sway[2] * take.shake_px * 4e-4
    dx, dy = sway[:2] * take.shake_px
    shake = np.array([[1, -a, dx], [a, 1, dy], [0, 0, 1]])
    full = shake @ camera(take) @ flat_to_mm
    picture = cv2.warpPerspective(scene, full, take.size, borderMode=cv2.BORDER_REPLICATE)
    if take.blur_px:
        picture = cv2.GaussianBlur(picture, (0, 0), take.blur_px)
    return np.clip(picture + light[..., None], 0, 255).astype(np.uint8)


def write(path: Path, take: Take, *, code: str = "mp4v") -> Path:
    """Write a take as a video file."""
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*code), take.fps, take.size)
    assert writer.isOpened(), f"this machine cannot write {code}"
    for _, frame in frames(take):
        writer.write(frame)
    writer.release()
    return path
