"""Settle a visit: from its facts and what was found in its photos to the stored dossier."""

import msgspec
import numpy as np

from leastcut.errors import InputError, Problem
from leastcut.handover.records import Dossier
from leastcut.job.decide import decide
from leastcut.job.evidence import Evidence
from leastcut.job.gather import Gathering, Look1
from leastcut.job.look import Look, Seen, Sight, key, looks
from leastcut.job.sources import InShop
from leastcut.shop.jobplace import ProtectTable, RoomTable

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


def settle(source: InShop, seen: dict[Look1, Seen]) -> bytes:
    """Decide on a visit.

    Parameters
    ----------
    source : InShop
        The visit.
    seen : dict
        What was found, by kind and number of the look (see :func:`needed`).

    Returns
    -------
    bytes
        The dossier as JSON, what could not be used among its problems; see :func:`read`.
    """
    gathered = Gathering(source)
    sights: dict[Look1, Sight] = {
        (look.kind, look.number): Sight(
            seen=seen[look.kind, look.number], names=(picture_key(look, 0), picture_key(look, 1))
        )
        for look in looks(gathered.job)
        if (look.kind, look.number) in seen
    }
    dossier = _decided(gathered.evidence(sights))
    problems = (*source.visit.problems, *dossier.problems)
    return msgspec.json.encode(msgspec.structs.replace(dossier, problems=problems))


def read(body: bytes) -> Dossier:
    """Return the dossier that :func:`settle` made."""
    return msgspec.json.decode(body, type=Dossier)


def _decided(evidence: Evidence) -> Dossier:
    """Decide; a table whose facts cannot be is told and left out until the rest can."""
    job, problems = evidence.job, list(evidence.problems)
    for name in (None, *_SPARE):
        if name is not None:
            job = msgspec.structs.replace(job, **{name: _SPARE[name]})
        try:
            dossier = decide(_with(evidence, job), rng=np.random.default_rng(SEED))
        except InputError as error:
            fault = error
        else:
            return msgspec.structs.replace(dossier, problems=tuple(problems))
        if name is None:
            problems.append(Problem(where=fault.where, what=fault.what, do=fault.do))
    raise fault


def _with(evidence: Evidence, job: object) -> Evidence:
    from dataclasses import replace

    return replace(evidence, job=job)  # type: ignore[arg-type]
