"""What evidence would help most, and what it would be worth.

Each gain is computed, in µm of clear coat on average over the car's panels, so that photos, gauge
and trials can be put in one order. Things that are worth something else (safety, a price) come
after, in the order of the stages.
"""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from leastcut.car.records import Paint
from leastcut.handover.records import Help, PanelState
from leastcut.inspect import film
from leastcut.inspect.budget import reserve_rule
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import Gauge, GaugeCheck
from leastcut.inspect.study import Study
from leastcut.job.evidence import Evidence
from leastcut.job.loads import UNCLEAN_FACTOR
from leastcut.plan.records import PanelNeed, Plan
from leastcut.testspot.paint import PaintDraws, cut_for

# What a gauge owner would do in five minutes: bare metal and two shims, read without error.
_GOOD_CHECKS = tuple(
    GaugeCheck(known_um=known, shown_um=known) for known in (0.0, 0.0, 0.0, 100.0, 100.0, 200.0)
)


def would_help_most(
    evidence: Evidence,
    *,
    states: Sequence[PanelState],
    needs: Sequence[PanelNeed],
    gauge: Gauge,
    known: Study,
    plan: Plan,
    draws: PaintDraws,
) -> tuple[Help, ...]:
    """List the missing evidence, the most valuable first.

    Parameters
    ----------
    evidence : Evidence
        What was gathered.
    states : sequence of PanelState
        What is known of each panel.
    needs : sequence of PanelNeed
        What each panel asks for.
    gauge : Gauge
        The gauge as its checks say.
    known : Study
        What the readings say.
    plan : Plan
        The plan as it stands.
    draws : PaintDraws
        Equally likely paints.

    Returns
    -------
    tuple of Help
        Computed gains in falling order, then what is worth something else.
    """
    computed = [
        *_readings(states, known),
        *_gauge_checks(evidence, states, gauge),
        *_paint_history(evidence, states, gauge),
        *_photos(states, needs, draws),
        *_trials(evidence, plan),
        *_wash(evidence, states, draws),
    ]
    computed.sort(key=lambda item: -(item.gain_um or 0.0))
    return (*computed, *_besides(evidence))


def _readings(states: Sequence[PanelState], known: Study) -> Iterator[Help]:
    found = film.help_of(known, [state.film for state in states])
    for item in found:
        yield Help(
            evidence="film readings",
            panel=item.panel,
            why=item.what,
            gain_um=item.gain_um / len(states),
        )


def _mean_budget(evidence: Evidence, *, paint: Paint, gauge: Gauge) -> float:
    findings = film.assess(
        evidence.car.panels,
        evidence.readings,
        paint=paint,
        gauge=gauge,
        earlier=evidence.earlier,
        reserve=reserve_rule(evidence.job.target.reserve_um),
    )
    return math.fsum(finding.budget_um for finding in findings) / len(findings)


def _now(states: Sequence[PanelState]) -> float:
    return math.fsum(state.film.budget_um for state in states) / len(states)


def _gauge_checks(evidence: Evidence, states: Sequence[PanelState], gauge: Gauge) -> Iterator[Help]:
    if gauge.checked or not evidence.readings:
        return
    after = _mean_budget(evidence, paint=evidence.car.paint, gauge=calibrate(_GOOD_CHECKS))
    yield Help(
        evidence="gauge checks",
        panel=None,
        why="Read bare metal and two shims: an unchecked gauge may be off by several µm, and the "
        "budget holds that back",
        gain_um=max(0.0, after - _now(states)),
    )


def _paint_history(
    evidence: Evidence, states: Sequence[PanelState], gauge: Gauge
) -> Iterator[Help]:
    paint = evidence.car.paint
    if paint.history != "unknown":
        return
    factory = Paint(system=paint.system, shade=paint.shade, history="factory", label=paint.label)
    after = _mean_budget(evidence, paint=factory, gauge=gauge)
    yield Help(
        evidence="paint history",
        panel=None,
        why="Ask whether any panel was repainted or polished before: unknown history holds clear "
        "coat back",
        gain_um=max(0.0, after - _now(states)),
    )


