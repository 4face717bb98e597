"""What is left undecided is said so: no pad to learn, no square to find again, no way to believe."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from leastcut.errors import Refusal
from leastcut.work import look, regain, view
from leastcut.work.follow import Track
from leastcut.work.sheet import Sheet
from leastcut.work.trust import doubt, sifted

SHEET = Sheet(side_mm=330.0, margin_mm=120.0, grid_mm=3.0, from_first=np.eye(3))
PAINT = (60, 40, 30)
ORANGE = (40, 120, 240)


def still() -> np.ndarray:
    """A dark panel, square on, with a little grain."""
    rng = np.random.default_rng(5)
    size = SHEET.size
    return np.clip(rng.normal(PAINT, 1.0, (size, size, 3)), 0, 255).astype(np.uint8)


def moving(colour: tuple[int, int, int] = ORANGE, *, radius: int = 22, stays: bool = False) -> list:
    """Twelve frames of a disc on its way, or of one that stays where it is."""
    flats = []
    for k in range(12):
        frame = still()
        at = (100, 95) if stays else (60 + 7 * k, 60 + 6 * k)
        cv2.circle(frame, at, radius, colour, -1)
        flats.append(frame)
    return flats


def seen() -> np.ndarray:
    return np.ones((SHEET.size, SHEET.size), bool)


def colour_of(bgr: tuple[int, int, int]) -> np.ndarray:
    return look.lab(np.full((1, 1, 3), bgr, np.uint8))[0, 0]


def why(found: object) -> str:
    assert isinstance(found, Refusal)
    assert found.do
    return found.why


@pytest.fixture(scope="module")
def learnt() -> tuple[look.Look, ...]:
    found = look.learn(moving(), SHEET, seen())
    assert not isinstance(found, Refusal)
    return found


def test_a_disc_that_moves_is_learnt_with_its_size(learnt: tuple[look.Look, ...]) -> None:
    found = learnt
    assert np.abs(found[0].colour - colour_of(ORANGE)).max() < 6
    assert found[0].radius_px == pytest.approx(22, rel=0.1)
    assert not isinstance(look.apart(found[0], SHEET), Refusal)


def test_a_video_in_which_nothing_moves_teaches_no_pad() -> None:
    assert why(look.learn([still()] * 8, SHEET, seen())) == "nothing moves in the video"


def test_what_moves_and_is_not_round_is_no_pad() -> None:
    flats = []
    for k in range(12):
        frame = still()
        cv2.line(frame, (10 + 14 * k, 0), (30 + 14 * k, SHEET.size), ORANGE, 3)
        flats.append(frame)
    assert "no round pad of one colour" in why(look.learn(flats, SHEET, seen()))


def test_what_has_the_colour_of_the_paint_is_no_pad() -> None:
    flats = []
    for k in range(12):
        frame = still()
        frame[:, :70] = 220  # a pale wall beside the car
        cv2.circle(frame, (35, 30 + 10 * k), 22, PAINT, -1)
        flats.append(frame)
    assert "no round pad of one colour" in why(look.learn(flats, SHEET, seen()))


def test_the_colour_that_was_clicked_is_found_or_refused() -> None:
    clicked = look.from_colour(colour_of(ORANGE), moving(), SHEET, seen())
    assert not isinstance(clicked, Refusal)
    assert clicked.radius_px == pytest.approx(22, rel=0.1)
    other = look.from_colour(colour_of((40, 220, 40)), moving(), SHEET, seen())
    assert "of the clicked colour" in why(other)


def test_a_disc_that_stays_is_not_taken_for_a_working_pad() -> None:
    found = look.from_colour(colour_of(ORANGE), moving(stays=True), SHEET, seen())
    assert "of the clicked colour" in why(found)


def test_a_pad_of_the_colour_of_the_paint_is_refused(learnt: tuple[look.Look, ...]) -> None:
    alike = replace(learnt[0], colour=colour_of(PAINT))
    assert "too much alike" in why(look.apart(alike, SHEET))


CORNERS = np.array([[120.0, 60.0], [360.0, 60.0], [360.0, 220.0], [120.0, 220.0]])


def taped(shift: int = 0) -> np.ndarray:
    """A frame with a pale tape round a dark square."""
    frame = np.full((270, 480, 3), PAINT, np.uint8)
    left, top, right, low = 120 + shift, 60, 360 + shift, 220
    cv2.rectangle(frame, (left - 10, top - 10), (right + 10, low + 10), (210, 215, 220), -1)
    cv2.rectangle(frame, (left, top), (right, low), PAINT, -1)
    return cv2.GaussianBlur(frame, (0, 0), 0.8)


@pytest.fixture(scope="module")
def first() -> tuple[view.Anchor, regain.Tape]:
    frame = taped()
    corners = view.square_corners(frame)
    assert corners is not None
    assert np.abs(corners - CORNERS).max() < 2.0
    place = view.anchor(frame, corners)
    return place, regain.tape(frame, place)


def test_a_square_that_jumped_is_found_again(first: tuple[view.Anchor, regain.Tape]) -> None:
    place, tape = first
    pose = regain.again(taped(60), place, tape)
    assert pose is not None
    moved = cv2.perspectiveTransform(place.corners_px[None], view.matrix(place, pose))[0]
    assert np.abs(moved - (CORNERS + np.array([60, 0]))).max() < 2.0


def test_no_square_is_found_where_there_is_none(first: tuple[view.Anchor, regain.Tape]) -> None:
    place, tape = first
    assert regain.again(np.full((270, 480, 3), 60, np.uint8), place, tape) is None


def test_a_square_of_another_tape_is_not_the_one(first: tuple[view.Anchor, regain.Tape]) -> None:
    place, tape = first
    other = regain.Tape(-tape.steps)  # a tape darker than its paint
    assert regain.again(taped(40), place, other) is None


def test_a_square_of_which_little_is_seen_does_not_hold(
    first: tuple[view.Anchor, regain.Tape],
) -> None:
    place, tape = first
    pose = view.follow(taped(), place, view.pose_of(place, place.corners_px))
    assert regain.holds(taped(), place, pose, tape)
    assert not regain.holds(taped(), place, replace(pose, seen=0.01), tape)
    assert not regain.holds(taped(), place, replace(pose, worst_side=0.0), tape)


def test_a_form_is_steady_only_against_a_form(first: tuple[view.Anchor, regain.Tape]) -> None:
    place, _ = first
    pose = view.follow(taped(), place, view.pose_of(place, place.corners_px))
    assert regain.steady(pose, pose)
    assert not regain.steady(None, pose)
    assert not regain.steady(pose, None)
    bent = replace(pose, parameters=pose.parameters + np.array([0, 0, 0.2, 0, 0, 0, 0, 0]))
    assert not regain.steady(pose, bent)
    assert regain.steady(pose, bent, times=3.0)


N = 120


def way(**changed: object) -> Track:
    """A pad that goes back and forth for four seconds."""
    t, one = np.arange(N) / 30, np.ones(N)
    good = Track(
        t_s=t, x_mm=165 + 100 * np.sin(t), y_mm=60 * t, radius_mm=65 * one, sd_mm=one,
        square_seen=one, filled=one, elsewhere_mm=np.full(N, np.nan),
        pad_radius_mm=65.0, learnt_radius_mm=66.0, colour="#ff8800",
    )  # fmt: skip
    return replace(good, **changed)  # type: ignore[arg-type]


def doubted(track: Track) -> str:
    found = doubt(*sifted(track), 330.0)
    return "" if found is None else found.why


@pytest.mark.parametrize("count", [0, 1])
def test_too_little_seen_is_left_as_it_is(count: int) -> None:
    x = np.full(N, np.nan)
    x[:count] = 100.0
    few = way(x_mm=x)
    kept, dropped = sifted(few)
    assert kept is few
    assert dropped == 0.0
    if not count:
        assert doubt(kept, dropped, 330.0) is None


def test_each_doubt_names_what_was_seen() -> None:
    leaps = way().x_mm.copy()
    leaps[40:60] += 400
    assert "17% of its places no arm could have reached" in doubted(way(x_mm=leaps))
    rival = np.where(np.arange(N) % 12, np.nan, 200.0)
    assert "in 100% of the looks something else" in doubted(way(elsewhere_mm=rival))
    rimless = np.where(np.arange(N) % 4, np.nan, 65.0)
    assert "in only 25% of the frames" in doubted(way(radius_mm=rimless))
    assert "130 mm wide where 100 mm" in doubted(way(learnt_radius_mm=50.0))
    breathing = 65 + 12 * np.sin(np.arange(N))
    assert "changes its size" in doubted(way(radius_mm=breathing))
    assert "outside the taped square for 100%" in doubted(way(x_mm=way().x_mm + 900))
    assert doubted(way()) == ""


def test_what_an_arm_reaches_from_either_side_is_kept() -> None:
    x = way().x_mm.copy()
    x[50:70] = np.nan
    x[20:22] += 500
    x[100:102] += 500
    kept, dropped = sifted(way(x_mm=x))
    assert dropped == pytest.approx(4 / 100)
    assert np.isfinite(kept.x_mm[[0, 30, 90, 110]]).all()
    assert np.isnan(kept.x_mm[[20, 21, 100, 101]]).all()
