"""Processes and the ladder: how strong each is expected to be, and what must follow what.

Every number here is our own prior, stated so that it can be argued with: no measured cut per set of
an automotive clear coat is published. Trials and the user's own cars replace it.
"""

import math
from collections.abc import Sequence

from leastcut.errors import InputError
from leastcut.testspot.records import LiquidClass, PadClass, Process

# Cut of a pad class against a polishing foam pad, same liquid and settings. The order is common
# practice, no source; the sizes are ours, from memory of the trade's talk, and wide.
PAD_CUT: dict[PadClass, float] = {
    "foam-finishing": 0.5,
    "foam-polishing": 1.0,
    "foam-cutting": 1.6,
    "microfibre": 2.4,
    "wool": 3.0,
}
# Cut of a liquid class against a medium liquid, same pad. Status as above.
LIQUID_CUT: dict[LiquidClass, float] = {"finishing": 0.5, "medium": 1.0, "heavy": 1.8}

# Finish floor: share of the first visible load that pad and liquid leave of their own, as haze or
# fine trails, however long they work. Order common practice, no source; sizes ours, from memory.
PAD_FLOOR: dict[PadClass, float] = {
    "foam-finishing": 0.5,
    "foam-polishing": 1.0,
    "foam-cutting": 1.5,
    "microfibre": 2.5,
    "wool": 3.5,
}
LIQUID_FLOOR: dict[LiquidClass, float] = {"finishing": 0.01, "medium": 0.02, "heavy": 0.035}

# Cut of one set of the reference process on the typical paint [µm]. Ours, no source: 0.2 to 3 µm
# for some three sets is the trade's talk.
REFERENCE_CUT_UM = 0.5
REFERENCE = Process(label="reference", pad="foam-polishing", liquid="medium")

# Pads that haze whatever the liquid; with heavy liquids: common practice, no source.
CUTTING_PADS: frozenset[PadClass] = frozenset({"foam-cutting", "microfibre", "wool"})
FINISH_SETS = 2

DEFAULT: tuple[Process, ...] = (
    Process(label="finishing foam + finishing liquid", pad="foam-finishing", liquid="finishing"),
    Process(label="polishing foam + medium liquid", pad="foam-polishing", liquid="medium"),
    Process(label="cutting foam + heavy liquid", pad="foam-cutting", liquid="heavy"),
    Process(label="microfibre + heavy liquid", pad="microfibre", liquid="heavy"),
)


class LadderError(InputError):
    """A ladder that cannot be climbed: empty, two processes of one label, or senseless settings."""


def relative_cut(process: Process) -> float:
    """Return the expected cut per set against the reference process on the same paint.

    Pad and liquid by class; force, throw, speeds and stroke spacing by the mean removal of a set
    in closed form (Preston's law, :func:`leastcut.polish.cut.mean_cut_um`).

    Examples
    --------
    >>> relative_cut(Process(label="a", pad="foam-polishing", liquid="medium"))
    1.0
    >>> relative_cut(Process(label="a", pad="foam-polishing", liquid="medium", force_n=90.0))
    2.0
    """
    if process.relative_cut is not None:
        return process.relative_cut
    return PAD_CUT[process.pad] * LIQUID_CUT[process.liquid] * _settings(process)


def _settings(process: Process) -> float:
    """Return how many times the settings alone cut what the reference's settings would."""
    from leastcut.polish import cut

    return cut.relative_cut(
        process,
        REFERENCE,
        arm_speed_mm_s=(process.arm_speed_mm_s, REFERENCE.arm_speed_mm_s),
        spacing_mm=(process.stroke_spacing_mm, REFERENCE.stroke_spacing_mm),
    )


def finish_floor(process: Process) -> float:
    """Return the expected finish floor: share of the first visible load left of its own."""
    return PAD_FLOOR[process.pad] * LIQUID_FLOOR[process.liquid]


def ordered(processes: Sequence[Process]) -> tuple[Process, ...]:
    """Return the processes by expected cut per set, mildest first."""
    return tuple(sorted(processes, key=lambda process: (relative_cut(process), process.label)))


def needs_finish(process: Process) -> bool:
    """Tell whether a finishing step must follow: after a heavy liquid or a cutting pad.

    Both leave haze and fine trails (common practice, no source).
    """
    return process.liquid == "heavy" or process.pad in CUTTING_PADS


def finisher(process: Process, ladder: Sequence[Process]) -> Process | None:
    """Return the step that must follow `process`: the mildest of the ladder that leaves no haze.

    None when nothing must follow, or when the ladder has nothing to follow with.
    """
    if not needs_finish(process):
        return None
    return next((other for other in ordered(ladder) if not needs_finish(other)), None)


def steps(process: Process, sets: int, ladder: Sequence[Process]) -> tuple[tuple[str, int], ...]:
    """Return the steps of `process` with `sets`, its finishing step included.

    Examples
    --------
    >>> steps(DEFAULT[2], 1, DEFAULT)[1]
    ('finishing foam + finishing liquid', 2)
    """
    after = finisher(process, ladder)
    tail = () if after is None else ((after.label, FINISH_SETS),)
    return ((process.label, sets), *tail)


def check(ladder: Sequence[Process]) -> tuple[Process, ...]:
    """Return the ladder ordered, or say what is wrong with it.

    Raises
    ------
    LadderError
        If it is empty, two processes share a label, or a setting is not above zero.
    """
    if not ladder:
        raise LadderError("the ladder has no process", do="Give at least one pad with one liquid")
    labels = [process.label for process in ladder]
    twice = sorted({label for label in labels if labels.count(label) > 1})
    if twice:
        raise LadderError(f"two processes are called {twice[0]!r}", do="Give each its own label")
    for process in ladder:
        _check_settings(process)
    return ordered(ladder)


def _check_settings(process: Process) -> None:
    settings = {
        "pad_diameter_mm": process.pad_diameter_mm,
        "orbit_mm": process.orbit_mm,
        "orbits_per_min": process.orbits_per_min,
        "force_n": process.force_n,
        "arm_speed_mm_s": process.arm_speed_mm_s,
        "stroke_spacing_mm": process.stroke_spacing_mm,
        "relative_cut": 1.0 if process.relative_cut is None else process.relative_cut,
        "max_sets": process.max_sets,
    }
    for name, value in settings.items():
        if not (math.isfinite(value) and value > 0):
            raise LadderError(
                f"{name} of {process.label!r} is {value:g}",
                where=f"ladder {process.label}",
                do="Give a value above zero",
            )
