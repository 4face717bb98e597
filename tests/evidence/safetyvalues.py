"""Vibration, noise, vapour, the cord and the dew point, from a row's inputs."""

import math
from collections.abc import Callable

from published import Quantity

from leastcut.protect import records as protect
from leastcut.protect import window
from leastcut.safety import cord, noise, vapour, vibration
from leastcut.safety.records import NoiseUse, ToolUse
from leastcut.safety.solvents import solvent

FT_M = 0.3048


def noises(text: str) -> list[NoiseUse]:
    """``level:minutes level:minutes …``."""
    parts = [part.split(":") for part in text.split()]
    return [NoiseUse(level_dba=float(level), minutes=float(minutes)) for level, minutes in parts]


def tools(text: str) -> list[ToolUse]:
    """``magnitude:minutes magnitude:minutes …``."""
    parts = [part.split(":") for part in text.split()]
    return [ToolUse(magnitude_m_s2=float(size), minutes=float(time)) for size, time in parts]


def dropped(text: str) -> cord.Cord:
    """``conductor:length:amperes:volts``, the length in m or ft."""
    conductor, length, amps, volts = text.split(":")
    metres = float(length.rstrip("ftm ")) * (FT_M if length.endswith("ft") else 1.0)
    return cord.drop(conductor, metres, amps=float(amps), volts=float(volts))


def humid(text: str) -> float:
    """Dew point of ``air temperature:pressure/pressure at saturation`` or ``air:percent``."""
    air, share = text.split(":")
    if "/" in share:
        held, most = map(float, share.split("/"))
        return window.dew_point_c(float(air), 100.0 * held / most)
    return window.dew_point_c(float(air), float(share))


def fahrenheit(text: str) -> float:
    """Dew point in degrees Fahrenheit of ``air in °F:percent``."""
    air, percent = map(float, text.split(":"))
    return 1.8 * window.dew_point_c((air - 32.0) / 1.8, percent) + 32.0


def surface_rh(text: str) -> float:
    """Humidity at a 70 °F surface whose dew point lies so many °F lower."""
    surface = (70.0 - 32.0) / 1.8
    dew = surface - float(text) / 1.8
    return 100.0 * window.saturation_pa(dew) / window.saturation_pa(surface)


def pair(function: Callable[[float, float], float]) -> Callable[[str], float]:
    """``one:other``."""
    return lambda text: function(*map(float, text.split(":")))


def resistance(text: str) -> float:
    """``size:construction`` [Ω/km]."""
    size, construction = text.split(":")
    return cord.conductor_ohm_per_km(
        size, construction="solid" if construction == "solid" else "flexible"
    )


def solid_from_copper(text: str) -> float:
    """Ω per 1000 ft at 75 °C of a solid conductor, from copper and the gauge's geometry."""
    bare = cord.COPPER_OHM_MM2_PER_KM / cord.awg_area_mm2(int(text)) * FT_M
    return bare / (1.0 + 0.00323 * (20.0 - 75.0))


def half_life_min(changes_per_h: float) -> float:
    """Minutes in which fresh air halves what a room holds."""
    return 60.0 * vapour.hours_to_fall(2.0, 1.0, room_m3=1.0, air_m3_h=changes_per_h)


def air_of_half_life(room_m3: float, hours: float) -> float:
    """Fresh air that halves what a room holds in so many hours."""
    return vapour.hours_to_fall(2.0, 1.0, room_m3=room_m3, air_m3_h=1.0) / hours


def fall_min(text: str) -> float:
    """Minutes from one concentration to another: ``room:air:from:to``."""
    room, air, begin, end = map(float, text.split(":"))
    return 60.0 * vapour.hours_to_fall(begin, end, room_m3=room, air_m3_h=air)


def held(text: str) -> float:
    """Concentration after a time: ``room:air:release:hours``."""
    room, air, release, hours = map(float, text.split(":"))
    return vapour.concentration_mg_m3(hours, room_m3=room, air_m3_h=air, release_mg_h=release)


