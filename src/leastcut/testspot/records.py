"""Processes, trials and what they teach about a paint, as immutable records."""

from typing import Literal

import msgspec

from leastcut.car.records import Interval

PadClass = Literal["foam-finishing", "foam-polishing", "foam-cutting", "microfibre", "wool"]
LiquidClass = Literal["finishing", "medium", "heavy"]
Verdict = Literal["unchanged", "some-left", "clean", "hazy"]
Target = Literal["daily", "show"]


class Process(msgspec.Struct, frozen=True, kw_only=True):
    """Pad, liquid, machine and settings under one label of the user's own.

    Attributes
    ----------
    orbit_mm : float
        Diameter of the throw [mm].
    orbits_per_min : float
        Orbit rate under load [1/min].
    spin_rpm : float
        Free spin of the pad under load [1/min]; 0 when stalled.
    force_n : float
        Downward force on the pad, machine weight included [N].
    arm_speed_mm_s, stroke_spacing_mm : float
        How fast and how far apart the strokes are laid [mm/s], [mm].
    power_w : float
        Input power of the machine [W].
    max_sets : int
        Most sets worth doing with one loading of the process before another is better.
    relative_cut : float or None
        The user's own guess of the cut per set against a polishing foam pad with medium liquid on
        the same paint; None takes the trade's order of strength for pad and liquid.
    """

    label: str
    pad: PadClass
    liquid: LiquidClass
    pad_diameter_mm: float = 130.0
    orbit_mm: float = 15.0
    orbits_per_min: float = 4800.0
    spin_rpm: float = 300.0
    force_n: float = 45.0
    arm_speed_mm_s: float = 60.0
    stroke_spacing_mm: float = 65.0
    power_w: float = 500.0
    max_sets: int = 4
    relative_cut: float | None = None


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """A measured value with its standard uncertainty."""

    value: float
    sd: float


class Trial(msgspec.Struct, frozen=True, kw_only=True):
    """One process tried on the test spot.

    ``removed`` is the fraction of visible scratch length that is gone since the trial began (from
    two photos); ``cut_um`` the drop of the gauge reading; ``verdict`` the inspector's word. Each
    may be missing. Trials in a row on the same ``spot`` stack; another spot starts afresh.
    ``since`` tells which photo was the "before" of ``removed``: the one taken just before this
    trial, or the one of the untouched spot. ``wipe_s`` is how long the residue took to wipe off:
    a long, dragging wipe makes photo and verdict worth less.
    """

    process: str
    sets: int
    removed: Interval | None = None
    cut_um: Measured | None = None
    verdict: Verdict | None = None
    panel: str | None = None
    spot: str = "1"
    before_load_mm_per_cm2: float | None = None
    after_load_mm_per_cm2: float | None = None
    since: Literal["trial", "spot"] = "trial"
    wipe_s: float | None = None


class Candidate(msgspec.Struct, frozen=True, kw_only=True):
    """What a process with a number of sets would do on this car.

    After a heavy liquid a finishing step must follow: ``finish`` names it, with ``finish_sets``;
    ``cut_um`` and the chances count both steps. ``p_within_budget`` is 1 when no budget was given.
    """

    process: str
    sets: int
    p_target: float
    cut_um: Interval
    p_within_budget: float
    finish: str | None = None
    finish_sets: int = 0


class Affordable(Candidate, frozen=True, kw_only=True):
    """The best that the budget can pay where nothing that it can pay is proven.

    ``left`` is the share of the visible scratch length that would still be there, with its 95 %
    bounds; ``tried`` tells whether the process was ever tried on this paint.
    """

    left: Interval
    tried: bool


class Advice(msgspec.Struct, frozen=True, kw_only=True):
    """The next thing to do at the test spot, with a reason that can be argued with.

    ``sets`` counts the sets to do now. For ``use``, ``finish`` and ``finish_sets`` name the
    finishing step that must follow. For ``try``, ``spot`` names the spot of the earlier trial to
    go on with; None asks for an untouched spot. ``worth_min`` is what the trial is expected to
    spare beyond its own time [min]. For ``stop``, ``affordable`` is the best that can be done
    within the budget, None where even the least is too much. It stays filled when a person has
    accepted it and the advice is therefore to use it. ``in_use`` says that the process named is
    being used on the car already: nothing is left to try.
    """

    do: Literal["try", "use", "stop"]
    process: str | None
    sets: int
    why: str
    finish: str | None = None
    finish_sets: int = 0
    spot: str | None = None
    worth_min: float | None = None
    affordable: Affordable | None = None
    in_use: bool = False


class DepthKnowledge(msgspec.Struct, frozen=True, kw_only=True):
    """Scratch depth of this paint [µm]: the median and the depth that 95 % do not exceed."""

    median: float
    p95: float


class TestSpot(msgspec.Struct, frozen=True, kw_only=True):
    """What the test spot has taught so far.

    ``softness`` is the paint's cut relative to the typical paint (1 = typical). The equally likely
    paints behind these figures are a :class:`leastcut.testspot.paint.PaintDraws`, handed on beside
    this record so that the plan can carry the uncertainty on.
    """

    softness: Interval
    depth_um: DepthKnowledge
    candidates: tuple[Candidate, ...]
    next: Advice
    n_trials: int
    notes: tuple[str, ...] = ()
