"""Solvent vapour in a room: a well-mixed box with a constant release and a constant air change.

Method: mass balance V dC/dt = G - (Q/K) C, in closed form (industrial ventilation; ACGIH manual).
Real rooms mix badly and people stand close to the cloth, so a mixing factor K divides the air.
"""

import math
from collections.abc import Sequence

from leastcut.safety.check import within
from leastcut.safety.records import Mixture, Solvent, Vapour

MOLAR_VOLUME_L = 24.45  # at 25 °C and 1 atm; source: NIOSH Pocket Guide introduction; status: seen
# source: OSHA interpretation letter of 1991-12-02 citing NFPA 30-1990 5-3.3; status: seen
FIRE_FRACTION_OF_LEL = 0.25
# source: ACGIH industrial ventilation manual, 1 (perfect) to 10; status: from memory
DEFAULT_MIXING = 3.0


def ppm_of_mg_m3(mg_m3: float, molar_mass_g_mol: float) -> float:
    """Return a concentration in parts per million by volume at 25 °C and 1 atm.

    Raises
    ------
    ExposureError
        If an argument is out of range.

    Examples
    --------
    >>> round(ppm_of_mg_m3(983.2, 60.1), 1)
    400.0
    """
    within("concentration", mg_m3, 0.0, 1e9, unit="mg/m³")
    within("molar mass", molar_mass_g_mol, 1.0, 1000.0, unit="g/mol")
    return mg_m3 * MOLAR_VOLUME_L / molar_mass_g_mol


def mg_m3_of_ppm(ppm: float, molar_mass_g_mol: float) -> float:
    """Return a concentration in mg/m³ at 25 °C and 1 atm.

    Raises
    ------
    ExposureError
        If an argument is out of range.

    Examples
    --------
    >>> round(mg_m3_of_ppm(400.0, 60.1), 1)
    983.2
    """
    within("concentration", ppm, 0.0, 1e6, unit="ppm")
    within("molar mass", molar_mass_g_mol, 1.0, 1000.0, unit="g/mol")
    return ppm * molar_mass_g_mol / MOLAR_VOLUME_L


def saturation_ppm(vapour_pressure_mmhg: float) -> float:
    """Return the concentration over the liquid at rest: 10⁶ p / 760 [ppm].

    Raises
    ------
    ExposureError
        If the pressure is outside 0 to 760 mmHg.

    Examples
    --------
    >>> round(saturation_ppm(33.0))
    43421
    """
    within("vapour pressure", vapour_pressure_mmhg, 0.0, 760.0, unit="mmHg")
    return 1e6 * vapour_pressure_mmhg / 760.0


def concentration_mg_m3(
    time_h: float,
    *,
    room_m3: float,
    air_m3_h: float,
    release_mg_h: float,
    start_mg_m3: float = 0.0,
) -> float:
    """Return the concentration in a well-mixed room after `time_h` of a steady release.

    Parameters
    ----------
    time_h : float
        Time since the release began [h].
    room_m3 : float
        Volume of air in the room [m³].
    air_m3_h : float
        Fresh air that does mix, Q / K [m³/h]; 0 is a closed room.
    release_mg_h : float
        Solvent that evaporates [mg/h].
    start_mg_m3 : float
        Concentration at the beginning [mg/m³].

    Returns
    -------
    float
        C = (G/Q)(1 - exp(-Q t / V)) + C0 exp(-Q t / V) [mg/m³].

    Raises
    ------
    ExposureError
        If an argument is negative, not finite, or the room has no volume.

    Examples
    --------
    >>> c = concentration_mg_m3(1.0, room_m3=60.0, air_m3_h=120.0, release_mg_h=20000.0)
    >>> round(c, 3)
    144.111
    """
    within("time", time_h, 0.0, 1e4, unit="h")
    _check_room(room_m3, air_m3_h)
    within("release", release_mg_h, 0.0, 1e12, unit="mg/h")
    within("start", start_mg_m3, 0.0, 1e9, unit="mg/m³")
    rate = air_m3_h / room_m3
    return start_mg_m3 * math.exp(-rate * time_h) + release_mg_h / room_m3 * _filled(rate, time_h)


def mean_mg_m3(time_h: float, *, room_m3: float, air_m3_h: float, release_mg_h: float) -> float:
    """Return the mean concentration over the first `time_h` of a steady release [mg/m³].

    Raises
    ------
    ExposureError
        As :func:`concentration_mg_m3`.

    Examples
    --------
    >>> round(mean_mg_m3(1.0, room_m3=60.0, air_m3_h=120.0, release_mg_h=20000.0), 3)
    94.611
    """
    within("time", time_h, 1e-6, 1e4, unit="h")
    _check_room(room_m3, air_m3_h)
    within("release", release_mg_h, 0.0, 1e12, unit="mg/h")
    return release_mg_h / room_m3 * _area(air_m3_h / room_m3, time_h) / time_h


