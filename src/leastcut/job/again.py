"""A car that comes again: what stays true of it, and what earlier visits took off its clear coat."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

import msgspec

from leastcut.handover.records import PanelCut
from leastcut.job.settle import read
from leastcut.job.visit import Visit, fold
from leastcut.plan.learn import Timed
from leastcut.shop.facts import NewFact
from leastcut.shop.rows import VisitRow
from leastcut.shop.store import Shop

# Fields and lists that hold from visit to visit; what was found and done does not.
STAYS = ("car.", "people.client", "people.shop", "units", "room.", "prices.", "target.")
KEPT_LISTS = ("panel", "process", "film.earlier")


def facts_again(shop: Shop, car: int) -> tuple[NewFact, ...]:
    """Return what a new visit of a car begins with.

    The newest visit's standing facts are taken over; its recorded cuts, measured or estimated, join
    those of its own past, so that today's budgets know all of them.

    Parameters
    ----------
    shop : Shop
        Where the earlier visits are.
    car : int
        The car; one without a visit gives nothing.
    """
    rows = sorted(shop.visits(car), key=lambda row: row.visit)
    if not rows:
        return ()
    last, stored = rows[-1], shop.dossier(rows[-1].visit)
    known = fold(shop.facts(last.visit))
    cuts = () if stored is None else read(stored[1]).cuts
    made = [*_standing(known), *_earlier(cuts, _when(last, known))]
    return tuple(
        msgspec.structs.replace(fact, key=f"again-{last.visit}-{number}")
        for number, fact in enumerate(made)
    )


def _standing(known: Visit) -> Iterator[NewFact]:
    for name, value in known.values.items():
        if name.startswith(STAYS):
            yield NewFact(key="", kind="set", field=name, body=value)
    for name in KEPT_LISTS:
        for item in known.items.get(name, {}).values():
            yield NewFact(key="", kind="add", field=name, body=item)


def _earlier(cuts: Sequence[PanelCut], when: str) -> Iterator[NewFact]:
    for cut in cuts:
        body = {
            "panel": cut.panel,
            "cut": f"{max(cut.cut_um.mean, 0.0):.2f} µm",
            "sd": f"{max(cut.sd_um, 0.01):.2f} µm",
            "when": when,
        }
        yield NewFact(key="", kind="add", field="film.earlier", body=body)


def _when(row: VisitRow, known: Visit) -> str:
    """Return the date that a visit bears, else the day it was opened."""
    date = known.values.get("people.date")
    opened = datetime.fromtimestamp(row.opened_s, UTC).date().isoformat()
    return date if isinstance(date, str) and date else opened


def pace_key(visit: int) -> str:
    """Return under what the shop keeps what a visit taught about its pace."""
    return f"pace-{visit}"


def timed_of(shop: Shop, *, besides: int) -> tuple[Timed, ...]:
    """Return what the newest visits of the newest cars taught about the shop's pace.

    Parameters
    ----------
    shop : Shop
        Where they are kept.
    besides : int
        A visit to leave out: none is planned by its own record.
    """
    visits = [row.visit for row in shop.cars().rows if row.visit not in {None, besides}]
    bodies = [shop.finding(pace_key(visit)) for visit in visits if visit is not None]
    return tuple(
        one
        for body in bodies
        if body is not None
        for one in msgspec.json.decode(body, type=tuple[Timed, ...])
    )
