"""Cautions: rules as data, each with its source, triggered by the facts of the job.

A caution never replaces the local code, the product's data sheet or a licensed trade; the rule
``local-first`` says so in every job. Each rule names a condition; the conditions are small pure
functions of the facts that return the panels they hold for (an empty name for the whole job).
"""

from collections.abc import Callable
from typing import Literal

from leastcut.safety import cord, sharing, solvents, vapour, vibration
from leastcut.safety.records import Caution, Cord, JobFacts, PanelFacts, SharePlan, ToolUse, Vapour
from leastcut.safety.rules import RULES, Rule, Status

__all__ = ["RULES", "Rule", "Status", "for_job"]

WHOLE_JOB = ""

# source: trade claims of 43 to 60 °C, no standard found; status: common practice, no source
WARN_SURFACE_C, STOP_SURFACE_C = 45.0, 60.0
# source: lead in paint for consumers restricted in the US from 1978 (16 CFR 1303), vehicle coatings
# are exempt, so leaded and chromate pigments lasted longer; status: from memory
OLD_PAINT_YEAR = 1990


def for_job(facts: JobFacts) -> tuple[Caution, ...]:
    """Return the cautions that the facts of a job call for, in the order of the stages.

    Parameters
    ----------
    facts : JobFacts
        What is known; unknown facts trigger the cautious side.

    Returns
    -------
    tuple of Caution
        At least ``local-first``. A rule that holds for some panels gives one caution for each.

    Raises
    ------
    InputError
        If a fact cannot be true (negative minutes, unknown conductor, …).

    Examples
    --------
    >>> [c.id for c in for_job(JobFacts())][:2]
    ['local-first', 'eyes-hands-lungs']
    """
    found: list[Caution] = []
    for rule in RULES:
        found.extend(
            Caution(
                id=rule.id,
                stage=rule.stage,
                what=rule.what + _detail(_FIGURES, rule, facts),
                do=rule.do + _detail(_ADVICE, rule, facts),
                source=_source(rule),
                panel=panel or None,
            )
            for panel in _CONDITIONS[rule.condition](facts)
        )
    return tuple(found)


def _source(rule: Rule) -> str:
    """Return the source as a reader sees it, with how far it was checked."""
    if not rule.source:
        return rule.status
    return rule.source + _CHECKED.get(rule.status, "")


_CHECKED = {"seen-2": " (read in a reprint)", "from memory": " (from memory, not confirmed)"}


def _job(*, holds: bool) -> tuple[str, ...]:
    return (WHOLE_JOB,) if holds else ()


def _panels(facts: JobFacts, holds: Callable[[PanelFacts], bool]) -> tuple[str, ...]:
    return tuple(panel.panel for panel in facts.panels if holds(panel))


def _any_panel(facts: JobFacts, holds: Callable[[PanelFacts], bool]) -> tuple[str, ...]:
    return _job(holds=any(holds(panel) for panel in facts.panels))


def _vibration(facts: JobFacts, level: Literal["action", "limit"]) -> tuple[str, ...]:
    if facts.machine_m_s2 is None or facts.polishing_minutes is None:
        return ()
    day_minutes = min(facts.polishing_minutes, 1440.0)
    use = ToolUse(
        magnitude_m_s2=facts.machine_m_s2, minutes=day_minutes, k_m_s2=facts.machine_k_m_s2
    )
    day = vibration.exposure([use])
    over_limit = day.band_high == "above limit"
    if level == "limit":
        return _job(holds=over_limit)
    return _job(holds=day.band_high == "at or above action")


def _vibration_unknown(facts: JobFacts) -> tuple[str, ...]:
    return _job(holds=facts.machine_m_s2 is None or facts.polishing_minutes is None)


def _wipe(facts: JobFacts) -> Vapour | None:
    if not facts.wipe_ml or facts.room_m3 is None or facts.outdoors:
        return None
    return vapour.room(
        facts.wipe_ml,
        solvents.solvent("isopropanol"),
        room_m3=facts.room_m3,
        air_changes_per_h=facts.air_changes_per_h or 0.0,
        minutes=facts.wipe_minutes,
    )


def _vapour_high(facts: JobFacts) -> tuple[str, ...]:
    found = _wipe(facts)
    return _job(holds=found is not None and not found.ok)


def _solvent_used(facts: JobFacts) -> tuple[str, ...]:
    return _job(holds=bool(facts.wipe_ml))


def _room_unknown(facts: JobFacts) -> tuple[str, ...]:
    return _job(holds=bool(facts.wipe_ml) and not facts.outdoors and facts.room_m3 is None)


def _cord_facts(facts: JobFacts) -> Cord | None:
    if facts.cord_conductor is None or facts.cord_m is None:
        return None
    if facts.circuit_volts is None or facts.load_amps is None:
        return None
    return cord.drop(
        facts.cord_conductor,
        facts.cord_m,
        amps=facts.load_amps,
        volts=facts.circuit_volts,
        circuit_amps=facts.circuit_amps,
    )


