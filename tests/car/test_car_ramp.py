"""Colours for numbers, against CIELAB, colour-difference and colour-blindness formulas."""

import csv
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import deltaE_ciede2000, rgb2lab

from leastcut.car.ramp import CHALK, INK, PAPER, contrast, readable_on

DATA = Path(__file__).parent.parent / "data"

# source: Machado, Oliveira, Fernandes, A physiologically-based model for simulation of color
# vision deficiency, IEEE TVCG 15(6), 2009, table 1, severity 1.0; status: memory.
COLOUR_BLIND = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def rgb(colours: tuple[str, ...]) -> np.ndarray:
    return np.array([[int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)] for c in colours])


def test_lightness_falls_evenly() -> None:
    lightness = rgb2lab(rgb(CHALK.steps(17)))[:, 0]
    steps = -np.diff(lightness)
    assert steps.min() > 0
    assert steps.max() / steps.min() < 1.5


def test_equal_steps_look_about_equal() -> None:
    lab = rgb2lab(rgb(CHALK.steps(9)))
    seen = deltaE_ciede2000(lab[:-1], lab[1:])  # CIE 142-2001, by scikit-image
    assert seen.max() / seen.min() < 1.7
    assert seen.min() > 5, "neighbours of nine are told apart"


@pytest.mark.parametrize("kind", COLOUR_BLIND)
def test_order_and_steps_remain_for_colour_blind_eyes(kind: str) -> None:
    encoded = rgb(CHALK.steps(9))
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ np.array(COLOUR_BLIND[kind]).T, 0, 1)
    again = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    lab = rgb2lab(again)
    assert np.all(np.diff(lab[:, 0]) < 0)
    assert deltaE_ciede2000(lab[:-1], lab[1:]).min() > 5


def rows() -> list[tuple[str, str, float]]:
    lines = (DATA / "wcag.csv").read_text().splitlines()
    found = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [(r["fg"], r["bg"], float(r["contrast_ratio"])) for r in found]


@pytest.mark.parametrize(("one", "other", "ratio"), rows())
def test_contrast_is_that_of_wcag(one: str, other: str, ratio: float) -> None:
    # source: WCAG 2.2, relative luminance; status: thresholds seen, ratios recomputed apart.
    assert contrast(f"#{one}", f"#{other}") == pytest.approx(ratio, abs=6e-5)
    assert contrast(f"#{other}", f"#{one}") == contrast(f"#{one}", f"#{other}")


@given(st.floats(-1, 2))
def test_text_is_readable_everywhere_on_the_ramp(t: float) -> None:
    ground = CHALK.colour(t)
    assert re.fullmatch("#[0-9a-f]{6}", ground)
    # source: WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1; status: seen.
    assert contrast(readable_on(ground), ground) >= 4.5


def test_ends_are_near_paper_and_ink() -> None:
    assert contrast(CHALK.colour(0), PAPER) < 1.15
    assert contrast(CHALK.colour(1), PAPER) > 12
    assert CHALK.colour(-3) == CHALK.colour(0)
    assert CHALK.colour(9) == CHALK.colour(1)
    assert readable_on(CHALK.colour(1)) == PAPER
    assert readable_on(PAPER) == INK
