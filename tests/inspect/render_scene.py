"""What defines one rendered photo, and where places on the panel fall in it."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from render_parts import Array


@dataclass(frozen=True)
class Scene:
    """Everything that defines one photo; lengths in mm unless named otherwise."""

    seed: int = 0
    width_px: int = 1600
    height_px: int = 1200
    um_per_px: float = 40.0
    swirl_load: float = 40.0  # mm/cm2, all directions
    trail_load: float = 0.0
    trail_degrees: float = 30.0
    deep_load: float = 0.0
    lamp_mm: float = 450.0  # lamp to mirror point
    eye_mm: float = 400.0
    incidence_deg: float = 8.0
    lamp_radius_mm: float = 12.0
    roughness_deg: float = 0.4  # spread of the groove's own direction
    mirror_at: tuple[float, float] = (0.5, 0.5)  # highlight, share of width and height
    lamp_tint: tuple[float, float, float] = (1.0, 0.97, 0.92)
    paint: tuple[float, float, float] = (0.012, 0.012, 0.014)  # diffuse, linear
    flake_per_mm2: float = 0.0
    peel_mrad: float = 2.0
    dust_per_cm2: float = 0.3
    fibres: int = 2
    haze: float = 0.02
    room: float = 0.012
    psf_px: float = 0.9
    full_well: float = 9000.0
    glint_gain: float = 1.0  # lamp strength against the exposure chosen
    read_noise: float = 3.0
    exposure: float = 1.0
    vignette: float = 0.25
    jpeg: int = 93
    tape_mm: float = 0.0  # inner side of a taped square; 0 for none
    tape_turn_deg: float = 0.0
    tape_dark: bool = False
    keep_depth: float = 0.0  # cut already made [um]: grooves shallower than this are gone
    turn_deg: float = 0.0  # how the camera was turned about the middle of the photo
    base_um: float = 0.0  # scale at which the place was first photographed; 0 for um_per_px
    shot: int = 0  # which of several photos: its own noise and dust
    slant: tuple[float, float] = (0.0, 0.0)  # growth of distance over half the width, the height
    white: tuple[float, float, float] = (1.0, 1.0, 1.0)  # white balance against the first photo
    # surroundings, see render_surroundings
    room_shapes: int = 0
    room_far_mm: float = 1500.0
    second_lamp: float = 0.0  # strength against the first
    second_at: tuple[float, float] = (0.1, 0.1)
    water_marks: int = 0
    shut_line: bool = False
    smear: bool = False
    lint: int = 0
    denoise: float = 0.0
    sharpen: float = 0.0


def to_flat(scene: Scene, x_mm: Array, y_mm: Array) -> tuple[Array, Array]:
    """Map places on the panel (mm from the first photo's corner) to pixels of a camera square on."""
    um, base = scene.um_per_px / 1000, (scene.base_um or scene.um_per_px) / 1000
    turn = np.radians(scene.turn_deg)
    x, y = x_mm - scene.width_px * base / 2, y_mm - scene.height_px * base / 2
    cos, sin = np.cos(turn), np.sin(turn)
    return (x * cos - y * sin) / um + scene.width_px / 2, (
        x * sin + y * cos
    ) / um + scene.height_px / 2


def slanted(scene: Scene, x: Array, y: Array, *, back: bool = False) -> tuple[Array, Array]:
    """Map pixels of a camera square on to those of the slanted camera, or back."""
    if scene.slant == (0.0, 0.0):
        return x, y
    dx, dy = x - scene.width_px / 2, y - scene.height_px / 2
    lean = dx * scene.slant[0] * 2 / scene.width_px + dy * scene.slant[1] * 2 / scene.height_px
    w = 1 - lean if back else 1 + lean
    return dx / w + scene.width_px / 2, dy / w + scene.height_px / 2


def to_photo(scene: Scene, x_mm: Array, y_mm: Array) -> tuple[Array, Array]:
    """Map places on the panel (mm from the first photo's corner) to pixels of this photo."""
    return slanted(scene, *to_flat(scene, x_mm, y_mm))


def photo_grid(scene: Scene) -> tuple[Array, Array]:
    """Return, for every pixel of the photo, where it lies for a camera square on."""
    yy, xx = np.mgrid[: scene.height_px, : scene.width_px].astype(np.float64)
    return slanted(scene, xx, yy, back=True)


def square_corners(scene: Scene) -> Array | None:
    """Return the inner corners of the taped square [px], or None."""
    if not scene.tape_mm:
        return None
    half = scene.tape_mm * 500 / scene.um_per_px
    turn = np.radians(scene.tape_turn_deg + scene.turn_deg)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    corners = corners @ spin.T + [scene.width_px / 2, scene.height_px / 2]
    return np.stack(slanted(scene, corners[:, 0], corners[:, 1]), 1)


def after(scene: Scene, cut_um: float, **changes: Any) -> Scene:
    """Return the same place after `cut_um` of clear coat was taken, seen anew."""
    base = scene.base_um or scene.um_per_px
    return replace(scene, keep_depth=cut_um, base_um=base, shot=scene.shot + 1, **changes)
