"""Every limit of the safety stage: the last value taken, the first refused, and what is said then.

The limits are written here a second time, beside what they keep out; a moved limit fails.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import msgspec
import pytest

from leastcut.errors import InputError
from leastcut.safety import cord, noise, sharing, solvents, vapour, vibration
from leastcut.safety.check import ExposureError, within
from leastcut.safety.records import NoiseUse, Solvent, ToolUse

IPA = solvents.solvent("isopropanol")
ROOM = {"room_m3": 60.0, "air_m3_h": 120.0}
DAY, PEAK = "a day has 24 h", "140 dB is the peak limit"


@dataclass(frozen=True)
class Limit:
    """A quantity with its bounds, and a call that takes it."""

    call: Callable[[float], object]
    name: str
    low: float
    high: float
    unit: str
    why: str = ""


def own(**changed: float) -> Solvent:
    return msgspec.structs.replace(IPA, **changed)


def drop(*, metres: float = 1.0, amps: float = 1.0, volts: float = 230.0, **other: float) -> object:
    return cord.drop("6 mm2", metres, amps=amps, volts=volts, **other)


def tool(magnitude: float = 5.0, minutes: float = 10.0, k: float | None = None) -> ToolUse:
    return ToolUse(magnitude_m_s2=magnitude, minutes=minutes, k_m_s2=k)


def sound(level: float = 80.0, minutes: float = 1.0) -> NoiseUse:
    return NoiseUse(level_dba=level, minutes=minutes)


def steam(time: float = 1.0, release: float = 1.0, **other: float) -> object:
    return vapour.concentration_mg_m3(time, release_mg_h=release, **(ROOM | other))


def wiped(millilitres: float = 1.0, **other: float) -> object:
    usual = {"room_m3": 60.0, "air_changes_per_h": 1.0, "minutes": 30.0}
    return vapour.room(millilitres, IPA, **(usual | other))


def shared(**other: float) -> object:
    return sharing.breaks([tool()], **other)


LIMITS = [
    Limit(
        lambda v: cord.conductor_ohm_per_km("1 mm2", temperature_c=v),
        "copper temperature",
        -40,
        105,
        "°C",
    ),
    Limit(lambda v: drop(metres=v), "length", 0, 1000, "m"),
    Limit(lambda v: drop(amps=v), "current", 0, 200, "A"),
    Limit(lambda v: drop(volts=v), "voltage", 12, 1000, "V"),
    Limit(lambda v: drop(limit_percent=v), "drop limit", 0.1, 50, "%"),
    Limit(lambda v: drop(circuit_amps=v), "circuit", 1, 200, "A"),
    Limit(lambda v: cord.amps_of([1.0], v), "voltage", 12, 1000, "V"),
    Limit(lambda v: cord.amps_of([v], 230.0), "power", 0, 1e5, "W"),
    Limit(lambda v: noise.allowed_hours(v, "osha"), "level", 0, 140, "dB(A)", PEAK),
    Limit(
        lambda v: noise.twa_dba(v, "niosh"), "dose", 1e-9, 1e9, "%", "silence has no average level"
    ),
    Limit(lambda v: noise.together_dba([v]), "level", 0, 140, "dB(A)"),
    Limit(lambda v: noise.exposure([sound(level=v)]), "level", 0, 140, "dB(A)", PEAK),
    Limit(lambda v: noise.exposure([sound(minutes=v)]), "minutes", 0, 1440, "min", DAY),
    Limit(lambda v: sharing.minutes_left(v, 5.0, ceiling="limit"), "points used", 0, 1e6, "points"),
    Limit(
        lambda v: sharing.breaks([tool(minutes=v)]),
        "minutes",
        0,
        6000,
        "min",
        "no car is polished longer",
    ),
    Limit(lambda v: shared(stretch_minutes=v), "stretch", 1, 480, "min"),
    Limit(lambda v: shared(rest_minutes=v), "rest", 0, 240, "min"),
    Limit(lambda v: shared(day_minutes=v), "day", 30, 960, "min", "people sleep"),
    Limit(lambda v: sharing.breaks([tool(k=v)]), "K", 0, 100, "m/s²"),
    Limit(lambda v: solvents.check(own(molar_mass_g_mol=v)), "molar mass", 10, 1000, "g/mol"),
    Limit(lambda v: solvents.check(own(density_g_ml=v)), "density", 0.3, 3, "g/ml"),
    Limit(lambda v: solvents.check(own(lel_percent=v)), "lower explosive limit", 0.1, 80, "%"),
    Limit(lambda v: solvents.check(own(limit_ppm=v)), "limit", 1e-3, 1e5, "ppm"),
    Limit(lambda v: solvents.check(own(short_limit_ppm=v)), "15 min limit", 1e-3, 1e5, "ppm"),
    Limit(lambda v: vapour.ppm_of_mg_m3(v, 60.0), "concentration", 0, 1e9, "mg/m³"),
    Limit(lambda v: vapour.ppm_of_mg_m3(1.0, v), "molar mass", 1, 1000, "g/mol"),
    Limit(lambda v: vapour.mg_m3_of_ppm(v, 60.0), "concentration", 0, 1e6, "ppm"),
    Limit(lambda v: vapour.mg_m3_of_ppm(1.0, v), "molar mass", 1, 1000, "g/mol"),
    Limit(vapour.saturation_ppm, "vapour pressure", 0, 760, "mmHg"),
    Limit(lambda v: steam(time=v), "time", 0, 1e4, "h"),
    Limit(lambda v: steam(release=v), "release", 0, 1e12, "mg/h"),
    Limit(lambda v: steam(start_mg_m3=v), "start", 0, 1e9, "mg/m³"),
    Limit(lambda v: steam(room_m3=v), "room", 0.1, 1e6, "m³", "work needs a room to stand in"),
    Limit(lambda v: steam(air_m3_h=v), "air", 0, 1e9, "m³/h"),
    Limit(lambda v: vapour.mean_mg_m3(v, release_mg_h=1.0, **ROOM), "time", 1e-6, 1e4, "h"),
    Limit(lambda v: vapour.mean_mg_m3(1.0, release_mg_h=v, **ROOM), "release", 0, 1e12, "mg/h"),
    Limit(lambda v: vapour.hours_to_fall(v, 1.0, **ROOM), "from", 0, 1e9, "mg/m³"),
    Limit(lambda v: vapour.hours_to_fall(1.0, v, **ROOM), "to", 1e-9, 1e9, "mg/m³"),
    Limit(lambda v: vapour.air_for_health_m3_h(v, 1.0, mixing=1.0), "release", 0, 1e12, "mg/h"),
    Limit(lambda v: vapour.air_for_health_m3_h(1.0, v, mixing=1.0), "limit", 1e-6, 1e9, "mg/m³"),
    Limit(
        lambda v: vapour.air_for_health_m3_h(1.0, 1.0, mixing=v), "mixing factor", 1, 10, "times"
    ),
    Limit(wiped, "solvent", 0, 1e6, "ml"),
    Limit(lambda v: wiped(mixing=v), "mixing factor", 1, 10, "times"),
    Limit(lambda v: wiped(minutes=v), "minutes", 0.1, 1440, "min", DAY),
    Limit(lambda v: wiped(air_changes_per_h=v), "air changes", 0, 500, "per hour"),
    Limit(
        lambda v: wiped(surface_c=v),
        "surface temperature",
        -40,
        399.0 - 1e-6,
        "°C",
        "isopropyl alcohol would catch fire on it",
    ),
    Limit(vibration.a8_of_points, "points", 0, 1e6, "points"),
    Limit(lambda v: vibration.total_value(v, 1.0, 1.0), "axis x", 0, 100, "m/s²"),
    Limit(lambda v: vibration.total_value(1.0, v, 1.0), "axis y", 0, 100, "m/s²"),
    Limit(lambda v: vibration.total_value(1.0, 1.0, v), "axis z", 0, 100, "m/s²"),
    Limit(
        lambda v: vibration.exposure([tool(magnitude=v)]),
        "magnitude",
        1e-3,
        100,
        "m/s²",
        "no hand-held tool shakes less or more",
    ),
    Limit(lambda v: vibration.points(5.0, v), "minutes", 0, 1440, "min", DAY),
    Limit(lambda v: vibration.exposure([tool(k=v)]), "K", 0, 100, "m/s²"),
]


def refused(limit: Limit, value: float) -> None:
    with pytest.raises(ExposureError) as caught:
        limit.call(value)
    low, high, unit = limit.low, limit.high, limit.unit
    why = f": {limit.why}" if limit.why else ""
    assert caught.value.where == limit.name
    assert caught.value.what == f"{value:g} {unit} is outside {low:g} to {high:g} {unit}{why}"
    assert caught.value.do == f"Give {limit.name} in {unit}, from {low:g} to {high:g}"


@pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit.name)
def test_the_limit_itself_is_taken_and_the_next_number_refused(limit: Limit) -> None:
    limit.call(float(limit.low))
    limit.call(float(limit.high))
    refused(limit, math.nextafter(limit.low, -math.inf))
    refused(limit, math.nextafter(limit.high, math.inf))
    refused(limit, math.nan)


@pytest.mark.parametrize(
    ("call", "low", "high", "name", "unit"),
    [
        (cord.awg_area_mm2, 0, 40, "AWG", "AWG"),
        (lambda n: noise.together_dba([1.0] * n), 1, 2, "number of sources", "sources"),
        (lambda n: sharing.breaks([tool()], persons=n), 1, 50, "persons", "people"),
    ],
)
def test_limits_of_whole_numbers(
    call: Callable[[int], object], low: int, high: int, name: str, unit: str
) -> None:
    call(low)
    call(high)
    with pytest.raises(ExposureError, match=f"^{name}: {low - 1} {unit} is outside {low} to "):
        call(low - 1)
    if name != "number of sources":
        with pytest.raises(ExposureError, match=f"^{name}: .* to {high} {unit}. Give {name} in"):
            call(high + 1)


@pytest.mark.parametrize("minutes", [720.0, math.nextafter(720.0, 1e3)])
def test_tools_and_sounds_of_one_day_fill_it_at_most(minutes: float) -> None:
    calls = [
        ("tools", lambda: vibration.exposure([tool(minutes=minutes)] * 2)),
        ("sources", lambda: noise.exposure([sound(minutes=minutes)] * 2)),
    ]
    for what, call in calls:
        if minutes == 720.0:
            call()
            continue
        with pytest.raises(ExposureError, match="24 h") as caught:
            call()
        assert str(caught.value) == (
            f"minutes of all {what}: 1440 min is outside 0 to 1440 min: a day has 24 h. "
            f"Give minutes of all {what} in min, from 0 to 1440"
        )


def test_a_cord_cannot_lose_more_than_the_supply() -> None:
    # by hand: 2 x 39 ohm/km x 1 km = 78 ohm; 230 V / 78 ohm = 2.9487 A takes all of it
    cord.drop("0.5 mm2", 1000.0, amps=2.9487, volts=230.0)
    with pytest.raises(ExposureError) as caught:
        cord.drop("0.5 mm2", 1000.0, amps=3.0, volts=230.0)
    assert str(caught.value) == (
        "voltage lost: 234 V is outside 0 to 230 V: the cord takes all of it. "
        "Give voltage lost in V, from 0 to 230"
    )


def test_silence_has_no_level() -> None:
    with pytest.raises(ExposureError) as caught:
        noise.lex_8h_dba([])
    assert caught.value.where == "minutes"
    assert caught.value.what == "0 min is outside 1e-09 to inf min: silence has no level"


def test_a_name_of_the_job_file_is_told_in_words() -> None:
    with pytest.raises(ExposureError) as caught:
        within("room_height", 9.0, 1.0, 5.0, unit="m")
    assert caught.value.where == "room_height"
    assert caught.value.do == "Give room height in m, from 1 to 5"
    assert within("room_height", 5.0, 1.0, 5.0, unit="m") == 5.0


def test_a_liquid_without_a_known_ignition_meets_200_degrees_at_most() -> None:
    unknown = own(autoignition_c=None)
    usual = {"room_m3": 60.0, "air_changes_per_h": 1.0, "minutes": 30.0}
    assert vapour.room(1.0, unknown, surface_c=199.9, **usual).ok
    with pytest.raises(ExposureError, match="outside -40 to 200 °C: isopropyl alcohol would"):
        vapour.room(1.0, unknown, surface_c=200.0, **usual)


@pytest.mark.parametrize("name", ["23 AWG", "3 AWG", "0.19 mm2", "16.5 mm2", "thick mm2", "14"])
def test_a_size_that_no_cord_has(name: str) -> None:
    with pytest.raises(cord.ConductorError) as caught:
        cord.conductor_ohm_per_km(name)
    assert caught.value.what == f"unknown conductor {name!r}"
    assert caught.value.where == "conductor"
    assert caught.value.do == (
        'Give it as printed on the cord: "14 AWG" (4 to 22) or "1.5 mm2" (0.2 to 16)'
    )


def test_awg_has_no_halves() -> None:
    with pytest.raises(cord.ConductorError, match=r"^conductor: unknown conductor '13.5 AWG'"):
        cord.conductor_ohm_per_km("13.5 AWG")


def test_an_unknown_solvent_is_answered_with_the_known() -> None:
    with pytest.raises(InputError) as caught:
        solvents.solvent("water")
    assert caught.value.where == "solvent"
    assert caught.value.what == "unknown solvent 'water'"
    known = "isopropanol, white-spirit, naphtha"
    assert caught.value.do == f"Choose one of {known}, or see its sheet"
