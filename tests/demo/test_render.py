"""The invented photos show what their truth says, measured by other means than the renderer's."""

import time

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special
from scipy.optimize import minimize

from leastcut.demo import hidden, render, scratches, tape, truth
from leastcut.testspot.records import Process

PANELS = ("bonnet", "roof", "boot", "wing-front-left")
MILD = Process(label="mild", pad="foam-polishing", liquid="medium")
STRONG = Process(label="strong", pad="microfibre", liquid="heavy")


@pytest.fixture(scope="module")
def car() -> hidden.Scenario:
    return hidden.scenario(7, PANELS, repainted=["wing-front-left"], thin=["boot"])


@pytest.fixture(scope="module")
def bonnet(car: hidden.Scenario) -> np.ndarray:
    return truth.panel_photo(car, "bonnet")


def linear(picture: np.ndarray) -> np.ndarray:
    """Decode sRGB by the formula of IEC 61966-2-1."""
    s = picture.astype(float) / 255.0
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)


def lines(n: int, **changed: float) -> scratches.Scratches:
    """n straight level scratches of 30 mm across the middle, 8 mm apart at most."""
    columns = {
        "x_mm": 0.0,
        "angle": 0.0,
        "length_mm": 30.0,
        "bend_per_mm": 0.0,
        "depth_um": 1.0,
        "width_um": 4.0,
        "phase": 0.0,
    } | changed
    return scratches.Scratches(
        y_mm=np.linspace(-4.0, 4.0, n),
        kind=np.zeros(n, dtype=np.int64),
        reach_mm=20.0,
        **{name: np.full(n, value) for name, value in columns.items()},
    )


def test_photo_is_a_whole_srgb_picture_of_dark_paint(bonnet: np.ndarray) -> None:
    assert bonnet.shape == (1200, 1600, 3)
    assert bonnet.dtype == np.uint8
    assert np.median(bonnet[..., 2]) < 110
    assert bonnet.max() == 255  # the lamp's mirror image clips
    decoded = cv2.imdecode(np.frombuffer(render.jpeg(bonnet), np.uint8), cv2.IMREAD_COLOR)
    assert np.abs(decoded[..., ::-1].astype(float) - bonnet).mean() < 4.0


def test_a_dozen_photos_take_seconds(car: hidden.Scenario) -> None:
    bears, taken = truth.place(car, "roof", "photo"), truth.view(car, "roof", "photo")
    best = np.inf
    for _ in range(3):
        start = time.perf_counter()
        render.photo(bears, taken, np.random.default_rng(1))
        best = min(best, time.perf_counter() - start)
    assert best < 0.5  # some 0.1 s on an idle core


def test_same_seed_same_photo(car: hidden.Scenario, bonnet: np.ndarray) -> None:
    again = hidden.scenario(7, PANELS, repainted=["wing-front-left"], thin=["boot"])
    assert again == car
    np.testing.assert_array_equal(truth.panel_photo(again, "bonnet"), bonnet)
    assert hidden.scenario(8, PANELS) != car


def test_highlight_stands_where_the_path_is_shortest(
    car: hidden.Scenario, bonnet: np.ndarray
) -> None:
    # source: Fermat's principle, minimised numerically here; status: recomputed
    taken = truth.view(car, "bonnet", "photo")

    def path(p: np.ndarray) -> float:
        spot = np.array([p[0], p[1], 0.0])
        return float(np.linalg.norm(spot - taken.eye_mm) + np.linalg.norm(spot - taken.lamp_mm))

    best = minimize(path, np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-9})
    corner = tape.corners(taken.square_mm, taken.square_turn).astype(np.float32)
    to_px = cv2.getPerspectiveTransform(corner, render.square_px(taken).astype(np.float32))
    expected = cv2.perspectiveTransform(best.x[None, None], to_px)[0, 0]
    clipped = (bonnet.min(axis=2) >= 254).astype(np.uint8)
    _, labels, stats, middle = cv2.connectedComponentsWithStats(clipped)
    blob = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    assert labels[int(expected[1]), int(expected[0])] == blob
    np.testing.assert_allclose(middle[blob], expected, atol=1.5)
    np.testing.assert_allclose(render.highlight_px(taken), expected, atol=0.1)


