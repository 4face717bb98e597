"""Drawings on the pages: the pattern sheet in the measure chosen, a panel with its sections."""

import hashlib
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import msgspec

from leastcut.car import sheet
from leastcut.car.bodies import DEFAULTS, build
from leastcut.car.ramp import CHALK
from leastcut.car.records import BodyClass, Car, Panel, Polygon
from leastcut.car.units import convert, symbol
from leastcut.web.pages.visit import Look
from leastcut.web.reply import Reader
from leastcut.web.words import mark
from leastcut.work.runs import SectionState

# Upright, so that the whole car stands on a phone without scrolling sideways.
PHONE_MM = (112.0, 100.0)
PHONE_TALL_MM = (112.0, 118.0)
RAMP_STEPS = 6


class Measure(msgspec.Struct, frozen=True, kw_only=True):
    """One number that the pattern sheet can wear."""

    name: str
    what: str
    unit: str | None
    sign: str
    decimals: int
    value: Callable[[Look, str], float | None]


def _load(found: Look, panel: str) -> float | None:
    state = found.state(panel)
    return None if state is None or state.load_assumed else state.load_mm_per_cm2.mean


def _clear(found: Look, panel: str) -> float | None:
    state = found.state(panel)
    return None if state is None or state.film.assumed else state.film.clear_um.low


def _budget(found: Look, panel: str) -> float | None:
    state = found.state(panel)
    return None if state is None else state.film.budget_um


def _cut(found: Look, panel: str) -> float | None:
    plans = [plan for plan in found.sections if plan.panel == panel]
    return max((plan.cut_um.mean for plan in plans if plan.steps), default=0.0) if plans else None


def _done(found: Look, panel: str) -> float | None:
    states = [state for state in found.run.sections if state.panel == panel and state.planned]
    return 100 * sum(map(share_done, states)) / len(states) if states else None


def share_done(state: SectionState) -> float:
    """Return the share of a section's planned sets that are done."""
    wanted = sum(state.planned.values())
    done = sum(min(state.done.get(process, 0), n) for process, n in state.planned.items())
    return done / wanted if wanted else 0.0


MEASURES: Mapping[str, Measure] = {
    "load": Measure(
        name=mark("Scratches"),
        what=mark("Scratch load: length of visible scratch on each square centimetre."),
        unit=None,
        sign="mm/cm²",
        decimals=0,
        value=_load,
    ),
    "clear": Measure(
        name=mark("Clear left"),
        what=mark("Clear coat now, the lower bound: it is at least this with 95 %."),
        unit="micrometer",
        sign="",
        decimals=0,
        value=_clear,
    ),
    "budget": Measure(
        name=mark("Budget"),
        what=mark("Budget: clear coat that may be cut from the panel today."),
        unit="micrometer",
        sign="",
        decimals=1,
        value=_budget,
    ),
    "cut": Measure(
        name=mark("Planned cut"),
        what=mark("Largest cut planned on a section of the panel."),
        unit="micrometer",
        sign="",
        decimals=1,
        value=_cut,
    ),
    "done": Measure(
        name=mark("Done"),
        what=mark("Share of the panel's planned sets that are done."),
        unit=None,
        sign="%",
        decimals=0,
        value=_done,
    ),
}


