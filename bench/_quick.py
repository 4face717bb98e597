"""Quick sizes of the benches: what fits into ten minutes, each in a process of its own.

A peer and ours are timed one right after the other, several times; the ratio of each pair is kept,
so that a busy machine widens the spread rather than moving the middle.
"""

import importlib
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

Row = dict[str, Any]
PAIRS = 5


def seconds(call: Callable[[], object]) -> float:
    """Return how long a call takes."""
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def row(
    what: str, peer: str, ours: Sequence[float], theirs: Sequence[float], **more: object
) -> Row:
    """Return one line of the table: times, and the ratio of every pair."""
    ratios = [b / a for a, b in zip(ours, theirs, strict=True)]
    return {"what": what, "peer": peer, "ours_s": min(ours), "theirs_s": min(theirs), **spread_of(ratios), **more}  # fmt: skip


def spread_of(ratios: Sequence[float]) -> Row:
    """Return the middle of the ratios and how far they go."""
    return {"ratio": statistics.median(ratios), "low": min(ratios), "high": max(ratios)}


def paired(what: str, peer: str, ours: Callable[[], object], theirs: Callable[[], object], **more: object) -> Row:  # fmt: skip
    """Time both in turn, after one run of each that warms up."""
    ours()
    theirs()
    times = [(seconds(ours), seconds(theirs)) for _ in range(PAIRS)]
    return row(what, peer, *zip(*times, strict=True), **more)


def alone(what: str, ours: Callable[[], object], accuracy: str) -> Row:
    """Time something that has no general-purpose peer."""
    return {"what": what, "peer": "", "ours_s": seconds(ours), "accuracy": accuracy}


def speed_closed_form() -> list[Row]:
    """Mean speed of a pad point: closed form against phases."""
    from leastcut.polish.speed import mean_speed

    a, b = np.random.default_rng(1).uniform(0.1, 10.0, (2, 2000))
    phase = (np.arange(2000) + 0.5) * np.pi / 1000

    def theirs() -> Any:
        return np.sqrt(a * a + b * b + 2 * a * b * np.cos(phase)[:, None]).mean(axis=0)

    apart = float(np.max(np.abs(mean_speed(a, b) / theirs() - 1)))
    return [
        paired(
            "mean speed of 2,000 pad points",
            "numpy, 2,000 phases",
            lambda: mean_speed(a, b),
            theirs,
            accuracy=f"differ by {apart:.0e}",
        )
    ]


def removal() -> list[Row]:
    """The removal map's convolution against scipy's."""
    from scipy.signal import fftconvolve

    from leastcut.polish.footprint import footprint_kernel
    from leastcut.polish.records import PadSettings
    from leastcut.polish.removal import spread

    kernel = footprint_kernel(PadSettings(), preston_um_per_kpa_m=2e-3, grid_mm=2.0)
    dwell = np.random.default_rng(1).random((731, 823))

    def theirs() -> Any:
        return fftconvolve(dwell, kernel.rate_um_s, mode="same")

    apart = float(np.max(np.abs(spread(dwell, kernel) - theirs())) / theirs().max())
    return [
        paired(
            "cut of a bonnet at 2 mm",
            "scipy fftconvolve",
            lambda: spread(dwell, kernel),
            theirs,
            accuracy=f"differ by {apart:.0e} of the most",
        )
    ]