def test_square_in_the_photo_has_the_area_that_the_truth_says(
    car: hidden.Scenario, bonnet: np.ndarray
) -> None:
    said = np.array(truth.photo_truth(car, "bonnet").square_px)
    light = linear(bonnet)
    bare = (light[..., 0] - light[..., 2] < 0.08).astype(np.uint8)
    _, labels = cv2.connectedComponents(bare, connectivity=4)
    middle = said.mean(axis=0).round().astype(int)
    hole = np.count_nonzero(labels == labels[middle[1], middle[0]])
    assert hole == pytest.approx(cv2.contourArea(said.astype(np.float32)), rel=0.01)


def test_bright_scratches_run_round_the_lamp(car: hidden.Scenario) -> None:
    # source: light circles on scratched glass, Sampaio et al., arXiv 2407.00043; status: seen
    bears, taken = truth.place(car, "bonnet", "photo"), truth.view(car, "bonnet", "photo")
    x, y, light, _ = render.glint(bears, taken)
    angle = scratches.points(bears, 0.4)[2]
    share = taken.eye_mm[2] / (taken.eye_mm[2] + taken.lamp_mm[2])
    mirror = [e + share * (q - e) for e, q in zip(taken.eye_mm[:2], taken.lamp_mm[:2], strict=True)]
    off = np.abs(np.cos(angle - np.arctan2(y - mirror[1], x - mirror[0])))
    far = np.hypot(x - mirror[0], y - mirror[1]) > 25.0
    assert off[far].mean() == pytest.approx(2.0 / np.pi, abs=0.06)  # all directions alike
    assert np.average(off[far], weights=light[far]) < 0.2  # what lights is square to the radius


def test_light_of_a_line_adds_up_and_lies_on_the_line() -> None:
    taken = render.View(
        dust_per_cm2=0.0, tape_mm=0.1, read_noise=0.0, shot_noise=0.0, square_mm=76.0, haze=0.0
    )
    bare = linear(
        render.photo(lines(1, depth_um=1e-9, width_um=1e-9), taken, np.random.default_rng(0))
    )
    lit = linear(render.photo(lines(1, width_um=8.0), taken, np.random.default_rng(0)))
    extra = (lit - bare)[..., 1]
    rows, columns = np.nonzero(extra > 0.05)
    ends = cv2.perspectiveTransform(
        np.array([[[-15.0, -4.0], [15.0, -4.0]]]), render.homography(taken)
    )[0]
    a, b = ends
    across = (b[0] - a[0]) * (rows - a[1]) - (b[1] - a[1]) * (columns - a[0])
    across = np.abs(across) / np.linalg.norm(b - a)
    assert len(rows) > 50
    assert across.max() < 3.0


def test_load_of_straight_lines_agrees_with_counting() -> None:
    # 7 lines cross a square of 10 mm: 70 mm on 1 cm²
    assert scratches.load_mm_per_cm2(lines(7), 5.0, 5.0) == pytest.approx(70.0, rel=0.01)
    assert scratches.load_mm_per_cm2(lines(7), 5.0, 5.0, wider_um=5.0) == 0.0


@given(radius=st.floats(35.0, 300.0), length=st.floats(5.0, 30.0), angle=st.floats(0.0, 3.1))
def test_a_bent_scratch_lies_on_its_circle(radius: float, length: float, angle: float) -> None:
    arc = lines(1, bend_per_mm=1.0 / radius, length_mm=length, angle=angle)
    x, y, _, _ = scratches.points(arc, 0.2)
    centre = arc.x_mm - radius * np.sin(angle), arc.y_mm + radius * np.cos(angle)
    np.testing.assert_allclose(np.hypot(x - centre[0], y - centre[1]), radius, rtol=1e-9)


