"""The removal map: against a brute-force walk, against a general convolution, over a whole car."""

import json
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.signal import fftconvolve

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "polish"))

from polish_bruteforce import Tool, stepped_removal

from leastcut.car.bodies import build
from leastcut.plan.sections import lay_out
from leastcut.polish.footprint import footprint_kernel
from leastcut.polish.panel_cut import Worked, panel_cut
from leastcut.polish.records import PadSettings, RemovalSet
from leastcut.polish.removal import RemovalMap, inset_values, simulate_set, spread


def best_of(times: int, call: Callable[[], object]) -> float:
    """Return the shortest of several run times [s]."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        found.append(time.perf_counter() - start)
    return min(found)


def against_brute_force() -> dict[str, float]:
    """One set on 300 × 300 mm, 130 mm pad, 2 mm grid: error and speed."""
    work = RemovalSet(
        pad_diameter_mm=130,
        orbit_mm=15,
        orbits_per_min=4800,
        spin_rpm=287.3,
        force_n=45,
        arm_speed_mm_s=60,
        stroke_spacing_mm=40,
        sets=1,
        width_mm=300,
        height_mm=300,
        preston_um_per_kpa_m=2e-3,
        grid_mm=2,
    )
    summary, fast = simulate_set(work)
    tool = Tool(130, 15, 4800, 287.3, 45, 2e-3, 60)
    start = time.perf_counter()
    slow = stepped_removal(
        summary.strokes_mm,
        tool,
        origin=summary.origin_mm,
        shape=fast.grid.shape,
        cell=2,
        points=1500,
        steps_per_orbit=24,
    )
    slow_s = time.perf_counter() - start
    ours = inset_values(fast, 300, 300, 65)
    truth = inset_values(RemovalMap(slow, fast.grid), 300, 300, 65)
    fast_s = best_of(7, lambda: simulate_set(work))
    assert summary.mean_um is not None
    return {
        "rms_over_mean": float(np.sqrt(np.mean((ours - truth) ** 2))) / summary.mean_um,
        "volume_relative": abs(float(slow.sum()) * 4e-3 / summary.volume_mm3 - 1),
        "brute_s": slow_s,
        "ours_s": fast_s,
        "times_faster": slow_s / fast_s,
    }


def against_fftconvolve() -> dict[str, float]:
    """The convolution alone, on the grids of a bonnet and of one section."""
    rng = np.random.default_rng(1)
    kernel = footprint_kernel(PadSettings(), preston_um_per_kpa_m=2e-3, grid_mm=2.0)
    found = {}
    for name, shape in {"section": (379, 379), "bonnet": (731, 823)}.items():
        dwell = rng.random(shape)
        theirs = best_of(15, lambda d=dwell: fftconvolve(d, kernel.rate_um_s, mode="same"))
        ours = best_of(15, lambda d=dwell: spread(d, kernel))
        found[f"{name}_ours_over_theirs"] = ours / theirs
    return found


def whole_car() -> dict[str, float]:
    """Every stroke of a saloon at 2 mm: time of the maps, and memory at the end."""
    panels = build("three-box", length_mm=4700, width_mm=1830, height_mm=1450, wheelbase_mm=2800)
    works = [
        (panel, [Worked(s.strokes_mm, 2, 40.0) for s in lay_out(panel).sections if s.strokes_mm])
        for panel in panels
    ]

    def all_maps() -> float:
        return sum(
            panel_cut(
                work,
                PadSettings(),
                preston_um_per_kpa_m=2e-3,
                outline_mm=panel.outline_mm,
                bare_mm=[k.outline_mm for k in panel.keep_outs],
            ).volume_mm3()
            for panel, work in works
        )

    seconds = best_of(3, all_maps)
    area = sum(s for panel in panels for s in [_area_m2(panel.outline_mm)])
    return {
        "outline_area_m2": area,
        "strokes": sum(len(one.strokes) for _, work in works for one in work),
        "seconds": seconds,
        "peak_memory_gib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20,
    }


def _area_m2(points: object) -> float:
    import shapely

    return float(shapely.Polygon(points).area) * 1e-6


def main() -> dict[str, dict[str, float]]:
    """Print and return the figures."""
    found = {
        "whole_car": whole_car(),
        "fftconvolve": against_fftconvolve(),
        "brute_force": against_brute_force(),
    }
    print(json.dumps(found, indent=1))
    return found


if __name__ == "__main__":
    main()