def _photos(
    states: Sequence[PanelState], needs: Sequence[PanelNeed], draws: PaintDraws
) -> Iterator[Help]:
    """Say what a photo of each unphotographed panel would take off the spread of its cut."""
    for state, need in zip(states, needs, strict=True):
        if state.load_assumed:
            spread = _cut_spread(state, need, draws)
            yield Help(
                evidence="photo",
                panel=state.panel,
                why="No photo: its scratch load is a guess, so the cut it needs is uncertain by "
                f"about {spread:.1f} µm",
                gain_um=spread / len(states),
            )


def _cut_spread(state: PanelState, need: PanelNeed, draws: PaintDraws) -> float:
    """Return one standard deviation of the cut needed that the load's bounds stand for [µm]."""
    load = state.load_mm_per_cm2
    left = (1 - need.required) * load.mean
    median, sigma = math.exp(float(draws.ln_median.mean())), float(draws.sigma.mean())
    cuts = [
        cut_for(min(max(1 - left / bound, 0.01), 0.99), median_um=median, sigma=sigma)
        for bound in (max(load.low, 1e-6), max(load.high, 1e-6))
    ]
    return (cuts[1] - cuts[0]) / 3.92


def _trials(evidence: Evidence, plan: Plan) -> Iterator[Help]:
    """Name each process in the plan, or milder: never tried, or worth trying once more.

    With n trials behind it the spread of a cut shrinks about as 1/√n, so one more is worth
    1 - √(n/(n+1)) of it; the first is worth all of it.
    """
    tried = Counter(trial.process for trial in evidence.trials)
    used = {step.process for section in plan.sections for step in section.steps}
    labels = [process.label for process in evidence.ladder]
    strongest = max((labels.index(label) for label in used), default=0)
    worked = [section.cut_um for section in plan.sections if section.steps]
    spread = math.fsum(c.high - c.low for c in worked) / max(len(worked), 1) / 3.92
    for label in labels[: strongest + 1]:
        n = tried[label]
        how = "once more, on another panel" if n else "on the test spot"
        yield Help(
            evidence="trial",
            panel=None,
            why=f"Try '{label}' {how}, with a photo before and after: the cut on a section is "
            f"known to about ±{2 * spread:.1f} µm",
            gain_um=spread * (1 - math.sqrt(n / (n + 1))),
        )


def _wash(evidence: Evidence, states: Sequence[PanelState], draws: PaintDraws) -> Iterator[Help]:
    """Say what a finished wash-and-clay check would be worth: photos that can be trusted."""
    wash = evidence.job.wash
    if wash.washed == "washed" and wash.feel == "smooth" and wash.dry is True:
        return
    photographed = sum(not state.load_assumed for state in states) / len(states)
    sigma = float(draws.sigma.mean())
    median = math.exp(float(draws.ln_median.mean()))
    yield Help(
        evidence="wash-and-clay check",
        panel=None,
        why="Wash, feel the paint, clay where it is rough, wipe it bare: dirt and oil make photos "
        "show too much or too little",
        gain_um=photographed * median * sigma * math.log(UNCLEAN_FACTOR),
    )


def _besides(evidence: Evidence) -> Iterator[Help]:
    """Name what is worth something other than clear coat."""
    job = evidence.job
    facts: Mapping[str, tuple[bool, str]] = {
        "tape measurements": (
            None in {job.car.length_mm, job.car.width_mm, job.car.height_mm, job.car.wheelbase_mm},
            "Sections, time and materials are drawn from a typical body of this class",
        ),
        "machine's vibration value": (
            job.room.vibration_m_s2 is None,
            "From its manual: says how long a person may hold it in a day",
        ),
        "room and air change": (
            job.room.volume_m3 is None or job.room.air_changes_per_hour is None,
            "Says whether the vapour of the wipe fluid stays under its limit",
        ),
        "air and humidity": (
            job.protect.air_c is None or job.protect.humidity_percent is None,
            "Says when the last layer may go on",
        ),
        "prices": (job.prices is None, "Without rates there is no quote"),
    }
    for name, (missing, why) in facts.items():
        if missing:
            yield Help(evidence=name, panel=None, why=why)
