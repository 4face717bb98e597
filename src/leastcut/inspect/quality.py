"""Can this photo carry the answer? If not: why, and what to do instead."""

import cv2
import numpy as np

from leastcut.errors import Refusal
from leastcut.inspect.arrays import F32, F64, Bools

SMALLEST_SIDE_PX = 200
COARSEST_UM_PER_PX = 120.0
RESOLVED_PX = 2.0  # a line narrower than this is as wide as the sampling makes it (Nyquist)
MOST_CLIPPED = 0.35
DARKEST = 0.0015  # linear light; below it the noise of a phone hides fine glints
BLURRED_FWHM_PX = 5.0  # full width at half maximum of the finest lines found
SHARP_PX = 2.6  # sigma of the sharpest detail in a photo that is surely in focus
STRONG_SNR = 6.0
RAINBOW = 0.09  # colour bands of a film reach twice this; clean paint beside tape stays below
ENOUGH_LINES = 4


def blur_px(root: F32, usable: Bools) -> float:
    """Return the blur of the sharpest detail as the sigma of a Gaussian [px].

    The ratio of first to second differences at the strongest detail: for a line or an edge blurred
    by sigma the second derivative is about the first over sigma. Noise makes a photo look sharp,
    so both are taken after a light smoothing that is then taken off.
    """
    own = 1.2
    smooth = cv2.GaussianBlur(root, (0, 0), own)
    dx, dy = (
        cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125),
        cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125),
    )
    first = cv2.magnitude(dx, dy)
    second = np.abs(cv2.Laplacian(smooth, cv2.CV_32F, ksize=1))
    kept = usable[::2, ::2]
    f, s = first[::2, ::2][kept], second[::2, ::2][kept]
    if f.size < 100:
        return 0.0
    strong = f >= np.quantile(f, 0.998)
    ratio = float(f[strong].mean() / max(float(np.quantile(s, 0.999)), 1e-9))
    return float(np.sqrt(max(ratio**2 - own**2, 0.0)))


def exposure(grey: F32, measured: Bools) -> Refusal | None:
    """Refuse a photo that is burnt out or too dark over the measured area."""
    number = max(int(measured.sum()), 1)
    clipped = float(((grey > 0.985) & measured).sum()) / number
    if clipped > MOST_CLIPPED:
        return Refusal(
            why=f"{clipped:.0%} of the measured area is burnt out to white",
            do="Lower the exposure, or hold the lamp further away or smaller, until only the lamp's own reflection is white",
        )
    light = float(np.quantile(grey[::4, ::4][measured[::4, ::4]], 0.75)) if measured.any() else 0.0
    if light < DARKEST:
        return Refusal(
            why="the photo is too dark for fine marks to rise out of its noise",
            do="Bring the lamp closer or raise the exposure",
        )
    return None


def iridescence(image: F32, usable: Bools) -> float:
    """Return how much the colour of the light varies over tens of pixels, as a share.

    A film of oil or polish residue thinner than a few wavelengths colours the reflection in bands;
    paint and lamp have one colour each, and a room's reflection changes colour slowly.
    """
    if image.ndim == 2:
        return 0.0
    step = max(1, max(image.shape) // 400)
    size = (image.shape[1] // step, image.shape[0] // step)
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    free = cv2.resize(usable.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    red, green, blue = (
        small[..., k] for k in range(3)
    )  # many times faster than along an axis of 3
    free &= np.maximum(np.maximum(red, green), blue) < 0.9
    share = small / np.maximum(red + green + blue, 0.01)[..., None]
    bands = cv2.GaussianBlur(share, (0, 0), 2.0) - cv2.GaussianBlur(share, (0, 0), 12.0)
    if free.sum() < 1000:
        return 0.0
    return float(np.sqrt((np.quantile(np.abs(bands[free]), 0.8, axis=0) ** 2).sum()))


def film(image: F32, usable: Bools) -> Refusal | None:
    """Refuse a photo of paint under a visible film of oil."""
    if iridescence(image, usable) < RAINBOW:
        return None
    return Refusal(
        why="the paint shows rainbow colours: a film of oil lies on it and fills the scratches",
        do="Wipe the place with panel wipe until the colours are gone, and take the photo again",
    )


def focus(root: F32, usable: Bools, fwhm_px: F64, snr: F64) -> tuple[Refusal | None, bool]:
    """Judge the focus from the finest lines found, or from any other detail.

    Parameters
    ----------
    fwhm_px, snr : ndarray (n,)
        Width as seen and strength of each line found.

    Returns
    -------
    Refusal or None
        If the photo is blurred.
    bool
        Whether something sharp proves the focus; a clean panel shows nothing sharp.
    """
    strong = fwhm_px[snr > STRONG_SNR]
    if len(strong) >= ENOUGH_LINES:
        finest = float(np.quantile(strong, 0.2))
        return (_blurred(finest), False) if finest > BLURRED_FWHM_PX else (None, True)
    sharpest = blur_px(root, usable)
    if sharpest <= SHARP_PX:
        return None, True
    # A camera's own noise is sharp even out of focus; without any the picture was smoothed.
    rough = np.abs(cv2.Laplacian(root, cv2.CV_32F, ksize=1))[::3, ::3][usable[::3, ::3]]
    smooth = rough.size == 0 or float(np.median(rough)) < 1e-5
    return (_blurred(2.355 * sharpest) if smooth else None), False


def _blurred(width: float) -> Refusal:
    return Refusal(
        why=f"the photo is blurred: its finest detail is {width:.0f} pixels wide",
        do="Tap to focus on the scratches, not on the lamp's reflection, hold still, and take it again",
    )


def coarse(um_per_px: float) -> Refusal | None:
    """Refuse a scale too coarse to tell one scratch from the next."""
    if um_per_px <= COARSEST_UM_PER_PX:
        return None
    return Refusal(
        why=f"one pixel spans {um_per_px:.0f} µm: fine scratches cannot be told apart; the narrowest width this scale can resolve is {RESOLVED_PX * um_per_px:.0f} µm",
        do=f"Come closer, until one pixel spans at most {COARSEST_UM_PER_PX:.0f} µm (about 40 cm wide with a 12-megapixel phone)",
    )


def too_small(shape: tuple[int, ...]) -> Refusal:
    """Refuse a photo with too few pixels."""
    return Refusal(
        why=f"the photo is too small: {shape[1]} x {shape[0]} pixels",
        do=f"Take one of at least {SMALLEST_SIDE_PX} pixels on its short side, better the camera's full size",
    )
