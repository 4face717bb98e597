"""The parts of the tracker, one by one: square, pose, look, pad, still places."""

from collections import deque
from dataclasses import replace
from functools import cache
from itertools import islice

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from takes import Take, camera, frames, truth

from conftest import ONE_SET
from leastcut.errors import Refusal
from leastcut.polish.records import PadSettings
from leastcut.work import follow, look, pad, quad, view
from leastcut.work.coverage import parked
from leastcut.work.follow import Ask
from leastcut.work.path import Path
from leastcut.work.sheet import lay

SMALL = replace(ONE_SET, size=(480, 270), shake_px=0.0)


def true_corners(take: Take) -> np.ndarray:
    s = take.square_mm
    corners = np.array([[[0, 0], [s, 0], [s, s], [0, s]]], float)
    return cv2.perspectiveTransform(corners, camera(take))[0]


@pytest.mark.parametrize("turn", [-12.0, 0.0, 9.0])
def test_the_square_is_found_behind_the_arm(turn: float) -> None:
    take = replace(SMALL, turn_deg=turn)
    frame = next(frames(take))[1]
    found = view.square_corners(frame)
    assert found is not None
    assert np.abs(found - true_corners(take)).max() < 1.5  # px of 480: 2.5 mm


def test_straight_edges_of_other_things_are_no_square() -> None:
    bare = np.full((270, 480, 3), 60, np.uint8)
    assert quad.find(bare) is None
    cv2.rectangle(bare, (100, 60), (300, 220), (200, 200, 200), 1)
    cv2.line(bare, (50, 20), (400, 250), (90, 90, 200), 12)
    assert view.square_corners(bare) is None


def test_sides_that_do_not_show_leave_the_square_unplaced() -> None:
    corners = np.array([[100, 60], [300, 60], [300, 220], [100, 220]], float)
    plain = np.full((270, 480, 3), 60, np.uint8)
    assert view.refined(plain, corners) is None
    soft = plain.copy()
    soft[:, 301:] = soft[:60] = soft[221:] = soft[:, :100] = 200
    soft[60:221, 280:320] = (20 + 5 * np.arange(40))[None, :, None]  # a slope instead of an edge
    assert view.refined(soft, corners) is None


def test_a_square_beyond_the_frame_is_no_use() -> None:
    frame = next(frames(SMALL))[1]
    assert view._usable(frame, true_corners(SMALL))
    assert not view._usable(frame, true_corners(SMALL) + np.array([400.0, 0.0]))
    assert not view._usable(frame, true_corners(SMALL) * np.nan)


def test_one_edge_alone_is_no_square() -> None:
    frame = np.full((270, 480, 3), 60, np.uint8)
    frame[:, 240:] = 200
    assert quad.find(frame) is None


def test_the_middle_picture_of_a_short_clip_serves() -> None:
    grey = np.full((270, 480, 3), 90, np.uint8)
    held = [(0.0, grey), *islice(frames(SMALL), 7)]
    begun = follow._begin(iter(held), Ask(SMALL.square_mm))
    assert not isinstance(begun, Refusal)
    assert np.abs(begun[0].place.corners_px - true_corners(SMALL)).max() < 1.5


def test_a_rim_that_is_elsewhere_is_not_taken() -> None:
    a = np.linspace(0, 2 * np.pi, 60)
    ring = np.column_stack([100 + 30 * np.cos(a), 50 + 30 * np.sin(a)])
    assert pad._circle(ring, 30.0, (100.0, 52.0))[:2] == pytest.approx((100.0, 50.0), abs=0.01)
    assert pad._circle(ring, 30.0, (78.0, 50.0)) is None


@given(st.floats(-6, 6), st.floats(-6, 6), st.floats(-0.015, 0.015), st.floats(-0.015, 0.015))
@settings(max_examples=15, deadline=None)
def test_a_shaken_camera_is_followed(dx: float, dy: float, turn: float, grow: float) -> None:
    """Against the warp that OpenCV itself laid on the frame."""
    frame = next(frames(replace(SMALL, arm=False, cord=False, noise=1.0)))[1]
    place = view.anchor(frame, true_corners(SMALL))
    c, s = (1 + grow) * np.cos(turn), (1 + grow) * np.sin(turn)
    m = place.middle
    shake = np.array([[c, -s, m[0] - c * m[0] + s * m[1] + dx],
                      [s, c, m[1] - s * m[0] - c * m[1] + dy]])  # fmt: skip
    moved = cv2.warpAffine(frame, shake, (480, 270), borderMode=cv2.BORDER_REPLICATE)
    pose = view.follow(moved, place, view.STILL)
    got = cv2.perspectiveTransform(place.corners_px[None], view.matrix(place, pose))[0]
    assert np.abs(got - (place.corners_px @ shake[:, :2].T + shake[:, 2])).max() < 0.8
    assert pose.seen > 0.6


