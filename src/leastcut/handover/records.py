"""Everything known about one job, gathered for reports and for the machine interface."""

from typing import Literal

import msgspec

from leastcut.car.records import Car, Interval
from leastcut.car.units import UnitSystem
from leastcut.errors import Problem, Refusal
from leastcut.inspect.records import FilmFinding, Gauge, ScratchFinding, WashCheck
from leastcut.plan.records import Layout, Plan
from leastcut.protect.records import Window
from leastcut.safety.records import Caution
from leastcut.testspot.records import Process, Target, TestSpot, Trial
from leastcut.work.prompts import Prompt
from leastcut.work.proof import ProofNext
from leastcut.work.runs import RunState

StageName = Literal["car", "inspect", "testspot", "plan", "work", "protect", "handover"]


class PhotoFinding(msgspec.Struct, frozen=True, kw_only=True):
    """One photo of one panel and what was found in it; `overlay` is a picture file's path."""

    panel: str
    photo: str
    finding: ScratchFinding
    overlay: str | None = None


class PanelState(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of one panel; `load_assumed` when no photo stands behind the load."""

    panel: str
    load_mm_per_cm2: Interval
    load_assumed: bool
    film: FilmFinding


class Stage(msgspec.Struct, frozen=True, kw_only=True):
    """One stage of the job: is it done, what is missing, what leastcut does not do there yet."""

    stage: StageName
    done: bool
    missing: tuple[str, ...] = ()
    not_yet: tuple[str, ...] = ()


class Help(msgspec.Struct, frozen=True, kw_only=True):
    """A piece of evidence that would help, and what it would change; most helpful first.

    ``gain_um`` is what it would be worth in clear coat: budget won, or spread of the cut taken
    away, on average over the car; None where it is worth something else.
    """

    evidence: str
    panel: str | None
    why: str
    gain_um: float | None = None


class People(msgspec.Struct, frozen=True, kw_only=True):
    """Who the job is for and who does it; any may be empty."""

    client: str = ""
    shop: str = ""
    date: str = ""


class PairProof(msgspec.Struct, frozen=True, kw_only=True):
    """One place before and after: the share of scratches gone there, or why it cannot be told."""

    section: str
    photo_before: str
    photo_after: str
    removed: Interval | None
    refused: Refusal | None = None


class PanelProof(msgspec.Struct, frozen=True, kw_only=True):
    """What photos of the same places prove of one panel.

    Attributes
    ----------
    before_mm_per_cm2, after_mm_per_cm2 : Interval or None
        Scratch load; None where the photos cannot be judged.
    removed : Interval or None
        Share of the visible scratch length gone.
    photo_before, photo_after : str or None
        Names of the pictures of the first place that could be judged.
    required : float or None
        Share that was promised.
    met, p_met : bool or None, float or None
        Whether the promise is kept (None: cannot be told), and with which probability.
    remains : tuple of str
        What is left, and why.
    back_to : tuple of str
        Sections to go back to, worst first.
    do, next : str
        What to do, as a word and in words.
    """

    panel: str
    before_mm_per_cm2: Interval | None
    after_mm_per_cm2: Interval | None
    removed: Interval | None = None
    photo_before: str | None = None
    photo_after: str | None = None
    required: float | None = None
    met: bool | None = None
    p_met: float | None = None
    remains: tuple[str, ...] = ()
    back_to: tuple[str, ...] = ()
    do: ProofNext = "on"
    next: str = ""
    refused: Refusal | None = None
    pairs: tuple[PairProof, ...] = ()


class PanelCut(msgspec.Struct, frozen=True, kw_only=True):
    """Clear coat spent on one panel in this job, and how that is known."""

    panel: str
    cut_um: Interval
    sd_um: float
    how: Literal["measured", "estimated"]
    process: str = ""
    section: str | None = None


class Dossier(msgspec.Struct, frozen=True, kw_only=True):
    """The whole job: what is known, what was decided, what it will take, what was proven.

    ``run`` is where the recorded work stands, None without a record; ``prompts`` what it asks to do;
    ``sections_for`` names the process that the sections are drawn for; ``problems`` are what a visit holds and could not be used; a job file with problems has none,
    because nothing is decided on it.
    """

    car: Car
    people: People
    target: Target
    units: UnitSystem
    wash: WashCheck
    photos: tuple[PhotoFinding, ...]
    gauge: Gauge
    panels: tuple[PanelState, ...]
    ladder: tuple[Process, ...]
    trials: tuple[Trial, ...]
    testspot: TestSpot
    layouts: tuple[Layout, ...]
    plan: Plan
    cautions: tuple[Caution, ...]
    window: Window | None
    stages: tuple[Stage, ...]
    would_help_most: tuple[Help, ...]
    proofs: tuple[PanelProof, ...] = ()
    cuts: tuple[PanelCut, ...] = ()
    run: RunState | None = None
    prompts: tuple[Prompt, ...] = ()
    problems: tuple[Problem, ...] = ()
    sections_for: str = ""