@settings(max_examples=20, deadline=None)
@given(cut_um=st.floats(0.05, 3.0), median=st.floats(0.3, 1.5), sigma=st.floats(0.4, 0.9))
def test_what_a_cut_leaves_follows_the_lognormal(
    cut_um: float, median: float, sigma: float
) -> None:
    # source: survivors of a lognormal are erfc(ln(h/m) / (s sqrt 2)) / 2; status: recomputed
    before = scratches.draw(
        np.random.default_rng(3),
        load_mm_per_cm2=250.0,
        depth_median_um=median,
        depth_sigma=sigma,
        deep_per_100_cm2=0.0,
    )
    after = scratches.cut(before, cut_um)
    expected = 0.5 * special.erfc(np.log(cut_um / median) / (sigma * np.sqrt(2.0)))
    assert len(after) / len(before) == pytest.approx(expected, abs=0.03)
    assert (after.depth_um > 0.0).all()
    assert (after.width_um > 0.0).all()
    slopes = np.sort(after.depth_um / after.width_um)
    kept = before.depth_um > cut_um
    np.testing.assert_allclose(
        slopes, np.sort((before.depth_um / before.width_um)[kept]), rtol=1e-6
    )


def test_drawn_load_is_the_load_asked_for() -> None:
    found = [
        scratches.load_mm_per_cm2(
            scratches.draw(
                np.random.default_rng(seed),
                load_mm_per_cm2=60.0,
                depth_median_um=0.8,
                depth_sigma=0.6,
                deep_per_100_cm2=0.0,
            ),
            30.0,
            30.0,
        )
        for seed in range(25)
    ]
    assert np.mean(found) == pytest.approx(60.0, rel=0.03)


def test_trials_stack_on_a_spot_and_start_afresh_on_another(car: hidden.Scenario) -> None:
    first, second, other = truth.trials(
        car, [(MILD, 2, "bonnet", "1"), (MILD, 1, "bonnet", "1"), (STRONG, 2, "bonnet", "2")]
    )
    assert first.cut_um == pytest.approx(2.0 * truth.cut_per_set_um(car, MILD))
    assert 0.0 < first.removed_fraction < 1.0
    assert second.cut_um == pytest.approx(0.5 * first.cut_um)
    assert np.mean(first.gauge_before_um) > np.mean(second.gauge_after_um)
    assert other.verdict == "hazy"
    assert other.removed_fraction > first.removed_fraction
    # more light lies on the untouched place
    assert first.before[300:900, 500:1100].mean() > second.after[300:900, 500:1100].mean()


def test_no_work_changes_nothing(car: hidden.Scenario) -> None:
    idle = Process(label="idle", pad="foam-finishing", liquid="finishing", force_n=1e-6)
    (only,) = truth.trials(car, [(idle, 1, "roof", "1")])
    assert only.verdict == "unchanged"
    assert abs(only.removed_fraction) < 0.02


@pytest.mark.parametrize(
    ("removed", "process", "word"),
    [
        (0.05, STRONG, "unchanged"),
        (0.5, MILD, "some-left"),
        (0.97, MILD, "clean"),
        (0.9, STRONG, "hazy"),
    ],
)
def test_verdict_is_what_an_inspector_would_say(
    removed: float, process: Process, word: str
) -> None:
    assert truth._verdict(removed, process) == word


def test_gauge_shows_the_film_with_its_own_error(car: hidden.Scenario) -> None:
    rows = hidden.readings(car, ["roof"], spots=60, repeats=5)
    roof = car.panel("roof")
    shown = np.array([row[2] for row in rows])
    expected = roof.clear_um + roof.under_um + car.gauge_bias_um
    assert shown.mean() == pytest.approx(expected, abs=1.2)
    assert {row[0] for row in rows} == {"roof"}
    known, seen = np.array(hidden.gauge_checks(car)).T
    assert np.abs(seen - known - car.gauge_bias_um).max() < 4.0 * car.gauge_sd_um + 0.5


def test_repainted_and_thin_panels_are_so(car: hidden.Scenario) -> None:
    assert car.panel("wing-front-left").under_um > car.panel("roof").under_um + 60.0
    assert car.panel("boot").clear_um < car.panel("roof").clear_um - 4.0


def test_truth_of_a_photo_is_consistent(car: hidden.Scenario) -> None:
    said = truth.photo_truth(car, "roof")
    assert said.load_mm_per_cm2 == pytest.approx(car.panel("roof").load_mm_per_cm2, rel=0.35)
    assert 0.05 < said.lit_mm_per_cm2 / said.load_mm_per_cm2 < 0.7
