"""A whole job with plausible numbers, made without any of the stages' code."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from handover_panels import SHAPES, layout_of, panel_of, state_of

from leastcut.car.records import Car, Interval, Paint
from leastcut.handover.records import Dossier, Help, People, PhotoFinding, Stage
from leastcut.inspect.records import (
    Direction,
    Gauge,
    LoadByKind,
    ScratchFinding,
    WashCheck,
)
from leastcut.plan.records import (
    Material,
    Minutes,
    Operation,
    Plan,
    Price,
    PriceLine,
    SectionPlan,
    Step,
)
from leastcut.protect.records import Window
from leastcut.safety.records import Caution
from leastcut.testspot.records import (
    Advice,
    Candidate,
    DepthKnowledge,
    Measured,
    Process,
    TestSpot,
    Trial,
)

NOW = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)

# id, name, side, facing, material, outline, keep-outs, body lines, height, load, clear, finding
FOAM = Process(label="White foam, fine", pad="foam-finishing", liquid="finishing", force_n=40)
MEDIUM = Process(label="Orange foam, one-step", pad="foam-polishing", liquid="medium")
STRONG = Process(
    label="Microfibre, heavy", pad="microfibre", liquid="heavy", force_n=55, spin_rpm=0, max_sets=3
)


def _steps(load: Any, budget: Any, index: Any) -> Any:
    if budget < 0.4:
        return ()
    if budget < 2:
        return (Step(process=FOAM.label, sets=2, seconds=150 + 7 * index),)
    first = Step(process=MEDIUM.label, sets=2 if load < 20 else 3, seconds=205 + 11 * index)
    return (first, Step(process=FOAM.label, sets=1, seconds=85))


def _section_plan(section: Any, state: Any, index: Any) -> Any:
    steps = _steps(state.load_mm_per_cm2.mean, state.film.budget_um, index)
    mean = 0.0 + sum(s.sets * (0.55 if s.process == MEDIUM.label else 0.12) for s in steps)
    note = "" if steps else "Leave it: too thin to spend."
    return SectionPlan(
        panel=section.panel,
        id=section.id,
        steps=steps,
        cut_um=Interval(mean=mean, low=0.6 * mean, high=1.6 * mean),
        clear_after_low_um=state.film.clear_um.low - 1.6 * mean,
        p_target=0.94 if len(steps) == 2 else 0.71 if steps else 0.0,
        note=note,
    )


def _trial(process: Any, sets: Any, removed: Any, cut: Any) -> Any:
    return Trial(
        process=process.label,
        sets=sets,
        removed=Interval(mean=removed, low=removed - 0.06, high=min(1, removed + 0.05)),
        cut_um=Measured(value=cut, sd=0.5),
        verdict="clean" if removed > 0.9 else "some-left",
        panel="bonnet",
        before_load_mm_per_cm2=24.0,
        after_load_mm_per_cm2=24.0 * (1 - removed),
    )


def _photo(row: Any) -> Any:
    ident, load = row[0], row[-2]
    return PhotoFinding(
        panel=ident,
        photo=f"{ident}-before.jpg",
        finding=ScratchFinding(
            um_per_px=42.0,
            scale_from="square",
            area_cm2=180.0,
            load_mm_per_cm2=load,
            load_low=load * 0.8,
            load_high=load * 1.3,
            load_seen_mm_per_cm2=load * 0.6,
            by_kind=LoadByKind(swirl=load * 0.75, trail=load * 0.18, deep=load * 0.07),
            haze=0.04,
            direction=Direction(resultant=0.12, degrees=34.0),
            light_px=(800.0, 520.0),
        ),
    )


def _cautions() -> Any:
    texts = (
        ("vibration", "work", "Hand-arm vibration adds up over the day", "Change hands and rest; stop at the action value of the plan, 3 h 40 at this machine's declared figure. Tingling or white fingers: see a doctor.", "Directive 2002/44/EC", None),
        ("cord", "work", "Water and mains power share the bay", "Use a residual-current device and keep the joint off the floor. Local code goes first; a licensed electrician decides.", "IEC 60364-4-41", None),
        ("vapour", "protect", "Solvent vapour when wiping down", "Air the bay and wear gloves; read the product's safety data sheet.", "Regulation (EC) 1907/2006", None),
        ("thin-quarter-left", "plan", "Clear coat is thin here", "Do not machine this panel today; wax hides what stays.", "common practice, no source", "quarter-left"),
        ("edge-bonnet", "work", "Two creases run the length of the bonnet", "Tape them; keep the pad flat and 10 mm away.", "common practice, no source", "bonnet"),
        ("plastic-bumper-front", "work", "Plastic holds heat", "Feel it with the back of the hand every set; move on when it is too warm to keep the hand there.", "common practice, no source", "bumper-front"),
    )  # fmt: skip
    keys = ("id", "stage", "what", "do", "source", "panel")
    return tuple(Caution(**dict(zip(keys, row, strict=True))) for row in texts)


def _materials() -> Any:
    rows = (
        ("Medium liquid", 120, "ml", "14.40", "4 ml a section and set"),
        ("Finishing liquid", 60, "ml", "6.60", "3 ml a section and set"),
        ("Polishing foam pads", 3, "pads", "36.00", "one for every 8 sections"),
        ("Finishing foam pads", 2, "pads", "22.00", "one for every 12 sections"),
        ("Towels", 14, "towels", "8.40", "one for every 3 sections"),
        ("Masking tape", 18, "m", "2.70", "creases, handles and badges"),
    )
    return tuple(
        Material(name=n, amount=a, unit=u, cost=Decimal(c), why=w) for n, a, u, c, w in rows
    )


def _plan(states: Any, layouts: Any) -> Any:
    sections = tuple(
        _section_plan(section, states[layout.panel], index)
        for layout in layouts
        for index, section in enumerate(layout.sections)
    )
    working = sum(step.seconds for s in sections for step in s.steps) / 60
    lines = (("Labour, 6 h", "372.00"), ("Materials", "90.10"))
    return Plan(
        sections=sections,
        operations=tuple(
            Operation(
                stage=stage,
                name=name,
                minutes=Interval(mean=m, low=0.7 * m, high=1.5 * m),
                source="common practice, no source",
            )
            for stage, name, m in (
                ("inspect", "Wash and dry", 55),
                ("inspect", "Clay", 35),
                ("plan", "Tape edges and keep-outs", 30),
                ("work", "Clean pads between sections", 28),
                ("work", "Wipe down and look again", 40),
                ("protect", "Last layer", 45),
            )
        ),
        minutes=Minutes(p50=working + 250, p80=working + 305),
        section_minutes=working,
        materials=_materials(),
        price=Price(
            currency="EUR",
            lines=tuple(PriceLine(what=w, amount=Decimal(a)) for w, a in lines),
            net=Decimal("462.10"),
            tax=Decimal("87.80"),
            total=Decimal("549.90"),
        ),
        proven_gap=0.0,
        notes=("Left rear quarter stays as it is: no budget.",),
    )


def _testspot() -> Any:
    return TestSpot(
        softness=Interval(mean=1.3, low=0.9, high=1.8),
        depth_um=DepthKnowledge(median=0.55, p95=1.6),
        candidates=(
            Candidate(
                process=MEDIUM.label,
                sets=2,
                p_target=0.93,
                cut_um=Interval(mean=1.2, low=0.7, high=1.9),
                p_within_budget=0.97,
            ),
        ),
        next=Advice(
            do="use",
            process=MEDIUM.label,
            sets=2,
            why="Two sets reach the target with 93 % and spend 1.2 µm; one set reaches it with 61 %.",
        ),
        n_trials=2,
    )


def _stages() -> Any:
    return (
        Stage(stage="car", done=True),
        Stage(stage="inspect", done=True, missing=("photo of the sill", "readings on the bumper")),
        Stage(stage="testspot", done=True),
        Stage(stage="plan", done=True),
        Stage(stage="work", done=False, missing=("no work recorded yet",)),
        Stage(stage="protect", done=False),
        Stage(stage="handover", done=False),
    )


def _car() -> Any:
    return Car(
        label="Dark blue three-box, tenth year",
        body="three-box",
        length_mm=4620,
        width_mm=1790,
        height_mm=1440,
        wheelbase_mm=2720,
        panels=tuple(panel_of(row) for row in SHAPES),
        paint=Paint(
            system="clear-over-base", shade="dark", history="factory", label="blue metallic"
        ),
        year=2016,
    )


def build_dossier() -> Any:
    car = _car()
    states = {row[0]: state_of(row) for row in SHAPES}
    layouts = tuple(layout_of(panel) for panel in car.panels)
    return Dossier(
        car=car,
        people=People(client="Odalys Brennwick", shop="Quayside Paintwork", date="2026-03-14"),
        target="daily",
        units="metric",
        wash=WashCheck(washed="washed", feel="smooth", tar_or_iron=False, dry=True),
        photos=tuple(_photo(row) for row in SHAPES[:7]),
        gauge=Gauge(bias_um=0.8, sd_um=1.4, checked=True),
        panels=tuple(states.values()),
        ladder=(FOAM, MEDIUM, STRONG),
        trials=(_trial(FOAM, 2, 0.48, 0.3), _trial(MEDIUM, 2, 0.92, 1.3)),
        testspot=_testspot(),
        layouts=layouts,
        plan=_plan(states, layouts),
        cautions=_cautions(),
        window=Window(dew_point_c=9.3, margin_c=8.7, ok=True, why="The surface is 8.7 °C above the dew point; 3 °C is asked."),
        stages=_stages(),
        would_help_most=(
            Help(evidence="gauge readings", panel="bumper-front", why="The clear coat there is assumed from factory ranges, ±11 µm."),
            Help(evidence="a photo under the lamp", panel="sill-left", why="Its scratch load is assumed from the other panels."),
            Help(evidence="a second test spot on aluminium", panel="bonnet", why="It would narrow the cut per set by about a third."),
        ),
    )  # fmt: skip
