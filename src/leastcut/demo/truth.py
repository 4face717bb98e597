"""Photos and trials of the invented car, drawn from its hidden truth by chance."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from leastcut.demo import render
from leastcut.demo.hidden import Scenario, shown, spot_um, stream
from leastcut.demo.render import Picture, View
from leastcut.demo.scratches import Scratches, cut, draw, joined, load_mm_per_cm2
from leastcut.testspot.records import LiquidClass, PadClass, Process, Verdict


@dataclass(frozen=True, kw_only=True)
class PhotoTruth:
    """What one photo shows and what the paint in its square bears.

    ``load_mm_per_cm2`` counts every scratch that would show if the lamp stood right for it;
    ``lit_mm_per_cm2`` only what this lamp lights up.
    """

    load_mm_per_cm2: float
    lit_mm_per_cm2: float
    square_mm: float
    square_px: tuple[tuple[float, float], ...]
    highlight_px: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class TrialTruth:
    """One trial as it really went, and the evidence of it."""

    process: str
    sets: int
    panel: str
    spot: str
    cut_um: float
    removed_fraction: float
    before: Picture
    after: Picture
    gauge_before_um: tuple[float, ...]
    gauge_after_um: tuple[float, ...]
    verdict: Verdict


SQUARE_MM = 60.0
# A groove narrower than this does not show in the best of lights at the photo's scale.
VISIBLE_WIDTH_UM = 0.25

# The truth's own cut per set of polishing foam and medium liquid on typical paint [µm], and the
# shares of other pads and liquids. common practice, no source; drawn anew around these by chance.
_CUT_UM = 0.55
_PAD: Mapping[PadClass, float] = {
    "foam-finishing": 0.45,
    "foam-polishing": 1.0,
    "foam-cutting": 1.7,
    "microfibre": 2.2,
    "wool": 2.8,
}
_LIQUID: Mapping[LiquidClass, float] = {"finishing": 0.55, "medium": 1.0, "heavy": 1.65}
# Fine trails that pad and liquid leave, as a share of the load they began with; same status.
_LEAVES: Mapping[LiquidClass, float] = {"finishing": 0.004, "medium": 0.01, "heavy": 0.05}


def cut_per_set_um(truth: Scenario, process: Process) -> float:
    """Return what one set of a process really takes off this paint [µm]."""
    usual = Process(label="usual", pad=process.pad, liquid=process.liquid)
    strength = process.force_n * process.orbit_mm * process.orbits_per_min
    strength /= usual.force_n * usual.orbit_mm * usual.orbits_per_min
    raster = process.arm_speed_mm_s * process.stroke_spacing_mm
    strength *= usual.arm_speed_mm_s * usual.stroke_spacing_mm / raster
    luck = stream(truth.seed, "process", process.label).lognormal(0.0, 0.12)
    nominal = _CUT_UM * _PAD[process.pad] * _LIQUID[process.liquid]
    return float(truth.softness * nominal * strength * luck)


def place(truth: Scenario, panel: str, spot: str) -> Scratches:
    """Return the scratches of one photographed place, untouched."""
    bears = truth.panel(panel)
    return draw(
        stream(truth.seed, "place", panel, spot),
        load_mm_per_cm2=bears.load_mm_per_cm2,
        depth_median_um=bears.depth_median_um,
        depth_sigma=bears.depth_sigma,
        trail_load_mm_per_cm2=bears.trail_load_mm_per_cm2,
    )


def view(truth: Scenario, panel: str, spot: str, *, shot: int = 0) -> View:
    """Return how one photo of a place was taken; later shots differ as a hand does."""
    rng = stream(truth.seed, "view", panel, spot)
    x, y = rng.uniform(-16.0, 16.0, 2)
    base = View(
        square_mm=SQUARE_MM,
        tape_seed=int(rng.integers(2**31)),
        square_turn=float(rng.normal(0.0, 0.03)),
        um_per_px=float(rng.uniform(62.0, 68.0)),
        eye_mm=(float(rng.normal(0.0, 20.0)), float(rng.normal(-20.0, 15.0)), 300.0),
        lamp_mm=(0.0, 0.0, float(rng.uniform(380.0, 460.0))),
        exposure=float(rng.uniform(0.9, 1.15)),
    )
    # put the lamp where its mirror image falls on (x, y) of the panel
    share = base.lamp_mm[2] / base.eye_mm[2]
    lamp = (
        x + share * (x - base.eye_mm[0]),
        y + share * (y - base.eye_mm[1]),
        base.lamp_mm[2],
    )
    return _held(replace(base, lamp_mm=lamp), stream(truth.seed, "hand", panel, spot, shot), shot)


def _held(base: View, rng: np.random.Generator, shot: int) -> View:
    """Return the view as a hand repeats it: a little off, the lamp on its stand hardly at all."""
    if shot == 0:
        return base
    eye, lamp = np.array(base.eye_mm), np.array(base.lamp_mm)
    eye += rng.normal(0.0, [1.0, 1.0, 1.5])
    lamp += rng.normal(0.0, [0.8, 0.8, 0.3])
    off = rng.normal(0.0, 0.4, 2)
    return replace(
        base,
        eye_mm=(float(eye[0]), float(eye[1]), float(eye[2])),
        lamp_mm=(float(lamp[0]), float(lamp[1]), float(lamp[2])),
        look_at_mm=(base.look_at_mm[0] + float(off[0]), base.look_at_mm[1] + float(off[1])),
        roll=base.roll + float(rng.normal(0.0, 0.006)),
        exposure=base.exposure * float(rng.uniform(0.97, 1.03)),
    )


def panel_photo(truth: Scenario, panel: str, *, spot: str = "photo") -> Picture:
    """Render the photo of one untouched place as sRGB, shape (1200, 1600, 3)."""
    rng = stream(truth.seed, "camera", panel, spot)
    return render.photo(place(truth, panel, spot), view(truth, panel, spot), rng)


def photo_truth(truth: Scenario, panel: str, *, spot: str = "photo") -> PhotoTruth:
    """Return what :func:`panel_photo` shows and what the paint there bears."""
    bears, taken = place(truth, panel, spot), view(truth, panel, spot)
    x, y, light, length = render.glint(bears, taken)
    inside = np.maximum(np.abs(x), np.abs(y)) <= SQUARE_MM / 2.0
    lit = length[inside & (light > _LIT)].sum() / (SQUARE_MM**2 / 100.0)
    return PhotoTruth(
        load_mm_per_cm2=visible_load(bears),
        lit_mm_per_cm2=float(lit),
        square_mm=SQUARE_MM,
        square_px=tuple((float(u), float(v)) for u, v in render.square_px(taken)),
        highlight_px=render.highlight_px(taken),
    )


_LIT = 0.02  # light of a pixel of line that stands out of the noise


def visible_load(scratches: Scratches) -> float:
    """Return the load in the square of all scratches that some lamp would show [mm/cm²]."""
    half = SQUARE_MM / 2.0
    return load_mm_per_cm2(scratches, half, half, wider_um=VISIBLE_WIDTH_UM)


def trials(
    truth: Scenario, script: Sequence[tuple[Process, int, str, str]]
) -> tuple[TrialTruth, ...]:
    """Try processes on spots as a person would, and return what happened.

    Parameters
    ----------
    truth : Scenario
        The car.
    script : sequence of (process, sets, panel, spot)
        In order; trials on one spot stack.

    Returns
    -------
    tuple of TrialTruth
        One for each entry.
    """
    state: dict[tuple[str, str], Scratches] = {}
    spent: dict[tuple[str, str], float] = {}
    done = []
    for number, (process, sets, panel, spot) in enumerate(script):
        key = (panel, spot)
        before = state.get(key) or place(truth, panel, spot)
        taken = sets * cut_per_set_um(truth, process)
        after = worked_place(truth, panel, spot, before, process, taken, number)
        done.append(
            _trial(
                truth,
                (process, sets, panel, spot),
                number,
                before,
                after,
                spent.get(key, 0.0),
                taken,
            )
        )
        state[key], spent[key] = after, spent.get(key, 0.0) + taken
    return tuple(done)


def worked_place(
    truth: Scenario,
    panel: str,
    spot: str,
    before: Scratches,
    process: Process,
    taken: float,
    number: int,
) -> Scratches:
    """Return the place after the work: cut down, with the fine trails of the process itself."""
    share = _LEAVES[process.liquid]
    rng = stream(truth.seed, "leaves", panel, spot, number)
    fresh = draw(
        rng,
        load_mm_per_cm2=0.0,
        depth_median_um=0.1,
        depth_sigma=0.1,
        trail_load_mm_per_cm2=share * truth.panel(panel).load_mm_per_cm2,
        trail_angle=float(rng.uniform(0.0, np.pi)),
        deep_per_100_cm2=0.0,
    )
    return joined(cut(before, taken), fresh)


def _trial(
    truth: Scenario,
    entry: tuple[Process, int, str, str],
    number: int,
    before: Scratches,
    after: Scratches,
    spent: float,
    taken: float,
) -> TrialTruth:
    process, sets, panel, spot = entry
    removed = 1.0 - visible_load(after) / max(1e-9, visible_load(before))
    chance = stream(truth.seed, "trial", number, panel, spot)
    film = spot_um(truth, panel, spot) - spent
    return TrialTruth(
        process=process.label,
        sets=sets,
        panel=panel,
        spot=spot,
        cut_um=taken,
        removed_fraction=removed,
        before=render.photo(before, view(truth, panel, spot, shot=2 * number), chance),
        after=render.photo(after, view(truth, panel, spot, shot=2 * number + 1), chance),
        gauge_before_um=shown(truth, film, 5, chance),
        gauge_after_um=shown(truth, film - taken, 5, chance),
        verdict=_verdict(removed, process),
    )


def _verdict(removed: float, process: Process) -> Verdict:
    if removed < 0.1:
        return "unchanged"
    if process.liquid == "heavy":
        return "hazy"
    return "clean" if removed >= 0.95 else "some-left"
