"""The finder's parts against formulas, tables and other libraries."""

from typing import Any

import cv2
import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from photosheet import sheet_picture
from render import render
from render_parts import unsrgb
from render_scene import Scene, after

from leastcut.inspect import (
    charts,
    kinds,
    light,
    linking,
    pictures,
    registration,
    ridges,
    target,
)
from leastcut.inspect.clarity import clarity
from leastcut.inspect.combine import panel_load
from leastcut.inspect.compare import compare
from leastcut.inspect.quality import blur_px
from leastcut.inspect.records import LoadByKind, Scratch, ScratchFinding
from leastcut.inspect.scratches import interval
from leastcut.shop.targets import TargetError, pdf


def test_the_bank_answers_white_noise_as_stated() -> None:
    noise = np.random.default_rng(0).standard_normal((1200, 1200)).astype(np.float32)
    best, _ = ridges.respond(noise)
    assert np.quantile(best, ridges.NOISE_QUANTILE) == pytest.approx(
        ridges.NOISE_AT_QUANTILE, rel=0.01
    )
    sd = ridges.local_noise(best, np.ones(best.shape, bool))
    assert sd.mean() == pytest.approx(1.0, rel=0.05)


def test_the_bank_is_blind_to_even_light_and_slopes() -> None:
    y, x = np.mgrid[:90, :140].astype(np.float32)
    best, _ = ridges.respond(0.3 + 0.002 * x - 0.001 * y)
    assert np.abs(best[20:-20, 20:-20]).max() < 1e-4


@settings(max_examples=25, deadline=None)
@given(st.floats(0, np.pi), st.floats(-0.5, 0.5), st.floats(0.8, 1.5))
def test_a_drawn_line_is_found_to_a_fraction_of_a_pixel(
    angle: float, offset: float, sigma: float
) -> None:
    y, x = np.mgrid[:120, :120].astype(np.float32) - 60
    across = y * np.cos(angle) - x * np.sin(angle) - offset
    image = np.exp(-(across**2) / (2 * sigma**2)).astype(np.float32)
    best, which = ridges.respond(image)
    usable = np.ones(best.shape, bool)
    points = ridges.crest(
        best, which, np.ones_like(best), usable, floor=np.full_like(best, 0.8), level=0
    )
    px, py = points.x - 60, points.y - 60
    near = np.hypot(px, py) < 40
    rest = (py * np.cos(angle) - px * np.sin(angle) - offset)[near]
    assert np.sqrt((rest**2).mean()) < 0.25
    runs = linking.fit(points, linking.join(points, best.shape), least_points=8)
    assert runs.length.max() > 100


def test_two_crossing_lines_stay_two() -> None:
    y, x = np.mgrid[:200, :200].astype(np.float32) - 100
    image = np.maximum(np.exp(-(x**2) / 2), 0.5 * np.exp(-((x * 0.6 + y * 0.8) ** 2) / 2)).astype(
        np.float32
    )
    best, which = ridges.respond(image)
    usable = np.ones(best.shape, bool)
    floor = np.full_like(best, 0.4)
    points = ridges.crest(best, which, np.ones_like(best), usable, floor=floor, level=0)
    runs = linking.fit(points, linking.join(points, best.shape), least_points=8)
    long = runs[runs.length > 40]
    labels = linking.bridge(long, best, 0.4)
    assert len(np.unique(labels)) == 2
    assert len(long) == 3  # the fainter one is cut by the crossing, and joined again


# source: Garwood, Biometrika 28, 437 (1936), 95 % bounds of a Poisson count; status: memory.
@pytest.mark.parametrize(
    ("n", "low", "high"),
    [(1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390), (50, 37.111, 65.919)],
)
def test_the_interval_of_equal_scratches_is_the_poisson_one(
    n: int, low: float, high: float
) -> None:
    found = interval(np.ones(n), 0.0, 1.0)
    assert found == pytest.approx((low, high), rel=1e-3)
    assert interval(np.zeros(0), 0.0, 2.0) == pytest.approx((0.0, 2 * 3.689), rel=1e-3)


