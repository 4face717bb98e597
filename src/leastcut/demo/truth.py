"""The hidden truth of the invented scenario, and the evidence that chance draws from it.

Everything follows from one seed; each photo, reading and trial has a stream of its own, so that
asking for one more changes none of the others. The truth is drawn here from distributions of its
own and shares no code with the analysis that has to find it.
"""

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from leastcut.demo import render
from leastcut.demo.render import Picture, View
from leastcut.demo.scratches import Scratches, cut, draw, joined, load_mm_per_cm2
from leastcut.testspot.records import LiquidClass, PadClass, Process, Verdict


@dataclass(frozen=True, kw_only=True)
class PanelTruth:
    """What one panel is really like.

    Attributes
    ----------
    load_mm_per_cm2, trail_load_mm_per_cm2 : float
        Expected scratch load of swirls and of trails.
    depth_median_um, depth_sigma : float
        Lognormal scratch depth.
    clear_um, under_um : float
        Mean clear coat, and the layers between it and the metal.
    repainted : bool
        A second paint job lies over the first.
    """

    panel: str
    load_mm_per_cm2: float
    trail_load_mm_per_cm2: float
    depth_median_um: float
    depth_sigma: float
    clear_um: float
    under_um: float
    repainted: bool = False


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """The invented car as it really is.

    Attributes
    ----------
    softness : float
        Cut of this paint against typical paint.
    gauge_bias_um, gauge_sd_um : float
        The gauge reads so much too high, and scatters by so much.
    panels : tuple of PanelTruth
        In the order asked for.
    """

    seed: int
    softness: float
    gauge_bias_um: float
    gauge_sd_um: float
    panels: tuple[PanelTruth, ...]

    def panel(self, name: str) -> PanelTruth:
        """Return the truth of one panel."""
        return next(panel for panel in self.panels if panel.panel == name)


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


def _stream(seed: int, *names: object) -> np.random.Generator:
    """Return a source of chance of its own for one thing of the scenario."""
    return np.random.default_rng([seed, *(zlib.crc32(str(name).encode()) for name in names)])


def scenario(
    seed: int,
    panels: Sequence[str],
    *,
    repainted: Sequence[str] = (),
    thin: Sequence[str] = (),
) -> Scenario:
    """Draw the invented car.

    Parameters
    ----------
    seed : int
        Everything follows from it.
    panels : sequence of str
        Panel ids.
    repainted, thin : sequence of str
        Panels that were painted again, and panels that were polished too often before.

    Returns
    -------
    Scenario
        The truth.
    """
    rng = _stream(seed, "car")
    median, sigma = 0.75 * rng.lognormal(0.0, 0.12), rng.uniform(0.55, 0.7)
    return Scenario(
        seed=seed,
        softness=float(rng.lognormal(0.0, 0.18)),
        gauge_bias_um=float(rng.uniform(0.8, 2.0) * rng.choice([-1.0, 1.0])),
        gauge_sd_um=0.9,
        panels=tuple(
            _panel(seed, name, median, sigma, again=name in repainted, thin=name in thin)
            for name in panels
        ),
    )


def _panel(
    seed: int, name: str, median: float, sigma: float, *, again: bool, thin: bool
) -> PanelTruth:
    rng = _stream(seed, "panel", name)
    clear = float(rng.normal(43.0, 1.8))
    under = float(rng.normal(78.0, 3.0))
    return PanelTruth(
        panel=name,
        load_mm_per_cm2=float(rng.lognormal(np.log(55.0), 0.35)),
        trail_load_mm_per_cm2=float(rng.choice([0.0, 0.0, 6.0])),
        depth_median_um=median * float(rng.lognormal(0.0, 0.08)),
        depth_sigma=sigma,
        clear_um=clear - 9.0 if thin else clear,
        under_um=under + 95.0 if again else under,
        repainted=again,
    )


