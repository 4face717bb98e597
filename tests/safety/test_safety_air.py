"""Noise and vapour: closed forms against step-by-step sums, monotone where physics says so."""

import math

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from leastcut.errors import InputError
from leastcut.safety import noise, vapour
from leastcut.safety.records import NoiseUse, Solvent
from leastcut.safety.solvents import SOLVENTS, check, solvent

sounds = st.lists(
    st.builds(NoiseUse, level_dba=st.floats(60.0, 120.0), minutes=st.floats(0.0, 300.0)),
    min_size=1,
    max_size=4,
)
IPA = solvent("isopropanol")


@settings(max_examples=40, deadline=None)
@given(sounds, st.sampled_from(["osha", "niosh"]))
def test_doses_add(uses: list[NoiseUse], rule: noise.Rule) -> None:
    # source: 29 CFR 1910.95 App A, D = 100 sum C/T; status: seen
    whole = noise.dose_percent(uses, rule)
    parts = math.fsum(noise.dose_percent([use], rule) for use in uses)
    assert whole == pytest.approx(parts, rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.floats(60.0, 120.0), st.floats(0.1, 20.0), st.sampled_from(["osha", "niosh"]))
def test_louder_is_allowed_for_less(level: float, more: float, rule: noise.Rule) -> None:
    assert noise.allowed_hours(level + more, rule) < noise.allowed_hours(level, rule)


@settings(max_examples=40, deadline=None)
@given(st.floats(1.0, 1000.0), st.sampled_from(["osha", "niosh"]))
def test_average_level_for_8_h_gives_the_dose_back(dose: float, rule: noise.Rule) -> None:
    level = noise.twa_dba(dose, rule)
    again = noise.dose_percent([NoiseUse(level_dba=level, minutes=480.0)], rule)
    assert again == pytest.approx(dose)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0.0, 130.0), min_size=1, max_size=5))
def test_sources_together_are_louder_than_the_loudest(levels: list[float]) -> None:
    total = noise.together_dba(levels)
    assert max(levels) - 1e-9 <= total <= max(levels) + 10.0 * math.log10(len(levels)) + 1e-9


def test_daily_level_is_niosh_average_to_a_hundredth() -> None:
    # 3 dB is 10 log10(2) = 3.0103 rounded: the two rules differ by 0.3 % of the distance from 85 dB
    uses = [NoiseUse(level_dba=95.0, minutes=60.0), NoiseUse(level_dba=80.0, minutes=420.0)]
    exact = noise.exposure(uses)
    assert exact.lex_8h_dba == pytest.approx(exact.niosh_twa_dba, abs=0.05)


@pytest.mark.parametrize(
    ("level", "minutes", "word"),
    [
        (70.0, 480.0, "not required"),
        (80.0, 480.0, "offer"),
        (85.0, 480.0, "wear"),
        (94.0, 240.0, "wear"),
    ],
)
def test_protection_begins_at_the_action_values(level: float, minutes: float, word: str) -> None:
    day = noise.exposure([NoiseUse(level_dba=level, minutes=minutes)])
    assert day.protection == word
    assert f"{day.lex_8h_dba:.1f}" in day.why or "80 dB" in day.why


def test_osha_action_level_can_bind_first() -> None:
    # many short loud spells: 115 dB(A) for 10 min is a dose of 67 % with 5 dB steps
    osha, level = 67.0, 84.0
    assert noise._protection(osha, level)[0] == "wear"
    assert "50 %" in noise._protection(osha, level)[1]


def test_a_silent_day() -> None:
    quiet = noise.exposure([])
    assert quiet.lex_8h_dba is None
    assert quiet.osha_twa_dba is None
    assert quiet.niosh_twa_dba is None
    assert quiet.protection == "not required"


@pytest.mark.parametrize(
    "uses",
    [
        [NoiseUse(level_dba=150.0, minutes=1.0)],
        [NoiseUse(level_dba=80.0, minutes=-5.0)],
        [NoiseUse(level_dba=80.0, minutes=800.0)] * 2,
    ],
)
def test_impossible_noise_is_refused(uses: list[NoiseUse]) -> None:
    with pytest.raises(InputError):
        noise.exposure(uses)


def test_silence_has_no_level() -> None:
    with pytest.raises(InputError):
        noise.lex_8h_dba([])
    with pytest.raises(InputError):
        noise.twa_dba(0.0, "osha")
    with pytest.raises(InputError):
        noise.together_dba([])


# vapour

rooms = st.tuples(st.floats(10.0, 500.0), st.floats(0.0, 20.0), st.floats(5.0, 240.0))


