"""Which bright patch is the lamp, how wide the bounds are, and what other lines' light takes off."""

import numpy as np
import pytest

from leastcut.inspect import compare, light, scratches
from leastcut.inspect.light import Elements


def round_about(centre: tuple[float, float], count: int, rng: np.random.Generator) -> Elements:
    """Pieces of line along circles round one place, each up to 40 px off in deviation."""
    x, y = rng.uniform(0, 1200, count), rng.uniform(0, 900, count)
    away = np.hypot(x - centre[0], y - centre[1])
    off = np.arcsin(np.clip(rng.normal(0, 20, count) / np.maximum(away, 25), -1, 1))
    theta = np.arctan2(y - centre[1], x - centre[0]) + np.pi / 2 + off
    return Elements(x, y, theta % np.pi, np.full(count, 40.0), np.arange(count))


def test_the_lamp_is_the_patch_round_which_the_lines_lie() -> None:
    rng = np.random.default_rng(5)
    place = light.field(np.ones((900, 1200), bool))
    wall, lamp = (1000.0, 200.0, 60.0), (400.0, 500.0, 20.0)
    found = light.correct(round_about(lamp[:2], 300, rng), place, (wall, lamp))
    assert found.lamp == lamp
    alone = light.correct(round_about(wall[:2], 300, rng), place, (wall, lamp))
    assert alone.lamp == wall
    none = light.correct(round_about(lamp[:2], 2, rng), place, (wall, lamp))
    assert none.lamp == wall


def test_strays_add_little_to_the_load() -> None:
    rng = np.random.default_rng(6)
    place = light.field(np.ones((900, 1200), bool))
    lamp = (400.0, 500.0, 20.0)
    own = round_about(lamp[:2], 400, rng)
    x, y, theta = rng.uniform(0, 1200, 60), rng.uniform(0, 900, 60), rng.uniform(0, np.pi, 60)
    both = Elements(
        np.append(own.x, x), np.append(own.y, y), np.append(own.theta, theta),
        np.full(460, 40.0), np.arange(460),
    )  # fmt: skip
    calm, stray = (light.correct(e, place, (lamp,)).per_px for e in (own, both))
    assert stray == pytest.approx(calm, rel=0.12)  # counted like the rest: 15 % more at least


def test_what_the_lamp_shows_is_not_in_doubt() -> None:
    shares = np.full(25, 2.0)
    blind, half, nearly = (scratches.interval(shares, 0.0, 1.0, lit=v) for v in (0.0, 0.5, 0.9))
    assert blind[0] < half[0] < nearly[0] < 50 < nearly[1] < half[1] < blind[1]
    # source: Garwood, Biometrika 28, 437 (1936): 95 % bounds of a count of 25 are 16.18 and 36.90;
    # status: memory
    assert blind == pytest.approx((2 * 16.18, 2 * 36.90), rel=0.001)


def test_light_of_other_lines_is_taken_off() -> None:
    shown, chance = np.array([0.1, 0.55, 1.0, 0.05]), np.array([0.1, 0.1, 0.3, 0.2])
    assert compare._left(shown, chance) == pytest.approx([0.0, 0.5, 1.0, 0.0])
