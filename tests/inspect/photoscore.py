"""Scores of found lines against the renderer's truth.

source: precision and recall of centre lines within a tolerance: Wiedemann et al. 1998 (road
extraction's correctness and completeness); status: memory.
"""

import cv2
import numpy as np
from render import KINDS, MIN_LEVELS, Truth, truth_mask
from render_scene import Scene

from leastcut.inspect.records import ScratchFinding

_DISC = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))  # 3 pixels


def counts(found: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Return found near truth, found, truth near found, truth [px]."""
    found = found > 0
    near_truth = cv2.dilate(truth.astype(np.uint8), _DISC) > 0
    near_found = cv2.dilate(found.astype(np.uint8), _DISC) > 0
    return np.array(
        [(found & near_truth).sum(), found.sum(), (truth & near_found).sum(), truth.sum()], float
    )


def f1(total: np.ndarray) -> tuple[float, float, float]:
    """Return precision, recall and their harmonic mean."""
    precision, recall = total[0] / max(total[1], 1), total[2] / max(total[3], 1)
    return precision, recall, 2 * precision * recall / max(precision + recall, 1e-9)


def truth_lines(scene: Scene, truth: Truth) -> np.ndarray:
    return truth_mask(scene, truth, MIN_LEVELS)


def kinds_right(finding: ScratchFinding, truth: Truth) -> np.ndarray:
    """Return length with the right kind and length compared [px], over found pieces near a truth."""
    from scipy.spatial import cKDTree

    lit = truth.levels > MIN_LEVELS / 2
    own = truth.strokes
    tree = cKDTree(np.column_stack([own.x[lit], own.y[lit]]))
    kind, theta = own.kind[own.owner[lit]], own.theta[lit]
    right = compared = 0.0
    for scratch in finding.scratches:
        points = np.asarray(scratch.points_px)
        step = np.diff(points, axis=0)
        length, heading = np.hypot(*step.T), np.arctan2(step[:, 1], step[:, 0])
        distance, at = tree.query((points[1:] + points[:-1]) / 2, k=4)
        turn = np.abs((theta[at] - heading[:, None] + np.pi / 2) % np.pi - np.pi / 2)
        pick = (distance + 15 * turn).argmin(1)
        rows = np.arange(len(pick))
        near = distance[rows, pick] < 4
        true = kind[at[rows, pick]]
        compared += float(length[near].sum())
        right += float(length[near & (true == KINDS.index(scratch.kind))].sum())
    return np.array([right, compared])
