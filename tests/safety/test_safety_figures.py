"""Cord, noise, vibration and sharing beside figures worked out by hand, and what is said of them."""

import math

import msgspec
import pytest

from leastcut.safety import cord, noise, sharing, vibration
from leastcut.safety.records import Cord, NoiseUse, Stretch, ToolUse


def near(found: object, wanted: dict[str, object]) -> None:
    """Compare a record field by field: numbers to six figures, everything else exactly."""
    told = msgspec.structs.asdict(found)
    assert told.keys() == wanted.keys()
    for name, value in wanted.items():
        exact = value is None or isinstance(value, str | bool | tuple)
        assert told[name] == (value if exact else pytest.approx(value, rel=2e-6)), name


# cord and circuit


def test_a_cord_by_hand() -> None:
    found = cord.drop("1.5 mm2", 25.0, amps=10.0, volts=230.0, circuit_amps=16.0)
    wanted: dict[str, object] = {
        "conductor": "1.5 mm2",
        "ohm_per_km": 13.3,  # source: IEC 60228 class 5; status: seen
        "drop_v": 6.65,  # 2 x 0.025 km x 10 A x 13.3
        "drop_percent": 665.0 / 230.0,
        "limit_percent": 3.0,
        "loss_w": 66.5,
        "power_left_percent": 100.0 * (223.35 / 230.0) ** 2,
        "longest_m": 6.9 / 0.266,  # 3 % of 230 V over 0.266 V/m
        "circuit_amps": 16.0,
        "load_percent_of_circuit": 62.5,
        "ok": True,
        "why": "the cord takes 2.9 % of the voltage",
        "source": "Vd = 2 L I R; NEC chapter 9 table 8 or IEC 60228; NEC 210.19(A) note 4 (advice)",
    }
    near(found, wanted)


@pytest.mark.parametrize(
    ("changed", "ok", "why"),
    [
        ({"circuit_amps": 12.5}, True, "the cord takes 2.9 % of the voltage"),
        (
            {"circuit_amps": 12.0},
            False,
            "the load is 83 % of the circuit; at most 80 % for loads of 3 h or more",
        ),
        ({"circuit_amps": 12.0, "continuous": False}, True, "the cord takes 2.9 % of the voltage"),
        ({"circuit_amps": 10.0, "continuous": False}, True, "the cord takes 2.9 % of the voltage"),
        (
            {"circuit_amps": 8.0, "continuous": False},
            False,
            "the load is 125 % of the circuit; at most 100 %",
        ),
        ({"limit_percent": 2.5}, False, "the cord takes 2.9 % of the voltage; at most 2.5 %"),
        ({"limit_percent": 665.0 / 230.0}, True, "the cord takes 2.9 % of the voltage"),
    ],
)
def test_what_is_said_of_a_cord(changed: dict[str, float], why: str, *, ok: bool) -> None:
    found: Cord = cord.drop("1.5 mm2", 25.0, amps=10.0, volts=230.0, **changed)
    assert (found.ok, found.why) == (ok, why)


@pytest.mark.parametrize(
    ("name", "construction", "celsius", "ohm_per_km"),
    [
        ("1.5 mm2", "solid", None, 12.1),
        (" 1,5 MM² ", "flexible", None, 13.3),
        ("1.5 mm2", "flexible", 70.0, 13.3 * 1.1965),  # 0.393 % a degree from 20 °C
        ("14awg", "flexible", None, 3.14 * 3.280839895),
        ("14 AWG", "flexible", 20.0, 3.14 * 3.280839895 * (1.0 - 0.00323 * 55.0)),
        ("10 mm2", "flexible", None, 1.16 * 1.7241),
        ("10 mm2", "solid", None, 1.06 * 1.7241),
        ("16 mm2", "solid", None, 1.06 * 17.241 / 16.0),
        ("0.2 mm2", "solid", None, 1.06 * 17.241 / 0.2),
        # 20 AWG: d = 0.8118 mm, 0.51762 mm² (status: recomputed), 33.31 ohm/km at 20 °C
        ("20 AWG", "solid", None, 17.241 / 0.517619 / 0.82235),
        ("20 AWG", "flexible", None, 1.02 * 17.241 / 0.517619 / 0.82235),
        ("4 AWG", "solid", None, 0.302 * 3.280839895),
        ("22 AWG", "solid", None, 17.241 / 0.325534 / 0.82235),
    ],
)
def test_a_conductor_by_hand(
    name: str, construction: cord.Construction, celsius: float | None, ohm_per_km: float
) -> None:
    found = cord.conductor_ohm_per_km(name, construction=construction, temperature_c=celsius)
    assert found == pytest.approx(ohm_per_km, rel=1e-5)