def film() -> list[Row]:
    """Gaussian process and its scale against scikit-learn; bounds on invented cars; scaling."""
    made = importlib.import_module("inspect_film")
    process = [made.process_ratio(300, 60) for _ in range(3)]
    shape = [made.shape_ratio() for _ in range(3)]
    curve = [made.process_ratio(n, max(5, n // 5), 500) for n in (50, 100, 200, 400, 800)]
    truth = made.accuracy(60, seed=11)
    whole = truth["all_panels"]
    told = f"60 cars: bounds hold {100 * whole['coverage_95']:.1f} %, overcut {100 * whole['overcut']:.1f} %"
    return [
        row("film map, 300 readings at 60 places", "scikit-learn regressor", [p["ours_s"] for p in process], [p["scikit_learn_s"] for p in process], accuracy=f"differ by {max(p['largest_difference'] for p in process):.0e} µm",
            scaling=[[p["readings"], p["ours_s"], p["scikit_learn_s"]] for p in curve]),
        row("film map's scale, 14 panels", "scikit-learn optimiser", [p["ours_s"] for p in shape], [p["scikit_learn_s"] for p in shape], accuracy="another method: grid with penalties"),
        {**alone("16 panels, 200 readings, maps", lambda: None, ""), "ours_s": made.speed()["findings_and_maps_s"], "accuracy": told},
    ]  # fmt: skip


def scratches() -> list[Row]:
    """Scratches in a part of a photo against the filters of scikit-image; F1 on drawn photos."""
    made = importlib.import_module("inspect_scratches")
    filters = importlib.import_module("_line_filters")
    from skimage.filters import frangi, sato

    from leastcut.inspect import scratches as finder
    from leastcut.inspect import survey

    scene = made.replace(made.photoset.scene(9), width_px=1300, height_px=1100, tape_mm=0.0)
    image = made.linear(made.render(scene)[0])
    root = survey.root_of(survey.grey_of(image))

    def ours() -> Any:
        return finder.find(image, um_per_px=scene.um_per_px)

    ours()
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**10  # before any peer
    found = made.summary(made.accuracy(made.photoset.scene, range(3)))
    told = f"F1 {found['f1_pooled']:.3f} on 3 drawn photos"
    return [
        paired(
            "scratches, 1.4 MP, all measured",
            f"scikit-image {name}, filter alone",
            ours,
            lambda f=peer: f(root, sigmas=filters.SIGMAS, black_ridges=False),
            accuracy=told,
            peak_mib=peak_mib,
        )
        for name, peer in (("sato", sato), ("frangi", frangi))
    ]


def decisions() -> list[Row]:
    """One decision of the test spot; what happens on simulated cars."""
    made = importlib.import_module("testspot_decisions")
    found = made.figures(made.run_many(60, seed=2026, rich=True))
    told = f"60 cars: target met {100 * found['target_met_where_it_can']:.0f} %"
    took = made.decision_ms() / 1e3
    return [{"what": "one decision on the test spot", "peer": "", "ours_s": took, "accuracy": told}]  # fmt: skip


def choice() -> list[Row]:
    """The plan's choice on large instances, and a calendar."""
    made = importlib.import_module("plan_choose")
    found = made.size(2)["plain"]
    table = made.calendars(1)
    return [
        {"what": "sets for 120 sections, 15 options", "peer": "", "ours_s": found["seconds_median"], "accuracy": f"proven within {100 * found['gap_worst']:.2g} % of the best"},
        {"what": "30 cars, 4 bays, 6 people", "peer": "", "ours_s": table["seconds_worst"], "accuracy": f"{table['broken']} rules broken"},
    ]  # fmt: skip


def sections() -> list[Row]:
    """Sections of the bodies' panels."""
    from leastcut.plan.sections import lay_out

    panels = [panel for _, panel in importlib.import_module("plan_sections").bodies()][:40]
    counts: list[float] = []

    def ours() -> None:
        made = [lay_out(panel) for panel in panels]
        counts.append(sum(len(m.sections) for m in made) / sum(m.lower_bound for m in made))

    one = alone(f"sections of {len(panels)} panels", ours, "")
    return [{**one, "accuracy": f"{counts[0]:.3f} times the least by area"}]


def ledger() -> list[Row]:
    """What the ledger promises over ten visits."""
    made = importlib.import_module("handover_ledger")
    kept: list[dict[str, float]] = []
    one = alone("ledger, 300 cars of ten visits", lambda: kept.append(made.measure(7, 300, 25.0)), "")  # fmt: skip
    return [{**one, "accuracy": f"95 % bounds hold {100 * kept[0]['coverage']:.1f} %"}]


def technique() -> list[Row]:
    """Technique from a drawn film."""
    made = importlib.import_module("work_technique")
    kept: list[dict[str, Any]] = []
    one = alone("a film drawn, followed, judged", lambda: kept.append(made.accuracy(1)), "")
    worst = kept[0]
    return [{**one, "accuracy": f"worst path {worst['worst_path_rms_mm']:.1f} mm, speed {100 * worst['worst_speed']:.1f} %"}]  # fmt: skip


def cold_start() -> list[Row]:
    """``leastcut --help`` as a process against one that loads numpy."""

    def process(*words: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *words], check=True, capture_output=True)

    listed = "import sys; from leastcut.cli import leastcut; print(len(sys.modules))"
    count = subprocess.run([sys.executable, "-c", listed], check=True, capture_output=True, text=True)  # fmt: skip
    ours = process("-m", "leastcut", "--help")
    ours()
    peak_mib = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**10
    told = f"{count.stdout.strip()} modules loaded"
    theirs = process("-c", "import numpy")
    what = "leastcut --help, a whole process"
    return [paired(what, "python that loads numpy", ours, theirs, accuracy=told, peak_mib=peak_mib)]


QUICK: dict[str, Callable[[], list[Row]]] = {
    "cold_start": cold_start,
    "speed_closed_form": speed_closed_form,
    "removal": removal,
    "sections": sections,
    "choice": choice,
    "ledger": ledger,
    "decisions": decisions,
    "film": film,
    "scratches": scratches,
    "technique": technique,
}