@cache
def _sheet() -> tuple[list[np.ndarray], look.Look, object]:
    seen = list(islice(frames(SMALL), 60))
    place = view.anchor(seen[0][1], true_corners(SMALL))
    sheet = lay(place, SMALL.square_mm)
    flats = [sheet.flat(f, place, view.STILL) for _, f in seen]
    shows = sheet.seen(seen[0][1].shape, place, view.STILL)
    likely = look.learn(flats[::4], sheet, shows)
    assert isinstance(likely, tuple)
    found = pad.chosen(likely, [(look.lab(flat), shows) for flat in flats[::8]])
    return flats, found, sheet


def test_the_look_is_learnt_from_motion() -> None:
    _, found, sheet = _sheet()
    assert found.radius_px * sheet.grid_mm == pytest.approx(SMALL.pad_mm / 2, rel=0.1)
    b, g, r = cv2.cvtColor(found.colour.reshape(1, 1, 3).astype(np.uint8), cv2.COLOR_LAB2BGR)[0, 0]
    assert np.abs(np.array([b, g, r], int) - SMALL.pad_bgr).max() < 30


def test_a_pad_is_found_from_anywhere_and_from_nearby() -> None:
    flats, found, sheet = _sheet()
    picture = look.lab(flats[30])
    tells = np.ones(picture.shape[:2], bool)
    everywhere = pad.locate(picture, found, None, 0.0, tells=tells)
    near = pad.locate(picture, found, (everywhere.x + 8, everywhere.y), 20.0, tells=tells)
    beside = pad.locate(picture, found, (-500.0, -500.0), 5.0, tells=tells)
    assert pad.locate(picture, found, None, 0.0, tells=~tells) == pad.NOWHERE
    assert (near.x, near.y) == pytest.approx((everywhere.x, everywhere.y), abs=0.3)
    assert beside == everywhere
    x, y = sheet.millimetres(np.array(near.x), np.array(near.y))
    assert np.hypot(*(truth(SMALL).xy_mm[30] - [x, y])) < 4.0


def test_a_pad_without_a_rim_is_placed_without_a_size() -> None:
    """All round it something that is neither pad nor ground."""
    flats, found, _ = _sheet()
    tells = np.ones(flats[6].shape[:2], bool)
    at = pad.locate(look.lab(flats[6]), found, None, 0.0, tells=tells)
    hidden = flats[6].copy()
    rows, cols = np.ogrid[: hidden.shape[0], : hidden.shape[1]]
    away = np.hypot(rows - at.y, cols - at.x) / found.radius_px
    hidden[(away > 0.9) & (away < 1.6)] = (250, 40, 200)
    disc = pad.locate(look.lab(hidden), found, None, 0.0, tells=tells)
    assert np.isnan(disc.radius)
    assert np.hypot(disc.x - at.x, disc.y - at.y) < 4


def test_an_empty_ground_holds_no_pad() -> None:
    flats, found, _ = _sheet()
    ground = cv2.cvtColor(found.ground.astype(np.uint8), cv2.COLOR_LAB2BGR)
    tells = np.ones(ground.shape[:2], bool)
    assert pad.locate(look.lab(ground), found, None, 0.0, tells=tells) == pad.NOWHERE
    assert pad.sharpened(found, [(look.lab(ground), tells)] * 4) == found
    assert len(flats) == 60


def test_alike_colours_are_refused() -> None:
    _, found, sheet = _sheet()
    refused = look.apart(replace(found, ground=0 * found.ground + found.colour + 3), sheet)
    assert isinstance(refused, Refusal)
    assert look.apart(found, sheet).gap > look.LEAST_APART
    assert "alike" in refused.why


def test_typed_corners_are_taken_at_their_word() -> None:
    looks: deque[tuple[np.ndarray, np.ndarray]] = deque()
    corners = true_corners(SMALL)
    frame = np.zeros((270, 480, 3), np.uint8)
    assert follow._look(frame, Ask(330, corners_px=corners), looks) is corners


def test_a_square_never_seen_is_given_up() -> None:
    grey = np.full((120, 160, 3), 90, np.uint8)
    endless = ((k * 2.0, grey) for k in range(10_000))
    found = follow.follow(endless, Ask(300))
    assert isinstance(found, Refusal)
    assert next(endless)[0] < 60.0  # it did not read on to the end


def test_a_pad_that_comes_late_is_still_learnt(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(follow, "WARM_S", 1.0)
    late = replace(SMALL, lead_s=1.6)
    found = follow.follow(islice(frames(late), 80), Ask(late.square_mm))
    assert not isinstance(found, Refusal)
    first = found.t_s[np.isfinite(found.x_mm)][0]
    assert first == pytest.approx(1.6, abs=0.8)


def _still(t: np.ndarray, piece: np.ndarray) -> Path:
    zero = np.zeros(len(t))
    return Path(t, zero, zero, zero, zero, piece, zero + 1, 0.0, 0.0)


def test_short_stops_and_lifts_are_no_parking() -> None:
    t = np.arange(0, 1.6, 0.1)
    assert parked(_still(t, np.repeat([0, 1], 8)), PadSettings()) == ()
    assert len(parked(_still(t, np.zeros(16, int)), PadSettings())) == 1
