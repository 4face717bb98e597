"""What inspection takes in and gives back, as immutable records."""

from typing import Literal

import msgspec

from leastcut.car.records import Interval, Material, Point
from leastcut.errors import Refusal

Layer = Literal["total", "clear"]
Kind = Literal["swirl", "trail", "deep"]
ScaleFrom = Literal["typed", "square", "target"]
FilmState = Literal["factory", "repainted", "filled", "thin", "unmeasured", "unreadable"]


class Reading(msgspec.Struct, frozen=True, kw_only=True):
    """One gauge reading: a number on the display at one place.

    Attributes
    ----------
    panel : str
        Panel id.
    spot : str
        Name of the place within the panel; readings at one spot are repeats.
    reading_um : float
        What the gauge showed [µm].
    layer : {"total", "clear"}
        All layers together, or the clear coat alone (a gauge that resolves it).
    line : int or None
        Line of the file it came from, for messages.
    """

    panel: str
    spot: str
    reading_um: float
    layer: Layer = "total"
    substrate: Material = "unknown"
    x_mm: float | None = None
    y_mm: float | None = None
    line: int | None = None


class GaugeCheck(msgspec.Struct, frozen=True, kw_only=True):
    """One check of the gauge on a shim or bare metal of known thickness."""

    known_um: float
    shown_um: float


class Gauge(msgspec.Struct, frozen=True, kw_only=True):
    """What the gauge checks say: add nothing, know the spread.

    ``bias_um`` is subtracted from each reading; ``sd_um`` is the standard uncertainty of one
    corrected reading; ``checked`` says whether any check was made. ``sd_um`` is made up of
    ``repeat_um``, fresh for each reading, ``panel_um``, shared by the readings of one panel, and
    ``level_um``, shared by all; ``slope_error`` is the gauge's slope less 1. ``notes`` say what is
    wrong with the gauge.
    """

    bias_um: float
    sd_um: float
    checked: bool
    slope_error: float = 0.0
    repeat_um: float | None = None
    level_um: float | None = None
    panel_um: float = 0.0
    notes: tuple[str, ...] = ()


class EarlierCut(msgspec.Struct, frozen=True, kw_only=True):
    """A cut from the car's past: a ledger entry."""

    panel: str
    cut_um: float
    sd_um: float
    when: str = ""


class FilmFinding(msgspec.Struct, frozen=True, kw_only=True):
    """How much clear coat a panel has, and how much may be spent today.

    ``confidence`` is the probability behind ``budget_um``; ``assumed`` tells that no reading
    stands behind it. ``chances`` are the probabilities of what the panel may be; ``low_um`` is the
    lower bound of the clear at the thinnest place, with that confidence; ``removed_um`` what the
    ledger says was cut before.
    """

    panel: str
    n_spots: int
    n_readings: int
    mean_um: float | None
    sd_um: float | None
    min_um: float | None
    layer: Layer | None
    clear_um: Interval
    finding: FilmState
    reserve_um: float
    budget_um: float
    confidence: float
    assumed: bool
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    chances: dict[str, float] = {}
    low_um: float | None = None
    removed_um: float = 0.0


class FilmHelp(msgspec.Struct, frozen=True, kw_only=True):
    """What measuring one panel would be worth: the expected growth of its budget [µm]."""

    panel: str
    gain_um: float
    what: str


class NextReading(msgspec.Struct, frozen=True, kw_only=True):
    """Where one more spot would raise a panel's budget most, and by how much [mm], [µm]."""

    panel: str
    x_mm: float
    y_mm: float
    gain_um: float


class SectionBudget(msgspec.Struct, frozen=True, kw_only=True):
    """What may be cut from one section's face, and from its edges and body lines [µm]."""

    panel: str
    id: str
    clear_um: Interval
    budget_um: float
    edge_budget_um: float
    notes: tuple[str, ...] = ()


class Scratch(msgspec.Struct, frozen=True, kw_only=True):
    """One scratch as seen in one photo; points are pixels of the photo after its EXIF turn."""

    kind: Kind
    length_mm: float
    width_um: float
    contrast: float
    points_px: tuple[Point, ...]


class LoadByKind(msgspec.Struct, frozen=True, kw_only=True):
    """Scratch load split by kind of mark [mm/cm²]."""

    swirl: float
    trail: float
    deep: float


class Direction(msgspec.Struct, frozen=True, kw_only=True):
    """Mean direction of the scratches.

    ``resultant`` is the length of the mean vector of doubled angles, 0 for every direction alike
    to 1 for all parallel; ``degrees`` in [0, 180), counter-clockwise from +x.
    """

    resultant: float
    degrees: float


class ScratchFinding(msgspec.Struct, frozen=True, kw_only=True):
    """The finish seen in one photo.

    ``load_mm_per_cm2`` with its 95 % bounds is corrected for what the light could not show;
    ``load_seen_mm_per_cm2`` is what was seen. All measures are None when ``refused`` is filled.
    ``square_px`` are the corners of the measured square, empty where no square bounded the place.
    """

    um_per_px: float | None
    scale_from: ScaleFrom | None
    area_cm2: float | None
    load_mm_per_cm2: float | None
    load_low: float | None
    load_high: float | None
    load_seen_mm_per_cm2: float | None
    by_kind: LoadByKind | None
    haze: float | None
    direction: Direction | None
    light_px: Point | None
    square_px: tuple[Point, ...] = ()
    scratches: tuple[Scratch, ...] = ()
    flags: tuple[str, ...] = ()
    refused: Refusal | None = None


class CompareFinding(msgspec.Struct, frozen=True, kw_only=True):
    """How much of the scratches one place lost between two photos."""

    removed_fraction: float | None
    removed_low: float | None
    removed_high: float | None
    before_load_mm_per_cm2: float | None
    after_load_mm_per_cm2: float | None
    new_trails: int | None
    registration_rms_px: float | None
    overlap_cm2: float | None
    refused: Refusal | None = None


WashState = Literal["unwashed", "rinsed", "washed"]
ClayState = Literal["not-felt", "rough", "smooth"]


class WashCheck(msgspec.Struct, frozen=True, kw_only=True):
    """What the hand felt and the eye saw before any light was put on the paint."""

    washed: WashState = "unwashed"
    feel: ClayState = "not-felt"
    tar_or_iron: bool | None = None
    dry: bool | None = None