def held_mean(text: str) -> float:
    """Mean concentration over a time: ``room:air:release:hours``."""
    room, air, release, hours = map(float, text.split(":"))
    return vapour.mean_mg_m3(hours, room_m3=room, air_m3_h=air, release_mg_h=release)


def limit_mg(name: str, ppm: float | None) -> float:
    """A solvent's limit in mg/m³."""
    assert ppm is not None
    return vapour.mg_m3_of_ppm(ppm, solvent(name).molar_mass_g_mol)


def _q(chapter: str, what: str, compute: Callable[[str], float]) -> Quantity:
    return Quantity(chapter, what, compute)


def _dose_twa(text: str, rule: noise.Rule) -> float:
    return noise.twa_dba(noise.dose_percent(noises(text), rule), rule)


NOISE = {
    "osha_hours": _q("safety", "hours allowed at a level [dB(A)], 5 dB exchange", lambda t: noise.allowed_hours(float(t), "osha")),
    "niosh_minutes": _q("safety", "minutes allowed at a level [dB(A)], 3 dB exchange", lambda t: 60.0 * noise.allowed_hours(float(t), "niosh")),
    "niosh_seconds": _q("safety", "seconds allowed at a level [dB(A)], 3 dB exchange", lambda t: 3600.0 * noise.allowed_hours(float(t), "niosh")),
    "osha_dose": _q("safety", "noise dose of levels and minutes, 5 dB exchange", lambda t: noise.dose_percent(noises(t), "osha")),
    "niosh_dose": _q("safety", "noise dose of levels and minutes, 3 dB exchange", lambda t: noise.dose_percent(noises(t), "niosh")),
    "osha_twa": _q("safety", "average level of a dose [%], 5 dB exchange", lambda t: noise.twa_dba(float(t), "osha")),
    "osha_twa_of": _q("safety", "average level of levels and minutes, 5 dB exchange", lambda t: _dose_twa(t, "osha")),
    "niosh_twa_of": _q("safety", "average level of levels and minutes, 3 dB exchange", lambda t: _dose_twa(t, "niosh")),
    "lex_8h": _q("safety", "daily noise exposure level of levels and minutes", lambda t: noise.lex_8h_dba(noises(t))),
    "eu_lower": _q("safety", "lower action value of the day's noise", lambda _: noise.EU_LOWER_DBA),
    "eu_upper": _q("safety", "upper action value of the day's noise", lambda _: noise.EU_UPPER_DBA),
    "eu_limit": _q("safety", "limit value of the day's noise", lambda _: noise.EU_LIMIT_DBA),
}  # fmt: skip
VIBRATION = {
    "points": _q("safety", "exposure points of vibration [m/s²] and minutes", lambda t: vibration.exposure(tools(t)).points),
    "a8": _q("safety", "daily vibration exposure of vibration and minutes", lambda t: vibration.exposure(tools(t)).a8_m_s2),
    "a8_of_points": _q("safety", "daily vibration exposure of exposure points", lambda t: vibration.a8_of_points(float(t))),
    "hours_to_limit": _q("safety", "hours until the limit value at a vibration [m/s²]", lambda t: vibration.exposure(tools(f"{t}:1")).minutes_to_limit / 60.0),
    "minutes_to_action": _q("safety", "minutes until the action value at a vibration [m/s²]", lambda t: vibration.exposure(tools(f"{t}:0")).minutes_to_action),
    "minutes_to_limit": _q("safety", "minutes until the limit value at a vibration [m/s²]", lambda t: vibration.exposure(tools(f"{t}:0")).minutes_to_limit),
    "action_value": _q("safety", "action value of the day's vibration", lambda _: vibration.ACTION_M_S2),
    "limit_value": _q("safety", "limit value of the day's vibration", lambda _: vibration.LIMIT_M_S2),
    "assumed_k": _q("safety", "share of the declared vibration taken for K when K is not declared", lambda _: vibration.ASSUMED_K_FRACTION),
    "three_axes": _q("safety", "total value of three axes [m/s²]", lambda t: vibration.total_value(*map(float, t.split(":")))),
}  # fmt: skip
AIR = {
    "dew_point": _q("protect", "dew point of air [°C] and humidity", humid),
    "dew_point_whole": _q("protect", "dew point of air [°C] and humidity [%], to a degree", humid),
    "dew_point_f": _q("protect", "dew point of air [°F] and humidity [%]", fahrenheit),
    "surface_rh_band": _q("protect", "humidity at a 70 °F surface, dew point so many °F below it", surface_rh),
    "dew_margin": _q("protect", "least distance of the surface above the dew point", lambda _: protect.Limits().margin_c),
    "most_rh": _q("protect", "most humidity of the air", lambda _: protect.Limits().rh_percent_max),
    "mg_m3": _q("safety", "mg/m³ of ppm and molar mass [g/mol]", pair(vapour.mg_m3_of_ppm)),
    "ppm": _q("safety", "ppm of mg/m³ and molar mass [g/mol]", pair(vapour.ppm_of_mg_m3)),
    "saturation_ppm": _q("safety", "vapour over the liquid at a vapour pressure [mmHg]", lambda t: vapour.saturation_ppm(float(t))),
    "tenth_lel_ppm": _q("safety", "a tenth of the lower explosive limit", lambda t: 0.1 * 1e4 * solvent(t).lel_percent),
    "flash_f": _q("safety", "flash point", lambda t: 1.8 * (solvent(t).flash_point_c or 0.0) + 32.0),
    "limit_ppm": _q("safety", "limit over the day", lambda t: solvent(t).limit_ppm or 0.0),
    "short_limit_ppm": _q("safety", "limit over a quarter of an hour", lambda t: solvent(t).short_limit_ppm or 0.0),
    "limit_mg": _q("safety", "limit over the day", lambda t: limit_mg(t, solvent(t).limit_ppm)),
    "short_limit_mg": _q("safety", "limit over a quarter of an hour", lambda t: limit_mg(t, solvent(t).short_limit_ppm)),
    "lel": _q("safety", "lower explosive limit", lambda t: solvent(t).lel_percent),
    "fire_share": _q("safety", "most of the lower explosive limit that is let stand", lambda _: 100.0 * vapour.FIRE_FRACTION_OF_LEL),
    "minutes_to_half": _q("safety", "minutes to halve a vapour at so many air changes an hour", lambda t: half_life_min(float(t))),
    "air_from_half_life": _q("safety", "fresh air from room [m³] and half life [h]", pair(air_of_half_life)),
    "minutes_to_fall": _q("safety", "minutes to fall: room, fresh air, from, to", fall_min),
    "held": _q("safety", "vapour after a time: room, fresh air, release [mg/h], hours", held),
    "held_mean": _q("safety", "mean vapour over a time: room, fresh air, release [mg/h], hours", held_mean),
}  # fmt: skip
CORD = {
    "ohm_per_km": _q("safety", "resistance of a conductor", resistance),
    "ohm_per_kft": _q("safety", "resistance of a conductor", lambda t: resistance(t) * FT_M),
    "solid_ohm_per_kft": _q("safety", "resistance of a solid conductor from copper and its gauge", solid_from_copper),
    "copper": _q("safety", "resistivity of annealed copper at 20 °C", lambda _: cord.COPPER_OHM_MM2_PER_KM),
    "drop_v": _q("safety", "voltage lost on a cord: conductor, one way, amperes, volts", lambda t: dropped(t).drop_v),
    "drop_percent": _q("safety", "share of the voltage lost on a cord", lambda t: dropped(t).drop_percent),
    "drop_limit": _q("safety", "share of the voltage that a branch should lose at most", lambda _: cord.DROP_LIMIT_PERCENT),
    "for_hours": _q("safety", "rating of a circuit over a load that lasts for hours", lambda _: 100.0 / cord.CONTINUOUS_SHARE),
    "awg_mm2": _q("safety", "section of a wire gauge", lambda t: cord.awg_area_mm2(int(t))),
    "circular_mils": _q("safety", "section of a wire gauge", lambda t: cord.awg_area_mm2(int(t)) / (math.pi / 4.0 * 0.0254**2)),
}  # fmt: skip
QUANTITIES = NOISE | VIBRATION | AIR | CORD
