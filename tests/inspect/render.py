"""A renderer of scratched paint under a lamp, with known truth, for tests and benches only.

Its own code path: three-dimensional lamp, eye and panel; line-segment scratches that glint where
(l + v) . t = 0 within the tolerance of the lamp's size (exact directions per point, no small-angle
form); V-groove slope spikes broadened by diffraction; Fresnel mirror of lamp and room; haze halo;
orange peel as a field of slopes; metallic flake; dust and fibres; taped square; vignetting; a
Bayer mosaic with shot and read noise; sRGB and JPEG.

source: glint condition and slope lobe: Raymond, Guennebaud, Barla, ACM TOG 35(4) 2016 and
Sampaio et al., arXiv 2407.00043 (specular reflection at points along scratches); status: seen.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import render_surroundings as around
from render_parts import Array, smooth_field, splat, srgb
from render_scene import Scene, photo_grid, slanted, square_corners, to_flat, to_photo


@dataclass(frozen=True)
class Strokes:
    """Scratches as sampled points: one row per half pixel of line."""

    x: Array
    y: Array
    theta: Array
    step_mm: Array
    owner: Array
    width_um: Array  # per scratch
    depth_um: Array
    kind: Array  # 0 swirl 1 trail 2 deep
    flat: tuple[Array, Array]  # x, y were the camera square on


@dataclass(frozen=True)
class Truth:
    """What the photo shows, and what the paint bears."""

    strokes: Strokes
    levels: Array  # per sample: height of the glint over its surroundings, of 255 encoded levels
    best_levels: Array  # per sample: the same were the scratch turned right for this lamp
    load: float  # mm/cm2 that would reach MIN_LEVELS if turned right for this lamp
    area_cm2: float
    centre_px: tuple[float, float]
    square_px: Array | None
    inside: Array  # per sample: within the measured area
    typical: float  # light of the ground in the middle


MIN_LEVELS = 4.0
KINDS = ("swirl", "trail", "deep")


def _draw(rng: np.random.Generator, scene: Scene, load: float, kind: int) -> tuple[Array, ...]:
    """Draw scratches of one kind over a field wider than the photo."""
    um = (scene.base_um or scene.um_per_px) / 1000
    w, h = scene.width_px * um, scene.height_px * um
    pad = 30.0
    area_cm2 = (w + 2 * pad) * (h + 2 * pad) / 100
    mean_len = (18.0, 30.0, 25.0)[kind]
    n = rng.poisson(load * area_cm2 / mean_len)
    length = np.clip(mean_len * rng.gamma(4.0, 0.25, n), 3, None)
    cx, cy = rng.uniform(-pad, w + pad, n), rng.uniform(-pad, h + pad, n)
    theta = rng.uniform(0, np.pi, n)
    if kind == 1:
        theta = np.radians(scene.trail_degrees + 3.0 * rng.standard_normal(n))
    bend = rng.standard_normal(n) / (60.0, 250.0, 200.0)[kind]
    width = np.clip((4.0, 4.0, 60.0)[kind] * np.exp(0.35 * rng.standard_normal(n)), 1.0, 120)
    depth = np.clip((0.7, 0.7, 5.0)[kind] * np.exp(0.5 * rng.standard_normal(n)), 0.05, 15)
    return length, cx, cy, theta, bend, width, depth


def _sample(scene: Scene, parts: list[Array]) -> Strokes:
    """Sample every scratch each half pixel along a circular arc (vectorised)."""
    length, cx, cy, theta, bend, width, depth, kind = parts
    um = scene.um_per_px / 1000
    count = np.maximum((length / (0.5 * um)).astype(int), 2)
    owner = np.repeat(np.arange(len(length)), count)
    first = np.cumsum(count) - count
    s = (np.arange(count.sum()) - first[owner]) / count[owner] * length[owner] - length[owner] / 2
    angle = theta[owner] + bend[owner] * s
    half = bend[owner] * s / 2
    chord = s * np.sinc(half / np.pi)
    flat_x, flat_y = to_flat(
        scene,
        cx[owner] + chord * np.cos(theta[owner] + half),
        cy[owner] + chord * np.sin(theta[owner] + half),
    )
    x, y = slanted(scene, flat_x, flat_y)
    angle = angle + np.radians(scene.turn_deg)
    inside = (x > 2) & (y > 2) & (x < scene.width_px - 3) & (y < scene.height_px - 3)
    return Strokes(
        x[inside],
        y[inside],
        angle[inside] % np.pi,
        (length / count)[owner][inside],
        owner[inside],
        width,
        depth,
        kind,
        (flat_x[inside], flat_y[inside]),
    )


def strokes_of(scene: Scene) -> Strokes:
    rng = np.random.default_rng([scene.seed, 1])
    loads = (scene.swirl_load, scene.trail_load, scene.deep_load)
    drawn = [_draw(rng, scene, load, kind) for kind, load in enumerate(loads)]
    parts = [np.concatenate(column) for column in zip(*drawn, strict=True)]
    kind = np.concatenate([np.full(len(d[0]), k) for k, d in enumerate(drawn)])
    return _sample(scene, [*parts, kind])


def _half_vectors(scene: Scene, x_px: Array, y_px: Array) -> tuple[Array, Array, Array]:
    """Return the half vector at panel points, exact (mm, z up, mirror point at the origin)."""
    um = scene.um_per_px / 1000
    x = (x_px - scene.mirror_at[0] * scene.width_px) * um
    y = (y_px - scene.mirror_at[1] * scene.height_px) * um
    sin, cos = np.sin(np.radians(scene.incidence_deg)), np.cos(np.radians(scene.incidence_deg))
    total = []
    for dx, dz in (
        (scene.lamp_mm * sin, scene.lamp_mm * cos),
        (-scene.eye_mm * sin, scene.eye_mm * cos),
    ):
        vx, vy, vz = dx - x, -y, np.full_like(x, dz)
        norm = np.sqrt(vx**2 + vy**2 + vz**2)
        total.append((vx / norm, vy / norm, vz / norm))
    hx, hy, hz = (a + b for a, b in zip(*total, strict=True))
    norm = np.sqrt(hx**2 + hy**2 + hz**2)
    return hx / norm, hy / norm, hz / norm


def _peel(scene: Scene) -> list[Array]:
    """Slopes of the surface at every pixel: fields that stay with the panel."""
    rng = np.random.default_rng([scene.seed, 2])
    shape = (scene.height_px, scene.width_px)
    base = scene.base_um or scene.um_per_px
    fields = [smooth_field(rng, shape, 1500 / base, scene.peel_mrad / 1000) for _ in range(2)]
    if (scene.turn_deg, scene.slant, base) == (0.0, (0.0, 0.0), scene.um_per_px):
        return fields
    x, y = photo_grid(scene)
    x, y = (x - shape[1] / 2) * scene.um_per_px / base, (y - shape[0] / 2) * scene.um_per_px / base
    cos, sin = np.cos(np.radians(scene.turn_deg)), np.sin(np.radians(scene.turn_deg))
    at = [(x * cos + y * sin + shape[1] / 2), (y * cos - x * sin + shape[0] / 2)]
    maps = [v.astype(np.float32) for v in at]
    moved = [cv2.remap(f, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT) for f in fields]
    return [moved[0] * cos - moved[1] * sin, moved[0] * sin + moved[1] * cos]


def glint(scene: Scene, strokes: Strokes, peel: list[Array]) -> tuple[Array, Array]:
    """Return per sample (flux per mm of line, flux were the scratch turned right for this lamp)."""
    hx, hy, hz = _half_vectors(scene, *strokes.flat)
    iy, ix = strokes.y.astype(int), strokes.x.astype(int)
    hx, hy = hx + peel[0][iy, ix], hy + peel[1][iy, ix]
    t = np.cos(strokes.theta), np.sin(strokes.theta)
    along = hx * t[0] + hy * t[1]
    across = (hy * t[0] - hx * t[1]) / hz
    source = scene.lamp_radius_mm / scene.lamp_mm / 2
    spread = np.hypot(source / 2, np.radians(scene.roughness_deg))
    weight = np.exp(-0.5 * (along / spread) ** 2)
    width = strokes.width_um * np.clip(1 - scene.keep_depth / strokes.depth_um, 0, 1)
    wall = 2 * strokes.depth_um / strokes.width_um
    lobe = np.hypot(0.55 / np.maximum(strokes.width_um, 1), 0.06)
    own = strokes.owner
    right = np.hypot(along, across * hz) / hz

    def slope(tilt: Array) -> Array:
        return 0.5 * sum(
            np.exp(-0.5 * ((tilt - sign * wall[own]) / lobe[own]) ** 2) / lobe[own]
            for sign in (1, -1)
        )

    scale = (
        1e-3 * scene.glint_gain * scene.exposure * (0.012 / 0.02) / np.hypot(spread, 0.01) * 0.02
    )
    return scale * width[own] * weight * slope(across), scale * width[own] * slope(right)


def _halo(scene: Scene, tilt: Array) -> Array:
    """Light of the lamp's mirror image and of the haze round it, by tilt off the mirror direction."""
    core = scene.lamp_radius_mm / scene.lamp_mm / 2
    lamp = 60.0 / (1 + np.exp((tilt - core) / (0.06 * core + 5e-4)))
    halo = scene.haze * (1 / (1 + (tilt / (3 * core + 0.01)) ** 2) + 0.5 * np.exp(-tilt / 0.05))
    return 0.04 * lamp + halo


