"""Once work has begun the test spot has nothing left to ask: it says what is being used, and why."""

from collections import Counter
from collections.abc import Mapping, Sequence
from statistics import median_high

import msgspec

from leastcut.testspot.ladder import ordered
from leastcut.testspot.records import Advice, Process, TestSpot, Trial

Done = Mapping[tuple[str, str], Mapping[str, int]]


def in_use(
    spot: TestSpot,
    done: Done,
    *,
    planned: int,
    ladder: Sequence[Process],
    trials: Sequence[Trial],
) -> TestSpot:
    """Return the test spot's answer once sets were done on the car.

    Parameters
    ----------
    spot : TestSpot
        What the trials say.
    done : mapping
        Sets done by process, of every section (panel, section) that was worked.
    planned : int
        Sections that the plan works.
    ladder : sequence of Process
        The processes at hand.
    trials : sequence of Trial
        What was tried.

    Returns
    -------
    TestSpot
        The same where no set of a process at hand was done.
    """
    strength = {process.label: k for k, process in enumerate(ordered(ladder))}
    worked = [
        {process: n for process, n in sets.items() if n > 0 and process in strength}
        for sets in done.values()
    ]
    mains = Counter(max(sets, key=strength.__getitem__) for sets in worked if sets)
    if not mains:
        return spot
    main, sections = max(mains.items(), key=lambda item: (item[1], strength[item[0]]))
    own = [sets for sets in worked if sets and max(sets, key=strength.__getitem__) == main]
    sets = median_high([one[main] for one in own])
    finish, finish_sets = _finish(own, main)
    then = f", then {finish} × {finish_sets}" if finish else ""
    advice = Advice(
        do="use",
        process=main,
        sets=sets,
        finish=finish,
        finish_sets=finish_sets,
        in_use=True,
        why=f"In use: {main} × {sets}{then} on {sections} of {max(planned, sections)} sections so"
        f" far. {_basis(spot, main, sets, trials)}",
    )
    return msgspec.structs.replace(spot, next=advice, notes=(*spot.notes, *_other(spot, main)))


def _finish(own: Sequence[Mapping[str, int]], main: str) -> tuple[str | None, int]:
    """Return the finishing step that most of these sections got, if most got one."""
    after = Counter(process for one in own for process in one if process != main)
    process, count = after.most_common(1)[0] if after else (None, 0)
    if process is None or 2 * count <= len(own):
        return None, 0
    return process, median_high([one[process] for one in own if process in one])


def _basis(spot: TestSpot, process: str, sets: int, trials: Sequence[Trial]) -> str:
    tried = any(trial.process == process for trial in trials)
    how = "It was tried on the test spot" if tried else "It was never tried on the test spot"
    found = next((c for c in spot.candidates if (c.process, c.sets) == (process, sets)), None)
    # No chance is told here: that of the spot's own scratches is not that of lighter sections.
    cut = "" if found is None else f": {found.cut_um.mean:.1f} µm of cut expected"
    return f"{how}{cut}. Each section's chance stands in the plan."


def _other(spot: TestSpot, process: str) -> tuple[str, ...]:
    """Say so where the trials have proven something else than what is in use."""
    said = spot.next
    if said.do != "use" or said.process == process:
        return ()
    return (f"the trials point to {said.process} × {said.sets}, and something else is in use",)
