"""What the safety stage takes in and gives back, as immutable records."""

from typing import Literal

import msgspec

from leastcut.car.records import Material, PaintSystem

Band = Literal["below action", "at or above action", "above limit"]


class Caution(msgspec.Struct, frozen=True, kw_only=True):
    """One caution, shown at the stage where it matters, with its source.

    ``stage`` is one of the stage words; ``panel`` narrows it to a panel where it applies to one.
    """

    id: str
    stage: str
    what: str
    do: str
    source: str
    panel: str | None = None


class ToolUse(msgspec.Struct, frozen=True, kw_only=True):
    """One vibrating tool and how long the hand is on it while it runs.

    Attributes
    ----------
    magnitude_m_s2 : float
        Declared or measured vibration total value, frequency-weighted r.m.s. [m/s²].
    minutes : float
        Trigger time in the day [min].
    k_m_s2 : float or None
        Declared uncertainty K [m/s²]; None when the maker gives none.
    name : str
        What the person calls the tool.
    """

    magnitude_m_s2: float
    minutes: float
    k_m_s2: float | None = None
    name: str = ""


class VibrationExposure(msgspec.Struct, frozen=True, kw_only=True):
    """A person's hand-arm vibration of one day.

    ``minutes_to_action`` and ``minutes_to_limit`` are the trigger minutes at which this tool, or
    this mix of tools, reaches the value from the start of the day; ``minutes_left_to_…`` take off
    what is already used. ``…_high`` are the same with each magnitude raised by its K.
    """

    a8_m_s2: float
    points: float
    minutes_to_action: float
    minutes_to_limit: float
    minutes_left_to_action: float
    minutes_left_to_limit: float
    a8_high_m_s2: float
    points_high: float
    minutes_to_action_high: float
    minutes_to_limit_high: float
    band: Band
    band_high: Band
    k_assumed: bool
    action_m_s2: float
    limit_m_s2: float
    source: str


Then = Literal["rest", "hand over", "stop for the day", "done"]


class Stretch(msgspec.Struct, frozen=True, kw_only=True):
    """One stretch of work with one tool by one person, and what follows it.

    `day` and `person` count from 1; `points` are the stretch's own, with K.
    """

    day: int
    person: int
    tool: str
    minutes: float
    points: float
    then: Then


class SharePlan(msgspec.Struct, frozen=True, kw_only=True):
    """How the polishing of a car is shared so that nobody passes a day's vibration.

    Attributes
    ----------
    points, points_high : float
        Exposure points of the whole work, as declared and with K.
    ceiling_points : float
        What one person may take in a day (100 action, 400 limit).
    person_days, days, persons : int
        Shares of the work, days they take, people who take them.
    points_per_share : float
        The largest share, with K.
    rest_minutes : float
        All rests together [min].
    share_needed : bool
        One person in one day would pass the ceiling, or the hours of the day.
    above_action : bool
        Even so shared, a share reaches the action value: the duties of an employer begin.
    """

    points: float
    points_high: float
    ceiling_points: float
    person_days: int
    days: int
    persons: int
    points_per_share: float
    rest_minutes: float
    share_needed: bool
    above_action: bool
    stretches: tuple[Stretch, ...]
    why: str
    do: str
    source: str


class NoiseUse(msgspec.Struct, frozen=True, kw_only=True):
    """A sound level at the ear [dB(A)] and how long it lasts in the day [min]."""

    level_dba: float
    minutes: float
    name: str = ""


class NoiseExposure(msgspec.Struct, frozen=True, kw_only=True):
    """A person's noise of one day under three rules, and what follows from the strictest.

    ``osha_*`` counts from 80 dB(A) with the 5 dB exchange rate, ``niosh_*`` and ``lex_8h_dba``
    with 3 dB. ``minutes_left`` is how long the loudest level may go on before the NIOSH dose is
    full.
    """

    osha_dose_percent: float
    osha_twa_dba: float | None
    niosh_dose_percent: float
    niosh_twa_dba: float | None
    lex_8h_dba: float | None
    minutes_left: float
    protection: Literal["not required", "offer", "wear"]
    why: str
    source: str


