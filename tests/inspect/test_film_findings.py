"""Findings in full: every field and every sentence of a panel, and what measuring it promises."""

import msgspec
import numpy as np
import pytest

from leastcut.car.records import Paint, Panel
from leastcut.inspect import film
from leastcut.inspect.budget import ReserveRule
from leastcut.inspect.film_model import foresee
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import EarlierCut, FilmFinding, GaugeCheck, Layer, Reading
from leastcut.inspect.study import Study, numbers_of, study

GAUGE = calibrate([GaugeCheck(known_um=k, shown_um=k) for k in (0, 0, 0, 125, 125, 250)])
NOT_WORTH = (
    "Not worth the clear coat: clean and protect, leave deep scratches or refer them to a painter."
)
ASSUMED = "The budget is an assumption: measure before you rely on it."
NONE = "No reading on this panel: the clear coat is an assumption from typical paint."


def panel(name: str, *, material: str = "steel", side: float = 1000.0) -> Panel:
    square = ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side))
    return Panel(
        id=name,
        name=name.title(),
        side="centre",
        facing="top",
        outline_mm=square,
        material=material,  # type: ignore[arg-type]
    )


CAR = (panel("roof"), panel("bonnet"), panel("boot"), panel("bumper", material="plastic"))


def spots(name: str, *values: float, layer: Layer = "total", repeats: int = 3) -> list[Reading]:
    return [
        Reading(panel=name, spot=str(i), reading_um=v, layer=layer)
        for i, v in enumerate(values)
        for _ in range(repeats)
    ]


EVEN = (117.0, 118.0, 119.0, 120.0, 121.0)


def known(found: list[Reading], *cuts: EarlierCut, paint: Paint | None = None) -> Study:
    return study(CAR, found, paint=paint or Paint(), gauge=GAUGE, earlier=cuts)


def finding(case: Study, name: str) -> FilmFinding:
    return next(f for f in film.findings_of(case) if f.panel == name)


def test_a_measured_panel_field_by_field() -> None:
    case = known(spots("roof", *EVEN), EarlierCut(panel="roof", cut_um=1.5, sd_um=0.4))
    found = finding(case, "roof")
    shown = case.summaries[0].shown
    assert shown is not None
    mean, low, high, _, thinnest = (float(x) for x in case.numbers[0])
    assert (found.n_spots, found.n_readings, found.layer) == (5, 15, "total")
    assert found.mean_um == pytest.approx(119.0)
    assert found.min_um == pytest.approx(117.0)
    assert found.sd_um == pytest.approx(np.std(np.repeat(EVEN, 3), ddof=1))
    assert found.clear_um == msgspec.structs.replace(found.clear_um, mean=mean, low=low, high=high)
    assert (found.low_um, found.removed_um, found.assumed) == (thinnest, 1.5, False)
    assert (found.finding, found.flags, found.notes) == ("factory", (), ())
    assert (found.reserve_um, found.confidence) == (25.4, 0.99)
    # 0.3 mil less what was cut before; clear above 1.4 mil; the thinnest place above 1 mil
    assert found.budget_um == pytest.approx(min(7.62 - 1.5, mean - 35.56, thinnest - 25.4))
    assert list(found.chances) == ["factory", "repainted", "filled", "thin"]
    assert list(found.chances.values()) == case.belief.weight[0].tolist()


def test_a_panel_without_readings_field_by_field() -> None:
    found = finding(known([]), "roof")
    nothing = (found.n_spots, found.n_readings, found.mean_um, found.sd_um, found.min_um)
    assert nothing == (0, 0, None, None, None)
    assert (found.layer, found.finding, found.assumed, found.flags) == (
        None,
        "unmeasured",
        True,
        (),
    )
    assert found.notes == (NONE, ASSUMED)
    bumper = finding(known([]), "bumper")
    assert bumper.finding == "unreadable"
    assert bumper.notes[:2] == (
        "Plastic or composite: magnetic and eddy-current gauges cannot read it; assumed.",
        ASSUMED,
    )


BODY = [r for name in ("bonnet", "boot") for r in spots(name, *EVEN)]


@pytest.mark.parametrize(
    ("film_um", "state", "words"),
    [
        (
            185.0,
            "repainted",
            "Not the film of the rest of the car: repainted. Its clear coat is less certain.",
        ),
        (
            700.0,
            "filled",
            "Far more film than any paint: filler. How much clear coat lies on it is not known.",
        ),
        (
            94.0,
            "thin",
            "Less film than the rest of the car: sanded or polished hard before. Spend no more.",
        ),
        # stripped and sprayed thin: likelier repainted than sanded, told as thin all the same
        (
            40.0,
            "thin",
            "Less film than the rest of the car: sanded or polished hard before. Spend no more.",
        ),
    ],
)
def test_words_of_a_panel_that_stands_out(film_um: float, state: str, words: str) -> None:
    found = finding(known(BODY + spots("roof", *([film_um] * 5))), "roof")
    assert found.finding == state
    assert found.notes[0] == words
    assert (found.notes[-1] == NOT_WORTH) == (found.budget_um == 0.0)


def test_a_thin_spot_in_full() -> None:
    case = known(spots("roof", 118.0, 119.0, 120.0, 119.0, 98.0))
    shown = case.summaries[0].shown
    assert shown is not None
    lacks = shown.deficit_um
    assert lacks > 1.0
    found = finding(case, "roof")
    assert found.notes[-2] == (
        f"One spot lacks {lacks:.0f} µm more than chance explains: the budget takes it that all of "
        "it is missing clear coat."
    )
    assert found.notes[-1] == NOT_WORTH