def cut_per_set_um(truth: Scenario, process: Process) -> float:
    """Return what one set of a process really takes off this paint [µm]."""
    usual = Process(label="usual", pad=process.pad, liquid=process.liquid)
    strength = process.force_n * process.orbit_mm * process.orbits_per_min
    strength /= usual.force_n * usual.orbit_mm * usual.orbits_per_min
    raster = process.arm_speed_mm_s * process.stroke_spacing_mm
    strength *= usual.arm_speed_mm_s * usual.stroke_spacing_mm / raster
    luck = _stream(truth.seed, "process", process.label).lognormal(0.0, 0.12)
    nominal = _CUT_UM * _PAD[process.pad] * _LIQUID[process.liquid]
    return float(truth.softness * nominal * strength * luck)


def place(truth: Scenario, panel: str, spot: str) -> Scratches:
    """Return the scratches of one photographed place, untouched."""
    bears = truth.panel(panel)
    return draw(
        _stream(truth.seed, "place", panel, spot),
        load_mm_per_cm2=bears.load_mm_per_cm2,
        depth_median_um=bears.depth_median_um,
        depth_sigma=bears.depth_sigma,
        trail_load_mm_per_cm2=bears.trail_load_mm_per_cm2,
    )


def view(truth: Scenario, panel: str, spot: str, *, shot: int = 0) -> View:
    """Return how one photo of a place was taken; later shots differ as a hand does."""
    rng = _stream(truth.seed, "view", panel, spot)
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
    return _held(replace(base, lamp_mm=lamp), _stream(truth.seed, "hand", panel, spot, shot), shot)


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
    rng = _stream(truth.seed, "camera", panel, spot)
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
        after = _worked(truth, panel, spot, before, process, taken, number)
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


def _worked(
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
    rng = _stream(truth.seed, "leaves", panel, spot, number)
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
    chance = _stream(truth.seed, "trial", number, panel, spot)
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
        gauge_before_um=_shown(truth, film, 5, chance),
        gauge_after_um=_shown(truth, film - taken, 5, chance),
        verdict=_verdict(removed, process),
    )


def _verdict(removed: float, process: Process) -> Verdict:
    if removed < 0.1:
        return "unchanged"
    if process.liquid == "heavy":
        return "hazy"
    return "clean" if removed >= 0.95 else "some-left"


def spot_um(truth: Scenario, panel: str, spot: str) -> float:
    """Return the whole film at one spot of a panel, as it really is [µm]."""
    bears = truth.panel(panel)
    rng = _stream(truth.seed, "film", panel, spot)
    return bears.clear_um + bears.under_um + float(rng.normal(0.0, 2.6))


def _shown(
    truth: Scenario, film_um: float, repeats: int, rng: np.random.Generator
) -> tuple[float, ...]:
    """Return what the gauge's display shows: whole micrometres."""
    scatter = rng.normal(0.0, truth.gauge_sd_um, repeats)
    return tuple(float(r) for r in np.round(film_um + truth.gauge_bias_um + scatter))


def readings(
    truth: Scenario, panels: Sequence[str], *, spots: int = 5, repeats: int = 3
) -> tuple[tuple[str, str, float], ...]:
    """Return gauge readings as rows (panel, spot, reading [µm])."""
    rows = []
    for panel in panels:
        for number in range(1, spots + 1):
            rng = _stream(truth.seed, "reading", panel, number)
            film = spot_um(truth, panel, str(number))
            rows += [(panel, str(number), r) for r in _shown(truth, film, repeats, rng)]
    return tuple(rows)


def gauge_checks(truth: Scenario) -> tuple[tuple[float, float], ...]:
    """Return checks of the gauge on shims as pairs (known, shown) [µm]."""
    rng = _stream(truth.seed, "checks")
    known = (0.0, 52.0, 102.0, 125.0, 254.0)
    return tuple((shim, _shown(truth, shim, 1, rng)[0]) for shim in known)