def test_nothing_on_the_cord_lets_it_be_any_length() -> None:
    assert cord.drop("1 mm2", 10.0, amps=0.0, volts=230.0).longest_m == math.inf
    assert cord.amps_of([900.0, 50.0, 1200.0], 230.0) == pytest.approx(2150.0 / 230.0)


# noise


@pytest.mark.parametrize(
    ("level", "osha", "osha_twa", "niosh", "niosh_twa", "lex", "left"),
    [
        # 4 h at 90: T = 8 h under OSHA; NIOSH T = 8 / 2^(5/3) h
        (90.0, 50.0, 85.0, 50.0 * 2 ** (5 / 3), 87.0, 90.0 - 3.0103, 0.0),
        # 4 h at 80: T = 32 h; 8 x 2^(5/3) h
        (80.0, 12.5, 75.0, 50.0 / 2 ** (5 / 3), 77.0, 76.9897, 8 * 60 * 2 ** (5 / 3) - 240.0),
        # below 80 OSHA counts nothing
        (79.0, 0.0, None, 50.0 / 4.0, 76.0, 75.9897, 4 * 480.0 - 240.0),
    ],
)
def test_four_hours_of_noise_by_hand(
    level: float,
    osha: float,
    osha_twa: float | None,
    niosh: float,
    niosh_twa: float,
    lex: float,
    left: float,
) -> None:
    found = noise.exposure([NoiseUse(level_dba=level, minutes=240.0)])
    assert found.osha_dose_percent == pytest.approx(osha)
    assert found.osha_twa_dba == (None if osha_twa is None else pytest.approx(osha_twa))
    assert found.niosh_dose_percent == pytest.approx(niosh)
    assert found.niosh_twa_dba == pytest.approx(niosh_twa)
    assert found.lex_8h_dba == pytest.approx(lex, abs=1e-4)
    assert found.minutes_left == pytest.approx(left, abs=1e-6)
    assert found.source == "29 CFR 1910.95 Appendix A; NIOSH 98-126; Directive 2003/10/EC Art. 3"


@pytest.mark.parametrize(
    ("osha", "level", "protection", "why"),
    [
        (0.0, 85.0, "wear", "85.0 dB(A) over 8 h reaches the upper action value of 85 dB(A)"),
        (50.0, 84.9, "wear", "the dose of 50 % reaches the action level of 50 %"),
        (51.0, None, "wear", "the dose of 51 % reaches the action level of 50 %"),
        (49.9, 80.0, "offer", "80.0 dB(A) over 8 h reaches the lower action value of 80 dB(A)"),
        (49.9, 84.9, "offer", "84.9 dB(A) over 8 h reaches the lower action value of 80 dB(A)"),
        (49.9, 79.9, "not required", "the day stays below 80 dB(A) over 8 h"),
        (0.0, None, "not required", "the day stays below 80 dB(A) over 8 h"),
    ],
)
def test_what_is_said_of_noise(osha: float, level: float | None, protection: str, why: str) -> None:
    assert noise._protection(osha, level) == (protection, why)


def test_a_whisper_is_a_silent_day() -> None:
    # 0 dB(A) for a minute is a dose of 6e-10 %: below what an average level can be given for
    found = noise.exposure([NoiseUse(level_dba=0.0, minutes=1.0)])
    assert found.lex_8h_dba is None
    assert found.niosh_twa_dba is None
    assert found.osha_twa_dba is None
    assert 0.0 < found.niosh_dose_percent < 1e-9
    assert noise.exposure([]).minutes_left == pytest.approx(480.0 * 2 ** (85 / 3))


