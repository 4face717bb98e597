"""Photos of a dark panel under a point lamp, rendered from known scratches.

One pinhole camera and one small round lamp above a flat panel. A piece of groove sends light to the
camera when its direction t is square to the half vector, (l + v) . t = 0, within the lamp's size
and the groove's own unevenness, and when its walls are steep enough to reach the half vector.
Everything is added up in linear light and only then blurred, made noisy and encoded as sRGB.

source: glint condition: Sampaio et al., arXiv 2407.00043; lines as segments: Werner et al., ACM TOG
36(6) 2017; status: seen. Sizes of lamp, noise and blur: common practice, no source.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from leastcut.demo import tape
from leastcut.demo.scratches import Floats, Scratches, points

Image = NDArray[np.float32]
Picture = NDArray[np.uint8]


@dataclass(frozen=True, kw_only=True)
class View:
    """Where camera and lamp stand, what the square is, and what the camera does.

    Lengths in mm on the panel, origin at the middle of the taped square, z away from the panel;
    turns in radians. Two photos with the same `tape_seed` show the same strips of tape.
    """

    width_px: int = 1600
    height_px: int = 1200
    um_per_px: float = 66.0
    square_mm: float = 60.0
    tape_mm: float = 12.0
    square_turn: float = 0.02
    tape_seed: int = 0
    eye_mm: tuple[float, float, float] = (18.0, -30.0, 300.0)
    look_at_mm: tuple[float, float] = (0.6, -0.4)
    roll: float = 0.0
    lamp_mm: tuple[float, float, float] = (-14.0, 38.0, 420.0)
    lamp_radius_mm: float = 12.0
    paint: tuple[float, float, float] = (0.0036, 0.0078, 0.0052)
    haze: float = 0.02
    exposure: float = 1.0
    unevenness: float = 0.012
    psf_px: float = 0.75
    dust_per_cm2: float = 0.4
    read_noise: float = 0.0009
    shot_noise: float = 0.00035


# Light that 1 µm of fully lit groove sends, in units of the encoded white, for one pixel of length.
_GLINT_PER_UM = 0.055
_PIECE_MM = 0.4
_GRID = 8  # smooth light is computed on every eighth pixel


def photo(scratches: Scratches, view: View, rng: np.random.Generator) -> Picture:
    """Render one photo.

    Parameters
    ----------
    scratches : Scratches
        What the paint bears here.
    view : View
        Camera, lamp, square.
    rng : numpy.random.Generator
        Chance of dust and of camera noise.

    Returns
    -------
    ndarray of uint8, shape (height_px, width_px, 3)
        The photo as sRGB, red first.
    """
    to_px = homography(view)
    smooth = _smooth_light(view, to_px)
    lines = _lines(scratches, view, to_px)
    lines += _dust(view, rng)
    torn = np.random.default_rng(view.tape_seed)
    mask, cover = tape.light(view.height_px, view.width_px, *_tape_frame(view), to_px, torn)
    lines = cv2.GaussianBlur(lines, (0, 0), view.psf_px)
    bare = np.float32(1.0) - mask
    lines *= bare
    shade = _tape_shade(view, to_px)
    planes = []
    for channel in range(3):
        plane = smooth[channel] * bare
        plane += lines * np.float32(_LAMP_TINT[channel])
        plane += cover * shade * np.float32(tape.COLOUR[channel])
        planes.append(plane)
    return _encode(planes, view, rng)


_LAMP_TINT = (1.0, 0.98, 0.93)


def homography(view: View) -> Floats:
    """Return the 3 x 3 matrix from panel millimetres (y up) to pixels (y down) of a pinhole."""
    eye = np.array(view.eye_mm)
    target = np.array([*view.look_at_mm, 0.0])
    forward = (target - eye) / np.linalg.norm(target - eye)
    up = np.array([np.sin(view.roll), np.cos(view.roll), 0.0])
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    focal_px = float(np.linalg.norm(target - eye)) * 1000.0 / view.um_per_px
    lens = np.array(
        [
            [focal_px, 0.0, (view.width_px - 1) / 2.0],
            [0.0, focal_px, (view.height_px - 1) / 2.0],
            [0.0, 0.0, 1.0],
        ]
    )
    turn = np.stack([right, down, forward])
    plane = np.column_stack([turn[:, 0], turn[:, 1], turn @ -eye])
    matrix: Floats = lens @ plane
    return matrix


def project(matrix: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return where points of one plane lie in the other, by a 3 x 3 matrix."""
    w = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2]
    return (
        (matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]) / w,
        (matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]) / w,
    )


