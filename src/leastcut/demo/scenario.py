"""Write the invented scenario as a person would have: a job file, readings, photos; then run it.

Car, owner and shop are invented; no real person, maker or product is meant.
"""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

import numpy as np

from leastcut.car.units import UnitSystem
from leastcut.demo import hidden, render, truth
from leastcut.demo.afterwards import worked
from leastcut.demo.hidden import Scenario
from leastcut.demo.truth import TrialTruth
from leastcut.job.carry import events_text
from leastcut.job.decide import decide
from leastcut.job.gather import WORKERS, Gathering, Progress, Sights, look_all
from leastcut.job.run import SEED as DECIDE_SEED
from leastcut.job.run import Outcome, run
from leastcut.job.sources import Folder
from leastcut.shop.files import write_whole
from leastcut.testspot.records import Process

SEED = 3

# Measured and photographed as a shop would: the panels that matter, not every one.
PHOTOGRAPHED = (
    "bonnet",
    "roof",
    "wing-front-left",
    "door-front-left",
    "quarter-left",
    "door-front-right",
)
MEASURED = (*PHOTOGRAPHED, "door-rear-left", "tailgate", "wing-front-right", "door-rear-right")
WORKED = "bonnet"
REPAINTED = ("door-front-right",)
THIN = ("roof",)

LADDER = (
    Process(label="Pale foam, fine liquid", pad="foam-finishing", liquid="finishing"),
    Process(label="Amber foam, middle liquid", pad="foam-polishing", liquid="medium"),
    Process(label="Firm foam, strong liquid", pad="foam-cutting", liquid="heavy"),
)
# Mild first, then a step up; each on its own taped spot, so that one does not lean on the other.
TRIALS = (
    (LADDER[0], 2, "bonnet", "left half"),
    (LADDER[1], 2, "bonnet", "right half"),
    (LADDER[1], 4, "bonnet", "middle"),
)

HEAD = """\
# An invented car, owner and shop, with photos rendered from known scratches and readings drawn
# from a hidden truth. Nothing here is a real measurement.
format = 1
units = "metric"

[people]
client = "Odile Marchetti-Brandt (invented)"
shop = "Bay Two, an invented shop"
date = "12 March"

[car]
label = "The dark green two-box"
body = "two-box"
length = "4.26 m"
width = "1.79 m"
height = "1.46 m"
wheelbase = "2.63 m"
doors = 5
year = 2017
material = "steel"

[car.materials]
bonnet = "aluminium"

[car.paint]
system = "clear-over-base"
shade = "dark"
history = "factory"
label = "dark green metallic, 2017"

[target]
finish = "daily"

[wash]
washed = "washed"
feel = "smooth"
tar_or_iron = false
dry = true

[room]
volume = "90 m³"
air_changes_per_hour = 4
vibration = "6.0 m/s²"
vibration_k = "1.5 m/s²"
noise_dba = 82
wipe_alcohol = "60 ml"
cord = "25 m"
conductor = "1.5 mm²"
voltage = "230 V"
current = "4 A"

[protect]
product = "sealant"
air = "19 °C"
surface = "18 °C"
humidity_percent = 55

[prices]
currency = "EUR"
labour_per_hour = "46.00"
tax_percent = 20
"""


