"""The fixed set of rendered photos that the bench runs on and tests take a part of."""

from dataclasses import replace
from typing import Any

import numpy as np
from render_scene import Scene

PAINTS = {
    "black": (0.006, 0.006, 0.007),
    "navy": (0.006, 0.009, 0.024),
    "red": (0.06, 0.008, 0.008),
    "green": (0.01, 0.03, 0.016),
    "grey": (0.05, 0.052, 0.055),
    "silver": (0.14, 0.145, 0.15),
}


def scene(index: int) -> Scene:
    """Return scene `index`: paint, lamp, camera and load drawn from its own seed."""
    rng = np.random.default_rng([20240, index])
    names = list(PAINTS)
    paint = names[int(rng.choice(len(names), p=[0.3, 0.2, 0.15, 0.1, 0.15, 0.1]))]
    um = float(rng.uniform(24, 60))
    load = float(np.exp(rng.uniform(np.log(5), np.log(200))))
    width, height = (2400, 1800) if um > 40 else (3000, 2250)
    eye = um * width / 1000 * rng.uniform(2.5, 4.0)
    tape = float(np.floor(0.75 * height * um / 1000)) if index % 4 == 0 else 0.0
    return Scene(
        seed=1000 + index,
        width_px=width,
        height_px=height,
        um_per_px=um,
        swirl_load=load,
        trail_load=float(load * rng.uniform(0.3, 1.0)) if index % 3 == 1 else 0.0,
        trail_degrees=float(rng.uniform(0, 180)),
        deep_load=float(rng.uniform(1.0, 4.0)) if index % 2 == 1 else 0.0,
        lamp_mm=float(rng.uniform(300, 900)),
        eye_mm=float(eye),
        incidence_deg=float(rng.uniform(0, 25)),
        lamp_radius_mm=float(rng.uniform(2.0, 12.0)),
        roughness_deg=float(rng.uniform(0.5, 2.0)),
        mirror_at=(float(rng.uniform(0.3, 0.7)), float(rng.uniform(0.3, 0.7))),
        paint=PAINTS[paint],
        flake_per_mm2=float(rng.uniform(0.5, 6.0)) if paint in {"navy", "grey", "silver"} else 0.0,
        peel_mrad=float(rng.uniform(0.5, 4.0)),
        dust_per_cm2=float(rng.uniform(0.0, 1.0)),
        fibres=int(rng.integers(0, 4)),
        haze=float(rng.uniform(0.0, 0.05)),
        room=float(rng.uniform(0.004, 0.02)),
        psf_px=float(rng.uniform(0.7, 1.2)),
        full_well=float(rng.uniform(4000, 15000)),
        glint_gain=float(np.exp(rng.uniform(np.log(0.6), np.log(3.0)))),
        vignette=float(rng.uniform(0.1, 0.4)),
        jpeg=int(rng.integers(85, 97)),
        tape_mm=tape,
        tape_turn_deg=float(rng.uniform(-8, 8)),
        tape_dark=paint == "silver",
    )


COUNT = 64


def busy_scene(index: int) -> Scene:
    """Return scene `index` of the second set: the same paints and loads as real photos show them.

    A phone's noise from daylight to a dim garage (full scale of 1200 to 12 000 electrons, that is
    about ISO 50 to 500 on a pixel that holds 6000; from memory), its smoothing and sharpening; a
    room and often a second lamp mirrored in the paint; more flake, dust, lint and orange peel;
    water marks; shut lines; a smear on the lens. See render_surroundings for sizes.
    """
    rng = np.random.default_rng([90210, index])
    calm = scene(index)
    flaky = calm.flake_per_mm2 > 0
    return replace(
        calm,
        seed=5000 + index,
        full_well=float(np.exp(rng.uniform(np.log(1200), np.log(12000)))),
        flake_per_mm2=float(np.exp(rng.uniform(0, np.log(20)))) if flaky else 0.0,
        peel_mrad=float(np.exp(rng.uniform(np.log(0.5), np.log(5.0)))),
        dust_per_cm2=float(np.exp(rng.uniform(np.log(0.2), np.log(6.0)))),
        fibres=0,
        lint=int(rng.integers(0, 30)),
        room_shapes=int(rng.integers(2, 14)),
        room_far_mm=float(rng.uniform(600, 3000)),
        second_lamp=float(rng.uniform(0.1, 0.5)) if rng.random() < 0.4 else 0.0,
        second_at=(float(rng.choice([-0.1, 0.08, 0.92, 1.1])), float(rng.uniform(0, 1))),
        water_marks=int(rng.integers(1, 25)) if rng.random() < 0.5 else 0,
        shut_line=bool(rng.random() < 0.3) and not calm.tape_mm,
        smear=bool(rng.random() < 0.25),
        denoise=float(rng.uniform(0, 14)) if rng.random() < 0.6 else 0.0,
        sharpen=float(rng.uniform(0, 0.9)) if rng.random() < 0.7 else 0.0,
        jpeg=int(rng.integers(78, 97)),
    )


def pair_scene(index: int) -> Scene:
    """Return the before photo of pair `index`: worth correcting, well lit; every other with a tape."""
    rng = np.random.default_rng([4242, index])
    first = scene(index)
    um, side = float(rng.uniform(35, 60)), (2400, 1800)
    tape = float(np.floor(0.56 * side[1] * um / 1000)) if index % 2 == 0 else 0.0
    return replace(
        first,
        seed=7000 + index,
        width_px=side[0],
        height_px=side[1],
        um_per_px=um,
        swirl_load=float(rng.uniform(40, 150)),
        deep_load=float(rng.uniform(1.5, 4)),
        eye_mm=um * side[0] / 1000 * 3,
        glint_gain=float(rng.uniform(1.5, 3.0)),
        flake_per_mm2=max(first.flake_per_mm2, 0.3),
        roughness_deg=float(rng.uniform(0.8, 2.0)),
        mirror_at=(float(rng.uniform(0.42, 0.58)), float(rng.uniform(0.42, 0.58))),
        tape_mm=tape,
        paint=PAINTS["black"],
        tape_dark=False,
    )


def second_look(first: Scene, rng: np.random.Generator) -> dict[str, Any]:
    """Return how the after photo differs: exposure, white, lamp a little moved, camera held anew."""
    return {
        "exposure": float(np.exp(rng.uniform(np.log(0.75), np.log(1.33)))),
        "white": tuple(float(v) for v in rng.uniform(0.88, 1.12, 3)),
        "mirror_at": tuple(float(v + rng.normal(0, 0.02)) for v in first.mirror_at),
        "turn_deg": float(rng.uniform(-15, 15)),
        "um_per_px": first.um_per_px * float(np.exp(rng.uniform(-np.log(1.2), np.log(1.2)))),
        "slant": tuple(float(v) for v in rng.uniform(-0.04, 0.04, 2)),
    }
