"""Haze: light scattered round the lamp's mirror image where no single line can be resolved."""

import numpy as np

from leastcut.inspect.arrays import F32, Bools


def halo(grey: F32, usable: Bools, lamp: tuple[float, float, float] | None) -> float | None:
    """Return the halo's brightness: ring round the lamp's image less the far ground.

    Parameters
    ----------
    grey : ndarray (H, W)
        Linear light.
    usable : ndarray (H, W) bool
        Where it was measured.
    lamp : tuple or None
        Centre x, y and radius of the lamp's mirror image [px].

    Returns
    -------
    float or None
        As a share of the camera's full scale: comparable between photos of like exposure only.
        None without a lamp or where too little of ring or ground is in view.
    """
    if lamp is None:
        return None
    step = max(1, max(grey.shape) // 600)
    yy, xx = np.mgrid[: grey.shape[0] : step, : grey.shape[1] : step]
    r = np.hypot(xx - lamp[0], yy - lamp[1]) / max(lamp[2], 2.0)
    small, ok = grey[::step, ::step], usable[::step, ::step]
    ring, far = (r > 1.6) & (r < 2.4) & ok, (r > 4.0) & ok
    if ring.sum() < 50 or far.sum() < 50:
        return None
    return max(0.0, float(np.median(small[ring]) - np.median(small[far])))