def _highlight(scene: Scene, peel: list[Array]) -> Array:
    hx, hy, _ = _half_vectors(scene, *photo_grid(scene))
    return _halo(scene, np.hypot(hx + peel[0], hy + peel[1]))


def _background(scene: Scene, peel: list[Array], rng: np.random.Generator) -> Array:
    shape = (scene.height_px, scene.width_px)
    x, y = photo_grid(scene)
    hx, hy, hz = _half_vectors(scene, x, y)
    grey = _halo(scene, np.hypot(hx + peel[0], hy + peel[1]))
    room = scene.room * (1 + smooth_field(rng, shape, max(shape) / 5, 0.35))
    grey += np.clip(room, 0.001, None)
    base = np.asarray(scene.paint)[None, None] * (0.6 + 0.4 * hz[..., None])
    if scene.room_shapes:
        mm = scene.um_per_px / 1000
        light = around.room(rng, (shape[0] * mm, shape[1] * mm), scene.room_shapes)
        lever = scene.room_far_mm * scene.eye_mm / (scene.room_far_mm + scene.eye_mm)
        grey += around.mirrored(light, x * mm, y * mm, peel, lever)
    return grey[..., None] * np.asarray(scene.lamp_tint) + base


def second(scene: Scene) -> Scene:
    """The same place under its second lamp alone, for the light that this one adds."""
    gain = scene.glint_gain * scene.second_lamp
    return replace(scene, mirror_at=scene.second_at, glint_gain=gain, haze=scene.haze * gain / 2)


