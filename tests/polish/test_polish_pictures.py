"""The records behind the pictures, and that the drawings are sound."""

import io
import math
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from leastcut.car.ramp import CHALK
from leastcut.polish.charts import Chart, Series, chart_svg, image
from leastcut.polish.pictures import cut_chart, map_svg, path_chart, profile_chart, speed_chart
from leastcut.polish.records import PadSettings
from leastcut.polish.removal import removal_map

PAD = PadSettings()
SVG = "{http://www.w3.org/2000/svg}"


def test_the_path_is_as_long_as_speed_times_time() -> None:
    chart = path_chart(PAD, r_mm=50, seconds=1.0)
    x, y = chart.series[0].x, chart.series[0].y
    length = np.hypot(np.diff(x), np.diff(y)).sum() * 1e-3
    pad_speed = speed_chart(PAD).series[0]
    assert length == pytest.approx(np.interp(50, pad_speed.x, pad_speed.y), rel=0.01)
    assert np.hypot(x, y).max() <= 57.5 + 1e-9


def test_speed_ends_at_the_reach_of_the_orbit() -> None:
    panel = speed_chart(PAD).series[1]
    assert panel.x[-1] == 72.5
    assert panel.y[-1] == pytest.approx(0.0, abs=1e-6)


def test_cut_falls_with_arm_speed_and_grows_with_force() -> None:
    chart = cut_chart(PAD, preston_um_per_kpa_m=2e-3, spacing_mm=40)
    for one in chart.series:
        assert one.y[0] * one.x[0] == pytest.approx(one.y[-1] * one.x[-1])
    assert chart.series[2].y[0] == pytest.approx(3 * chart.series[0].y[0])


def test_an_image_is_the_array_upside_down() -> None:
    values = np.array([[0.0, 1.0], [np.nan, 0.5]])
    with Image.open(io.BytesIO(image(values, low=0.0, high=1.0))) as opened:
        seen = np.asarray(opened.convert("RGBA"))
    colours = [tuple(bytes.fromhex(CHALK.colour(t)[1:])) for t in (0.0, 1.0)]
    assert tuple(seen[1, 0][:3]) == colours[0]
    assert tuple(seen[1, 1][:3]) == colours[1]
    assert seen[0, 0][3] == 0
    flat = image(np.zeros((2, 2)), low=0.0, high=0.0)
    assert flat.startswith(b"\x89PNG")


def test_map_and_profile() -> None:
    stroke = [((0.0, 0.0), (300.0, 0.0))]
    made = removal_map(stroke, PAD, preston_um_per_kpa_m=2e-3, arm_speed_mm_s=40, grid_mm=5)
    profile = profile_chart(made, along_mm=0.0).series[0]
    assert profile.y.max() == pytest.approx(made.depth_um.max(), rel=0.02)
    root = ET.fromstring(map_svg(made, title="one", outline_mm=((0, -5), (300, -5), (300, 5))))
    assert root.findall(f"{SVG}image")[0].get("href", "").startswith("data:image/png;base64,")
    assert "one" in [t.text for t in root.iter(f"{SVG}text")]


def test_charts_stay_inside_their_paper_and_name_their_lines() -> None:
    x = np.linspace(-3, 7, 50)
    chart = Chart("t", "x", "y", (Series("a", x, np.sin(x)), Series("b", x, np.full(50, 2.0))))
    for one in (chart, Chart("flat", "x", "y", (Series("", x[:1], x[:1] * 0),))):
        root = ET.fromstring(chart_svg(one))
        texts = [t.text for t in root.iter(f"{SVG}text")]
        assert one.title in texts
        places = [float(t.get("x", "nan")) for t in root.iter(f"{SVG}text")]
        assert all(0 <= p <= 150 and math.isfinite(p) for p in places)
    names = [t.text for t in ET.fromstring(chart_svg(chart)).iter(f"{SVG}text")]
    assert {"a", "b"} <= set(names)