@given(st.lists(st.floats(0.01, 50), min_size=1, max_size=40), st.floats(0, 0.5))
def test_the_interval_holds_its_own_load_and_widens_with_doubt(
    shares: list[float], doubt: float
) -> None:
    low, high = interval(np.array(shares), doubt, 1.0)
    wider = interval(np.array(shares), doubt + 0.1, 1.0)
    assert low <= sum(shares) <= high
    assert wider[0] <= low
    assert wider[1] >= high


def test_area_per_direction_follows_the_lit_fraction() -> None:
    """A window |u| < r0 at distance r shows the share 2/pi arcsin(r0/r) of directions.

    source: lit fraction of isotropic scratches, f = (2/pi) arcsin(sin d/sin g); status: recomputed.
    """
    usable = np.ones((900, 900), bool)
    place = light.field(usable)
    centre = (450.0, 450.0)
    areas = light.window_area(place, centre, 60.0, (np.arange(36) + 0.5) * np.pi / 36)
    r = np.hypot(place.x - 450, place.y - 450)
    expected = (place.area * 2 / np.pi * np.arcsin(np.minimum(1, 60.0 / r))).sum()
    assert areas.mean() == pytest.approx(expected, rel=0.01)


def test_the_meeting_point_of_normals_is_the_lamp() -> None:
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, 1000, 300), rng.uniform(0, 800, 300)
    theta = np.arctan2(y - 1200, x + 300) + np.pi / 2 + 0.02 * rng.standard_normal(300)
    lines = light.Elements(x, y, theta % np.pi, np.full(300, 20.0), np.arange(300))
    assert light.meeting_point(lines) == pytest.approx((-300, 1200), abs=40)