def _speckle(scene: Scene, canvas: Array) -> None:
    """Add metallic flake: single bright sub-pixel dots."""
    fixed = np.random.default_rng([scene.seed, 4])  # flake stays with the panel
    base = (scene.base_um or scene.um_per_px) / 1000
    size = canvas.shape[1] * base, canvas.shape[0] * base
    n = fixed.poisson(scene.flake_per_mm2 * 1.7 * size[0] * size[1])
    x, y = to_photo(
        scene,
        fixed.uniform(-0.15, 1.15, n) * size[0],
        fixed.uniform(-0.15, 1.15, n) * size[1],
    )
    light = 0.05 * scene.exposure * fixed.gamma(0.7, 1.0, n)
    ok = (x >= 0) & (y >= 0) & (x < canvas.shape[1] - 1) & (y < canvas.shape[0] - 1)
    np.add.at(canvas, (y[ok].astype(int), x[ok].astype(int)), light[ok])


def _dust(scene: Scene, rng: np.random.Generator, canvas: Array) -> None:
    area = canvas.shape[0] * canvas.shape[1] * (scene.um_per_px / 10000) ** 2
    for _ in range(rng.poisson(scene.dust_per_cm2 * area)):
        centre = rng.uniform(5, canvas.shape[1] - 5), rng.uniform(5, canvas.shape[0] - 5)
        axes = rng.uniform(0.7, 3.0, 2) * 40 / scene.um_per_px
        cv2.ellipse(
            canvas,
            (centre, tuple(2 * axes), rng.uniform(0, 180)),
            float(rng.uniform(0.03, 0.3)),
            -1,
        )
    for _ in range(scene.fibres):
        turn = np.cumsum(rng.standard_normal(60) * 0.25) + rng.uniform(0, 6.3)
        step = np.stack([np.cos(turn), np.sin(turn)], 1) * 60 / scene.um_per_px
        start = rng.uniform(0.1, 0.9, 2) * canvas.shape[::-1]
        line = (start + np.cumsum(step, 0)).astype(np.float32)
        cv2.polylines(canvas, [np.round(line).astype(np.int32)], False, 0.06, 1, cv2.LINE_AA)