def square_px(view: View) -> Floats:
    """Return the inner corners of the taped square in pixels, shape (4, 2), lower left first."""
    x, y = tape.corners(view.square_mm, view.square_turn).T
    return np.column_stack(project(homography(view), x, y))


def highlight_px(view: View) -> tuple[float, float]:
    """Return where the lamp mirrors in the panel, in pixels."""
    x, y = _mirror_mm(view)
    u, v = project(homography(view), np.array([x]), np.array([y]))
    return float(u[0]), float(v[0])


def _mirror_mm(view: View) -> tuple[float, float]:
    eye, lamp = view.eye_mm, view.lamp_mm
    share = eye[2] / (eye[2] + lamp[2])
    return eye[0] + share * (lamp[0] - eye[0]), eye[1] + share * (lamp[1] - eye[1])


def _half(view: View, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the half vector between lamp and camera at points of the panel."""
    total = np.zeros((3, *x.shape))
    for place in (view.eye_mm, view.lamp_mm):
        away = np.stack([place[0] - x, place[1] - y, np.full_like(x, place[2])])
        total += away / np.sqrt((away**2).sum(axis=0))
    total /= np.sqrt((total**2).sum(axis=0))
    return total[0], total[1], total[2]


def glint(scratches: Scratches, view: View) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the light that each piece of each scratch sends to the camera.

    Returns
    -------
    x_mm, y_mm, light, length_mm : ndarray of float, shape (m,)
        Middles of the pieces, light per pixel of length (1 is the camera's white), piece length.
    """
    x, y, angle, owner = points(scratches, _PIECE_MM)
    hx, hy, hz = _half(view, x, y)
    along = hx * np.cos(angle) + hy * np.sin(angle)
    across = (-hx * np.sin(angle) + hy * np.cos(angle)) / hz
    lamp = view.lamp_radius_mm / np.linalg.norm(view.lamp_mm)
    spread = np.hypot(0.5 * lamp / 2.0, view.unevenness)
    width, depth = scratches.width_um[owner], scratches.depth_um[owner]
    # walls of slope 2 D / w, blurred by diffraction of 0.55 µm light at a slit of width w
    wall = np.hypot(2.0 * depth / width / np.sqrt(3.0), 0.5 * 0.55 / np.maximum(width, 1.0))
    light = np.exp(-0.5 * (along / spread) ** 2) * np.exp(-0.5 * (across / (wall + lamp)) ** 2)
    light *= _GLINT_PER_UM * width * view.exposure * _unevenness(scratches, owner, x, y)
    per_scratch = np.bincount(owner, minlength=len(scratches))
    length = scratches.length_mm / np.maximum(1, per_scratch)
    return x, y, light, length[owner]


def _unevenness(scratches: Scratches, owner: NDArray[np.intp], x: Floats, y: Floats) -> Floats:
    """Return how the groove's light varies along it, the same in every photo of it."""
    phase = scratches.phase[owner]
    wave = np.sin(1.9 * x + 2.3 * y + phase) + np.sin(0.7 * y - 1.1 * x + 3.0 * phase)
    varied: Floats = np.exp(0.22 * wave)
    return varied


def _lines(scratches: Scratches, view: View, to_px: Floats) -> Image:
    """Return the light of all scratches, added up pixel by pixel."""
    x, y, light, length = glint(scratches, view)
    seen = light > 2e-4
    x, y, light, length = x[seen], y[seen], light[seen], length[seen]
    angle = points(scratches, _PIECE_MM)[2][seen]
    steps = max(1, int(np.ceil(_PIECE_MM * 1000.0 / view.um_per_px / 0.6)))
    offset = (np.arange(steps) + 0.5) / steps - 0.5
    fx = x[:, None] + length[:, None] * offset * np.cos(angle)[:, None]
    fy = y[:, None] + length[:, None] * offset * np.sin(angle)[:, None]
    u, v = project(to_px, fx.ravel(), fy.ravel())
    weight = np.repeat(light * length * 1000.0 / view.um_per_px / steps, steps)
    return _splat(u, v, weight, view.height_px, view.width_px)


def _splat(u: Floats, v: Floats, weight: Floats, height: int, width: int) -> Image:
    """Add points of light to the four pixels around each."""
    inside = (u >= 0.0) & (u < width - 1) & (v >= 0.0) & (v < height - 1)
    u, v, weight = u[inside], v[inside], weight[inside]
    column, row = u.astype(np.intp), v.astype(np.intp)
    a, b = u - column, v - row
    base = row * width + column
    index = np.concatenate([base, base + 1, base + width, base + width + 1])
    parts = np.concatenate([(1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b])
    total = np.bincount(index, weights=parts * np.tile(weight, 4), minlength=height * width)
    return total.reshape(height, width).astype(np.float32)


def _dust(view: View, rng: np.random.Generator) -> Image:
    """Return specks of dust: points and clumps of a few pixels that light from every side."""
    area_cm2 = view.width_px * view.height_px * (view.um_per_px / 1e4) ** 2
    n = rng.poisson(view.dust_per_cm2 * area_cm2)
    grains = rng.integers(1, 7, n)
    u = np.repeat(rng.uniform(0, view.width_px, n), grains)
    v = np.repeat(rng.uniform(0, view.height_px, n), grains)
    u += rng.normal(0.0, 0.9, len(u))
    v += rng.normal(0.0, 0.9, len(u))
    weight = np.repeat(rng.lognormal(-2.2, 0.6, n), grains)
    return _splat(u, v, weight, view.height_px, view.width_px)


def _grid_mm(view: View, to_px: Floats) -> tuple[Floats, Floats]:
    """Return panel coordinates of every eighth pixel, where :func:`_full` expects them."""
    columns = np.arange(0, view.width_px + _GRID, _GRID, dtype=np.float64) - 0.5
    rows = np.arange(0, view.height_px + _GRID, _GRID, dtype=np.float64) - 0.5
    u, v = np.meshgrid(columns, rows)
    from_px: Floats = np.linalg.inv(to_px).astype(np.float64)
    return project(from_px, u, v)


def _full(view: View, coarse: Floats) -> Image:
    """Return a smooth field on every pixel from every eighth."""
    rows, columns = coarse.shape
    big = cv2.resize(
        coarse.astype(np.float32),
        (columns * _GRID, rows * _GRID),
        interpolation=cv2.INTER_LINEAR,
    )
    # resize puts the coarse sample i at 8 i + 3.5, so cropping 4 puts it at 8 i - 0.5
    half = _GRID // 2
    return np.ascontiguousarray(big[half : half + view.height_px, half : half + view.width_px])


def _smooth_light(view: View, to_px: Floats) -> list[Image]:
    """Return paint, room, haze and the lamp's mirror image, one plane per colour."""
    x, y = _grid_mm(view, to_px)
    hx, hy, hz = _half(view, x, y)
    mirror = _mirror_light(view, _full(view, np.hypot(hx, hy) / hz))
    room = 0.0035 * (1.0 + 0.5 * np.sin(0.021 * x + 0.4) * np.cos(0.017 * y - 0.3))
    fall = _falloff(view, x, y)
    planes = []
    for channel in range(3):
        paint = (view.paint[channel] * fall + room * _ROOM_TINT[channel]) * view.exposure
        planes.append(_full(view, paint) + mirror * np.float32(_LAMP_TINT[channel]))
    return planes


def _mirror_light(view: View, tilt: Image) -> Image:
    """Return the lamp's image with its haze and bloom, from the half vector's tilt per pixel."""
    steps, top = 8191, 0.25
    slope = np.linspace(0.0, top, steps + 1)
    radius = 0.5 * view.lamp_radius_mm / np.linalg.norm(view.lamp_mm)
    out = np.clip((slope - radius) / (0.09 * radius), -40.0, 40.0)
    blob = 5.0 / (1.0 + np.exp(out))
    bloom = 0.10 * np.exp(-np.maximum(0.0, slope - radius) / (0.22 * radius))
    halo = view.haze * (np.exp(-0.5 * (slope / 0.020) ** 2) + 0.35 / (1.0 + (slope / 0.035) ** 2))
    table = ((blob + bloom + halo) * view.exposure).astype(np.float32)
    index = np.minimum(tilt * np.float32(steps / top), np.float32(steps)).astype(np.uint16)
    light: Image = table[index]
    return light


_ROOM_TINT = (0.9, 1.0, 1.15)


def _falloff(view: View, x: Floats, y: Floats) -> Floats:
    """Return the lamp's light on the panel, 1 under a lamp square above it."""
    lx, ly, lz = view.lamp_mm
    far = (lx - x) ** 2 + (ly - y) ** 2 + lz**2
    light: Floats = (lz * lz / far) ** 1.5
    return light


def _tape_frame(view: View) -> tuple[float, float, float]:
    return view.square_mm, view.tape_mm, view.square_turn


def _tape_shade(view: View, to_px: Floats) -> Image:
    x, y = _grid_mm(view, to_px)
    return _full(view, 0.52 * _falloff(view, x, y) * view.exposure)


def _encode(planes: list[Image], view: View, rng: np.random.Generator) -> Picture:
    """Add vignetting and noise, clip, and encode as sRGB."""
    shape = planes[0].shape
    noise = rng.standard_normal(shape, dtype=np.float32)
    dim = _vignette(view)
    out = np.empty((*shape, 3), dtype=np.uint8)
    for channel in range(3):
        seen = planes[channel] * dim
        own = np.roll(noise, 577 * channel, axis=1)
        seen += own * np.sqrt(np.float32(view.shot_noise) * seen + np.float32(view.read_noise**2))
        np.clip(seen, 0.0, 1.0, out=seen)
        out[..., channel] = _SRGB[(seen * np.float32(_STEPS)).astype(np.uint16)]
    return out


def _vignette(view: View) -> Image:
    u = np.linspace(-1.0, 1.0, view.width_px, dtype=np.float32)
    v = np.linspace(-0.75, 0.75, view.height_px, dtype=np.float32)
    dim: Image = 1.0 - np.float32(0.10) * (u[None, :] ** 2 + v[:, None] ** 2)
    return dim


_STEPS = 16383


def _srgb_table() -> Picture:
    """Return the sRGB encoding of IEC 61966-2-1 for evenly spaced linear light."""
    linear = np.arange(_STEPS + 1) / _STEPS
    low = 12.92 * linear
    high = 1.055 * linear ** (1.0 / 2.4) - 0.055
    return np.round(255.0 * np.where(linear <= 0.0031308, low, high)).astype(np.uint8)


_SRGB = _srgb_table()


def jpeg(picture: Picture, *, quality: int = 92) -> bytes:
    """Return an sRGB picture, red first, as a JPEG file's bytes."""
    done, data = cv2.imencode(
        ".jpg",
        np.ascontiguousarray(picture[..., ::-1]),
        [cv2.IMWRITE_JPEG_QUALITY, quality],
    )
    assert done
    return bytes(data.tobytes())
