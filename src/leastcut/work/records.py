"""What the run gives back, as immutable records.

The frame of a filmed section: origin at the lower left inner corner of the taped square as seen in
the video, x to the right, y up [mm]. Polygons are counter-clockwise and not closed by repetition.
"""

import msgspec

from leastcut.car.records import Point, Polygon
from leastcut.errors import Refusal
from leastcut.polish.records import PadSettings


class Spread(msgspec.Struct, frozen=True, kw_only=True):
    """A quantity that varies: the middle one, and what nine tenths lie between."""

    median: float
    p05: float
    p95: float


class Parked(msgspec.Struct, frozen=True, kw_only=True):
    """The pad stood on one place: since when, how long, where [s], [mm].

    ``rise_k`` is an upper bound of how much warmer the surface got, on thick plastic.
    """

    t_s: float
    seconds: float
    x_mm: float
    y_mm: float
    rise_k: float


class Laid(msgspec.Struct, frozen=True, kw_only=True):
    """One stroke as walked.

    ``family`` is 0 for the direction that was walked most, 1 for the one across it, -1 for others;
    ``cover`` numbers the coverings of the section within the take.
    """

    t_s: float
    seconds: float
    start_mm: Point
    end_mm: Point
    degrees: float
    speed_mm_s: float
    family: int
    cover: int


class CutSummary(msgspec.Struct, frozen=True, kw_only=True):
    """The cut that this path makes with the stated pad and paint, inside the section.

    ``origin_mm`` is the centre of the map's first cell, row 0 at the lowest y.
    """

    mean_um: float
    p05_um: float
    p95_um: float
    volume_mm3: float
    origin_mm: Point
    grid_mm: float
    preston_um_per_kpa_m: float


class Wanted(msgspec.Struct, frozen=True, kw_only=True):
    """What the take is measured against: plan or common practice.

    ``stroke_spacing_mm`` of None asks for half the pad's diameter.
    """

    arm_speed_mm_s: float = 60.0
    stroke_spacing_mm: float | None = None
    sets: int | None = None
    settings: PadSettings = PadSettings()
    preston_um_per_kpa_m: float = 2e-3


class TechniqueFinding(msgspec.Struct, frozen=True, kw_only=True):
    """One take measured. All measures are None or empty when ``refused`` is filled.

    Attributes
    ----------
    fps : float or None
        Frames per second of the video, from its time stamps.
    seconds, worked_s : float or None
        Length of the take; time with the pad down and moving [s].
    path : tuple of (t_s, x_mm, y_mm)
        Centre of the pad while it is down.
    path_sd_mm : float or None
        Typical standard uncertainty of one point of the path, against the square [mm].
    pad_diameter_mm : float or None
        As seen in the video.
    arm_speed_mm_s : Spread or None
        Along the strokes, by time.
    stroke_spacing_mm, overlap_fraction : float or None
        Distance of neighbouring strokes; share of the pad's width that it goes over twice.
    sets : int or None
        How often the section was covered in both directions.
    covers : tuple of int
        Coverings along each of the two directions.
    direction_deg : float or None
        Of the first family of strokes, in [0, 180).
    coverage_fraction : float or None
        Share of the section that the pad went over.
    missed_mm : tuple of Polygon
        What it did not go over.
    edge_s, tape_s : float or None
        Time with the pad's rim within 15 mm of the section's edge, and with the pad over the tape.
    tape_speed_mm_s : float or None
        Speed of the arm while over the tape.
    lifted_s, unseen_s : float or None
        Time with the pad off the paint; time in which it could not be seen.
    advice : tuple of str
        Three sentences.
    """

    fps: float | None = None
    seconds: float | None = None
    worked_s: float | None = None
    section_mm: Polygon = ()
    path: tuple[tuple[float, float, float], ...] = ()
    path_sd_mm: float | None = None
    pad_diameter_mm: float | None = None
    pad_colour: str | None = None
    arm_speed_mm_s: Spread | None = None
    stroke_spacing_mm: float | None = None
    overlap_fraction: float | None = None
    sets: int | None = None
    covers: tuple[int, int] = (0, 0)
    direction_deg: float | None = None
    strokes: tuple[Laid, ...] = ()
    coverage_fraction: float | None = None
    missed_mm: tuple[Polygon, ...] = ()
    edge_s: float | None = None
    tape_s: float | None = None
    tape_speed_mm_s: float | None = None
    parked: tuple[Parked, ...] = ()
    lifted_s: float | None = None
    unseen_s: float | None = None
    cut: CutSummary | None = None
    advice: tuple[str, ...] = ()
    refused: Refusal | None = None


class Measure(msgspec.Struct, frozen=True, kw_only=True):
    """One measure of two takes, or of a take and the plan; ``better`` is None where neither is."""

    what: str
    first: float | None
    second: float | None
    unit: str
    better: bool | None
    say: str


class Takes(msgspec.Struct, frozen=True, kw_only=True):
    """Two takes side by side, or a take against the plan."""

    measures: tuple[Measure, ...]
    say: str
    refused: Refusal | None = None


class Attempt(msgspec.Struct, frozen=True, kw_only=True):
    """One learner's take of a drill in one week of the course."""

    learner: str
    week: int
    finding: TechniqueFinding


class Progress(msgspec.Struct, frozen=True, kw_only=True):
    """How one learner moves along.

    ``speed_error`` is the relative distance of the arm speed from the drill's, by week in order;
    ``per_week`` its change from week to week (median of all slopes); ``next`` what to drill next.
    """

    learner: str
    weeks: tuple[int, ...]
    speed_error: tuple[float, ...]
    coverage: tuple[float, ...]
    per_week: float | None
    refused_takes: int
    next: str