def _tape(scene: Scene, linear: Array) -> None:
    corners = square_corners(scene)
    if corners is None:
        return
    middle = corners.mean(0)
    half = scene.tape_mm / 2
    outer = middle + (corners - middle) * (half + 18.0) / half
    mask = np.zeros(linear.shape[:2], np.float32)
    cv2.fillConvexPoly(mask, np.round(outer * 16).astype(np.int32), 1.0, cv2.LINE_AA, 4)
    cv2.fillConvexPoly(mask, np.round(corners * 16).astype(np.int32), 0.0, cv2.LINE_AA, 4)
    tone = np.array([0.02, 0.02, 0.02]) if scene.tape_dark else np.array([0.42, 0.38, 0.22])
    linear[:] = linear * (1 - mask[..., None]) + mask[..., None] * tone


def camera(scene: Scene, linear: Array, rng: np.random.Generator) -> Array:
    """Lens blur, vignetting, Bayer mosaic with noise, demosaic, 8-bit JPEG: an RGB uint8 photo."""
    blurred = cv2.GaussianBlur(linear.astype(np.float32), (0, 0), scene.psf_px)
    h, w = blurred.shape[:2]
    yy, xx = np.mgrid[:h, :w].astype(np.float32)
    r2 = ((xx - w / 2) ** 2 + (yy - h / 2) ** 2) / (w**2 + h**2) * 4
    blurred *= (1 - scene.vignette * r2)[..., None]
    mosaic = blurred[..., 1].copy()
    mosaic[::2, ::2] = blurred[::2, ::2, 0]
    mosaic[1::2, 1::2] = blurred[1::2, 1::2, 2]
    electrons = rng.poisson(
        np.clip(mosaic, 0, 1.2) * scene.full_well
    ) + scene.read_noise * rng.standard_normal(mosaic.shape)
    raw = np.clip(electrons / scene.full_well, 0, 1)
    demosaiced = cv2.cvtColor((raw * 65535).astype(np.uint16), cv2.COLOR_BayerRG2BGR_EA)
    # OpenCV names a Bayer pattern by its second row and column: red at (0, 0) is its "BG", and its
    # "RG to BGR" is therefore our RGB order.
    code = np.round(srgb(demosaiced / 65535.0) * 255).astype(np.uint8)
    code = around.phone(code, scene.denoise, scene.sharpen)
    if not scene.jpeg:
        return code
    _, data = cv2.imencode(".jpg", code[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, scene.jpeg])
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].copy()


def _levels(scene: Scene, strokes: Strokes, flux: Array, ground: Array | float) -> Array:
    """Height of glints over their surroundings in encoded levels."""
    pixel = scene.um_per_px / 1000
    wide = np.hypot(scene.psf_px, strokes.width_um / scene.um_per_px / 3.5)[strokes.owner]
    peak = flux / pixel / (np.sqrt(2 * np.pi) * wide)
    return 255 * (srgb(ground + peak) - srgb(np.asarray(ground)))


def render(scene: Scene) -> tuple[Array, Truth]:
    """Return the photo (H, W, 3) uint8 RGB and its truth."""
    strokes = strokes_of(scene)
    peel = _peel(scene)
    rng = np.random.default_rng([scene.seed, 3, scene.shot])
    ground = _background(scene, peel, rng) * scene.exposure
    flux, best = glint(scene, strokes, peel)
    if scene.second_lamp:
        ground += _highlight(second(scene), peel)[..., None] * scene.exposure
        flux = flux + glint(second(scene), strokes, peel)[0]
    free = np.ones(ground.shape[:2])
    if scene.shut_line:
        dark, rims = around.gap(rng, ground.shape[:2], 1000 / scene.um_per_px)
        free = dark < 0.5
        ground = (ground + rims[..., None]) * (1 - dark[..., None]) + 0.002 * dark[..., None]
        bare = free[strokes.y.astype(int), strokes.x.astype(int)]
        flux, best = flux * bare, best * bare
    at = ground[strokes.y.astype(int), strokes.x.astype(int)].mean(-1)
    typical = float(np.median(ground))
    levels = _levels(scene, strokes, flux, at)
    best_levels = _levels(scene, strokes, best, typical)
    linear = _cluttered(scene, ground, strokes, flux, rng)
    photo = camera(scene, linear * np.asarray(scene.white), rng)
    return photo, _truth(scene, strokes, (levels, best_levels), typical, float(free.mean()))


