"""Decide: from evidence to the dossier. Pure: no file is read or written, chance is passed in."""

from typing import TYPE_CHECKING

from leastcut.handover.records import Dossier, People
from leastcut.job.after import After, after_work
from leastcut.job.evidence import Evidence
from leastcut.job.facts import cautions_of, window_of
from leastcut.job.helps import would_help_most
from leastcut.job.stages import stages_of
from leastcut.job.weigh import process_named, sections_for, weigh
from leastcut.plan import build
from leastcut.plan.learn import Learnt
from leastcut.plan.records import Plan
from leastcut.testspot.in_use import in_use
from leastcut.testspot.records import TestSpot

if TYPE_CHECKING:
    import numpy as np


def decide(
    evidence: Evidence, *, rng: "np.random.Generator", learnt: Learnt | None = None
) -> Dossier:
    """Work out everything that follows from the evidence.

    Parameters
    ----------
    evidence : Evidence
        What was gathered.
    rng : numpy.random.Generator
        For the Monte Carlo over durations.
    learnt : Learnt or None
        The shop's own pace.

    Returns
    -------
    Dossier
        Findings, test spot, sections, plan, cautions, what was done and proven, stages, and what
        would help most.

    Raises
    ------
    InputError
        If prices or processes cannot be used.
    """
    job = evidence.job
    known = weigh(evidence, learnt=learnt)
    wash, gauge, states, spot = known.wash, known.gauge, known.states, known.spot
    inputs, around = known.inputs, known.around
    plan, _ = build.plan_of(inputs, around=around, rng=rng)
    after = after_work(evidence, states=states, plan=plan, gauge=gauge, draws=inputs.draws)
    spot = spot_in_use(evidence, spot, plan=plan, after=after)
    return Dossier(
        car=evidence.car,
        people=People(client=job.people.client, shop=job.people.shop, date=job.people.date),
        target=job.target.finish,
        units=job.units,
        wash=wash,
        photos=evidence.photos,
        gauge=gauge,
        panels=states,
        ladder=evidence.ladder,
        trials=evidence.trials,
        testspot=spot,
        layouts=tuple(inputs.layouts),
        plan=plan,
        cautions=cautions_of(evidence, states, inputs.layouts, plan),
        window=window_of(job.protect),
        stages=stages_of(evidence, wash=wash, states=states, spot=spot, plan=plan, after=after),
        would_help_most=would_help_most(
            evidence,
            states=states,
            needs=inputs.panels,
            gauge=gauge,
            known=known.film,
            plan=plan,
            draws=inputs.draws,
        ),
        proofs=after.proofs,
        cuts=after.cuts,
        run=after.run,
        prompts=after.prompts,
        problems=evidence.problems,
        sections_for=process_named(evidence.ladder, sections_for(evidence, known.spot)).label,
    )


def spot_in_use(evidence: Evidence, spot: TestSpot, *, plan: Plan, after: After) -> TestSpot:
    """Return the test spot's answer: what is in use once work has begun, else what the trials say."""
    sections = () if after.run is None else after.run.sections
    return in_use(
        spot,
        {(state.panel, state.id): state.done for state in sections},
        planned=sum(bool(section.steps) for section in plan.sections),
        ladder=evidence.ladder,
        trials=evidence.trials,
    )
