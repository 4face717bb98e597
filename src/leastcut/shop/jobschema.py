"""The job file's fields: what a person writes in ``NAME.toml``, each with its meaning.

These records are the one definition of the format: the reader, the published JSON Schema and the
chapter in the documentation are all made from them. Quantities are text with a unit in the file
and floats inside (see :mod:`leastcut.shop.quantities`).
"""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta, field

from leastcut.car.records import BodyClass, Facing, Material, PaintHistory, PaintSystem, Shade, Side
from leastcut.inspect.records import ClayState, WashState
from leastcut.shop.jobplace import PricesTable, ProtectTable, RoomTable
from leastcut.shop.quantities import (
    Micrometres,
    Millimetres,
    MillimetresPerSecond,
    Newtons,
    PerMinute,
    ShownMicrometres,
    Watts,
)
from leastcut.testspot.records import LiquidClass, PadClass, Target, Verdict

PointMm = tuple[float, float]
Percent = Annotated[float, Meta(ge=0, le=100)]


class PeopleTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who the job is for and who does it."""

    client: Annotated[str, Meta(description="The client's name, for the reports.")] = ""
    shop: Annotated[str, Meta(description="The shop's or the worker's name.")] = ""
    date: Annotated[str, Meta(description="Date of the visit, as it shall be printed.")] = ""


class PaintTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is known of the paint before anything is measured."""

    system: Annotated[
        PaintSystem, Meta(description="Clear over base, or colour without clear (single-stage).")
    ] = "unknown"
    shade: Annotated[Shade, Meta(description="How dark the colour is: dark paint shows more.")] = (
        "unknown"
    )
    history: Annotated[PaintHistory, Meta(description="Factory paint, or repainted somewhere.")] = (
        "unknown"
    )
    label: Annotated[
        str,
        Meta(description="Your own name for this paint system; what is learnt is kept under it."),
    ] = ""


class CarTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The car: a body class and four tape measurements."""

    label: Annotated[str, Meta(description="What you call this car.", min_length=1)]
    body: Annotated[BodyClass, Meta(description="Body class that the panels are drawn from.")]
    length_mm: Annotated[
        Millimetres | None, Meta(description="Overall length; left out: typical of the class.")
    ] = field(name="length", default=None)
    width_mm: Annotated[Millimetres | None, Meta(description="Overall width without mirrors.")] = (
        field(name="width", default=None)
    )
    height_mm: Annotated[Millimetres | None, Meta(description="Overall height.")] = field(
        name="height", default=None
    )
    wheelbase_mm: Annotated[Millimetres | None, Meta(description="Distance between the axles.")] = (
        field(name="wheelbase", default=None)
    )
    doors: Annotated[
        Annotated[int, Meta(ge=2, le=6)] | None,
        Meta(description="Number of doors, a tailgate counted as one."),
    ] = None
    year: Annotated[
        Annotated[int, Meta(ge=1900, le=2100)] | None, Meta(description="Model year.")
    ] = None
    material: Annotated[
        Material,
        Meta(
            description="Material of the panels that `materials` does not name; bumpers are plastic."
        ),
    ] = "steel"
    materials: Annotated[dict[str, Material], Meta(description="Material by panel id.")] = field(
        default_factory=dict
    )
    paint: PaintTable = field(default_factory=PaintTable)


class PanelTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A correction to one panel: tape measurements, your own outline, or leaving it out."""

    id: Annotated[str, Meta(description="Panel id, such as `bonnet`.", min_length=1)]
    width_mm: Annotated[
        Millimetres | None, Meta(description="Measured width: the outline is stretched to it.")
    ] = field(name="width", default=None)
    height_mm: Annotated[
        Millimetres | None,
        Meta(description="Measured height (for bonnet, roof and boot: front to rear)."),
    ] = field(name="height", default=None)
    outline_mm: Annotated[
        tuple[PointMm, ...] | None,
        Meta(description="Your own outline: corner points [x, y] in mm, seen from outside."),
    ] = None
    outline_file: Annotated[
        str | None, Meta(description="JSON file with the outline, beside the job file.")
    ] = None
    side: Annotated[
        Side | None, Meta(description="Needed for a panel that the body class does not have.")
    ] = None
    facing: Annotated[
        Facing | None, Meta(description="Needed for a panel that the body class does not have.")
    ] = None
    material: Annotated[Material | None, Meta(description="Material of this panel.")] = None
    skip: Annotated[bool, Meta(description="Leave this panel out of the job.")] = False


class TargetTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the client wants."""

    finish: Annotated[
        Target,
        Meta(
            description="`daily`: at least 85 % of the visible scratch length gone; `show`: at least 95 %."
        ),
    ] = "daily"
    reserve_um: Annotated[
        Micrometres | None,
        Meta(
            description="Clear coat that must stay on every panel, if you want another floor than the default."
        ),
    ] = field(name="reserve", default=None)
    confidence_percent: Annotated[
        float,
        Meta(
            description="Chance of reaching the finish that the test spot must prove, and the plan give on each section.",
            ge=50,
            le=99,
        ),
    ] = 90.0
    accept_percent: Annotated[
        Annotated[float, Meta(ge=0, le=99)] | None,
        Meta(
            description="Chance of the finish that is accepted where the budget can pay for nothing better: the least that the best affordable process must have to be used."
        ),
    ] = None


class WashTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The wash-and-clay check: what the hand felt and the eye saw."""

    washed: Annotated[WashState, Meta(description="How far the wash has gone.")] = "unwashed"
    feel: Annotated[
        ClayState,
        Meta(
            description="The paint under clean fingers in a thin bag: rough, smooth, or not felt yet."
        ),
    ] = "not-felt"
    tar_or_iron: Annotated[
        bool | None, Meta(description="Tar spots or rust-coloured specks seen.")
    ] = None
    dry: Annotated[
        bool | None,
        Meta(description="Dry, with no oil or wax left, so that photos show bare paint."),
    ] = None


class PhotoTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One photo of one panel under a point light."""

    panel: Annotated[str, Meta(description="Panel id.")]
    file: Annotated[str, Meta(description="Picture file, beside the job file.", min_length=1)]
    square_mm: Annotated[
        Millimetres | None,
        Meta(description="Inner side of the taped or printed square in the photo."),
    ] = field(name="square", default=None)
    um_per_px: Annotated[
        Micrometres | None,
        Meta(description="Size of one pixel on the paint, if there is no square."),
    ] = field(name="pixel", default=None)


class GaugeCheckTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One check of the gauge on a shim of known thickness (0 µm: bare metal)."""

    known_um: Annotated[Micrometres, Meta(description="Stated thickness.")] = field(name="known")
    shown_um: Annotated[ShownMicrometres, Meta(description="What the gauge showed.")] = field(
        name="shown"
    )


class EarlierTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A cut from the car's past."""

    panel: Annotated[str, Meta(description="Panel id.")]
    cut_um: Annotated[Micrometres, Meta(description="Clear coat removed then.")] = field(name="cut")
    sd_um: Annotated[Micrometres, Meta(description="Its standard uncertainty.")] = field(name="sd")
    when: Annotated[str, Meta(description="When.")] = ""


class FilmTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Paint thickness: readings, gauge checks, earlier cuts."""

    checked_days_ago: Annotated[
        Annotated[int, Meta(ge=0, le=3660)] | None,
        Meta(description="How many days ago the gauge was checked; an old check counts for less."),
    ] = None
    readings: Annotated[
        str | None,
        Meta(
            description="CSV file with columns panel, spot, reading_um (or reading_mil), beside the job file."
        ),
    ] = None
    readings_after: Annotated[
        str | None,
        Meta(
            description="CSV file of the same form, read at the same spots after the work; the difference is the cut."
        ),
    ] = None
    check: Annotated[tuple[GaugeCheckTable, ...], Meta(description="Checks of the gauge.")] = ()
    earlier: Annotated[
        tuple[EarlierTable, ...], Meta(description="Cuts from earlier corrections.")
    ] = ()


class ProcessTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One process of the ladder: pad, liquid, machine, settings, under your own label."""

    label: Annotated[str, Meta(description="Your own label.", min_length=1)]
    pad: Annotated[PadClass, Meta(description="Class of pad.")]
    liquid: Annotated[LiquidClass, Meta(description="Class of liquid.")]
    pad_diameter_mm: Annotated[Millimetres | None, Meta(description="Diameter of the pad.")] = (
        field(name="pad_diameter", default=None)
    )
    orbit_mm: Annotated[Millimetres | None, Meta(description="Diameter of the throw.")] = field(
        name="orbit", default=None
    )
    orbits_per_min: Annotated[PerMinute | None, Meta(description="Orbit rate under load.")] = field(
        name="speed", default=None
    )
    spin_rpm: Annotated[PerMinute | None, Meta(description="Free spin of the pad under load.")] = (
        field(name="spin", default=None)
    )
    force_n: Annotated[
        Newtons | None, Meta(description="Force on the pad, the machine's weight included.")
    ] = field(name="force", default=None)
    arm_speed_mm_s: Annotated[MillimetresPerSecond | None, Meta(description="Arm speed.")] = field(
        name="arm_speed", default=None
    )
    stroke_spacing_mm: Annotated[
        Millimetres | None, Meta(description="Distance between strokes.")
    ] = field(name="stroke_spacing", default=None)
    power_w: Annotated[Watts | None, Meta(description="Input power of the machine.")] = field(
        name="power", default=None
    )
    max_sets: Annotated[
        Annotated[int, Meta(ge=1, le=12)] | None,
        Meta(description="Most sets worth doing on one section."),
    ] = None


class TrialTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One process tried on the test spot."""

    process: Annotated[str, Meta(description="Label of the process.")]
    sets: Annotated[int, Meta(description="Sets done.", ge=1, le=40)]
    panel: Annotated[str | None, Meta(description="Panel id of the test spot.")] = None
    spot: Annotated[
        str,
        Meta(description="Name of the spot: trials on one spot stack, another name starts afresh."),
    ] = "1"
    since: Annotated[
        Literal["trial", "spot"],
        Meta(
            description="What the photo before shows: the spot just before this trial, or before "
            "anything was done on it."
        ),
    ] = "trial"
    before: Annotated[str | None, Meta(description="Photo before, beside the job file.")] = None
    after: Annotated[
        str | None, Meta(description="Photo after, wiped bare, same place and light.")
    ] = None
    square_mm: Annotated[
        Millimetres | None, Meta(description="Inner side of the taped square in both photos.")
    ] = field(name="square", default=None)
    um_per_px: Annotated[
        Micrometres | None,
        Meta(description="Size of one pixel on the paint, if there is no square."),
    ] = field(name="pixel", default=None)
    gauge_before_um: Annotated[
        tuple[Micrometres, ...], Meta(description="Readings on the spot before.")
    ] = field(name="gauge_before", default=())
    gauge_after_um: Annotated[
        tuple[Micrometres, ...], Meta(description="Readings on the spot after.")
    ] = field(name="gauge_after", default=())
    verdict: Annotated[Verdict | None, Meta(description="The inspector's word.")] = None


class ProofTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Two photos of one place that prove the result: before any work, and after it, wiped bare."""

    panel: Annotated[str, Meta(description="Panel id.")]
    section: Annotated[
        str, Meta(description="Id of the section in the plan that the place lies in, if known.")
    ] = ""
    before: Annotated[
        str, Meta(description="Photo before the work, beside the job file.", min_length=1)
    ]
    after: Annotated[
        str,
        Meta(description="Photo after it, wiped bare of oils, same place and light.", min_length=1),
    ]
    square_mm: Annotated[
        Millimetres | None, Meta(description="Inner side of the taped square in both photos.")
    ] = field(name="square", default=None)
    um_per_px: Annotated[
        Micrometres | None,
        Meta(description="Size of one pixel on the paint, if there is no square."),
    ] = field(name="pixel", default=None)


class JobFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A whole job file."""

    format: Annotated[Literal[1], Meta(description="Version of this format.")]
    car: CarTable
    units: Annotated[
        Literal["metric", "us"], Meta(description="Units that results are shown in.")
    ] = "metric"
    people: PeopleTable = field(default_factory=PeopleTable)
    target: TargetTable = field(default_factory=TargetTable)
    wash: WashTable = field(default_factory=WashTable)
    film: FilmTable = field(default_factory=FilmTable)
    room: RoomTable = field(default_factory=RoomTable)
    protect: ProtectTable = field(default_factory=ProtectTable)
    prices: PricesTable | None = None
    panel: tuple[PanelTable, ...] = ()
    photo: tuple[PhotoTable, ...] = ()
    process: tuple[ProcessTable, ...] = ()
    trial: tuple[TrialTable, ...] = ()
    proof: tuple[ProofTable, ...] = ()
    sections_for: Annotated[
        str | None,
        Meta(
            description="Label of the process whose pad and stroke spacing the sections are drawn for; left out: the one that the test spot points to. Write it once work has begun, so that the sections keep their numbers."
        ),
    ] = None
    run: Annotated[
        str | None,
        Meta(
            description="Record of the work: a file of JSON lines, one event a line, beside the job file."
        ),
    ] = None
