"""Settle a visit: from its facts and what was found in its photos to the stored dossier."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import msgspec
import numpy as np

from leastcut.errors import InputError, Problem
from leastcut.handover.records import Dossier
from leastcut.job.decide import decide
from leastcut.job.evidence import Evidence
from leastcut.job.gather import Gathering, Look1
from leastcut.job.look import Look, Seen, Sight, key, looks
from leastcut.job.sources import InShop
from leastcut.job.weigh import sections_drawn_for
from leastcut.plan.learn import Learnt, Timed, learn
from leastcut.shop.jobplace import ProtectTable, RoomTable
from leastcut.work import runs

# One seed for the Monte Carlo: the same evidence gives the same quote.
SEED = 20

# Tables that a decision can do without, with what stands there instead.
_SPARE: dict[str, object] = {"prices": None, "room": RoomTable(), "protect": ProtectTable()}


def needed(source: InShop) -> tuple[Look, ...]:
    """Return the looks that a visit asks for, less those that lead nowhere."""
    return tuple(looks(Gathering(source).job))


def picture_key(look: Look, number: int) -> str:
    """Return under what the shop keeps a picture made by a look."""
    return f"{key(look)}-{number}"


def settle(
    source: InShop, seen: dict[Look1, Seen], timed: Sequence[Timed] = ()
) -> tuple[bytes, tuple[Timed, ...]]:
    """Decide on a visit.

    Parameters
    ----------
    source : InShop
        The visit.
    seen : dict
        What was found, by kind and number of the look (see :func:`needed`).
    timed : sequence of Timed
        What earlier visits taught about the shop's pace.

    Returns
    -------
    body : bytes
        The dossier as JSON, what could not be used among its problems; see :func:`read`.
    taught : tuple of Timed
        What this visit's run teaches about the pace.
    """
    evidence = evidence_of(source, seen)
    dossier = _decided(evidence, learn(timed) if timed else None)
    problems = (*source.visit.problems, *dossier.problems)
    dossier = msgspec.structs.replace(dossier, problems=problems)
    taught = () if dossier.run is None else runs.timed(dossier.run, source.name)
    return msgspec.json.encode(dossier, enc_hook=float), taught


def evidence_of(source: InShop, seen: Mapping[Look1, Seen]) -> Evidence:
    """Return the evidence of a visit, its sections as they were when the work began.

    Parameters
    ----------
    source : InShop
        The visit.
    seen : mapping
        What was found, by kind and number of the look; what is not there yet is left out.
    """
    gathered = Gathering(source)
    by_key = {
        key(look): seen[look.kind, look.number]
        for look in looks(gathered.job)
        if (look.kind, look.number) in seen
    }
    return _held(source, gathered.evidence(_sights(gathered, by_key)), by_key)


def _sights(gathered: Gathering, by_key: Mapping[str, Seen]) -> dict[Look1, Sight]:
    return {
        (look.kind, look.number): Sight(
            seen=by_key[key(look)], names=(picture_key(look, 0), picture_key(look, 1))
        )
        for look in looks(gathered.job)
        if key(look) in by_key
    }


def _held(source: InShop, evidence: Evidence, by_key: Mapping[str, Seen]) -> Evidence:
    """Keep the sections as they were when the work began: its record goes by their numbers."""
    if source.before is None or source.before.job is None or evidence.job.sections_for:
        return evidence
    then = Gathering(replace(source, visit=source.before, before=None))
    early = then.evidence(_sights(then, by_key))
    label = sections_drawn_for(early)
    if label not in {process.label for process in evidence.ladder}:
        return evidence
    return replace(evidence, job=msgspec.structs.replace(evidence.job, sections_for=label))


def read(body: bytes) -> Dossier:
    """Return the dossier that :func:`settle` made."""
    return msgspec.json.decode(body, type=Dossier)


def _decided(evidence: Evidence, learnt: Learnt | None) -> Dossier:
    """Decide; a table whose facts cannot be is told and left out until the rest can."""
    job, problems = evidence.job, list(evidence.problems)
    for name in (None, *_SPARE):
        if name is not None:
            job = msgspec.structs.replace(job, **{name: _SPARE[name]})
        try:
            rng = np.random.default_rng(SEED)
            dossier = decide(replace(evidence, job=job), rng=rng, learnt=learnt)
        except InputError as error:
            fault = error
        else:
            return msgspec.structs.replace(dossier, problems=tuple(problems))
        if name is None:
            problems.append(Problem(where=fault.where, what=fault.what, do=fault.do))
    raise fault