def run_demo(
    folder: Path,
    *,
    now: datetime,
    units: UnitSystem | None = None,
    progress: Progress = lambda _: None,
) -> Outcome:
    """Write the scenario into `folder` and take it through every stage.

    Parameters
    ----------
    folder : Path
        Receives ``demo.toml`` with its evidence, and ``results/``.
    now : datetime
        Time of the run, for the documents.
    units : {"metric", "us"}, optional
        Units to show.
    progress : callable
        Told in a few words what is being done.

    Returns
    -------
    Outcome
        As from a job of the user's own, with a page of found against true in the report.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    story = write_evidence(folder, progress=progress)
    known = write_work(folder, story, progress=progress)
    return run(
        folder / "demo.toml",
        folder / "results",
        now=now,
        units=units,
        progress=progress,
        truth=hidden_truth(story),
        known=known,
    )


def write_work(folder: Path, story: Scenario, *, progress: Progress = lambda _: None) -> Sights:
    """Work one panel as the plan says, and add its record, photos and readings to ``demo.toml``.

    Parameters
    ----------
    folder : Path
        Holds what :func:`write_evidence` wrote.
    story : Scenario
        The hidden truth.
    progress : callable
        Told in a few words what is being done.

    Returns
    -------
    mapping
        What was found in the photos from before the work, so that they need no second look.
    """
    path = folder / "demo.toml"
    source = Folder.open(path)
    sights = look_all(source, source.job, progress=progress)
    progress("planning the work")
    evidence = Gathering(source).evidence(sights)
    found = decide(evidence, rng=np.random.default_rng(DECIDE_SEED))
    sections = [s for s in found.plan.sections if s.panel == WORKED]
    done = worked(story, sections, evidence.ladder)
    write_whole(folder / "photos" / f"{WORKED}-after.jpg", render.jpeg(done.after))
    write_whole(folder / "run.jsonl", events_text(done.events))
    write_whole(folder / "readings-after.csv", _csv(done.readings))
    text = path.read_text(encoding="utf-8")
    begun = f'format = 1\nrun = "run.jsonl"\nsections_for = "{found.sections_for}"\n'
    text = text.replace("format = 1\n", begun, 1)
    text = text.replace("[film]\n", '[film]\nreadings_after = "readings-after.csv"\n', 1)
    write_whole(path, f"{text}\n{_proof(done.section)}")
    return sights


def _proof(section: str) -> str:
    return (
        f'[[proof]]\npanel = "{WORKED}"\nsection = "{section}"\n'
        f'before = "photos/{WORKED}.jpg"\nafter = "photos/{WORKED}-after.jpg"\n'
        f'square = "{truth.SQUARE_MM:g} mm"\n'
    )


def write_evidence(folder: Path, *, progress: Progress = lambda _: None) -> Scenario:
    """Write ``demo.toml`` with its photos and readings into `folder`, and decide nothing.

    Parameters
    ----------
    folder : Path
        Receives them.
    progress : callable
        Told in a few words what is being done.

    Returns
    -------
    Scenario
        The hidden truth behind them.
    """
    story = invented()
    for name, content in _files(story, progress):
        write_whole(folder / name, content)
    return story


def invented() -> Scenario:
    """Draw the hidden truth of the scenario."""
    return hidden.scenario(SEED, MEASURED, repainted=REPAINTED, thin=THIN)


def hidden_truth(story: Scenario) -> Mapping[str, Mapping[str, float]]:
    """Return the true values that the report sets against the findings."""
    known: dict[str, Mapping[str, float]] = {
        panel.panel: {
            "clear_um": panel.clear_um,
            **(
                {"load_mm_per_cm2": truth.photo_truth(story, panel.panel).load_mm_per_cm2}
                if panel.panel in PHOTOGRAPHED
                else {}
            ),
        }
        for panel in story.panels
        if not panel.repainted  # two paint jobs: there is no one clear coat to compare with
    }
    return {**known, "paint": {"softness": story.softness}}


def _files(story: Scenario, progress: Progress) -> Iterator[tuple[str, str | bytes]]:
    tried = truth.trials(story, TRIALS)

    def shot(panel: str) -> bytes:
        return render.jpeg(truth.panel_photo(story, panel))

    with ThreadPoolExecutor(WORKERS) as pool:
        for panel, picture in zip(PHOTOGRAPHED, pool.map(shot, PHOTOGRAPHED), strict=True):
            progress(f"rendered the photo of {panel}")
            yield f"photos/{panel}.jpg", picture
    for number, trial in enumerate(tried, start=1):
        yield f"photos/trial-{number}-before.jpg", render.jpeg(trial.before)
        yield f"photos/trial-{number}-after.jpg", render.jpeg(trial.after)
    yield "readings.csv", _readings(story)
    yield "demo.toml", "\n".join([HEAD, *_film(story), *_photos(), *_ladder(), *_trials(tried)])


def _readings(story: Scenario) -> str:
    return _csv(hidden.readings(story, MEASURED))


def _csv(rows: Sequence[tuple[str, str, float]]) -> str:
    lines = [f"{panel},{spot},{reading:g}" for panel, spot, reading in rows]
    return "\n".join(["# drawn from a hidden truth", "panel,spot,reading_um", *lines, ""])


def _film(story: Scenario) -> Iterator[str]:
    yield '[film]\nreadings = "readings.csv"\n'
    for known, shown in hidden.gauge_checks(story):
        yield f'[[film.check]]\nknown = "{known:g} µm"\nshown = "{shown:g} µm"\n'


def _photos() -> Iterator[str]:
    for panel in PHOTOGRAPHED:
        yield (
            f'[[photo]]\npanel = "{panel}"\nfile = "photos/{panel}.jpg"\n'
            f'square = "{truth.SQUARE_MM:g} mm"\n'
        )


def _ladder() -> Iterator[str]:
    for process in LADDER:
        yield (
            f'[[process]]\nlabel = "{process.label}"\npad = "{process.pad}"\n'
            f'liquid = "{process.liquid}"\npad_diameter = "{process.pad_diameter_mm:g} mm"\n'
            f'orbit = "{process.orbit_mm:g} mm"\nspeed = "{process.orbits_per_min:g} rpm"\n'
            f'spin = "{process.spin_rpm:g} rpm"\nforce = "{process.force_n:g} N"\n'
            f'arm_speed = "{process.arm_speed_mm_s:g} mm/s"\n'
            f'stroke_spacing = "{process.stroke_spacing_mm:g} mm"\n'
        )


def _trials(tried: tuple[TrialTruth, ...]) -> Iterator[str]:
    for number, trial in enumerate(tried, start=1):
        before, after = (
            "[" + ", ".join(f'"{shown:g} µm"' for shown in readings) + "]"
            for readings in (trial.gauge_before_um, trial.gauge_after_um)
        )
        yield (
            f'[[trial]]\nprocess = "{trial.process}"\nsets = {trial.sets}\n'
            f'panel = "{trial.panel}"\nspot = "{trial.spot}"\n'
            f'before = "photos/trial-{number}-before.jpg"\n'
            f'after = "photos/trial-{number}-after.jpg"\nsquare = "{truth.SQUARE_MM:g} mm"\n'
            f"gauge_before = {before}\ngauge_after = {after}\n"
            f'verdict = "{trial.verdict}"\n'
        )
