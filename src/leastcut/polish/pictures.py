"""Pictures of the mechanics: the map of the cut with a profile, the pad's path, speed and cut.

Each is a record first (a chart or a map), so that tests look at numbers and eyes at drawings.
"""

import itertools

import msgspec
import numpy as np

from leastcut.car._svg import document, line, text
from leastcut.car.records import Point
from leastcut.polish.charts import Chart, Series, embedded, image, plot, ramp_key
from leastcut.polish.cut import mean_cut_um
from leastcut.polish.records import PadMotion, PadSettings
from leastcut.polish.removal import RemovalMap
from leastcut.polish.speed import (
    orbit_rad_s,
    pad_point_speed_m_s,
    panel_point_speed_m_s,
    spin_rad_s,
)


def path_chart(settings: PadMotion, *, r_mm: float, seconds: float = 1.0) -> Chart:
    """Return the path of one point of the pad under a machine held still.

    Parameters
    ----------
    settings : PadMotion
        Throw and rates.
    r_mm : float
        Distance of the point from the pad's centre [mm].
    seconds : float
        How long [s].

    Returns
    -------
    Chart
        y over x [mm].
    """
    orbit, spin, e = orbit_rad_s(settings), spin_rad_s(settings), settings.orbit_mm / 2
    turns = max(abs(orbit), abs(spin)) * seconds / (2 * np.pi)
    t = np.linspace(0.0, seconds, max(400, min(6000, int(40 * turns))))
    x = e * np.cos(orbit * t) + r_mm * np.cos(spin * t)
    y = e * np.sin(orbit * t) + r_mm * np.sin(spin * t)
    title = f"Path of a pad point at {r_mm:g} mm, {seconds:g} s"
    return Chart(title, "x, mm", "y, mm", (Series("", x, y),), from_zero=False, equal_axes=True)


def speed_chart(settings: PadMotion) -> Chart:
    """Return the mean sliding speed over the radius, in the pad's frame and the panel's."""
    radius, e = settings.pad_diameter_mm / 2, settings.orbit_mm / 2
    own = np.linspace(0.0, radius, 120)
    fixed = np.linspace(0.0, radius + e, 240)
    return Chart(
        "Mean sliding speed over the pad",
        "distance from the middle, mm",
        "speed, m/s",
        (
            Series("a point of the pad", own, pad_point_speed_m_s(own, settings)),
            Series("a point of the panel", fixed, panel_point_speed_m_s(fixed, settings)),
        ),
    )


def cut_chart(
    settings: PadSettings,
    *,
    preston_um_per_kpa_m: float,
    spacing_mm: float,
    forces_n: tuple[float, ...] = (20.0, 40.0, 60.0),
) -> Chart:
    """Return the mean cut of one set over the arm speed, a line for each force."""
    speeds = np.linspace(15.0, 100.0, 86)
    lines = []
    for force in forces_n:
        pad = msgspec.structs.replace(settings, force_n=force)
        per_speed = mean_cut_um(
            pad,
            preston_um_per_kpa_m=preston_um_per_kpa_m,
            arm_speed_mm_s=1.0,
            spacing_mm=spacing_mm,
        )
        lines.append(Series(f"{force:g} N", speeds, per_speed / speeds))
    return Chart("Cut of one set", "arm speed, mm/s", "cut, µm", tuple(lines))


def profile_chart(result: RemovalMap, *, along_mm: float) -> Chart:
    """Return the cut along the horizontal line at y = `along_mm`."""
    row = int(np.argmin(np.abs(result.grid.ys_mm() - along_mm)))
    line_um = result.depth_um[row]
    title = f"Profile at y = {along_mm:.0f} mm"
    return Chart(title, "x, mm", "cut, µm", (Series("", result.grid.xs_mm(), line_um),))


def map_svg(
    result: RemovalMap,
    *,
    title: str,
    along_mm: float | None = None,
    outline_mm: tuple[Point, ...] = (),
    width_mm: float = 150.0,
) -> str:
    """Return the map of the cut with its key, and a profile below it.

    Parameters
    ----------
    result : RemovalMap
        The cut [µm].
    title : str
        What was worked.
    along_mm : float, optional
        Where the profile runs [mm]; the middle when left out.
    outline_mm : tuple of Point
        Section or panel to draw over the map [mm].
    width_mm : float
        Width of the drawing [mm].

    Returns
    -------
    str
        An SVG document.
    """
    grid, high = result.grid, float(result.depth_um.max())
    rows, columns = grid.shape
    w = width_mm - 24.0
    h = w * rows / columns
    y0, x0 = grid.origin_mm[1], grid.origin_mm[0]
    along = y0 + 0.5 * (rows - 1) * grid.cell_mm if along_mm is None else along_mm
    scale, foot = w / (columns * grid.cell_mm), 12.0 + h

    def at(x: float, y: float) -> Point:
        half = 0.5 * grid.cell_mm
        return (18.0 + (x - x0 + half) * scale, foot - (y - y0 + half) * scale)

    picture = embedded(image(result.depth_um, low=0.0, high=high), at=(18.0, 12.0), size=(w, h))
    body = [text((18, 7), title, size=4, anchor="start", bold=True), picture]
    edge = [at(*point) for point in (*outline_mm, *outline_mm[:1])]
    body += [line(a, b, width=0.25) for a, b in itertools.pairwise(edge)]
    body.append(line((18.0, at(x0, along)[1]), (18.0 + w, at(x0, along)[1]), width=0.2))
    body += ramp_key((18.0, foot + 4.0), w, low=0.0, high=high, unit="µm")
    below = profile_chart(result, along_mm=along)
    body += plot(below, (18.0, foot + 20.0, w, 45.0))
    said = f"Cut from 0 to {high:.3g} micrometres over {columns} by {rows} cells of {grid.cell_mm:g} mm"
    size = (width_mm, foot + 80.0)
    return document(size, body, title=title, description=said, ident="cut-map")
