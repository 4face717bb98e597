"""What a smooth coat reflects, against published and recomputed tables."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.inspect.gloss import best_angle, ceiling_gu, reflectance, roughness_nm

DATA = Path(__file__).parent.parent / "data"
TABLE = np.genfromtxt(DATA / "gloss_fresnel.csv", delimiter=",", comments="#", skip_header=3)


@pytest.mark.parametrize("row", TABLE.tolist())
def test_index_table(row: list[float]) -> None:
    # source: Fresnel with the reference index of ISO 2813 / ASTM D523; status: recomputed.
    # From memory the printed table agrees within 0.1 GU at 20 and 60 degrees.
    for gloss, share, angle in zip(row[1:4], row[4:7], (20, 60, 85), strict=True):
        assert ceiling_gu(row[0], angle) == pytest.approx(gloss, abs=5.1e-3)
        assert reflectance(row[0], angle) == pytest.approx(share, abs=5.1e-7)


@pytest.mark.parametrize(
    ("angle", "share"),
    # source: Fresnel at n = 1.5, handbook values; status: recomputed
    [(0, 0.04), (20, 0.040266), (45, 0.050240), (60, 0.089187), (75, 0.253061), (85, 0.612800)],
)
def test_crown_glass(angle: float, share: float) -> None:
    assert reflectance(1.5, angle) == pytest.approx(share, abs=1e-6)


def test_slope_of_the_ceiling() -> None:
    # source: ASTM D523 states about 0.27 and 0.16 GU per 0.001 of index; status: memory
    slopes = [ceiling_gu(1.568, a) - ceiling_gu(1.567, a) for a in (20, 60)]
    assert slopes == pytest.approx([0.274, 0.159], abs=1e-3)


@given(st.floats(1.0, 2.5), st.floats(0.0, 89.9))
def test_brewster_and_bounds(index: float, angle: float) -> None:
    share = reflectance(index, angle)
    assert 0 <= share <= 1
    # At Brewster's angle one polarisation vanishes: R = (cos 2b)²/2 with tan b = n (Born & Wolf).
    brewster = np.degrees(np.arctan(index))
    exact = np.cos(2 * np.radians(brewster)) ** 2 / 2
    assert reflectance(index, brewster) == pytest.approx(exact, abs=1e-12)


@pytest.mark.parametrize(
    ("sigma", "angle", "kept"),
    # source: Bennett & Porteus 1961 form at 550 nm; status: recomputed
    [(5, 20, 0.988542), (10, 20, 0.954950), (50, 60, 0.721612), (30, 0, 0.625111)],
)
def test_roughness_from_lost_gloss(sigma: float, angle: float, kept: float) -> None:
    found = roughness_nm(80 * kept, smooth_gu=80.0, angle_deg=angle)
    assert found == pytest.approx(sigma, rel=1e-4)


def test_a_coat_brighter_than_smooth_has_no_roughness() -> None:
    assert roughness_nm(90.0, smooth_gu=80.0, angle_deg=20.0) == 0.0


@pytest.mark.parametrize(("gloss", "angle"), [(71, 20), (70, 60), (10, 60), (9, 85)])
def test_angle_by_the_standard(gloss: float, angle: int) -> None:
    # source: ASTM D523-14, 4.1; status: seen
    assert best_angle(gloss) == angle
