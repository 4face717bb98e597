"""One visit as a page sees it: the facts folded, and the dossier that was last worked out."""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import msgspec
from starlette.exceptions import HTTPException
from starlette.requests import Request

from leastcut.car.records import Car, Panel
from leastcut.errors import InputError
from leastcut.handover.records import Dossier, PanelState, Stage
from leastcut.job.carfrom import car_of
from leastcut.job.reader import for_reader
from leastcut.job.settle import read
from leastcut.job.visit import Visit, fold
from leastcut.plan.records import SectionPlan
from leastcut.shop.facts import Fact
from leastcut.shop.jobschema import JobFile
from leastcut.web.reply import reader_of
from leastcut.work import runs

# A larger number is no visit's: the record could not hold it.
MOST_VISITS = 2**31


@dataclass(frozen=True, kw_only=True)
class Look:
    """What is known of a visit when a page is asked for.

    Attributes
    ----------
    visit, car_row : int
        Numbers of the visit and of its car in the shop.
    label : str
        What the car is called.
    head : int
        The newest fact.
    known_head : int
        The newest fact that the dossier knows.
    facts : tuple of Fact
        All of them.
    now : Visit
        The facts folded.
    dossier : Dossier or None
        The newest that was worked out, in the reader's units; None while the first is on its way.
    stale : bool
        Facts have come since the dossier was worked out.
    doing : str
        What is being worked out now, in a few words.
    """

    visit: int
    car_row: int
    label: str
    head: int
    known_head: int
    facts: tuple[Fact, ...]
    now: Visit
    dossier: Dossier | None
    stale: bool
    doing: str = ""
    done: int = 0
    total: int = 0

    @property
    def job(self) -> JobFile | None:
        """The job as a record; None until the car has a label and a body."""
        return self.now.job

    @cached_property
    def car(self) -> Car | None:
        """The car with its panels, drawn from what is known now."""
        if self.dossier is not None and not self.stale:
            return self.dossier.car
        return None if self.job is None else drawn_car(self.job)

    @property
    def panels(self) -> tuple[Panel, ...]:
        """The car's panels in the order of work."""
        return self.car.panels if self.car else ()

    def panel(self, panel_id: str) -> Panel:
        """Return one panel.

        Raises
        ------
        HTTPException
            If the car has no such panel.
        """
        for panel in self.panels:
            if panel.id == panel_id:
                return panel
        raise HTTPException(404, "no such panel on this car")

    def state(self, panel_id: str) -> PanelState | None:
        """Return what is known of a panel, once it has been worked out."""
        states = self.dossier.panels if self.dossier else ()
        return next((state for state in states if state.panel == panel_id), None)

    def stage(self, name: str) -> Stage | None:
        """Return how a stage stands, once it has been worked out."""
        stages = self.dossier.stages if self.dossier else ()
        return next((stage for stage in stages if stage.stage == name), None)

    @property
    def sections(self) -> tuple[SectionPlan, ...]:
        """The planned sections in the order of work."""
        return self.dossier.plan.sections if self.dossier else ()

    @cached_property
    def run(self) -> runs.RunState:
        """Where the work stands."""
        return runs.fold(self.now.events, self.sections)

    def items(self, name: str) -> dict[str, dict[str, Any]]:
        """Return the items of a list by key."""
        return dict(self.now.items.get(name, {}))


@lru_cache(24)
def _dossier(body: bytes, units: Any) -> Dossier:
    """Return a stored dossier in a reader's units; the last few are kept, they are large."""
    dossier = read(body)
    if dossier.units != units:
        dossier = msgspec.structs.replace(dossier, units=units)
    return for_reader(dossier, units)


@lru_cache(256)
def _car(described: bytes) -> Car | None:
    job = msgspec.convert(msgspec.json.decode(described), JobFile, dec_hook=_as_is)
    try:
        return car_of(job, {})
    except InputError:
        return None


def _as_is(kind: type, value: object) -> object:
    return kind(value)


def drawn_car(job: JobFile) -> Car | None:
    """Return the car that a job describes, None where its measures make no car; kept for reuse."""
    bare = JobFile(format=1, car=job.car, panel=job.panel)
    return _car(msgspec.json.encode(bare, enc_hook=_plain, order="sorted"))


def _plain(value: object) -> object:
    return str(value)


def look(request: Request) -> Look:
    """Return the visit that a request's path names."""
    return look_at(request, int(request.path_params["visit"]))


def look_at(request: Request, visit: int) -> Look:
    """Return a visit as its pages see it.

    Raises
    ------
    HTTPException
        If there is no such visit.
    """
    state = request.app.state
    row = state.shop.visit(visit) if visit < MOST_VISITS else None
    if row is None:
        raise HTTPException(404, "no such visit")
    facts = state.shop.facts(visit)
    now = fold(facts)
    head = max((fact.id for fact in facts), default=0)
    stored = state.shop.dossier(visit)
    units = reader_of(request).units
    dossier = None if stored is None else _dossier(stored[1], units)
    stale = stored is None or stored[0] < head
    doing, done, total = "", 0, 0
    if stale and now.job is not None:
        state.analyst.poke(visit)
        progress = state.analyst.progress(visit)
        doing, done, total = progress.doing, progress.done, progress.total
    return Look(
        visit=visit,
        car_row=row.car,
        label=now.values.get("car.label") or row.label,
        head=head,
        known_head=0 if stored is None else stored[0],
        facts=tuple(facts),
        now=now,
        dossier=dossier,
        stale=stale,
        doing=doing,
        done=done,
        total=total,
    )


def values_for(found: Look, **more: object) -> dict[str, Any]:
    """Return what every page of a visit hands to its template, and what this one adds."""
    return {
        "visit": found.visit,
        "car_label": found.label,
        "look": found,
        "known": found.now.values,
        "title": found.label,
        **more,
    }