def hours_to_fall(from_mg_m3: float, to_mg_m3: float, *, room_m3: float, air_m3_h: float) -> float:
    """Return how long fresh air takes to bring a room down once the release has ended [h].

    Raises
    ------
    ExposureError
        If a concentration or the room is out of range.

    Examples
    --------
    >>> round(60 * hours_to_fall(1000.0, 100.0, room_m3=60.0, air_m3_h=120.0), 2)
    69.08
    """
    within("from", from_mg_m3, 0.0, 1e9, unit="mg/m³")
    within("to", to_mg_m3, 1e-9, 1e9, unit="mg/m³")
    _check_room(room_m3, air_m3_h)
    if from_mg_m3 <= to_mg_m3:
        return 0.0
    return math.log(from_mg_m3 / to_mg_m3) * room_m3 / air_m3_h if air_m3_h > 0.0 else math.inf


def air_for_health_m3_h(release_mg_h: float, limit_mg_m3: float, *, mixing: float) -> float:
    """Return the fresh air that keeps a steady release at a limit: K G / C [m³/h].

    Raises
    ------
    ExposureError
        If an argument is out of range.

    Examples
    --------
    >>> air_for_health_m3_h(20000.0, 100.0, mixing=3.0)
    600.0
    """
    within("release", release_mg_h, 0.0, 1e12, unit="mg/h")
    within("limit", limit_mg_m3, 1e-6, 1e9, unit="mg/m³")
    within("mixing factor", mixing, 1.0, 10.0, unit="times")
    return mixing * release_mg_h / limit_mg_m3


def room(
    millilitres: float,
    substance: Solvent,
    *,
    room_m3: float,
    air_changes_per_h: float,
    minutes: float,
    mixing: float = DEFAULT_MIXING,
    surface_c: float | None = None,
) -> Vapour:
    """Return the vapour of so much solvent wiped on over so long in this room.

    Parameters
    ----------
    millilitres : float
        Liquid that evaporates, all of it, at a steady rate [ml].
    substance : Solvent
        From :func:`leastcut.safety.solvents.solvent` or a data sheet.
    room_m3, air_changes_per_h : float
        Volume of the room [m³] and how often its air is renewed [1/h].
    minutes : float
        How long the wiping lasts [min].
    mixing : float
        Mixing factor K, 1 (perfect) to 10.
    surface_c : float or None
        Temperature of the hottest surface near the cloth [°C]; None if nothing is hot.

    Returns
    -------
    Vapour
        Concentrations [ppm, mg/m³, % LEL], the limits, the air needed [m³/h], and a verdict.

    Raises
    ------
    ExposureError
        If an argument is out of range, or a surface is as hot as the solvent's ignition.

    Examples
    --------
    >>> from leastcut.safety.solvents import solvent
    >>> ipa = solvent("isopropanol")
    >>> garage = room(100.0, ipa, room_m3=60.0, air_changes_per_h=0.0, minutes=30.0)
    >>> round(garage.peak_ppm, 2)
    532.26
    """
    hours = _check_job(millilitres, minutes, mixing) / 60.0
    within("air changes", air_changes_per_h, 0.0, 500.0, unit="per hour")
    _check_surface(substance, surface_c)
    air = air_changes_per_h * room_m3 / mixing
    release = millilitres * substance.density_g_ml * 1000.0 / hours
    peak = concentration_mg_m3(hours, room_m3=room_m3, air_m3_h=air, release_mg_h=release)
    ppm = MOLAR_VOLUME_L / substance.molar_mass_g_mol
    box = (room_m3, air, release, hours)
    shares = (ppm * peak, ppm * _worst_quarter(*box), ppm * _eight_hours(*box))
    ok, why = _verdict(substance, *shares)
    target = 0.1 * (substance.limit_ppm or substance.lel_percent * 1e4 * FIRE_FRACTION_OF_LEL)
    clear = hours_to_fall(peak, target / ppm, room_m3=room_m3, air_m3_h=air)
    return Vapour(
        solvent=substance.name,
        peak_ppm=shares[0],
        peak_mg_m3=peak,
        peak_percent_lel=shares[0] / (substance.lel_percent * 100.0),
        mean_ppm=ppm * release / room_m3 * _area(air / room_m3, hours) / hours,
        worst_15_min_ppm=shares[1],
        twa_8h_ppm=shares[2],
        limit_ppm=substance.limit_ppm,
        short_limit_ppm=substance.short_limit_ppm,
        fire_limit_percent_lel=100.0 * FIRE_FRACTION_OF_LEL,
        air_needed_m3_h=_air_needed(substance, release, mixing),
        minutes_to_clear=None if math.isinf(clear) else 60.0 * clear,
        ok=ok,
        why=why,
        source=substance.source,
    )