def _cluttered(
    scene: Scene, ground: Array, strokes: Strokes, flux: Array, rng: np.random.Generator
) -> Array:
    """Lay scratches, flake, dust, water marks, lint, a smear and tape on the ground."""
    shape = ground.shape[:2]
    pixel = scene.um_per_px / 1000
    canvas = _scratch_layer(scene, shape, strokes, flux * strokes.step_mm / pixel**2)
    _speckle(scene, canvas)
    _dust(scene, rng, canvas)
    around.water_marks(rng, canvas, scene.water_marks, 1 / pixel)
    around.lint(rng, canvas, scene.lint, 1 / pixel)
    linear = ground + canvas[..., None] * np.asarray(scene.lamp_tint)
    _tape(scene, linear)
    if scene.smear:
        lamp = np.asarray(scene.mirror_at) * shape[::-1]
        linear += around.streak(rng, shape, lamp, 1 / pixel)[..., None]
    return linear


def _scratch_layer(scene: Scene, shape: tuple[int, ...], strokes: Strokes, value: Array) -> Array:
    """Splat fine scratches as lines and wide ones with their own width."""
    canvas = np.zeros(shape)
    wide_px = strokes.width_um / scene.um_per_px
    group = np.digitize(wide_px, [0.5, 1.0, 1.5, 2.2])[strokes.owner]
    for g, blur in enumerate((0.0, 0.22, 0.36, 0.53, 0.8)):
        pick = group == g
        if pick.any():
            layer = splat(shape, strokes.x[pick], strokes.y[pick], value[pick])
            canvas += cv2.GaussianBlur(layer, (0, 0), blur) if blur else layer
    return canvas


def _truth(
    scene: Scene, strokes: Strokes, both: tuple[Array, Array], typical: float, free: float
) -> Truth:
    levels, best_levels = both
    square = square_corners(scene)
    area_cm2 = free * scene.width_px * scene.height_px * (scene.um_per_px / 1e4) ** 2
    inside = np.ones(len(strokes.x), bool)
    if square is not None:
        area_cm2 = scene.tape_mm**2 / 100
        mask = np.zeros((scene.height_px, scene.width_px), np.uint8)
        cv2.fillConvexPoly(mask, np.round(square).astype(np.int32), 1)
        inside = mask[strokes.y.astype(int), strokes.x.astype(int)] > 0
    shows = (best_levels >= MIN_LEVELS) & inside
    load = float(strokes.step_mm[shows].sum() / area_cm2)
    centre = (scene.mirror_at[0] * scene.width_px, scene.mirror_at[1] * scene.height_px)
    return Truth(strokes, levels, best_levels, load, area_cm2, centre, square, inside, typical)


def removed(scene: Scene, truth: Truth, cut_um: float) -> float:
    """Share of the load that `cut_um` takes away, both loads as the first photo would show them."""
    own = truth.strokes
    best = glint(replace(scene, keep_depth=cut_um), own, _peel(scene))[1]
    before, left = (
        own.step_mm[(levels >= MIN_LEVELS) & truth.inside].sum()
        for levels in (truth.best_levels, _levels(scene, own, best, truth.typical))
    )
    return 1 - float(left / max(before, 1e-9))


def truth_mask(scene: Scene, truth: Truth, least: float = MIN_LEVELS) -> Array:
    """Centre lines of what glints at least `least` levels over its surroundings, (H, W) bool."""
    mask = np.zeros((scene.height_px, scene.width_px), bool)
    lit = (truth.levels >= least) & truth.inside
    mask[np.round(truth.strokes.y[lit]).astype(int), np.round(truth.strokes.x[lit]).astype(int)] = (
        True
    )
    return mask
