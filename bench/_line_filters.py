"""General line filters, each with the threshold that serves it best.

Twice: as it is, and helped by leaving out the patches of its answer that are too small for a line,
again at the size that serves it best.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from photoscore import counts, f1

SIGMAS = (1.0, 2.0, 4.0)


def hessian(root: np.ndarray) -> np.ndarray:
    """A plain separable Hessian: the largest negative eigenvalue over scales."""
    best = np.zeros_like(root)
    for sigma in SIGMAS:
        smooth = cv2.GaussianBlur(root, (0, 0), sigma)
        xx = cv2.Sobel(smooth, cv2.CV_32F, 2, 0, ksize=3) / 4
        yy = cv2.Sobel(smooth, cv2.CV_32F, 0, 2, ksize=3) / 4
        xy = cv2.Sobel(smooth, cv2.CV_32F, 1, 1, ksize=3) / 4
        low = (xx + yy) / 2 - np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
        best = np.maximum(best, -low * sigma**2)
    return best


def peers() -> dict[str, Any]:
    from skimage import filters

    return {
        "frangi": lambda r: filters.frangi(r, sigmas=SIGMAS, black_ridges=False),
        "sato": lambda r: filters.sato(r, sigmas=SIGMAS, black_ridges=False),
        "meijering": lambda r: filters.meijering(r, sigmas=SIGMAS, black_ridges=False),
        "plain_hessian": hessian,
    }


def thinned(response: np.ndarray, level: float) -> list[np.ndarray]:
    """Thin what answers above a level, without the patches smaller than each of LEAST_PX."""
    from skimage.morphology import skeletonize

    mask = (response > level).astype(np.uint8)
    labels, stats = cv2.connectedComponentsWithStats(mask, connectivity=8)[1:3]
    size = stats[labels, cv2.CC_STAT_AREA]  # thinning one patch does not touch another
    thin = skeletonize(mask > 0)
    return [thin & (size >= least) for least in LEAST_PX]


def segments(root: np.ndarray, least_px: float) -> np.ndarray:
    """OpenCV's line segment detector, segments of at least `least_px`."""
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    found = detector.detect(np.clip(root * 255, 0, 255).astype(np.uint8))[0]
    canvas = np.zeros(root.shape, np.uint8)
    for x0, y0, x1, y1 in np.zeros((0, 4)) if found is None else found.reshape(-1, 4):
        if np.hypot(x1 - x0, y1 - y0) >= least_px:
            cv2.line(canvas, (round(x0), round(y0)), (round(x1), round(y1)), 255)
    return canvas > 0


LEVELS = (
    0.9,
    0.93,
    0.95,
    0.97,
    0.98,
    0.99,
    0.993,
    0.996,
    0.998,
)  # quantiles of a filter's response
LEAST_PX = (0, 30, 80)
LEAST_SEGMENT_PX = (0, 15, 30, 60)


@dataclass(frozen=True)
class Case:
    """One photo as a general filter gets it, its truth, and our own counts on it."""

    root: np.ndarray
    truth: np.ndarray
    ours: np.ndarray
    measured: np.ndarray | None = None  # where to look, if that is told


def masked(found: np.ndarray, case: Case) -> np.ndarray:
    return found if case.measured is None else np.where(case.measured, found, 0)


@dataclass(frozen=True)
class Score:
    """F1 over all lines of all photos together, and as the mean of the photos."""

    pooled: float
    mean: float

    @classmethod
    def of(cls, counted: Sequence[np.ndarray]) -> "Score":
        """Score photos by their counts."""
        return cls(f1(sum(counted))[2], float(np.mean([f1(one)[2] for one in counted])))

    def better(self, other: "Score") -> "Score":
        """Take the better of each."""
        return Score(max(self.pooled, other.pooled), max(self.mean, other.mean))


NONE = Score(0.0, 0.0)


@dataclass(frozen=True)
class Best:
    """A filter's best score at its best threshold, and with the best least length besides."""

    alone: Score
    helped: Score

    @classmethod
    def of(cls, scored: Sequence[tuple[int, Score]]) -> "Best":
        """Take the best of scores that were reached with a least length each."""
        alone, helped = NONE, NONE
        for least, score in scored:
            alone = alone.better(score) if least == 0 else alone
            helped = helped.better(score)
        return cls(alone, helped)


def counted(
    responses: Sequence[np.ndarray], cases: Sequence[Case]
) -> dict[tuple[float, int], list[np.ndarray]]:
    """Counts of every photo at every threshold, the same for all photos, and every least area."""
    pool = np.concatenate([r[::7, ::7].ravel() for r in responses])
    found: dict[tuple[float, int], list[np.ndarray]] = {}
    for q in LEVELS:
        level = float(np.quantile(pool, q))
        for response, case in zip(responses, cases, strict=True):
            for least, thin in zip(LEAST_PX, thinned(response, level), strict=True):
                found.setdefault((q, least), []).append(counts(thin, case.truth))
    return found


def best_of(found: dict[tuple[float, int], list[np.ndarray]], chosen: Sequence[int]) -> Best:
    """Best scores of one filter on some of the photos, over thresholds and least areas."""
    return Best.of(
        [(least, Score.of([rows[k] for k in chosen])) for (_, least), rows in found.items()]
    )


def best_segments(cases: Sequence[Case]) -> Best:
    """Best scores of OpenCV's segments, as they are and over their least length."""
    scored = []
    for least in LEAST_SEGMENT_PX:
        found = [counts(masked(segments(c.root, least), c) > 0, c.truth) for c in cases]
        scored.append((least, Score.of(found)))
    return Best.of(scored)