@pytest.mark.parametrize(
    ("system", "words"),
    [
        (
            "matt",
            (
                "Matt paint: polishing makes it shine in patches, and that cannot be undone. "
                "Do not polish."
            ),
        ),
        (
            "single-stage",
            "Single-stage paint has no clear coat: the colour itself is cut and tints the pad.",
        ),
    ],
)
def test_words_of_paint_systems(system: str, words: str) -> None:
    case = known(spots("roof", *EVEN), paint=Paint(system=system))  # type: ignore[arg-type]
    found = finding(case, "roof")
    assert found.notes == ((words, NOT_WORTH) if system == "matt" else (words,))
    assert finding(case, "boot").notes[:3] == (NONE, ASSUMED, words)
    assert (film.budget_um(case, 0) == 0.0) == (system == "matt")
    assert (film.help_of(case, film.findings_of(case)) == ()) == (system == "matt")


@pytest.mark.parametrize(
    ("side", "spots_read", "repeats", "few"),
    [
        (1000.0, 5, 3, False),  # one area of 10 m² or less: five spots of three
        (1000.0, 4, 4, True),
        (1000.0, 7, 2, True),
        (1000.0, 8, 2, False),
        (4000.0, 9, 4, True),  # 16 m² are two areas: ten spots of three
        (4000.0, 10, 3, False),
    ],
)
def test_few_readings_are_flagged(side: float, spots_read: int, repeats: int, *, few: bool) -> None:
    one = panel("roof", side=side)
    found = spots("roof", *np.linspace(117, 121, spots_read).tolist(), repeats=repeats)
    (told,) = film.assess([one], found, paint=Paint(), gauge=GAUGE)
    assert told.flags == (("few-readings",) if few else ())
    unchecked = calibrate([])
    (told,) = film.assess([one], found, paint=Paint(), gauge=unchecked)
    assert told.flags == (("gauge-doubtful", "few-readings") if few else ("gauge-doubtful",))
    assert told.notes[-1] == unchecked.notes[0]


def test_area_by_hand() -> None:
    corners = ((0.0, 0.0), (2000.0, 0.0), (2000.0, 1000.0), (0.0, 500.0))
    one = msgspec.structs.replace(panel("roof"), outline_mm=corners)
    assert film._area_m2(one) == pytest.approx(1.5)
    turned = msgspec.structs.replace(one, outline_mm=corners[::-1])
    assert film._area_m2(turned) == pytest.approx(1.5)


def test_what_measuring_promises_by_a_plain_sum() -> None:
    case = known(spots("roof", *EVEN), EarlierCut(panel="boot", cut_um=1.0, sd_um=0.3))
    findings = film.findings_of(case)
    helps = {h.panel: h for h in film.help_of(case, findings)}
    assert set(helps) == {"bonnet", "boot"}
    assert helps["boot"].what == "measure Boot at 5 spots, three readings each"
    for i, name in ((1, "bonnet"), (2, "boot")):
        promised = foreseen(case, i) - findings[i].budget_um
        assert helps[name].gain_um == pytest.approx(promised, abs=0.02)
    gains = [h.gain_um for h in film.help_of(case, findings)]
    assert gains == sorted(gains, reverse=True)
    again = film.would_help(
        findings,
        CAR,
        readings=spots("roof", *EVEN),
        paint=Paint(),
        gauge=GAUGE,
        earlier=[EarlierCut(panel="boot", cut_um=1.0, sd_um=0.3)],
    )
    assert again == film.help_of(case, findings)


def foreseen(case: Study, i: int) -> float:
    """Mean of the budget over an even, fine sweep of what five spots of three could show."""
    nodes = case.belief.nodes
    own = type(nodes)(**(vars(nodes) | {"log_weight": nodes.log_weight[i]}))
    shown = np.concatenate([np.linspace(5.0, 260.0, 1021), np.geomspace(260.5, 20_000.0, 600)])
    ev, n = case.evidence, len(shown)
    var = case.prior.total_place_var / 5 + GAUGE.repeat_um**2 / 15 + GAUGE.panel_um**2  # type: ignore[operator]
    rows = {k: np.repeat(getattr(ev, k)[[i]], n, axis=0) for k in vars(ev)}
    rows |= {"total": shown, "total_var": np.full(n, var)}
    rows["chances"] = np.repeat(case.belief.chances[[i]], n, axis=0)
    after = foresee(type(ev)(**rows), case.prior, own)
    numbers, rule = numbers_of(after, case.prior, case.rule, worn=True), ReserveRule()
    removed = float(case.removed_um[i])
    budgets = np.clip(
        np.minimum.reduce(
            [
                np.full(n, rule.once_um - removed),
                numbers[:, 0] - rule.aim_um,
                numbers[:, 4] - rule.floor_um,
            ]
        ),
        0.0,
        None,
    )
    density = np.exp(after.density)
    return float(np.trapezoid(density * budgets, shown) / np.trapezoid(density, shown))


def test_a_stripped_panel_lies_far_below_its_car() -> None:
    level = known(BODY).numbers  # the car is read: its level is known to a few µm
    assert level.shape == (4, 5)
    for below, far in ((20.0, False), (30.0, True)):
        case = known(BODY + spots("roof", *([119.0 - below] * 5)))
        nodes = case.belief.nodes
        mean = float(np.exp(nodes.log_weight[0]) @ nodes.total)
        assert film._far_below_the_car(case, 0) == far == (case.evidence.total[0] < mean - 25.0)
