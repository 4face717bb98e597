"""Cautions fire on their facts and only then, each with a source, the local rules first."""

import re

import msgspec
import pytest

from leastcut.errors import InputError
from leastcut.safety.cautions import RULES, for_job
from leastcut.safety.records import Caution, JobFacts, PanelFacts

STAGES = {"car", "inspect", "testspot", "plan", "work", "protect", "handover"}
CALM = JobFacts(
    machine_m_s2=2.0,
    machine_k_m_s2=0.3,
    polishing_minutes=60.0,
    noise_dba=70.0,
    works_alone=False,
    washed=True,
)


def found(facts: JobFacts) -> dict[str, Caution]:
    return {caution.id: caution for caution in for_job(facts)}


def with_panel(**changed: object) -> JobFacts:
    usual = {
        "panel": "bonnet",
        "material": "steel",
        "film": "factory",
        "left_after_low_um": 40.0,
        "reserve_um": 30.0,
        "has_edges": False,
    }
    return msgspec.structs.replace(CALM, panels=(PanelFacts(**(usual | changed)),))


def test_every_rule_is_whole_and_names_where_it_comes_from() -> None:
    assert len({rule.id for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert rule.stage in STAGES
        assert rule.what
        assert rule.do
        assert rule.source or rule.status == "common practice, no source"


def test_a_calm_job_has_only_what_always_holds() -> None:
    assert set(found(CALM)) == {rule.id for rule in RULES if rule.condition == "always"}


def test_local_codes_data_sheets_and_trades_go_first() -> None:
    first = for_job(JobFacts())[0]
    assert first.id == "local-first"
    assert re.search("Local codes.*data sheets.*licensed trades go first", first.do)


@pytest.mark.parametrize(
    ("changed", "rule"),
    [
        ({"machine_m_s2": None}, "vibration-unknown"),
        ({"machine_m_s2": 4.0, "polishing_minutes": 240.0}, "vibration-action"),
        ({"machine_m_s2": 8.0, "polishing_minutes": 400.0}, "vibration-limit"),
        ({"noise_dba": None}, "noise-unknown"),
        ({"noise_dba": 82.0}, "noise-offer"),
        ({"noise_dba": 88.0}, "noise-wear"),
        ({"wipe_ml": 50.0}, "solvent"),
        ({"wipe_ml": 50.0}, "rags"),
        ({"wipe_ml": 50.0}, "room-unknown"),
        ({"wipe_ml": 500.0, "room_m3": 30.0}, "vapour-high"),
        ({"works_alone": True}, "alone"),
        ({"washed": False}, "wash-first"),
        ({"paint_system": "single-stage"}, "single-stage"),
        ({"paint_system": "matt"}, "matt"),
        ({"car_year": 1972}, "old-paint"),
        ({"circuit_amps": 15.0, "load_amps": 13.0}, "circuit-full"),
    ],
)
def test_rule_fires_on_its_fact_alone(changed: dict[str, object], rule: str) -> None:
    assert rule not in found(CALM)
    assert rule in found(msgspec.structs.replace(CALM, **changed))


@pytest.mark.parametrize(
    ("changed", "rule"),
    [
        ({"film": "thin"}, "film-thin"),
        ({"left_after_low_um": 20.0}, "film-thin"),
        ({"film": "unmeasured"}, "film-unmeasured"),
        ({"film": "unreadable", "material": "plastic"}, "film-on-plastic"),
        ({"film": "filled"}, "film-filled"),
        ({"film": "repainted"}, "film-repainted"),
        ({"has_edges": True}, "edges"),
        ({"has_body_lines": True}, "body-lines"),
        ({"has_keep_outs": True}, "trim"),
        ({"material": "plastic"}, "plastic"),
        ({"surface_c": 61.0}, "hot"),
        ({"temperature_rise_c": 40.0}, "hot"),
        ({"material": "composite", "surface_c": 30.0, "temperature_rise_c": 16.0}, "hot"),
        ({"sanding": True}, "sanding"),
        ({"near_airbag": True}, "airbag"),
    ],
)
def test_rule_of_a_panel_fires_on_its_fact(changed: dict[str, object], rule: str) -> None:
    assert rule not in found(with_panel())
    assert rule in found(with_panel(**changed))


def test_rule_of_a_panel_names_each_panel() -> None:
    facts = JobFacts(panels=tuple(PanelFacts(panel=p, film="thin") for p in ("roof", "boot")))
    assert [c.panel for c in for_job(facts) if c.id == "film-thin"] == ["roof", "boot"]


def test_old_paint_forbids_dry_sanding() -> None:
    caution = found(msgspec.structs.replace(CALM, car_year=1968))["old-paint"]
    assert "lead or chromate" in caution.what
    assert "No dry sanding" in caution.do


def test_nine_hour_car_gets_its_own_figures_and_a_way_out() -> None:
    facts = JobFacts(machine_m_s2=6.0, polishing_minutes=540.0, works_alone=False)
    caution = found(facts)["vibration-limit"]
    assert "1270 points" in caution.what
    assert "Share it in 4 parts, 2 people over 2 days" in caution.do
    assert "vibration-action" not in found(facts)
    alone = found(msgspec.structs.replace(facts, works_alone=True))["vibration-limit"]
    assert "one person over 4 days" in alone.do


def test_cord_figures_are_in_the_caution() -> None:
    weak = msgspec.structs.replace(
        CALM, cord_conductor="16 AWG", cord_m=30.0, circuit_volts=120.0, load_amps=10.0
    )
    assert re.search(r"9\.8 V of 120 V, 8\.2 %", found(weak)["cord-weak"].what)
    short = msgspec.structs.replace(weak, cord_m=3.0)
    assert "cord-weak" not in found(short)
    assert "cord-weak" not in found(msgspec.structs.replace(weak, circuit_volts=None))


def test_outdoors_needs_no_room() -> None:
    facts = msgspec.structs.replace(CALM, wipe_ml=500.0, outdoors=True)
    assert {"room-unknown", "vapour-high"}.isdisjoint(found(facts))


def test_aired_room_is_no_worry() -> None:
    facts = msgspec.structs.replace(CALM, wipe_ml=50.0, room_m3=100.0, air_changes_per_h=5.0)
    assert "vapour-high" not in found(facts)


def test_nonsense_facts_are_refused() -> None:
    with pytest.raises(InputError, match="-5 min"):
        for_job(msgspec.structs.replace(CALM, polishing_minutes=-5.0))
    with pytest.raises(InputError, match="0 m³"):
        for_job(msgspec.structs.replace(CALM, wipe_ml=10.0, room_m3=0.0))
    with pytest.raises(InputError, match="conductor"):
        for_job(
            msgspec.structs.replace(
                CALM, cord_conductor="bell wire", cord_m=5.0, circuit_volts=230.0, load_amps=3.0
            )
        )


def test_sources_say_how_far_they_were_checked() -> None:
    old = found(msgspec.structs.replace(CALM, car_year=1968))["old-paint"]
    assert old.source.endswith("(from memory, not confirmed)")
    assert found(CALM)["eyes-hands-lungs"].source == "common practice, no source"