class Solvent(msgspec.Struct, frozen=True, kw_only=True):
    """A solvent as its data sheet describes it; None where the sheet gives nothing.

    ``lel_percent`` is per cent by volume in air; ``limit_ppm`` the occupational limit (8 h) used,
    ``short_limit_ppm`` the 15 min limit.
    """

    id: str
    name: str
    molar_mass_g_mol: float
    density_g_ml: float
    lel_percent: float
    limit_ppm: float | None
    short_limit_ppm: float | None = None
    flash_point_c: float | None = None
    autoignition_c: float | None = None
    source: str = ""


class Vapour(msgspec.Struct, frozen=True, kw_only=True):
    """Vapour in a well-mixed room over one job and after it.

    ``peak_*`` is at the end of the release; ``mean_ppm`` over the release; ``twa_8h_ppm`` the
    whole release and the clearing after it spread over 8 h; ``air_needed_m3_h`` keeps the steady
    concentration at the limit; ``minutes_to_clear`` from the peak to a tenth of the limit.
    """

    solvent: str
    peak_ppm: float
    peak_mg_m3: float
    peak_percent_lel: float
    mean_ppm: float
    worst_15_min_ppm: float
    twa_8h_ppm: float
    limit_ppm: float | None
    short_limit_ppm: float | None
    fire_limit_percent_lel: float
    air_needed_m3_h: float | None
    minutes_to_clear: float | None
    ok: bool
    why: str
    source: str


class Mixture(msgspec.Struct, frozen=True, kw_only=True):
    """Several solvents in one room at once: each as a share of its limit, and the sums.

    A sum above 1 passes the limit of the mixture. ``fire_share`` is of a quarter of the lower
    explosive limit. Solvents without a limit for people count in the fire sum only.
    """

    day_share: float
    short_share: float
    fire_share: float
    ok: bool
    why: str
    source: str


class Cord(msgspec.Struct, frozen=True, kw_only=True):
    """What a cord costs the machine, and whether the circuit carries the load.

    ``drop_percent`` is of the supply voltage; ``power_left_percent`` what a resistive load would
    keep, a guide to what a commutator motor loses; ``longest_m`` keeps within ``limit_percent``.
    """

    conductor: str
    ohm_per_km: float
    drop_v: float
    drop_percent: float
    limit_percent: float
    loss_w: float
    power_left_percent: float
    longest_m: float
    circuit_amps: float | None
    load_percent_of_circuit: float | None
    ok: bool
    why: str
    source: str


class PanelFacts(msgspec.Struct, frozen=True, kw_only=True):
    """What the cautions must know of one panel.

    ``film`` repeats the film finding's words; ``left_after_low_um`` is the cautious clear coat
    after the plan, ``reserve_um`` what must stay.
    """

    panel: str
    material: Material = "unknown"
    film: Literal["factory", "repainted", "filled", "thin", "unmeasured", "unreadable"] = (
        "unmeasured"
    )
    left_after_low_um: float | None = None
    reserve_um: float | None = None
    has_edges: bool = True
    has_body_lines: bool = False
    has_keep_outs: bool = False
    temperature_rise_c: float | None = None
    surface_c: float | None = None
    sanding: bool = False
    near_airbag: bool = False


class JobFacts(msgspec.Struct, frozen=True, kw_only=True):
    """What the cautions must know of a job; None where nobody knows."""

    panels: tuple[PanelFacts, ...] = ()
    paint_system: PaintSystem = "unknown"
    car_year: int | None = None
    machine_m_s2: float | None = None
    machine_k_m_s2: float | None = None
    polishing_minutes: float | None = None
    noise_dba: float | None = None
    wipe_ml: float | None = None
    wipe_minutes: float = 30.0
    room_m3: float | None = None
    air_changes_per_h: float | None = None
    cord_conductor: str | None = None
    cord_m: float | None = None
    circuit_volts: float | None = None
    circuit_amps: float | None = None
    load_amps: float | None = None
    washed: bool | None = None
    works_alone: bool = True
    outdoors: bool = False
