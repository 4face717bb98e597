"""The machine interface of a job: the one JSON document of ``job`` and ``demo``.

Keys are stable once shipped: add, don't rename. Units are in the keys; unknown is ``null``.
"""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from leastcut.car.records import Interval
from leastcut.handover.records import Dossier, Help, PanelCut, PanelProof, Stage
from leastcut.plan.records import Material, Minutes, Price, SectionPlan, Step
from leastcut.safety.records import Caution
from leastcut.testspot.records import Advice, Affordable, Candidate, DepthKnowledge, Process


class CarOut(msgspec.Struct, frozen=True, kw_only=True):
    """The car and its painted area."""

    label: str
    body: str
    length_mm: float
    width_mm: float
    height_mm: float
    wheelbase_mm: float
    painted_area_m2: float


class PanelOut(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of one panel; bounds hold 95 %."""

    panel: str
    load_mm_per_cm2: float
    load_low: float
    load_high: float
    load_assumed: bool
    clear_um: Interval
    budget_um: float
    budget_assumed: bool
    reserve_um: float
    finding: str
    notes: tuple[str, ...]


class ProcessOut(msgspec.Struct, frozen=True, kw_only=True):
    """The process the test spot points to, and what the trials taught."""

    do: Literal["try", "use", "stop"]
    process: str | None
    sets: int
    why: str
    finish: str | None
    finish_sets: int
    affordable: Affordable | None
    in_use: bool
    softness: Interval
    depth_um: DepthKnowledge
    candidates: tuple[Candidate, ...]
    ladder: tuple[Process, ...]


class CutOut(msgspec.Struct, frozen=True, kw_only=True):
    """Cut planned on a section: best estimate and upper 95 % bound."""

    mean: float
    high: float


class ClearAfterOut(msgspec.Struct, frozen=True, kw_only=True):
    """Lower bound of the clear coat left after the plan."""

    low: float


class SectionOut(msgspec.Struct, frozen=True, kw_only=True):
    """What to do to one section, in the order of work."""

    panel: str
    id: str
    steps: tuple[Step, ...]
    cut_um: CutOut
    clear_after_um: ClearAfterOut
    p_target: float
    width_mm: float
    height_mm: float
    note: str


class TotalsOut(msgspec.Struct, frozen=True, kw_only=True):
    """Time, price and materials of the whole job."""

    minutes: Minutes
    section_minutes: Annotated[
        float, Meta(description="Sum of the seconds of all steps [min]: the quoted working time.")
    ]
    price: Price | None
    materials: tuple[Material, ...]


class JobAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What ``leastcut job --json`` and ``leastcut demo --json`` print."""

    car: CarOut
    stages: tuple[Stage, ...]
    panels: tuple[PanelOut, ...]
    process: ProcessOut
    sections: tuple[SectionOut, ...]
    totals: TotalsOut
    cautions: tuple[Caution, ...]
    would_help_most: tuple[Help, ...]
    files: tuple[str, ...]
    cuts: tuple[PanelCut, ...] = ()
    proofs: tuple[PanelProof, ...] = ()


def answer(dossier: Dossier, *, painted_area_m2: float, files: tuple[str, ...]) -> JobAnswer:
    """Return the machine interface's document for a dossier and the files written for it."""
    return JobAnswer(
        car=_car(dossier, painted_area_m2),
        stages=dossier.stages,
        panels=_panels(dossier),
        process=_process(dossier),
        sections=_sections(dossier),
        totals=_totals(dossier),
        cautions=dossier.cautions,
        would_help_most=dossier.would_help_most,
        files=files,
        cuts=dossier.cuts,
        proofs=dossier.proofs,
    )


def _car(dossier: Dossier, painted_area_m2: float) -> CarOut:
    car = dossier.car
    return CarOut(
        label=car.label,
        body=car.body,
        length_mm=car.length_mm,
        width_mm=car.width_mm,
        height_mm=car.height_mm,
        wheelbase_mm=car.wheelbase_mm,
        painted_area_m2=painted_area_m2,
    )


def _panels(dossier: Dossier) -> tuple[PanelOut, ...]:
    return tuple(
        PanelOut(
            panel=state.panel,
            load_mm_per_cm2=state.load_mm_per_cm2.mean,
            load_low=state.load_mm_per_cm2.low,
            load_high=state.load_mm_per_cm2.high,
            load_assumed=state.load_assumed,
            clear_um=state.film.clear_um,
            budget_um=state.film.budget_um,
            budget_assumed=state.film.assumed,
            reserve_um=state.film.reserve_um,
            finding=state.film.finding,
            notes=state.film.notes,
        )
        for state in dossier.panels
    )


def _process(dossier: Dossier) -> ProcessOut:
    spot = dossier.testspot
    advice: Advice = spot.next
    return ProcessOut(
        do=advice.do,
        process=advice.process,
        sets=advice.sets,
        why=advice.why,
        finish=advice.finish,
        finish_sets=advice.finish_sets,
        affordable=advice.affordable,
        in_use=advice.in_use,
        softness=spot.softness,
        depth_um=spot.depth_um,
        candidates=spot.candidates,
        ladder=dossier.ladder,
    )


def _sections(dossier: Dossier) -> tuple[SectionOut, ...]:
    sizes = {
        (layout.panel, section.id): (section.width_mm, section.height_mm)
        for layout in dossier.layouts
        for section in layout.sections
    }
    return tuple(_section(plan, *sizes[plan.panel, plan.id]) for plan in dossier.plan.sections)


def _section(plan: SectionPlan, width_mm: float, height_mm: float) -> SectionOut:
    return SectionOut(
        panel=plan.panel,
        id=plan.id,
        steps=plan.steps,
        cut_um=CutOut(mean=plan.cut_um.mean, high=plan.cut_um.high),
        clear_after_um=ClearAfterOut(low=plan.clear_after_low_um),
        p_target=plan.p_target,
        width_mm=width_mm,
        height_mm=height_mm,
        note=plan.note,
    )


def _totals(dossier: Dossier) -> TotalsOut:
    plan = dossier.plan
    return TotalsOut(
        minutes=plan.minutes,
        section_minutes=plan.section_minutes,
        price=plan.price,
        materials=plan.materials,
    )
