"""The section seen square on: frames warped to one raster in millimetres."""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from leastcut.inspect.arrays import F64, U8, Bools
from leastcut.work.view import Anchor, Pose, matrix

LARGEST_PX = 340
FINEST_MM = 2.0
MARGIN_SHARE = 0.3
LEAST_MARGIN_MM = 120.0


@dataclass(frozen=True)
class Sheet:
    """A raster over the square and a margin; row 0 at the top, like a picture.

    Attributes
    ----------
    side_mm, margin_mm, grid_mm : float
        Inner side of the square, what is kept around it, size of a pixel.
    from_first : ndarray (3, 3)
        From the first frame's pixels to this raster's.
    """

    side_mm: float
    margin_mm: float
    grid_mm: float
    from_first: F64

    @property
    def size(self) -> int:
        """Pixels along one side of the raster."""
        return math.ceil((self.side_mm + 2 * self.margin_mm) / self.grid_mm)

    def flat(self, frame: U8, place: Anchor, pose: Pose) -> U8:
        """Return the frame square on, (size, size, 3)."""
        h = self.from_first @ np.linalg.inv(matrix(place, pose))
        return np.asarray(
            cv2.warpPerspective(frame, h, (self.size, self.size), flags=cv2.INTER_LINEAR), np.uint8
        )

    def seen(self, shape: tuple[int, ...], place: Anchor, pose: Pose) -> Bools:
        """Return which of the raster's pixels the frame shows at all."""
        return self.flat(np.full((*shape[:2], 3), 255, np.uint8), place, pose)[..., 0] > 250

    def millimetres(self, x_px: F64, y_px: F64) -> tuple[F64, F64]:
        """Return x to the right and y up from the square's lower left corner [mm]."""
        x = (x_px + 0.5) * self.grid_mm - self.margin_mm
        return x, self.side_mm + self.margin_mm - (y_px + 0.5) * self.grid_mm

    def pixel(self, x_first: float, y_first: float) -> tuple[float, float]:
        """Return the raster's pixel of a pixel of the first frame."""
        at = np.array([[[x_first, y_first]]], np.float64)
        x, y = cv2.perspectiveTransform(at, self.from_first)[0, 0]
        return float(x), float(y)


def lay(place: Anchor, side_mm: float) -> Sheet:
    """Return the raster for a square of inner side `side_mm` [mm]."""
    margin = max(MARGIN_SHARE * side_mm, LEAST_MARGIN_MM)
    grid = max(FINEST_MM, (side_mm + 2 * margin) / LARGEST_PX)
    low, high = margin / grid - 0.5, (margin + side_mm) / grid - 0.5
    corners = np.array([[low, low], [high, low], [high, high], [low, high]], np.float32)
    to = cv2.getPerspectiveTransform(place.corners_px.astype(np.float32), corners)
    return Sheet(side_mm, margin, grid, np.asarray(to, np.float64))