def sheet_of(shop: Any, found: Look, measure: str, reader: Reader) -> dict[str, Any]:
    """Return the pattern sheet wearing a measure, with what its legend says.

    Parameters
    ----------
    shop : Shop
        Keeps drawings, so that each is made once.
    found : Look
        The visit.
    measure : str
        One of `MEASURES`.
    reader : Reader
        Language and units.
    """
    car, chosen = found.car, MEASURES[measure]
    if car is None:
        return {"svg": "", "legend": None}
    values = {panel.id: _in_units(found, panel.id, chosen, reader) for panel in car.panels}
    unit = symbol(chosen.unit, reader.units) if chosen.unit else chosen.sign
    decimals = chosen.decimals + (reader.units == "us" and chosen.unit is not None)
    links = {panel.id: f"/v/{found.visit}/panel/{panel.id}" for panel in car.panels}
    named = in_language(car, reader)
    numbers = [value for value in values.values() if value is not None]
    low, high = min(numbers, default=0.0), max(numbers, default=0.0)

    def make() -> str:
        return sheet.draw(
            sheet.lay_out(named.panels, page_mm=page_for(named), head_mm=0, foot_mm=0, margin_mm=3),
            named,
            values=values,
            value_name=reader.say(chosen.name),
            value_unit=unit,
            decimals=decimals,
            units=reader.units,
            links=links,
        )

    parts = (msgspec.json.encode(named), repr(values), measure, reader.lang, reader.units, links)
    legend = None
    if numbers:
        legend = {
            "low": f"{low:.{decimals}f}",
            "high": f"{high:.{decimals}f}",
            "unit": unit,
            "colours": CHALK.steps(RAMP_STEPS),
            "unmeasured": any(value is None for value in values.values()),
        }
    return {"svg": kept(shop, "sheet", parts, make), "legend": legend}


def page_for(car: Car) -> tuple[float, float]:
    """Return the paper for a phone: taller for a tall body."""
    return PHONE_TALL_MM if car.body in {"van", "pickup", "suv"} else PHONE_MM


def _in_units(found: Look, panel: str, chosen: Measure, reader: Reader) -> float | None:
    value = chosen.value(found, panel)
    if value is None or chosen.unit is None or reader.units == "metric":
        return value
    return convert(value, chosen.unit, "thou")


def in_language(car: Car, reader: Reader) -> Car:
    """Return the car with its panels' names in the reader's language."""
    if reader.lang == "en":
        return car
    panels = tuple(msgspec.structs.replace(p, name=reader.told(p.name)) for p in car.panels)
    return msgspec.structs.replace(car, panels=panels)


def kept(shop: Any, kind: str, parts: object, make: Callable[[], str]) -> str:
    """Return a drawing that the shop keeps, making it the first time."""
    key = f"{kind}-{hashlib.sha256(repr(parts).encode()).hexdigest()}.svg"
    stored = shop.picture(key)
    if stored is None:
        stored = make().encode()
        shop.put_picture(key, stored)
    return bytes(stored).decode()


def panel_of(
    shop: Any, found: Look, panel: Panel, reader: Reader, *, section: str | None = None
) -> str:
    """Return one panel large with its sections as links; one section alone with its strokes."""
    layout = (
        next((lay for lay in found.dossier.layouts if lay.panel == panel.id), None)
        if found.dossier
        else None
    )
    sections = layout.sections if layout else ()
    chosen = next((s for s in sections if s.id == section), None)
    here = f"/v/{found.visit}/panel/{panel.id}"
    named = msgspec.structs.replace(panel, name=reader.told(panel.name))

    def make() -> str:
        return sheet.draw_panel(
            named,
            sections=[(s.id, s.cell_mm) for s in sections],
            strokes=chosen.strokes_mm if chosen else (),
            taped=panel.body_lines_mm if chosen is None else (),
            links={s.id: f"{here}/{s.id}" for s in sections},
            units=reader.units,
            width_mm=130.0,
        )

    cells: list[tuple[str, Polygon]] = [(s.id, s.cell_mm) for s in sections]
    parts = (msgspec.json.encode(named), cells, section, reader.lang, reader.units, here)
    return kept(shop, "panel", parts, make)


@lru_cache(16)
def silhouette(body: BodyClass) -> str:
    """Return the left side of a typical body of a class as SVG path data, 1000 units long."""
    size = DEFAULTS[body]
    panels = build(
        body,
        length_mm=size.length_mm,
        width_mm=size.width_mm,
        height_mm=size.height_mm,
        wheelbase_mm=size.wheelbase_mm,
    )
    scale = 1000 / size.length_mm
    rings = []
    for panel in panels:
        if panel.side == "left" and panel.place_mm is not None:
            x, y = panel.place_mm
            points = [
                f"{scale * (x + u):.0f} {430 - scale * (y + v):.0f}"
                for u, v in panel.outline_mm[:: max(1, len(panel.outline_mm) // 16)]
            ]
            rings.append("M" + "L".join(points) + "Z")
    return "".join(rings)
