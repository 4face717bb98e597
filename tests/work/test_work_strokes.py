"""Strokes, sets and spacing from paths that are written down, without any video."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from takes import serpentine

from leastcut.work.follow import Track
from leastcut.work.path import Path, down_path
from leastcut.work.strokes import hatch, simplified
from leastcut.work.technique import _hardly_moves, _speeds


def walk(points: Sequence[tuple[float, float]], speed: float = 100.0, noise: float = 0.3) -> Path:
    """Return the path of a pad that walks from point to point, seen 30 times a second."""
    xy = np.array(points, float)
    at = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    t = np.arange(0, at[-1] / speed, 1 / 30)
    rng = np.random.default_rng(2)
    x, y = (
        np.interp(t * speed, at, xy[:, k]) + noise * rng.standard_normal(len(t)) for k in (0, 1)
    )
    return down_path(track(t, x, y))


def track(t: np.ndarray, x: np.ndarray, y: np.ndarray, radius: np.ndarray | None = None) -> Track:
    """Return what the tracker would have seen."""
    size = np.full(len(t), 65.0) if radius is None else radius
    one = np.ones(len(t))
    return Track(
        t, x, y, size, one, one, one, 0 * one,
        pad_radius_mm=65.0, learnt_radius_mm=65.0, colour="#ff8800",
    )  # fmt: skip


def turned(points: Sequence[tuple[float, float]], degrees: float) -> list[tuple[float, float]]:
    """Turn points about the origin."""
    a = np.radians(degrees)
    return [(x * np.cos(a) - y * np.sin(a), x * np.sin(a) + y * np.cos(a)) for x, y in points]


@given(
    sets=st.integers(1, 4),
    spacing=st.floats(35, 70),
    wide=st.floats(260, 420),
    degrees=st.floats(0, 180),
)
@settings(max_examples=25, deadline=None)
def test_sets_and_spacing_in_any_direction(
    sets: int, spacing: float, wide: float, degrees: float
) -> None:
    one = serpentine(0, wide, spacing)
    found = hatch(walk(turned(one * sets, degrees)), pad_mm=130)
    assert found.covers == (sets, sets)
    assert found.spacing_mm == pytest.approx(spacing, rel=0.03)
    assert abs((found.degrees - degrees + 45) % 90 - 45) < 2


def test_one_direction_alone_is_no_set() -> None:
    lines = serpentine(0, 300, 60)
    found = hatch(walk(lines[: len(lines) // 2]), pad_mm=130)
    assert sorted(found.covers) == [0, 1]


def test_up_and_down_again_covers_twice() -> None:
    down = serpentine(0, 300, 60)[:12]
    found = hatch(walk([*down, *down[::-1]]), pad_mm=130)
    assert sorted(found.covers) == [0, 2]


def test_each_line_there_and_back_is_one_cover() -> None:
    points = [p for y in range(0, 301, 60) for p in ((0, y), (300, y), (0, y))]
    found = hatch(walk(points), pad_mm=130)
    assert max(found.covers) == 1
    assert found.spacing_mm == pytest.approx(60, rel=0.05)


def test_a_skipped_line_does_not_move_the_spacing() -> None:
    found = hatch(walk(serpentine(0, 360, 60, skip=3)), pad_mm=130)
    assert found.spacing_mm == pytest.approx(60, rel=0.03)
    assert found.covers == (1, 1)


def test_a_slanting_way_belongs_to_no_direction() -> None:
    points = [*serpentine(0, 300, 60), (0, 0), (300, 190)]
    kinds = {s.family for s in hatch(walk(points), pad_mm=130).strokes}
    assert kinds == {0, 1, -1}


def test_nothing_walked_is_no_stroke() -> None:
    found = hatch(walk([(0, 0), (3, 0)]), pad_mm=130)
    assert found.strokes == ()
    assert found.spacing_mm is None


@given(st.lists(st.tuples(st.integers(-500, 500), st.integers(-500, 500)), min_size=2, max_size=40))
@settings(max_examples=50, deadline=None)
def test_a_simplified_way_stays_near(points: list[tuple[int, int]]) -> None:
    """source: shapely's simplify keeps within the same bound; recomputed by distances to it."""
    import shapely

    xy = np.array(points, float)
    kept = simplified(xy, 10.0)
    assert kept[0] == 0
    assert kept[-1] == len(xy) - 1
    line = shapely.LineString(xy[kept])
    assert shapely.distance(line, shapely.points(xy)).max() <= 10.0 + 1e-6


def test_a_lift_parts_the_path_and_counts() -> None:
    t = np.arange(0, 6, 1 / 30)
    high = (t >= 2) & (t < 3)
    seen = track(t, 50 * t, 0 * t, np.where(high, 74.0, 65.0))
    path = down_path(seen)
    assert path.lifted_s == pytest.approx(1.0, abs=0.1)
    assert path.piece.max() == 1
    assert path.spells_s().sum() == pytest.approx(5.0, abs=0.15)


def test_strays_and_short_gaps_are_bridged() -> None:
    t = np.arange(0, 6, 1 / 30)
    x, y = 50 * t, np.zeros(len(t))
    x[40] += 300
    x[100:106] = y[100:106] = np.nan
    path = down_path(track(t, x, y))
    assert path.piece.max() == 0
    assert np.abs(path.x_mm - 50 * path.t_s).max() < 1
    assert path.speed_mm_s == pytest.approx(50, abs=1)
    assert path.unseen_s == pytest.approx(7 / 30, abs=0.02)


def test_a_long_gap_parts_the_path() -> None:
    t = np.arange(0, 6, 1 / 30)
    x = 50 * t
    x[60:100] = np.nan
    assert down_path(track(t, x, 0 * t)).piece.max() == 1


def test_what_is_hardly_seen_or_hardly_moves_is_refused() -> None:
    t = np.arange(0, 6, 1 / 30)
    some = track(t, 50 * t, 0 * t)
    assert _hardly_moves(down_path(some), some) is None
    still = track(t, 50 + 0 * t, 0 * t)
    assert "hardly moves" in _hardly_moves(down_path(still), still).why
    gone = track(t, np.where(t % 1 < 0.5, 50 * t, np.nan), 0 * t)
    assert "in only 5" in _hardly_moves(down_path(gone), gone).why
    never = track(t, np.nan * t, 0 * t)
    assert "in only 0%" in _hardly_moves(down_path(never), never).why


def test_a_way_without_strokes_has_no_arm_speed() -> None:
    path = walk([(0, 0), (3, 0)])
    assert _speeds(path, hatch(path, pad_mm=130)) is None


def test_a_few_places_are_still_a_path() -> None:
    t = np.array([0.0, 0.5, 1.0])
    path = down_path(track(t, t, t))
    assert len(path.t_s) == 3
