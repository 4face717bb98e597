"""Borders of what a photo can tell: the printed sheet, lamps out of view, flags, trails, refusals."""

from dataclasses import replace
from functools import cache

import cv2
import msgspec
import numpy as np
import photoset
import pytest
from photosheet import sheet_picture
from render import render
from render_parts import unsrgb
from render_scene import Scene, after

from leastcut.inspect import (
    haze,
    kinds,
    light,
    linematch,
    pictures,
    quality,
    registration,
    survey,
    traces,
)
from leastcut.inspect.clarity import _fringe, clarity
from leastcut.inspect.compare import compare
from leastcut.inspect.records import Scratch
from leastcut.inspect.scratches import find

TABLE = unsrgb(np.arange(256) / 255.0).astype(np.float32)
LIT = Scene(
    seed=21, width_px=1200, height_px=900, um_per_px=50.0, swirl_load=90.0, roughness_deg=1.5,
    lamp_radius_mm=4.0, glint_gain=3.0,
)  # fmt: skip


def photo(scene: Scene) -> np.ndarray:
    return TABLE[render(scene)[0]]


@cache
def lit() -> np.ndarray:
    return photo(LIT)


def test_the_printed_sheet_beside_the_place_gives_the_scale() -> None:
    scene = replace(
        LIT, width_px=2600, height_px=1300, um_per_px=90.0, mirror_at=(0.75, 0.5), eye_mm=600.0
    )
    image = photo(scene)
    sheet = sheet_picture(1000 / 90.0)[200:1470, 200:1470]
    image[15 : 15 + len(sheet), 15 : 15 + sheet.shape[1]] = 0.6 * sheet[..., None]
    found = find(image)
    assert found.refused is None
    assert found.scale_from == "target"
    assert found.um_per_px == pytest.approx(90.0, rel=0.01)
    assert found.area_cm2 < 2600 * 1300 * 0.009**2
    right = [x for s in found.scratches for x, _ in s.points_px]
    assert min(right) > 1280  # nothing on the sheet counts
    # A print that came out 2 % small: its side is measured and told, and it is still the sheet.
    told = find(image, square_mm=98.0)
    assert told.scale_from == "target"
    assert told.um_per_px == pytest.approx(0.98 * found.um_per_px, rel=1e-6)
    assert len(told.scratches) == len(found.scratches)


@pytest.mark.parametrize("index", [24, 36, 52])
def test_a_taped_square_is_not_taken_for_the_printed_sheet(index: int) -> None:
    """Their lamp or a bright part of the room lies where the sheet has its open corner mark."""
    scene = photoset.scene(index) if index != 24 else photoset.busy_scene(index)
    for told in (scene.tape_mm, 100.0):
        found = find(photo(scene), square_mm=told)
        assert found.scale_from == "square"


def test_a_lamp_outside_the_photo_is_found_where_the_normals_meet() -> None:
    scene = replace(LIT, mirror_at=(1.3, 0.5), swirl_load=150.0, roughness_deg=0.8)
    image, truth = render(scene)
    found = find(TABLE[image], um_per_px=50.0)
    assert "no-highlight" in found.flags
    assert "light-not-modelled" not in found.flags
    assert found.light_px is None
    assert found.haze is None
    assert found.load_low < truth.load
    assert found.load_mm_per_cm2 > 1.5 * found.load_seen_mm_per_cm2


def test_lines_under_a_sky_without_a_lamp_are_told_not_to_be_modelled() -> None:
    rng = np.random.default_rng(3)
    image = np.full((900, 1200), 0.02, np.float32)
    for _ in range(60):
        a, turn = rng.uniform(60, 840, 2), rng.uniform(0, np.pi)
        b = a + 150 * np.array([np.cos(turn), np.sin(turn)])
        ends = [tuple(int(v) for v in np.round(p * 16)) for p in (a, b)]
        cv2.line(image, *ends, 0.06, 1, cv2.LINE_AA, 4)
    image = cv2.GaussianBlur(image, (0, 0), 1.0)
    image += 0.001 * rng.standard_normal(image.shape).astype(np.float32)
    found = find(image, um_per_px=50.0)
    assert {"no-highlight", "light-not-modelled"} <= set(found.flags)
    assert found.load_mm_per_cm2 == pytest.approx(found.load_seen_mm_per_cm2, rel=0.15)


def test_a_clean_panel_is_answered_with_an_upper_bound_and_flags() -> None:
    scene = replace(LIT, swirl_load=0.0, dust_per_cm2=0.0, fibres=0, flake_per_mm2=0.0)
    found = find(photo(scene), um_per_px=50.0)
    assert found.refused is None
    assert found.load_mm_per_cm2 == pytest.approx(0.0, abs=1.0)
    assert found.load_high > 0
    assert "few-scratches" in found.flags
    soft = cv2.GaussianBlur(photo(scene), (0, 0), 3.0)
    rough = 0.002 * np.random.default_rng(0).standard_normal(soft.shape).astype(np.float32)
    assert "focus-unproven" in find(np.abs(soft + rough), um_per_px=50.0).flags