def test_the_loudest_tool_says_how_long_it_may_go_on() -> None:
    # 88 dB(A) may last 4 h; 1 h of it is 25 %, and 2 h at 85 are 25 %: half of 4 h is left
    uses = [NoiseUse(level_dba=85.0, minutes=120.0), NoiseUse(level_dba=88.0, minutes=60.0)]
    assert noise.exposure(uses).minutes_left == pytest.approx(120.0)
    assert noise.dose_percent(uses, "osha", threshold_dba=88.0) == pytest.approx(100 / 8 / 2**0.4)


# vibration


def test_a_tool_by_hand() -> None:
    found = vibration.exposure([ToolUse(magnitude_m_s2=5.0, minutes=180.0, k_m_s2=1.0)])
    wanted: dict[str, object] = {
        "a8_m_s2": 5.0 * math.sqrt(3.0 / 8.0),
        "points": 150.0,  # source: HSE ready-reckoner, 5 m/s² for 3 h; status: seen
        "minutes_to_action": 120.0,
        "minutes_to_limit": 480.0,
        "minutes_left_to_action": 0.0,
        "minutes_left_to_limit": 300.0,
        "a8_high_m_s2": 6.0 * math.sqrt(3.0 / 8.0),
        "points_high": 216.0,
        "minutes_to_action_high": 3000.0 / 36.0,  # 480 x 2.5² / 6²
        "minutes_to_limit_high": 12000.0 / 36.0,
        "band": "at or above action",
        "band_high": "at or above action",
        "k_assumed": False,
        "action_m_s2": 2.5,
        "limit_m_s2": 5.0,
        "source": "Directive 2002/44/EC Art. 3 and Annex A; HSE exposure points ready-reckoner",
    }
    near(found, wanted)


def test_tools_that_have_not_run_yet_are_taken_in_equal_parts() -> None:
    found = vibration.exposure(
        [ToolUse(magnitude_m_s2=3.0, minutes=0.0), ToolUse(magnitude_m_s2=4.0, minutes=0.0)]
    )
    assert found.minutes_to_action == pytest.approx(480.0 * 6.25 / 12.5)  # mean of 9 and 16
    assert found.minutes_to_action_high == pytest.approx(480.0 * 6.25 / 24.5)  # x 1.4²
    assert found.minutes_left_to_limit == pytest.approx(960.0)
    assert found.k_assumed
    assert vibration.exposure([]).minutes_left_to_action == math.inf


@pytest.mark.parametrize(
    ("magnitude", "band"),
    [
        (2.499, "below action"),
        (2.5, "at or above action"),
        (5.0, "at or above action"),
        (5.001, "above limit"),
    ],
)
def test_bands_of_a_whole_day(magnitude: float, band: str) -> None:
    whole = vibration.exposure([ToolUse(magnitude_m_s2=magnitude, minutes=480.0, k_m_s2=0.0)])
    assert (whole.band, whole.band_high) == (band, band)


def test_points_and_axes_by_hand() -> None:
    assert vibration.points(3.0, 90.0) == pytest.approx(27.0)
    assert vibration.a8_of_points(225.0) == pytest.approx(3.75)
    assert vibration.total_value(2.0, 3.0, 6.0) == pytest.approx(7.0)
    assert vibration.upper(ToolUse(magnitude_m_s2=5.0, minutes=1.0, k_m_s2=0.5)) == 5.5


# sharing


def test_the_nine_hour_car_is_told_in_full() -> None:
    # by hand: 1.4 x 6 = 8.4 m/s²; 2 x 8.4² x 9 h = 1270.08 points; 4 shares of 317.52
    car = sharing.breaks([ToolUse(magnitude_m_s2=6.0, minutes=540.0, name="big")], persons=2)
    assert (car.points, car.points_high) == (pytest.approx(648.0), pytest.approx(1270.08))
    assert (car.person_days, car.days, car.persons, car.ceiling_points) == (4, 2, 2, 400.0)
    assert car.points_per_share == pytest.approx(317.52, rel=1e-6)
    assert car.why == (
        "540 min at up to 6 m/s² (8.4 with its uncertainty, K assumed as 40 %) are 1270 points, "
        "more than the 400 points (5 m/s² A(8)) of one person's day, "
        "and with rests it does not fit a day of 8 h"
    )
    assert car.do == (
        "Share it in 4 parts, 2 people over 2 days; rest 10 min after every 30 min on the machine; "
        "each day's 318 points reach the action value, so keep hands warm, look for a machine "
        "that shakes less, and ask a doctor about health surveillance"
    )
    assert car.source == (
        "Directive 2002/44/EC Art. 3 and 5; HSE exposure points; rests: common practice, no source"
    )


