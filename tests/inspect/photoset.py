"""The fixed set of rendered photos that the bench runs on and tests take a part of."""

import numpy as np
from render import Scene

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