def together(parts: Sequence[Vapour]) -> Mixture:
    """Return whether vapours that are in the room at the same time pass a limit together.

    Parameters
    ----------
    parts : sequence of Vapour
        From :func:`room`, one for each solvent; their peaks are taken to coincide.

    Returns
    -------
    Mixture
        Sums of concentration over limit for the day, for 15 min and for fire.

    Notes
    -----
    sum C_i / L_i <= 1 for solvents that harm alike; source: 29 CFR 1910.1000(d)(2)(i), from memory.
    For fire the same sum over the lower explosive limits (Le Chatelier), from memory.

    Examples
    --------
    >>> together([]).ok
    True
    """
    day = math.fsum(v.twa_8h_ppm / v.limit_ppm for v in parts if v.limit_ppm)
    short = math.fsum(v.worst_15_min_ppm / v.short_limit_ppm for v in parts if v.short_limit_ppm)
    fire = math.fsum(v.peak_percent_lel / v.fire_limit_percent_lel for v in parts)
    worst = max(
        ("the fire limit", fire), ("the 15 min limit", short), ("the 8 h limit", day), key=_share
    )
    return Mixture(
        day_share=day,
        short_share=short,
        fire_share=fire,
        ok=worst[1] <= 1.0,
        why=f"together {worst[1]:.2f} of {worst[0]}, 1 allowed",
        source="29 CFR 1910.1000(d)(2)(i) and Le Chatelier's rule (from memory, not confirmed)",
    )


def _share(named: tuple[str, float]) -> float:
    return named[1]


def _check_room(room_m3: float, air_m3_h: float) -> None:
    within("room", room_m3, 0.1, 1e6, unit="m³", why="work needs a room to stand in")
    within("air", air_m3_h, 0.0, 1e9, unit="m³/h")


def _check_job(millilitres: float, minutes: float, mixing: float) -> float:
    within("solvent", millilitres, 0.0, 1e6, unit="ml")
    within("mixing factor", mixing, 1.0, 10.0, unit="times")
    return within("minutes", minutes, 0.1, 1440.0, unit="min", why="a day has 24 h")


def _check_surface(substance: Solvent, surface_c: float | None) -> None:
    if surface_c is None:
        return
    top = substance.autoignition_c
    within(
        "surface temperature",
        surface_c,
        -40.0,
        (top if top is not None else 200.0) - 1e-6,
        unit="°C",
        why=f"{substance.name} would catch fire on it",
    )


def _filled(rate: float, time: float) -> float:
    """Return (1 - exp(-rate time)) / rate, which is `time` in a closed room [h]."""
    return -math.expm1(-rate * time) / rate if rate * time > 1e-12 else time


def _area(rate: float, time: float) -> float:
    """Return the integral of :func:`_filled` from 0 to `time` [h²]."""
    x = rate * time
    if x < 1e-4:  # series, where the closed form loses its digits
        return time * time * (0.5 - x / 6.0 + x * x / 24.0)
    return (time - _filled(rate, time)) / rate


def _dose(rate: float, hours: float, start: float, end: float) -> float:
    """Return the area under the curve of unit release between two times [h²], after it included."""

    def up_to(time: float) -> float:
        if time <= hours:
            return _area(rate, time)
        return _area(rate, hours) + _filled(rate, hours) * _filled(rate, time - hours)

    return up_to(end) - up_to(start)


def _worst_quarter(room_m3: float, air: float, release: float, hours: float) -> float:
    """Return the worst 15 min mean [mg/m³]: the window that sees the peak from both sides.

    The level rises to the end of the release and falls after it, so the worst window begins where
    the level equals that at its end; found by bisection on its start.
    """
    rate, span = air / room_m3, 0.25

    def level(time: float) -> float:
        if time <= hours:
            return _filled(rate, time)
        return _filled(rate, hours) * math.exp(-rate * (time - hours))

    low, high = max(0.0, hours - span), hours
    for _ in range(60):
        middle = 0.5 * (low + high)
        if level(middle) < level(middle + span):
            low = middle
        else:
            high = middle
    return release / room_m3 * _dose(rate, hours, low, low + span) / span


def _eight_hours(room_m3: float, air: float, release: float, hours: float) -> float:
    """Return the mean over 8 h from the start of the release, or over it if it is longer."""
    span = max(8.0, hours)
    return release / room_m3 * _dose(air / room_m3, hours, 0.0, span) / 8.0


def _air_needed(substance: Solvent, release_mg_h: float, mixing: float) -> float | None:
    """Return the air for the stricter of health and fire at this steady release [m³/h]."""
    fire_ppm = substance.lel_percent * 1e4 * FIRE_FRACTION_OF_LEL
    ppm = min(fire_ppm, substance.limit_ppm or fire_ppm)
    limit = mg_m3_of_ppm(ppm, substance.molar_mass_g_mol)
    return air_for_health_m3_h(release_mg_h, limit, mixing=mixing)


def _verdict(
    substance: Solvent, peak_ppm: float, quarter_ppm: float, day_ppm: float
) -> tuple[bool, str]:
    """Judge fire first, then the short limit, then the day's."""
    fire = substance.lel_percent * 1e4 * FIRE_FRACTION_OF_LEL
    short, day = substance.short_limit_ppm, substance.limit_ppm
    if peak_ppm > fire:
        return False, f"{peak_ppm:.0f} ppm passes a quarter of the lower explosive limit"
    if short is not None and quarter_ppm > short:
        return False, f"{quarter_ppm:.0f} ppm over 15 min passes the short limit of {short:g} ppm"
    if day is not None and day_ppm > day:
        return False, f"{day_ppm:.0f} ppm over 8 h passes the limit of {day:g} ppm"
    return True, "below a quarter of the lower explosive limit and below the limits for people"