def _cord_weak(facts: JobFacts) -> tuple[str, ...]:
    found = _cord_facts(facts)
    return _job(holds=found is not None and found.drop_percent > found.limit_percent)


def _circuit_full(facts: JobFacts) -> tuple[str, ...]:
    if facts.circuit_amps is None or facts.load_amps is None:
        return ()
    return _job(holds=facts.load_amps > cord.CONTINUOUS_SHARE * facts.circuit_amps)


def _thin(panel: PanelFacts) -> bool:
    if panel.film == "thin":
        return True
    left, reserve = panel.left_after_low_um, panel.reserve_um
    return left is not None and reserve is not None and left < reserve


def _unmeasured(panel: PanelFacts) -> bool:
    return panel.film in {"unmeasured", "unreadable"}


def _plastic(panel: PanelFacts) -> bool:
    return panel.material in {"plastic", "composite"}


def _hot(panel: PanelFacts) -> bool:
    if panel.surface_c is None and panel.temperature_rise_c is None:
        return False
    start = 25.0 if panel.surface_c is None else panel.surface_c
    limit = WARN_SURFACE_C if _plastic(panel) else STOP_SURFACE_C
    return start + (panel.temperature_rise_c or 0.0) >= limit


def _old(facts: JobFacts) -> tuple[str, ...]:
    return _job(holds=facts.car_year is not None and facts.car_year < OLD_PAINT_YEAR)


def _sharing(facts: JobFacts) -> SharePlan:
    assert facts.machine_m_s2 is not None
    assert facts.polishing_minutes is not None
    use = ToolUse(
        magnitude_m_s2=facts.machine_m_s2,
        minutes=facts.polishing_minutes,
        k_m_s2=facts.machine_k_m_s2,
    )
    return sharing.breaks([use], persons=1 if facts.works_alone else 2)


def _vapour_figures(facts: JobFacts) -> str:
    found = _wipe(facts)
    assert found is not None
    return found.why


def _cord_figures(facts: JobFacts) -> str:
    found = _cord_facts(facts)
    assert found is not None
    return f"{found.drop_v:.1f} V of {facts.circuit_volts:g} V, {found.drop_percent:.1f} %"


# rule -> figures of this job that follow what is said; advice that follows what to do
_FIGURES: dict[str, Callable[[JobFacts], str]] = {
    "vibration-action": lambda facts: _sharing(facts).why,
    "vibration-limit": lambda facts: _sharing(facts).why,
    "vapour-high": _vapour_figures,
    "cord-weak": _cord_figures,
}
_ADVICE: dict[str, Callable[[JobFacts], str]] = {
    "vibration-limit": lambda facts: _sharing(facts).do,
}


def _detail(table: dict[str, Callable[[JobFacts], str]], rule: Rule, facts: JobFacts) -> str:
    """Return the job's own figures for a rule, or nothing where it has none."""
    return f": {table[rule.id](facts)}" if rule.id in table else ""


_CONDITIONS: dict[str, Callable[[JobFacts], tuple[str, ...]]] = {
    "always": lambda _: _job(holds=True),
    "works alone": lambda facts: _job(holds=facts.works_alone),
    "not washed": lambda facts: _job(holds=facts.washed is False),
    "vibration unknown": _vibration_unknown,
    "vibration action": lambda facts: _vibration(facts, "action"),
    "vibration limit": lambda facts: _vibration(facts, "limit"),
    "noise unknown": lambda facts: _job(holds=facts.noise_dba is None),
    "noise 80": lambda facts: _job(
        holds=facts.noise_dba is not None and 80.0 <= facts.noise_dba < 85.0
    ),
    "noise 85": lambda facts: _job(holds=facts.noise_dba is not None and facts.noise_dba >= 85.0),
    "solvent used": _solvent_used,
    "vapour high": _vapour_high,
    "room unknown": _room_unknown,
    "cord weak": _cord_weak,
    "circuit full": _circuit_full,
    "film thin": lambda facts: _panels(facts, _thin),
    "film unmeasured": lambda facts: _panels(facts, lambda p: _unmeasured(p) and not _plastic(p)),
    "film unmeasured on plastic": lambda facts: _panels(
        facts, lambda p: _unmeasured(p) and _plastic(p)
    ),
    "film filled": lambda facts: _panels(facts, lambda p: p.film == "filled"),
    "film repainted": lambda facts: _panels(facts, lambda p: p.film == "repainted"),
    "edges": lambda facts: _any_panel(facts, lambda p: p.has_edges),
    "body lines": lambda facts: _panels(facts, lambda p: p.has_body_lines),
    "keep-outs": lambda facts: _any_panel(facts, lambda p: p.has_keep_outs),
    "plastic": lambda facts: _panels(facts, _plastic),
    "hot": lambda facts: _panels(facts, _hot),
    "sanding": lambda facts: _panels(facts, lambda p: p.sanding),
    "airbag": lambda facts: _panels(facts, lambda p: p.near_airbag),
    "single-stage": lambda facts: _job(holds=facts.paint_system == "single-stage"),
    "matt": lambda facts: _job(holds=facts.paint_system == "matt"),
    "old": _old,
}
