"""Lay one photo of a place over another: by the taped square, or by what both show.

Feature points (SIFT, Lowe, IJCV 60, 91 (2004); from memory) matched both ways give a similarity
by random sampling, which is then relaxed to a homography. Light is evened first, so a different
exposure, white balance or lamp position does not matter; the lamp's own reflection is left out.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from leastcut.errors import Refusal
from leastcut.inspect.arrays import F32, F64, U8, Bools

WORK_PX = 1200
FEATURES = 2500
RATIO = 0.85
LEAST_MATCHES = 10
RANSAC_PX = 4.0
LARGEST_TURN_DEG = 40.0
LARGEST_SCALE = 1.6


@dataclass(frozen=True)
class Registration:
    """``to_before`` maps pixels of the after photo to pixels of the before photo (3 x 3)."""

    to_before: F64
    rms_px: float
    matches: int


def by_square(before: F64, after: F64) -> Registration:
    """Register by the corners of the same square in both photos (4 x 2 each, same order)."""
    h = cv2.getPerspectiveTransform(after.astype(np.float32), before.astype(np.float32))
    return Registration(h.astype(np.float64), 0.5, 4)


def by_features(
    before: F32, after: F32, usable_before: Bools, usable_after: Bools
) -> Registration | Refusal:
    """Register by common detail.

    Parameters
    ----------
    before, after : ndarray (H, W) float32
        Root of linear light.
    usable_before, usable_after : ndarray (H, W) bool
        Where detail belongs to the paint.
    """
    a, at_a, step_a = _features(before, usable_before)
    b, at_b, step_b = _features(after, usable_after)
    pairs = _matches(a, b)
    if len(pairs) < LEAST_MATCHES:
        return _unregistered(len(pairs))
    source = at_b[[p[1] for p in pairs]] * step_b
    target = at_a[[p[0] for p in pairs]] * step_a
    return _fit(source, target, RANSAC_PX * step_a)


def _fit(source: F64, target: F64, tolerance: float) -> Registration | Refusal:
    cv2.setRNGSeed(1)
    similar, inlier = cv2.estimateAffinePartial2D(
        source,
        target,
        method=cv2.RANSAC,
        ransacReprojThreshold=3 * tolerance,
        maxIters=8000,
        confidence=0.999,
    )
    if similar is None or int(inlier.sum()) < LEAST_MATCHES or not _plausible(similar):
        return _unregistered(0 if similar is None else int(inlier.sum()))
    near = inlier.ravel() > 0
    h = np.vstack([similar, [0, 0, 1]]).astype(np.float64)
    if near.sum() >= 2 * LEAST_MATCHES:
        full, _ = cv2.findHomography(source[near], target[near], cv2.RANSAC, tolerance)
        h = full if full is not None else h
    moved = cv2.perspectiveTransform(source[near][None], h)[0]
    rest = np.linalg.norm(moved - target[near], axis=1)
    good = rest < 2 * tolerance
    if good.sum() < LEAST_MATCHES:
        return _unregistered(int(good.sum()))
    return Registration(h, float(np.sqrt((rest[good] ** 2).mean())), int(good.sum()))


def _plausible(similar: F64) -> bool:
    scale = float(np.hypot(similar[0, 0], similar[1, 0]))
    turn = abs(float(np.degrees(np.arctan2(similar[1, 0], similar[0, 0]))))
    return 1 / LARGEST_SCALE < scale < LARGEST_SCALE and turn < LARGEST_TURN_DEG


def _unregistered(found: int) -> Refusal:
    return Refusal(
        why=f"the two photos cannot be laid over each other: {found} common details found",
        do="Leave a taped square round the place for both photos, and take them from about the same spot",
    )


def _features(root: F32, usable: Bools) -> tuple[F32, F64, float]:
    """Return descriptors, places in the small copy, and the step back to the photo."""
    step = max(1.0, max(root.shape) / WORK_PX)
    size = (round(root.shape[1] / step), round(root.shape[0] / step))
    small = cv2.resize(root, size, interpolation=cv2.INTER_AREA)
    mask = cv2.resize(usable.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    even = _evened(small)
    sift = cv2.SIFT.create(nfeatures=FEATURES, contrastThreshold=0.02)
    found, described = sift.detectAndCompute(even, cv2.erode(mask, np.ones((5, 5), np.uint8)) * 255)
    if described is None:
        return np.zeros((0, 128), np.float32), np.zeros((0, 2)), step
    return described, np.array([k.pt for k in found], np.float64), step


def _evened(small: F32) -> U8:
    """Take off the broad light and scale the rest by its own spread."""
    detail = small - cv2.GaussianBlur(small, (0, 0), 12)
    spread = np.sqrt(cv2.GaussianBlur(detail * detail, (0, 0), 40)) + 1e-4
    result: U8 = np.clip(128 + 40 * cv2.GaussianBlur(detail, (0, 0), 0.8) / spread, 0, 255).astype(
        np.uint8
    )
    return result


def _matches(a: F32, b: F32) -> list[tuple[int, int]]:
    """Return pairs that are each other's clear best match."""
    if len(a) < 2 or len(b) < 2:
        return []
    matcher = cv2.BFMatcher(cv2.NORM_L2)
    forth = {
        p[0].queryIdx: p[0].trainIdx
        for p in matcher.knnMatch(a, b, 2)
        if p[0].distance < RATIO * p[1].distance
    }
    back = {m.queryIdx: m.trainIdx for m in matcher.match(b, a)}
    return [(i, j) for i, j in forth.items() if back.get(j) == i]