def test_trails_that_the_work_left_are_counted_and_old_marks_are_not() -> None:
    first = replace(LIT, um_per_px=60.0, tape_mm=43.0, swirl_load=60.0)
    before, later = photo(first), after(first, 0.6)
    clean = compare(before, photo(later), square_mm=43.0)
    marked = compare(before, photo(replace(later, trail_load=160.0)), square_mm=43.0)
    assert clean.refused is None
    assert clean.new_trails <= 2
    assert marked.new_trails >= 6
    assert marked.removed_fraction == pytest.approx(clean.removed_fraction, abs=0.12)


def test_a_photo_turned_nearer_and_aslant_is_laid_over_by_its_lines() -> None:
    changes = {"turn_deg": 13.0, "um_per_px": 43.0, "slant": (0.03, -0.02), "exposure": 0.8}
    second = after(LIT, 0.0, white=(1.1, 1.0, 0.9), **changes)
    found = compare(lit(), photo(second), um_per_px=50.0)
    assert found.refused is None
    assert found.registration_rms_px < 1.5
    assert found.removed_fraction < 0.12
    assert found.removed_low <= 0.03


def test_compare_refuses_too_small_a_place_and_too_few_scratches() -> None:
    small = replace(LIT, um_per_px=15.0, tape_mm=10.0, swirl_load=120.0)
    image = photo(small)
    assert "share only" in compare(image, image, square_mm=10.0).refused.why
    bare = photo(replace(LIT, tape_mm=30.0, swirl_load=0.5))
    refused = compare(bare, bare, square_mm=30.0).refused
    assert "too few to compare" in refused.why
    assert refused.do


def test_where_nothing_is_left_all_is_gone_and_the_bounds_say_how_surely() -> None:
    taped = replace(LIT, tape_mm=32.0)
    found = compare(photo(taped), photo(after(taped, 20.0)), square_mm=32.0)
    assert found.removed_fraction > 0.9
    assert found.removed_low < found.removed_fraction
    assert found.removed_high == pytest.approx(1.0)


def test_bars_finer_than_the_photo_are_not_judged() -> None:
    coarse = cv2.resize(sheet_picture(25.0)[:, ::-1], None, fx=0.3, fy=0.3, interpolation=3)
    found = clarity(np.repeat(0.4 * coarse[..., None], 3, 2))
    assert found.refused is None
    assert found.clarity_percent["0.125"] is None
    assert found.clarity_percent["2.0"] > 50


def test_the_contrast_of_fine_bars_is_not_lost_between_pixels() -> None:
    k = np.arange(600)  # six pixels to a period, a crest and a trough on a pixel each
    row = 1 + 0.5 * np.cos(2 * np.pi * k / 6)
    assert _fringe(row, 6.0) == pytest.approx(0.5, abs=1e-9)
    noisy = row + np.random.default_rng(0).normal(0, 0.2, len(k))
    assert _fringe(noisy, 6.0) == pytest.approx(0.5, abs=0.05)


def test_haze_needs_a_lamp_and_a_far_ground() -> None:
    grey = np.full((300, 400), 0.02, np.float32)
    whole = np.ones(grey.shape, bool)
    assert haze.halo(grey, whole, None) is None
    assert haze.halo(grey, whole, (200.0, 150.0, 120.0)) is None
    y, x = np.mgrid[:300, :400]
    grey[np.hypot(x - 200, y - 150) < 50] = 0.07
    assert haze.halo(grey, whole, (200.0, 150.0, 20.0)) == pytest.approx(0.05, abs=1e-6)


def test_a_bright_photo_without_a_compact_patch_has_no_lamp() -> None:
    grey = np.full((300, 400), 0.05, np.float32)
    grey[100:108] = 0.9  # a tube, not a lamp
    assert light.highlights(grey, np.ones(grey.shape, bool)) == ()


def test_quality_answers_where_little_can_be_measured() -> None:
    grey = np.full((200, 300), 0.2, np.float32)
    few = np.zeros(grey.shape, bool)
    few[:8, :8] = True
    assert quality.blur_px(grey, few) == 0.0
    assert quality.iridescence(grey, few) == 0.0
    assert quality.iridescence(np.repeat(grey[..., None], 3, 2), few) == 0.0
    assert quality.exposure(grey, ~few | few) is None
    assert survey.grey_of(grey) is grey


def test_a_photo_too_small_for_the_coarser_levels_is_still_searched() -> None:
    rng = np.random.default_rng(2)
    image = 0.02 + 0.0005 * rng.standard_normal((110, 400)).astype(np.float32)
    cv2.line(image, (40, 20), (360, 90), 0.1, 1, cv2.LINE_AA)
    image = cv2.GaussianBlur(image, (0, 0), 1.0)
    usable = np.ones(image.shape, bool)
    lines = survey.find_lines(image, survey.root_of(image), usable, um_per_px=40.0)
    assert lines.count == 1
    tiny = {"um_per_px": 1.0}  # a third of a millimetre long: too short to be told a scratch
    root = survey.root_of(image)
    assert survey.find_lines(image, root, usable, **tiny).count == 0
    assert survey.find_lines(image, root, usable, **tiny, only_scratches=False).count == 1


