"""Traced outlines freed of perspective, against a camera written apart from the solver."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.car.outline import OutlineError, click_error_mm, rectify

SIDE = 300.0
SQUARE_MM = np.array([[0, 0], [SIDE, 0], [SIDE, SIDE], [0, SIDE]])
DOOR_MM = np.array([[-300.0, -250], [650, -250], [700, 380], [420, 520], [-280, 500]])


def seen(points_mm: np.ndarray, tilt: float, pan: float, roll: float) -> np.ndarray:
    """Return pixels of a pinhole camera 1.6 m from the panel, turned by three angles [rad]."""
    turns = [np.array([tilt, 0, 0]), np.array([0, pan, 0]), np.array([0, 0, roll])]
    rotation = np.eye(3)
    for turn in turns:
        rotation = cv2.Rodrigues(turn)[0] @ rotation
    flat = np.column_stack([points_mm[:, 0], -points_mm[:, 1], np.zeros(len(points_mm))])
    lens = np.array([[2400.0, 0, 2000], [0, 2400, 1500], [0, 0, 1]])
    ahead = (rotation @ flat.T).T + np.array([0, 0, 1600])
    pixels = (lens @ ahead.T).T
    return pixels[:, :2] / pixels[:, 2:]


def at_origin(points: np.ndarray) -> np.ndarray:
    return np.asarray(points - points.min(axis=0))


@settings(max_examples=60, deadline=None)
@given(
    st.floats(-0.6, 0.6), st.floats(-0.6, 0.6), st.floats(-0.25, 0.25), st.permutations(range(4))
)
def test_the_camera_is_undone(tilt: float, pan: float, roll: float, order: list[int]) -> None:
    square = seen(SQUARE_MM, tilt, pan, roll)[order]
    found = rectify(
        seen(DOOR_MM, tilt, pan, roll).tolist(), square_px=square.tolist(), square_mm=SIDE
    )
    assert np.asarray(found) == pytest.approx(at_origin(DOOR_MM), abs=1e-6)


def test_agrees_with_the_vision_library() -> None:
    square = np.array([[812.0, 640], [1395, 702], [1350, 1290], [790, 1205]])
    traced = [(300.0, 420), (1900, 500), (1800, 1500), (400, 1400)]
    target = np.float32([[0, SIDE], [SIDE, SIDE], [SIDE, 0], [0, 0]])
    matrix = cv2.getPerspectiveTransform(np.float32(square), target)
    theirs = cv2.perspectiveTransform(np.float64(traced).reshape(1, -1, 2), matrix)[0]
    found = rectify(traced, square_px=square.tolist(), square_mm=SIDE)
    expected = {tuple(np.round(p, 2)) for p in at_origin(theirs)}
    assert {tuple(np.round(p, 2)) for p in np.asarray(found)} == expected


def test_up_in_the_photo_is_up_on_the_panel() -> None:
    square = [(100, 100), (200, 100), (200, 200), (100, 200)]
    triangle = [(100, 50), (300, 250), (100, 250)]  # right angle at the lower left of the photo
    found = rectify(triangle, square_px=square, square_mm=100.0)
    assert {tuple(round(v, 9) for v in p) for p in found} == {(0, 0), (200, 0), (0, 200)}


def test_click_error_agrees_with_throwing_the_dice() -> None:
    rng = np.random.default_rng(7)
    square, door = seen(SQUARE_MM, 0.3, -0.2, 0.0), seen(DOOR_MM, 0.3, -0.2, 0.0)
    target = np.float32([[0, 0], [SIDE, 0], [SIDE, SIDE], [0, SIDE]])
    thrown = []
    for _ in range(3000):
        noisy = np.float32(square + rng.normal(0, 1.0, square.shape))
        matrix = cv2.getPerspectiveTransform(noisy, target)
        thrown.append(cv2.perspectiveTransform(door.reshape(1, -1, 2), matrix)[0])
    spread = np.sqrt(np.asarray(thrown).var(axis=0).sum(axis=1)).max()
    given_ = {"square_px": square.tolist(), "square_mm": SIDE}
    assert click_error_mm(door.tolist(), **given_) == pytest.approx(spread, rel=0.06)
    doubled = click_error_mm(door.tolist(), click_px=2.0, **given_)
    assert doubled == pytest.approx(2 * click_error_mm(door.tolist(), **given_))


GOOD = [(100, 100), (200, 100), (200, 200), (100, 200)]


@pytest.mark.parametrize(
    ("square", "side", "words"),
    [
        (GOOD[:3], 300.0, "3 corners"),
        ([(100, 100), (200, 100), (120, 120), (100, 200)], 300.0, "do not look like a square"),
        ([(100, 100), (110, 100), (110, 110), (100, 110)], 300.0, "do not look like a square"),
        ([(100, 100), (900, 101), (900, 116), (100, 115)], 300.0, "do not look like a square"),
        ([(100, 100), (200, 100), (200, math.nan), (100, 200)], 300.0, "point 3"),
        (GOOD, 0.0, "a square of 0 mm"),
        (GOOD, math.inf, "a square of inf mm"),
    ],
)
def test_a_square_that_is_none_is_refused(
    square: list[tuple[float, float]], side: float, words: str
) -> None:
    with pytest.raises(OutlineError, match=words):
        rectify([(0, 0), (500, 0), (500, 500)], square_px=square, square_mm=side)


def test_beyond_the_horizon_is_refused() -> None:
    leaning = [(1000, 1000), (1200, 1000), (1300, 1200), (900, 1200)]  # lines meet above
    with pytest.raises(OutlineError, match="point 2 lies beyond the horizon"):
        rectify([(900, 1200), (1100, 300), (1300, 1200)], square_px=leaning, square_mm=SIDE)
