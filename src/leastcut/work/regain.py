"""Tell whether the square is really where it was followed to, and find it again when it is not.

A phone that is knocked moves the picture by more than the search reaches; two sides then slide
along the tape and the other two settle on other edges. What lies on either side of each edge tells:
paint within, tape without, as when the square was first found.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from leastcut.inspect.arrays import F32, U8
from leastcut.work import quad, view
from leastcut.work.view import Anchor, Pose

LEAST_STEP = 0.35  # of the first step from paint to tape that a side must still show
LEAST_SIDES = 3  # the arm may hide one

LEAST_OF_A_SIDE = 0.12  # of its samples

# A camera that shakes hardly changes the square's form (linear part, perspective) between frames.
MOST_CHANGE = np.array([0.08] * 4 + [0.04] * 2)


@dataclass(frozen=True)
class Tape:
    """The steps of colour from paint to tape at the four sides, (4, 3)."""

    steps: F32


def tape(frame: U8, place: Anchor) -> Tape:
    """Note the tape's look in the frame in which the square was found."""
    return Tape(quad.steps(frame, place.corners_px))


def holds(frame: U8, place: Anchor, pose: Pose, at_first: Tape) -> bool:
    """Tell whether something of each side is seen, and three sides part paint from the same tape."""
    if pose.seen < view.LEAST_SEEN or pose.worst_side < LEAST_OF_A_SIDE:
        return False
    corners = cv2.perspectiveTransform(place.corners_px[None], view.matrix(place, pose))[0]
    now = quad.steps(frame, np.asarray(corners, np.float64))
    alike = (now * at_first.steps).sum(1) > LEAST_STEP * (at_first.steps**2).sum(1)
    return bool(alike.sum() >= LEAST_SIDES)


def steady(before: Pose | None, now: Pose | None, times: float = 1.0) -> bool:
    """Tell whether the square kept its form: a side that settled on an arm's edge bends it."""
    if before is None or now is None:
        return False
    change = np.abs(now.parameters - before.parameters)[2:]
    return bool((change < times * MOST_CHANGE).all())


def again(frame: U8, place: Anchor, at_first: Tape) -> Pose | None:
    """Look for the square in the whole frame; return its pose, or None."""
    corners = view.square_corners(frame)
    if corners is None:
        return None
    pose = view.follow(frame, place, view.pose_of(place, corners))
    return pose if holds(frame, place, pose, at_first) else None