# source: Zar, Biostatistical Analysis, table of Rayleigh's z, 5 %: 2.919 at n=10, 2.970 at 30;
# status: memory.
@pytest.mark.parametrize(("n", "z"), [(10, 2.919), (30, 2.970), (100, 2.989)])
def test_rayleighs_critical_values(n: int, z: float) -> None:
    length = np.sqrt(z * n)
    apart = np.arccos(length / n) / 2
    theta = np.concatenate([np.full(n // 2, apart), np.full(n // 2, -apart)])
    assert kinds.rayleigh(theta) == pytest.approx(0.05, abs=0.002)


def test_rayleigh_is_fair_on_random_directions() -> None:
    rng = np.random.default_rng(1)
    p = [kinds.rayleigh(rng.uniform(0, np.pi, 25)) for _ in range(3000)]
    assert np.mean(np.array(p) < 0.05) == pytest.approx(0.05, abs=0.012)
    assert kinds.rayleigh(np.zeros(1)) == 1.0


def test_a_family_of_directions_is_a_trail_and_a_wide_bright_line_deep() -> None:
    rng = np.random.default_rng(2)
    theta = np.concatenate([rng.uniform(0, np.pi, 40), 0.7 + 0.03 * rng.standard_normal(30)])
    kind = kinds.sort(theta, np.ones(70), np.zeros(70))
    assert (kind[40:] == kinds.TRAIL).mean() > 0.9
    assert (kind[:40] == kinds.TRAIL).mean() < 0.25
    fwhm, strength = np.full(30, 2.6), np.ones(30)
    fwhm[0], strength[0] = 4.0, 9.0
    assert list(np.flatnonzero(kinds.deepness(fwhm, strength, np.ones(30)) > 1)) == [0]
    assert len(kinds.sort(np.zeros(0), np.zeros(0), kinds.deepness(*[np.zeros(0)] * 3))) == 0


def blank(load: float, low: float, high: float) -> ScratchFinding:
    return ScratchFinding(
        um_per_px=40.0, scale_from="typed", area_cm2=20.0, load_mm_per_cm2=load, load_low=low,
        load_high=high, load_seen_mm_per_cm2=load, by_kind=LoadByKind(swirl=load, trail=0, deep=0),
        haze=None, direction=None, light_px=None,
    )  # fmt: skip


def test_loads_combine_also_where_a_photo_shows_nothing() -> None:
    none = panel_load([blank(0.0, 0.0, 3.0), blank(10.0, 5.0, 20.0)])
    assert none.mean == pytest.approx(5.0)
    assert none.low < 5 < none.high
    apart = panel_load([blank(10.0, 9.0, 11.0), blank(40.0, 36.0, 44.0)])
    assert apart.low < 12
    assert apart.high > 33


def reflected(blur_mm: float) -> np.ndarray:
    """The target seen mirrored, its edges softened, drawn with cv2 from the plan of the sheet."""
    px = 25.0
    sheet = sheet_picture(px)
    sheet = sheet[:, ::-1]
    if blur_mm:
        sheet = cv2.GaussianBlur(sheet, (0, 0), blur_mm * px)
    return np.repeat((0.04 * (0.05 + 0.9 * sheet))[..., None], 3, 2).astype(np.float32)


@pytest.mark.parametrize("blur_mm", [0.1, 0.2, 0.4])
def test_clarity_of_softened_bars_is_that_of_the_square_waves_harmonics(blur_mm: float) -> None:
    """source: Fourier series of a square wave under a Gaussian; status: recomputed."""
    found = clarity(reflected(blur_mm))
    assert found.refused is None
    k = 2 * np.arange(60) + 1
    for bar, value in found.clarity_percent.items():
        waves = (
            4
            / np.pi
            * (-1.0) ** np.arange(60)
            / k
            * np.exp(-2 * (np.pi * k / (2 * float(bar))) ** 2 * blur_mm**2)
        )
        assert value == pytest.approx(100 * 0.9 / 1.0 * waves.sum(), abs=8)


def test_clarity_refuses_where_no_target_is_seen() -> None:
    found = clarity(np.full((400, 500, 3), 0.2, np.float32))
    assert found.refused is not None
    square = np.full((900, 900, 3), 0.5, np.float32)
    square[200:700, 200:700] = 0.1
    assert "marks" in clarity(square).refused.why


def test_the_printed_sheet_is_a_vector_page_of_true_size() -> None:
    from pypdf import PdfReader

    for paper, (width, height) in target.PAPERS.items():
        data = pdf(paper)
        assert data == pdf(paper)
        page = PdfReader(__import__("io").BytesIO(data)).pages[0]
        assert float(page.mediabox.width) == pytest.approx(width / 25.4 * 72, abs=0.1)
        assert float(page.mediabox.height) == pytest.approx(height / 25.4 * 72, abs=0.1)
        assert not page.images
        assert "100 mm" in page.extract_text()
    with pytest.raises(TargetError, match="unknown paper"):
        pdf("a0")


def pair(cut: float, **changes: Any) -> tuple[np.ndarray, np.ndarray, float]:
    scene = Scene(
        seed=12, width_px=1600, height_px=1200, um_per_px=40.0, tape_mm=36.0, swirl_load=110.0,
        roughness_deg=1.5, lamp_radius_mm=4.0, glint_gain=3.0,
    )  # fmt: skip
    second = after(scene, cut, exposure=1.1, **changes)
    table = unsrgb(np.arange(256) / 255.0).astype(np.float32)
    (a, truth_a), (b, truth_b) = render(scene), render(second)
    return table[a], table[b], 1 - truth_b.load / truth_a.load


def test_removed_fraction_against_the_truth() -> None:
    before, later, true = pair(0.7)
    found = compare(before, later, square_mm=36.0)
    assert found.refused is None
    assert found.removed_fraction == pytest.approx(true, abs=0.12)
    assert found.removed_low - 0.03 <= true <= found.removed_high + 0.03
    same = compare(before, before, square_mm=36.0)
    assert same.removed_fraction == pytest.approx(0.0, abs=1e-9)
    assert same.new_trails == 0
    assert same.removed_low <= 0 <= same.removed_high
    assert msgspec.json.encode(found)


def test_compare_refuses_what_cannot_be_compared() -> None:
    before, _, _ = pair(0.7)
    clean = np.random.default_rng(0).normal(0.02, 0.002, before.shape).astype(np.float32)
    assert "before photo" in compare(clean[:100, :100], before, um_per_px=40.0).refused.why
    assert "after photo" in compare(before, clean[:100, :100], um_per_px=40.0).refused.why
    lost = compare(before, clean, um_per_px=40.0)
    assert "laid over" in lost.refused.why


def test_registration_recovers_a_known_move() -> None:
    rng = np.random.default_rng(5)
    canvas = np.zeros((900, 1200), np.float32)
    for _ in range(500):
        at = (int(rng.integers(0, 1200)), int(rng.integers(0, 900)))
        cv2.circle(canvas, at, int(rng.integers(1, 5)), float(rng.uniform(0.2, 0.9)), -1)
    canvas = cv2.GaussianBlur(canvas, (0, 0), 1.2) + 0.1
    move = np.vstack([cv2.getRotationMatrix2D((600, 450), 14, 1.15), [1e-5, -1e-5, 1]])
    seen = 0.7 * cv2.warpPerspective(canvas, move, (1200, 900), borderMode=cv2.BORDER_REFLECT)
    usable = np.ones(canvas.shape, bool)
    found = registration.by_features(canvas, seen.astype(np.float32), usable, usable)
    assert isinstance(found, registration.Registration)
    points = rng.uniform([200, 200], [1000, 700], (50, 2))[None]
    back = cv2.perspectiveTransform(cv2.perspectiveTransform(points, move), found.to_before)
    assert np.linalg.norm(back - points, axis=2).max() < 1.5


def test_charts_carry_their_numbers() -> None:
    line = tuple((float(x), 100.0) for x in range(50, 400, 10))
    scratch = Scratch(kind="deep", length_mm=14.0, width_um=35.0, contrast=0.5, points_px=line)
    finding = msgspec.structs.replace(blank(7.0, 5.0, 9.0), scratches=(scratch,))
    total = charts.load_map(finding, (480, 640))
    assert total.sum() * (640 / 24 * 40 / 1e4) ** 2 == pytest.approx(14.0, rel=0.02)
    half = msgspec.structs.replace(
        finding, square_px=((40.0, 40.0), (600.0, 40.0), (600.0, 100.0), (40.0, 100.0))
    )
    edge = charts.load_map(half, (480, 640))
    assert edge[3, 6] > 1.4 * total[3, 6]  # the line lies on the rim: the measured half counts
    assert edge[5:].max() == 0.0
    assert ">100<" in charts.widths_svg(finding)
    rose = charts.rose_svg(finding)
    assert rose.count("<polygon") == 2 * charts.ROSE_BINS
    assert "Directions" in charts.rose_svg(blank(0.0, 0.0, 1.0))
    first, second = charts.over(*[np.zeros((20, 30, 3), np.float32)] * 2, np.eye(3))
    assert first.shape == second.shape == (20, 30, 3)


def test_blur_is_measured() -> None:
    rng = np.random.default_rng(0)
    edges = cv2.resize(
        (rng.random((12, 16)) > 0.5).astype(np.float32), (640, 480), interpolation=cv2.INTER_NEAREST
    )
    usable = np.ones(edges.shape, bool)
    values = [blur_px(cv2.GaussianBlur(edges, (0, 0), s), usable) for s in (1.0, 3.0, 6.0)]
    assert values[0] < 2.6 < values[1] < values[2]


def test_a_smaller_area_gives_the_same_response_within_it() -> None:
    image = np.random.default_rng(5).normal(0.3, 0.02, (420, 510)).astype(np.float32)
    usable = np.zeros(image.shape, bool)
    usable[70:333, 41:290] = True
    whole, which = ridges.respond(image)
    part, of_part = ridges.respond(image, usable)
    np.testing.assert_allclose(part[usable], whole[usable], rtol=0, atol=1e-6)
    assert (of_part[usable] == which[usable]).mean() > 0.999
    assert not part[~usable].any()
    assert not ridges.respond(image, np.zeros(image.shape, bool))[0].any()


def test_the_picture_is_encoded_as_the_standard_says() -> None:
    linear = np.linspace(-0.1, 1.1, 5000, dtype=np.float32).reshape(50, 100)
    # source: sRGB transfer function, IEC 61966-2-1; status: memory; formula here in full
    held = np.clip(linear, 0, 1)
    code = np.where(held <= 0.0031308, 12.92 * held, 1.055 * held ** (1 / 2.4) - 0.055)
    off = pictures.encode(linear)[..., 0].astype(int) - np.round(code * 255).astype(int)
    assert np.abs(off).max() <= 1