def test_registration_says_how_little_two_photos_share() -> None:
    rng = np.random.default_rng(1)
    usable = np.ones((300, 400), bool)
    even = np.full((300, 400), 0.3, np.float32)
    noise = [rng.random((300, 400)).astype(np.float32) for _ in range(2)]
    for a, b in ((even, even), tuple(noise)):
        refused = registration.by_features(a, b, usable, usable)
        assert "common details" in refused.why
    # many matches that agree on no turn and scale, and ones that agree on an absurd one
    apart = rng.uniform(0, 1000, (2, 40, 2))
    assert "laid over" in registration._fit(apart[0], apart[1], 2.0).why
    assert "laid over" in registration._fit(apart[0], 3.0 * apart[0], 2.0).why


def test_lines_of_two_places_are_not_laid_over_each_other() -> None:
    one, two = lit(), photo(replace(LIT, seed=77))
    refused = compare(one, two, um_per_px=50.0).refused
    assert "cannot be laid over" in refused.why
    none = linematch.Pieces(*[np.zeros(0)] * 5)
    assert linematch.lay(none, none, (90, 120), (90, 120)) is None


def test_the_rise_of_a_known_line_is_read_at_its_place_and_nothing_beside_it() -> None:
    rng = np.random.default_rng(4)
    y, x = np.mgrid[:300, :400].astype(np.float32)
    grey = 0.02 + 0.05 * np.exp(-((y - 150.4) ** 2) / (2 * 1.15**2))
    crossing = 0.3 * np.exp(-((x - 200) ** 2) / 2)  # brighter, and not to be mistaken
    grey = (grey + crossing + 0.001 * rng.standard_normal(grey.shape)).astype(np.float32)
    lines = survey.find_lines(
        (grey - crossing).astype(np.float32), survey.root_of((grey - crossing).astype(np.float32)),
        np.ones(grey.shape, bool), um_per_px=40.0,
    )  # fmt: skip
    trace = traces.along(lines.runs, lines.scratch)
    whole = np.ones(grey.shape, bool)
    assert traces.brightest(traces.rises(grey, trace, whole)[0], trace) == pytest.approx(
        0.05, rel=0.1
    )
    assert traces.brightest(traces.rises(grey, trace, ~whole)[0], trace) == 0
    assert traces.chance(traces.aside(grey, whole, lines.runs, lines.scratch)) < 0.005


def test_directions_shared_by_few_are_no_family() -> None:
    theta = np.linspace(0, np.pi, 30, endpoint=False)
    assert (kinds.sort(theta, np.ones(30), np.zeros(30)) == kinds.SWIRL).all()
    assert kinds.rayleigh(np.zeros(1)) == 1.0


def test_the_overlay_tells_kinds_by_line_style_too() -> None:
    def drawn(kind: str, points: tuple[tuple[float, float], ...]) -> np.ndarray:
        scratch = Scratch(kind=kind, length_mm=8.0, width_um=9.0, contrast=0.5, points_px=points)
        finding = msgspec.structs.replace(EMPTY, scratches=(scratch,))
        return pictures.overlay(np.zeros((120, 300, 3), np.float32), finding).max(-1) > 40

    line = tuple((float(x), 60.0) for x in range(20, 281, 10))
    swirl, trail, deep = (drawn(kind, line) for kind in ("swirl", "trail", "deep"))
    assert swirl[60, 25:275].all()  # solid
    assert 0.4 < trail[60, 25:275].mean() < 0.8  # dashed
    assert not deep[60, 25:275].any()  # double
    assert deep[:60, 25:275].any(0).all()
    assert deep[61:, 25:275].any(0).all()
    assert not drawn("swirl", line[:1]).any()


EMPTY = find(np.full((300, 300, 3), 0.02, np.float32))


def test_a_map_that_no_two_photos_have_is_not_believed() -> None:
    rng = np.random.default_rng(8)
    n = 400
    one = linematch.Pieces(
        rng.uniform(0, 2400, n), rng.uniform(0, 1800, n), rng.uniform(0, np.pi, n),
        np.full(n, 12.0), np.ones(n),
    )  # fmt: skip
    half = linematch.Pieces(one.x / 2, one.y / 2, one.theta, one.length, one.light)
    same = linematch.refine(one, one, np.eye(3), (1800, 2400))
    assert same is not None
    assert same.rms_px < 0.01
    assert linematch.refine(one, half, np.diag([2.0, 2.0, 1.0]), (1800, 2400)) is None


def test_where_no_line_is_known_none_is_read() -> None:
    none = survey.find_lines(
        *[np.full((90, 90), 0.1, np.float32)] * 2, np.ones((90, 90), bool), um_per_px=40.0
    )
    trace = traces.along(none.runs, none.scratch)
    assert len(traces.brightest(np.zeros(0), trace)) == 0
