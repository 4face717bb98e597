"""How is that known? The figures of a panel, each with its evidence and model, in plain words."""

from collections.abc import Sequence

import msgspec

from leastcut.handover.records import PanelState, PhotoFinding
from leastcut.plan.records import SectionPlan
from leastcut.web.pages.choices import worded
from leastcut.web.pages.visit import Look
from leastcut.web.reply import Reader
from leastcut.web.words import mark


class Figure(msgspec.Struct, frozen=True, kw_only=True):
    """One figure: its name, what it says, a line below it, and how it is known."""

    name: str
    says: str
    below: str
    how: tuple[str, ...]


LOAD_MODEL = mark(
    "Scratches are found as lines at several widths and linked; the load is corrected for scratches that the lamp could not light. The interval holds the truth with 95 %."
)
FILM_MODEL = mark(
    "Reading = paint + gauge error. From all layers to the clear coat: the usual thickness of each layer, weighed against the reading. Panels of one car share what is alike in them."
)
BUDGET_MODEL = mark(
    "Budget = lower bound of the clear coat at the thinnest place, less the reserve that must stay. Never below zero."
)
CUT_MODEL = mark(
    "The cut comes from the trials on the test spot: softness of this paint times the strength of the process, each with its spread."
)


def figures_of(found: Look, panel: str, reader: Reader) -> tuple[Figure, ...]:
    """Return what is known of a panel; empty while it is not worked out."""
    state = found.state(panel)
    if state is None or found.dossier is None:
        return ()
    photos = [photo for photo in found.dossier.photos if photo.panel == panel]
    return (
        _load(state, photos, reader),
        _clear(found, state, reader),
        _budget(state, reader),
        *_cut(found, panel, reader),
    )


def _load(state: PanelState, photos: Sequence[PhotoFinding], reader: Reader) -> Figure:
    load = state.load_mm_per_cm2
    good = [photo.finding for photo in photos if photo.finding.refused is None]
    seen = [
        reader.say(
            "{n} scratch in the photo, scale from the {source}, {area} cm² judged.|{n} scratches in the photo, scale from the {source}, {area} cm² judged.",
            n=len(finding.scratches),
            source=reader.told(finding.scale_from or ""),
            area=f"{finding.area_cm2 or 0:.0f}",
        )
        for finding in good
    ]
    if state.load_assumed:
        seen = [
            reader.say(
                "No photo of this panel: taken from the car's other panels, with a wide interval."
            )
        ]
    return Figure(
        name=reader.say("Scratch load"),
        says=f"{load.mean:.0f} mm/cm²",
        below=_between(f"{load.low:.0f}", f"{load.high:.0f}", state.load_assumed, reader),
        how=(*seen, reader.say(LOAD_MODEL)),
    )


def _between(low: str, high: str, assumed: bool, reader: Reader) -> str:  # noqa: FBT001 - a state
    if assumed:
        return reader.say("assumed, {low} to {high}", low=low, high=high)
    return reader.say("{low} to {high}", low=low, high=high)


def _clear(found: Look, state: PanelState, reader: Reader) -> Figure:
    film = state.film
    low, high = (reader.show(v, "micrometer") for v in (film.clear_um.low, film.clear_um.high))
    if film.assumed:
        seen = reader.say("No reading on this panel: what paint of this kind usually has.")
    else:
        seen = reader.say(
            "{n} reading at {spots} places; mean {mean}.|{n} readings at {spots} places; mean {mean}.",
            n=film.n_readings,
            spots=film.n_spots,
            mean=reader.show(film.mean_um or 0.0, "micrometer"),
        )
    gauge = found.dossier.gauge if found.dossier else None
    checked = reader.say(
        "The gauge was checked."
        if gauge and gauge.checked
        else "The gauge was not checked: its error is taken wide."
    )
    return Figure(
        name=reader.say("Clear coat"),
        says=reader.show(film.clear_um.mean, "micrometer"),
        below=_between(low, high, film.assumed, reader),
        how=(
            seen,
            checked,
            reader.say(worded("film.state", film.finding)) + ".",
            reader.say(FILM_MODEL),
        ),
    )


def _budget(state: PanelState, reader: Reader) -> Figure:
    film = state.film
    keep = reader.show(film.reserve_um, "micrometer")
    return Figure(
        name=reader.say("Budget"),
        says=reader.show(film.budget_um, "micrometer"),
        below=reader.say("keeping {reserve}", reserve=keep),
        how=(
            *(reader.told(note) for note in film.notes),
            reader.say(
                "Held with a confidence of {percent} %.", percent=f"{100 * film.confidence:.0f}"
            ),
            reader.say(BUDGET_MODEL),
        ),
    )


def _cut(found: Look, panel: str, reader: Reader) -> tuple[Figure, ...]:
    worked = [plan for plan in found.sections if plan.panel == panel and plan.steps]
    if not worked:
        return ()
    most = max(worked, key=lambda plan: plan.cut_um.mean)
    return (cut_figure(most, found, reader),)


def cut_figure(plan: SectionPlan, found: Look, reader: Reader) -> Figure:
    """Return the planned cut of a section with how it is known."""
    trials = len(found.dossier.trials) if found.dossier else 0
    return Figure(
        name=reader.say("Planned cut"),
        says=reader.show(plan.cut_um.mean, "micrometer"),
        below=reader.say(
            "at most {high}, leaving {left}",
            high=reader.show(plan.cut_um.high, "micrometer"),
            left=reader.show(plan.clear_after_low_um, "micrometer"),
        ),
        how=(
            reader.say(
                "{n} trial on the test spot of this car.|{n} trials on the test spot of this car.",
                n=trials,
            ),
            reader.say(CUT_MODEL),
        ),
    )