@settings(max_examples=40, deadline=None)
@given(rooms, st.floats(1.0, 500.0))
def test_closed_form_solves_the_balance(place: tuple[float, float, float], grams_h: float) -> None:
    # V dC/dt = G - Q C, integrated numerically; source: mass balance of a well-mixed room
    volume, changes, minutes = place
    air, release, hours = changes * volume, 1000.0 * grams_h, minutes / 60.0
    path = solve_ivp(
        lambda _, c: (release - air * c[:1]) / volume, (0.0, hours), [5.0], rtol=1e-9, atol=1e-9
    )
    found = vapour.concentration_mg_m3(
        hours, room_m3=volume, air_m3_h=air, release_mg_h=release, start_mg_m3=5.0
    )
    assert found == pytest.approx(path.y[0, -1], rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(rooms, st.floats(1.0, 1000.0))
def test_figures_of_a_room_agree_with_a_fine_sum(
    place: tuple[float, float, float], ml: float
) -> None:
    volume, changes, minutes = place
    found = vapour.room(
        ml, IPA, room_m3=volume, air_changes_per_h=changes, minutes=minutes, mixing=2.0
    )
    rate, hours = changes / 2.0, minutes / 60.0
    step = 1e-3
    time = np.arange(step / 2.0, 12.0, step)
    source = ml * IPA.density_g_ml * 1000.0 / hours / volume
    rising = source * (time if rate == 0.0 else -np.expm1(-rate * time) / rate)
    peak = source * (hours if rate == 0.0 else -math.expm1(-rate * hours) / rate)
    level = np.where(time <= hours, rising, peak * np.exp(-rate * np.maximum(0.0, time - hours)))
    ppm = vapour.MOLAR_VOLUME_L / IPA.molar_mass_g_mol
    assert found.peak_mg_m3 == pytest.approx(peak, rel=1e-9)
    width = round(0.25 / step)
    area = np.concatenate([[0.0], np.cumsum(level)])
    sums = (area[width:] - area[:-width]) / width
    assert found.worst_15_min_ppm == pytest.approx(ppm * sums.max(), rel=0.01)
    assert found.twa_8h_ppm == pytest.approx(ppm * level[time < 8.0].sum() * step / 8.0, rel=0.01)
    assert found.mean_ppm == pytest.approx(ppm * level[time <= hours].mean(), rel=0.02)


@settings(max_examples=40, deadline=None)
@given(rooms, st.floats(1.0, 500.0), st.floats(0.5, 10.0))
def test_more_air_or_room_less_vapour(
    place: tuple[float, float, float], ml: float, more: float
) -> None:
    volume, changes, minutes = place
    base = vapour.room(ml, IPA, room_m3=volume, air_changes_per_h=changes, minutes=minutes)
    aired = vapour.room(ml, IPA, room_m3=volume, air_changes_per_h=changes + more, minutes=minutes)
    bigger = vapour.room(ml, IPA, room_m3=volume * 1.5, air_changes_per_h=changes, minutes=minutes)
    for name in ("peak_ppm", "worst_15_min_ppm", "twa_8h_ppm", "mean_ppm", "peak_percent_lel"):
        assert getattr(aired, name) < getattr(base, name)
        assert getattr(bigger, name) < getattr(base, name)


@settings(max_examples=40, deadline=None)
@given(rooms, st.floats(1.0, 200.0), st.floats(1.0, 200.0))
def test_vapour_is_additive_in_the_liquid(
    place: tuple[float, float, float], a: float, b: float
) -> None:
    volume, changes, minutes = place
    one, two, both = (
        vapour.room(ml, IPA, room_m3=volume, air_changes_per_h=changes, minutes=minutes).peak_ppm
        for ml in (a, b, a + b)
    )
    assert both == pytest.approx(one + two)


def test_air_needed_keeps_the_steady_level_at_the_limit() -> None:
    found = vapour.room(200.0, IPA, room_m3=60.0, air_changes_per_h=1.0, minutes=60.0, mixing=3.0)
    assert found.air_needed_m3_h is not None
    changes = found.air_needed_m3_h / 60.0
    long = vapour.room(200.0 * 24, IPA, room_m3=60.0, air_changes_per_h=changes, minutes=1440.0)
    assert long.peak_ppm == pytest.approx(400.0, rel=1e-6)


def test_verdicts_fire_first_then_short_then_day() -> None:
    def why(ml: float, minutes: float, changes: float) -> str:
        found = vapour.room(ml, IPA, room_m3=60.0, air_changes_per_h=changes, minutes=minutes)
        assert found.ok == found.why.startswith("below")
        return found.why

    assert "explosive" in why(5000.0, 10.0, 0.0)
    assert "15 min" in why(200.0, 5.0, 0.0)
    assert "8 h" in why(85.0, 5.0, 0.0)
    assert "below" in why(20.0, 30.0, 2.0)


def test_a_closed_room_never_clears() -> None:
    shut = vapour.room(100.0, IPA, room_m3=60.0, air_changes_per_h=0.0, minutes=30.0)
    assert shut.minutes_to_clear is None
    aired = vapour.room(100.0, IPA, room_m3=60.0, air_changes_per_h=6.0, minutes=30.0)
    assert aired.minutes_to_clear is not None
    nothing = vapour.room(0.0, IPA, room_m3=60.0, air_changes_per_h=6.0, minutes=30.0)
    assert nothing.minutes_to_clear == 0.0


def test_a_sheet_without_limits_is_judged_by_fire() -> None:
    bare = Solvent(
        id="own",
        name="own",
        molar_mass_g_mol=60.0,
        density_g_ml=0.8,
        lel_percent=2.0,
        limit_ppm=None,
    )
    found = vapour.room(
        100.0, bare, room_m3=60.0, air_changes_per_h=1.0, minutes=30.0, surface_c=90.0
    )
    assert found.ok
    assert found.limit_ppm is None
    with pytest.raises(InputError, match="catch fire"):
        vapour.room(100.0, bare, room_m3=60.0, air_changes_per_h=1.0, minutes=30.0, surface_c=220.0)


@pytest.mark.parametrize("entry", SOLVENTS, ids=lambda s: s.id)
def test_solvents_are_found_by_their_id_and_name_a_source(entry: Solvent) -> None:
    assert solvent(entry.id) is entry
    assert entry.source


@pytest.mark.parametrize(
    "changed",
    [
        {"millilitres": -1.0},
        {"room_m3": 0.0},
        {"minutes": -5.0},
        {"air_changes_per_h": -1.0},
        {"mixing": 0.5},
        {"surface_c": 420.0},
    ],
)
def test_impossible_rooms_are_refused(changed: dict[str, float]) -> None:
    usual = {"millilitres": 100.0, "room_m3": 60.0, "minutes": 30.0, "air_changes_per_h": 1.0}
    given_ = usual | changed
    with pytest.raises(InputError):
        vapour.room(given_.pop("millilitres"), IPA, **given_)


def test_unknown_solvent_is_refused() -> None:
    with pytest.raises(InputError, match="unobtainium"):
        solvent("unobtainium")


def test_purge_times() -> None:
    assert vapour.hours_to_fall(1.0, 2.0, room_m3=10.0, air_m3_h=1.0) == 0.0
    assert math.isinf(vapour.hours_to_fall(2.0, 1.0, room_m3=10.0, air_m3_h=0.0))


@settings(max_examples=40, deadline=None)
@given(rooms)
def test_mean_is_between_nothing_and_the_peak(place: tuple[float, float, float]) -> None:
    volume, changes, minutes = place
    given_ = {"room_m3": volume, "air_m3_h": changes * volume, "release_mg_h": 1000.0}
    mean = vapour.mean_mg_m3(minutes / 60.0, **given_)
    peak = vapour.concentration_mg_m3(minutes / 60.0, **given_)
    assert 0.5 * peak * (1.0 - 1e-9) <= mean <= peak


def test_saturated_isopropanol_is_above_its_explosive_limit() -> None:
    # source: NIOSH npgd0359, 33 mmHg and 2.0 % LEL; status: seen; 4.34 % recomputed elsewhere
    assert vapour.saturation_ppm(33.0) == pytest.approx(43421.0, abs=0.5)
    with pytest.raises(InputError):
        vapour.saturation_ppm(-1.0)


def test_solvents_together_add_their_shares() -> None:
    parts = [
        vapour.room(ml, solvent(name), room_m3=60.0, air_changes_per_h=2.0, minutes=30.0)
        for ml, name in ((60.0, "isopropanol"), (15.0, "white-spirit"))
    ]
    both = vapour.together(parts)
    # by hand from each one's own figures
    day = parts[0].twa_8h_ppm / 400.0 + parts[1].twa_8h_ppm / 60.0
    assert both.day_share == pytest.approx(day)
    assert both.fire_share == pytest.approx(sum(p.peak_percent_lel for p in parts) / 25.0)
    assert both.ok == (max(both.day_share, both.short_share, both.fire_share) <= 1.0)
    assert f"{both.short_share:.2f} of the 15 min limit" in both.why
    many = vapour.together(parts * 10)
    assert not many.ok
    assert many.day_share == pytest.approx(10.0 * both.day_share)


@pytest.mark.parametrize(
    "changed",
    [{"lel_percent": 0.0}, {"molar_mass_g_mol": -1.0}, {"density_g_ml": 9.0}, {"limit_ppm": 0.0}],
)
def test_sheets_that_cannot_be_true_are_refused(changed: dict[str, float]) -> None:
    with pytest.raises(InputError):
        check(msgspec.structs.replace(IPA, **changed))
    bare = msgspec.structs.replace(IPA, limit_ppm=None, short_limit_ppm=None)
    assert check(bare) is bare
