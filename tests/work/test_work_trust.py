"""A way that is not one pad's is refused: from numbers, and from drawn takes that mislead."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import islice

import cv2
import numpy as np
import pytest
import takes
from judge import path_error_mm
from takes import Take, frames

from conftest import ONE_SET
from leastcut.work import regain, view
from leastcut.work.follow import Ask, Track
from leastcut.work.technique import technique
from leastcut.work.trust import doubt, sifted

N = 300


def track(**changed: np.ndarray | float) -> Track:
    """Return a pad that goes back and forth over a square of 330 mm, ten seconds long."""
    t = np.arange(N) / 30
    one = np.ones(N)
    good = Track(
        t_s=t, x_mm=165 + 100 * np.sin(t), y_mm=30 * t, radius_mm=65 * one, sd_mm=one,
        square_seen=one, filled=one, elsewhere_mm=np.where(np.arange(N) % 12, np.nan, 0.0),
        pad_radius_mm=65.0, learnt_radius_mm=66.0, colour="#ff8800",
    )  # fmt: skip
    return replace(good, **changed)


def why(given: Track) -> str | None:
    refused = doubt(*sifted(given), 330.0)
    return refused.why if refused else None


def test_an_even_way_is_not_doubted() -> None:
    kept, dropped = sifted(track())
    assert dropped == 0
    assert np.array_equal(kept.x_mm, track().x_mm)
    assert why(track()) is None


def test_a_short_visit_elsewhere_is_left_out() -> None:
    x = track().x_mm.copy()
    x[100:104] += 250
    kept, dropped = sifted(track(x_mm=x))
    assert dropped == pytest.approx(4 / N)
    assert np.flatnonzero(np.isnan(kept.x_mm)).tolist() == [100, 101, 102, 103]
    assert np.isnan(kept.radius_mm[100:104]).all()
    assert why(track(x_mm=x)) is None


def test_a_visit_at_the_start_is_left_out_too() -> None:
    x = track().x_mm.copy()
    x[:5] += 250
    x[5:8] = np.nan
    kept, dropped = sifted(track(x_mm=x))
    assert dropped == pytest.approx(5 / (N - 3))
    assert np.isnan(kept.x_mm[:8]).all()


def test_what_an_arm_reaches_is_kept() -> None:
    x = track().x_mm.copy()
    x[100:112] = np.nan  # 0.4 s out of sight, 60 mm further on
    x[112:] += 60
    assert sifted(track(x_mm=x))[1] == 0
    assert sifted(track(x_mm=np.full(N, np.nan)))[1] == 0


LEAP = np.where(np.arange(N) % 60 < 12, 250.0, 0.0)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (track(x_mm=track().x_mm + LEAP), "leaps: 20%"),
        (track(elsewhere_mm=np.where(np.arange(N) % 24, np.nan, 90.0)), "as much like the pad"),
        (track(radius_mm=np.where(np.arange(N) % 3, np.nan, 65.0)), "only 33%"),
        (track(learnt_radius_mm=40.0), "130 mm wide where 80 mm"),
        (track(radius_mm=65 + 20 * np.sin(np.arange(N))), "changes its size"),
        (track(x_mm=track().x_mm + 400), "outside the taped square"),
    ],
)
def test_each_doubt_has_its_reason(given: Track, words: str) -> None:
    found = why(given)
    assert found is not None
    assert words in found


def test_nothing_seen_leaves_nothing_to_doubt() -> None:
    assert why(track(x_mm=np.full(N, np.nan))) is None


SHORT = replace(ONE_SET, size=(480, 270))


def _drawn(
    monkeypatch: pytest.MonkeyPatch, more: Callable[[np.ndarray, np.ndarray, Take], None]
) -> None:
    plain = takes._draw

    def draw(scene: np.ndarray, at: np.ndarray, take: Take, size: float) -> None:
        plain(scene, at, take, size)
        more(scene, at, take)

    monkeypatch.setattr(takes, "_draw", draw)


def _disc(
    scene: np.ndarray, at: np.ndarray, take: Take, share: float, bgr: tuple[int, ...]
) -> None:
    radius = share * take.pad_mm / 2 * takes.FINE
    cv2.circle(scene, tuple(int(v) for v in at), int(radius), bgr, -1, cv2.LINE_AA)


def _right_or_refused(take: Take, count: int = 80) -> str:
    finding = technique(islice(frames(take), count), Ask(take.square_mm)).finding
    if finding.refused:
        return finding.refused.why
    assert path_error_mm(finding, take) < 10.0
    return ""


def test_a_second_pad_that_moves_is_not_followed_in_silence(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def other(scene: np.ndarray, at: np.ndarray, take: Take) -> None:
        _disc(scene, np.array(scene.shape[:2]) - at, take, 1.0, take.pad_bgr)

    _drawn(monkeypatch, other)
    assert _right_or_refused(SHORT)


def test_a_machine_that_hides_the_pad_is_not_followed_in_silence(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    _drawn(monkeypatch, lambda scene, at, take: _disc(scene, at, take, 0.9, (52, 52, 52)))
    _right_or_refused(SHORT)


def test_a_black_pad_is_told_from_what_lies_beyond_the_frame() -> None:
    """The raster is black where the camera shows nothing; a black pad is not there."""
    take = Take(
        square_mm=271.3, spacing_mm=60.0, speed_mm_s=240.0, pad_mm=80.0, pad_bgr=(25, 25, 25),
        paint_bgr=(30, 30, 160), fps=25.0, tilt=0.16, turn_deg=-5.3, noise=3.7, size=(480, 270),
    )  # fmt: skip
    assert _right_or_refused(take) == ""


def _knocked(take: Take, at_s: float) -> Iterator[tuple[float, np.ndarray]]:
    for t, frame in frames(take):
        if t > at_s:
            move = cv2.getRotationMatrix2D((240, 135), 5.0, 1.0)
            move[:, 2] += (50, 6)
            frame = cv2.warpAffine(frame, move, (480, 270), borderMode=cv2.BORDER_REPLICATE)  # noqa: PLW2901
        yield t, frame


def test_a_knocked_phone_is_found_again() -> None:
    finding = technique(islice(_knocked(SHORT, 1.5), 80), Ask(SHORT.square_mm)).finding
    assert finding.refused is None
    assert path_error_mm(finding, SHORT) < 3.0


def test_a_square_of_another_form_needs_a_second_look() -> None:
    bent = view.Pose(np.array([0, 0, 0.3, 0, 0, 0, 0, 0.2]), 0.9, 0.1)
    assert regain.steady(view.STILL, view.STILL)
    assert not regain.steady(view.STILL, bent)
    assert regain.steady(bent, bent)
    assert not regain.steady(None, bent)


def test_a_side_out_of_sight_leaves_the_square_unheld() -> None:
    frame = next(frames(SHORT))[1]
    corners = view.square_corners(frame)
    assert corners is not None
    place = view.anchor(frame, corners)
    tape = regain.tape(frame, place)
    pose = view.follow(frame, place, view.STILL)
    assert regain.holds(frame, place, pose, tape)
    assert not regain.holds(frame, place, replace(pose, worst_side=0.0), tape)
    assert not regain.holds(255 - frame, place, pose, tape)
    assert regain.again(np.full_like(frame, 60), place, tape) is None
    back = view.pose_of(place, corners + 3.0)
    moved = cv2.perspectiveTransform(corners[None], view.matrix(place, back))[0]
    assert np.abs(moved - corners - 3.0).max() < 1e-3
