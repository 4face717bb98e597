"""What the safety rules and the last layer need to know, taken from the job."""

from collections.abc import Sequence

from leastcut.handover.records import PanelState
from leastcut.job.evidence import Evidence
from leastcut.plan.records import Layout, Plan
from leastcut.polish.heat import friction_power_w, section_rise_k
from leastcut.protect.records import Limits, Window
from leastcut.protect.window import window
from leastcut.safety.cautions import for_job
from leastcut.safety.records import Caution, JobFacts, PanelFacts
from leastcut.shop.jobplace import ProtectTable, RoomTable


def cautions_of(
    evidence: Evidence, states: Sequence[PanelState], layouts: Sequence[Layout], plan: Plan
) -> tuple[Caution, ...]:
    """Return the cautions that this job calls for.

    Raises
    ------
    InputError
        If a fact about the room cannot be true.
    """
    room = evidence.job.room
    car = evidence.car
    facts = JobFacts(
        panels=panel_facts(evidence, states, layouts, plan),
        paint_system=car.paint.system,
        car_year=car.year,
        machine_m_s2=room.vibration_m_s2,
        machine_k_m_s2=room.vibration_k_m_s2,
        polishing_minutes=plan.section_minutes,
        noise_dba=room.noise_dba,
        wipe_ml=room.wipe_ml,
        room_m3=room.volume_m3,
        air_changes_per_h=room.air_changes_per_hour,
        cord_conductor=conductor(room),
        cord_m=room.cord_m,
        circuit_volts=room.voltage_v,
        circuit_amps=room.circuit_a,
        works_alone=room.people == 1,
        outdoors=room.outdoors,
        load_amps=room.current_a,
        washed=None if evidence.job.wash.washed == "unwashed" else True,
    )
    return for_job(facts)


def conductor(room: RoomTable) -> str | None:
    """Return the cord's conductor as the cord model names it."""
    if room.conductor_mm2 is not None:
        return f"{float(room.conductor_mm2):g} mm2"
    return None if room.conductor_awg is None else f"{room.conductor_awg} AWG"


def panel_facts(
    evidence: Evidence, states: Sequence[PanelState], layouts: Sequence[Layout], plan: Plan
) -> tuple[PanelFacts, ...]:
    """Say of each worked panel what the cautions ask."""
    left: dict[str, float] = {}
    for section in plan.sections:
        if section.steps:
            known = left.get(section.panel, section.clear_after_low_um)
            left[section.panel] = min(known, section.clear_after_low_um)
    by_id = {state.panel: state.film for state in states}
    rise = warmest_rise_k(evidence, layouts, plan)
    return tuple(
        PanelFacts(
            panel=panel.id,
            material=panel.material,
            film=by_id[panel.id].finding,
            left_after_low_um=left[panel.id],
            reserve_um=by_id[panel.id].reserve_um,
            has_body_lines=bool(panel.body_lines_mm),
            temperature_rise_c=rise[panel.id],
            has_keep_outs=bool(panel.keep_outs),
        )
        for panel in evidence.car.panels
        if panel.id in left
    )


def warmest_rise_k(evidence: Evidence, layouts: Sequence[Layout], plan: Plan) -> dict[str, float]:
    """Return by panel the largest mean rise of a section while its longest step runs [K].

    All friction goes into the panel and leaves it to the air: an upper estimate, see
    :mod:`leastcut.polish.heat`.
    """
    material = {panel.id: panel.material for panel in evidence.car.panels}
    area = {(s.panel, s.id): s.area_mm2 for layout in layouts for s in layout.sections}
    power = {p.label: friction_power_w(p, motor_w=p.power_w) for p in evidence.ladder}
    rise: dict[str, float] = {}
    for section in plan.sections:
        for step in section.steps:
            found = section_rise_k(
                power[step.process],
                area[section.panel, section.id],
                step.seconds,
                material=material[section.panel],
            )
            rise[section.panel] = max(rise.get(section.panel, 0.0), found)
    return rise


def window_of(protect: ProtectTable) -> Window | None:
    """Return whether the last layer may go on, or None where the air was not measured.

    Raises
    ------
    InputError
        If the air cannot be as stated.
    """
    if protect.air_c is None or protect.humidity_percent is None:
        return None
    surface_c = protect.air_c if protect.surface_c is None else protect.surface_c
    sheet = {
        "air_c_min": protect.air_min_c,
        "air_c_max": protect.air_max_c,
        "rh_percent_max": protect.humidity_max_percent,
    }
    limits = Limits(**{name: float(value) for name, value in sheet.items() if value is not None})
    return window(protect.air_c, protect.humidity_percent, surface_c, limits=limits)