def test_stretches_of_two_people_over_two_days() -> None:
    car = sharing.breaks([ToolUse(magnitude_m_s2=6.0, minutes=540.0, name="big")], persons=2)
    # four shares of 135 min, each five stretches of 27 min and four rests of 10 min
    assert car.rest_minutes == pytest.approx(160.0)
    assert [(s.day, s.person) for s in car.stretches[::5]] == [(1, 1), (1, 2), (2, 1), (2, 2)]
    ends = ["hand over", "stop for the day", "hand over", "done"]
    assert [s.then for s in car.stretches] == [
        word for end in ends for word in ["rest"] * 4 + [end]
    ]
    first: Stretch = car.stretches[0]
    assert first.tool == "big"
    assert first.minutes == pytest.approx(27.0)
    assert first.points == pytest.approx(2.0 * 8.4**2 * 27.0 / 60.0)


def test_two_tools_are_told_by_the_stronger() -> None:
    uses = [
        ToolUse(magnitude_m_s2=2.0, minutes=30.0, k_m_s2=0.0),
        ToolUse(magnitude_m_s2=3.0, minutes=60.0, k_m_s2=1.0),
    ]
    plan = sharing.breaks(uses, ceiling="action", rest_minutes=5.0, stretch_minutes=20.0)
    # by hand: 2 x 4 x 0.5 + 2 x 16 x 1 = 36 points with K, 4 + 18 without
    assert (plan.points, plan.points_high) == (pytest.approx(22.0), pytest.approx(36.0))
    assert plan.why == (
        "90 min at up to 3 m/s² (4.0 with its uncertainty) are 36 points, within the 100 points "
        "(2.5 m/s² A(8)) of one person's day"
    )
    assert plan.do == "One person can do it in a day; rest 5 min after every 20 min on the machine"
    assert [s.minutes for s in plan.stretches] == pytest.approx([15.0, 15.0, 20.0, 20.0, 20.0])
    assert plan.rest_minutes == pytest.approx(20.0)
    assert (plan.persons, plan.days, plan.share_needed) == (1, 1, False)


def test_a_day_that_reaches_the_action_value_says_so() -> None:
    plan = sharing.breaks([ToolUse(magnitude_m_s2=5.0, minutes=120.0, k_m_s2=0.0)])
    assert plan.points_per_share == pytest.approx(100.0)
    assert plan.above_action
    assert plan.do.startswith("One person can do it in a day; rest 10 min after every 30 min on ")
    assert "; each day's 100 points reach the action value, so keep hands warm, " in plan.do


@pytest.mark.parametrize(
    ("stretch", "rest", "whole", "on_machine"),
    [
        (30.0, 10.0, 480.0, 360.0),  # 12 stretches and 12 rests
        (30.0, 10.0, 470.0, 360.0),  # the last rest may fall out
        (30.0, 10.0, 490.0, 370.0),
        (60.0, 0.0, 450.0, 450.0),
    ],
)
def test_minutes_on_the_machine_in_a_day(
    stretch: float, rest: float, whole: float, on_machine: float
) -> None:
    assert sharing._Day(stretch, rest, whole).on_machine() == pytest.approx(on_machine)


def test_minutes_left_by_hand() -> None:
    # 5 m/s² with K 1 is 72 points an hour: 250 left of 400, none of 100
    left = sharing.minutes_left(150.0, 5.0, k_m_s2=1.0, ceiling="limit")
    assert left == pytest.approx(250.0 / 72.0 * 60.0)
    assert sharing.minutes_left(28.0, 5.0, k_m_s2=1.0, ceiling="action") == pytest.approx(60.0)
    assert sharing.minutes_left(150.0, 5.0, ceiling="action") == 0.0
