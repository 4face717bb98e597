"""The work on one panel of the invented car: its record, and photos and readings after it.

What is planned is read from the plan, as a person reads it; what really happens is drawn from the
hidden truth.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from leastcut.demo import hidden, render, truth
from leastcut.demo.hidden import Scenario, shown, spot_um, stream
from leastcut.demo.render import Picture
from leastcut.plan.records import SectionPlan
from leastcut.testspot.records import Process
from leastcut.work.runs import Event, PadChanged, PadCleaned, SetDone, Started, Stopped, Wiped

# Seconds between two sections, for wiping one and taping the next; common practice, no source.
BETWEEN_S = 75.0
SETS_PER_PAD = 12  # the same


@dataclass(frozen=True, kw_only=True)
class Afterwards:
    """One panel after its work.

    ``section`` is the one that the photographed place lies in, ``cut_um`` what was really cut
    there; ``mean_cut_um`` over the readings' spots.
    """

    events: tuple[Event, ...]
    after: Picture
    section: str
    cut_um: float
    mean_cut_um: float
    readings: tuple[tuple[str, str, float], ...]


def worked(
    story: Scenario,
    sections: Sequence[SectionPlan],
    ladder: Sequence[Process],
    *,
    spots: int = 5,
    repeats: int = 3,
) -> Afterwards:
    """Work one panel as planned and look again.

    Parameters
    ----------
    story : Scenario
        The hidden truth.
    sections : sequence of SectionPlan
        Of one panel, in the order of work; those without steps are left alone.
    ladder : sequence of Process
        What the steps name.
    spots, repeats : int
        Where and how often the film is read again, as before.
    """
    by_label = {process.label: process for process in ladder}
    todo = [section for section in sections if section.steps]
    taken = {section.id: _taken_um(story, section, by_label) for section in todo}
    first = todo[0]
    last = by_label[first.steps[-1].process]
    panel = first.panel
    place = truth.place(story, panel, "photo")
    after = truth.worked_place(story, panel, "photo", place, last, taken[first.id], 100)
    # The same place as the photo before, held as a hand repeats it.
    chance = stream(story.seed, "proof", panel)
    view = truth.view(story, panel, "photo", shot=101)
    at = [taken[todo[number % len(todo)].id] for number in range(spots)]
    return Afterwards(
        events=tuple(_events(story, todo)),
        after=render.photo(after, view, chance),
        section=first.id,
        cut_um=taken[first.id],
        mean_cut_um=float(np.mean(at)),
        readings=tuple(_readings(story, panel, at, repeats)),
    )


def _taken_um(story: Scenario, section: SectionPlan, ladder: dict[str, Process]) -> float:
    """Return what the planned sets really cut on this section: no arm repeats itself."""
    nominal = sum(s.sets * truth.cut_per_set_um(story, ladder[s.process]) for s in section.steps)
    return float(nominal * stream(story.seed, "arm", section.panel, section.id).lognormal(0.0, 0.1))


def _readings(
    story: Scenario, panel: str, taken: Sequence[float], repeats: int
) -> Iterator[tuple[str, str, float]]:
    for number, cut in enumerate(taken, start=1):
        rng = stream(story.seed, "reading after", panel, number)
        film = spot_um(story, panel, str(number)) - cut
        for reading in shown(story, film, repeats, rng):
            yield panel, str(number), reading


def _events(story: Scenario, sections: Sequence[SectionPlan]) -> Iterator[Event]:
    """Yield the record that the work screen would have made, in seconds since the job began."""
    clock = _Clock(hidden.stream(story.seed, "pace", sections[0].panel))
    used: dict[str, int] = {}
    for section in sections:
        at: dict[str, Any] = {"panel": section.panel, "section": section.id}
        for step in section.steps:
            if used.get(step.process, SETS_PER_PAD) + step.sets > SETS_PER_PAD:
                used[step.process] = 0
                yield PadChanged(**clock.stamp(60.0), process=step.process)
            yield Started(**clock.stamp(10.0), **at, process=step.process)
            used[step.process] += step.sets
            for number in range(step.sets):
                yield SetDone(**clock.worked(step.seconds / step.sets), **at, process=step.process)
                if number % 2:
                    yield PadCleaned(**clock.stamp(0.0), process=step.process)
            yield Stopped(**clock.stamp(2.0))
        yield Wiped(**clock.stamp(40.0), **at)
        clock.now += BETWEEN_S


class _Clock:
    """Tells the time of the job, and makes an id for each stamp."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.now, self.count, self.rng = 0.0, 0, rng

    def stamp(self, seconds: float) -> dict[str, Any]:
        self.now += seconds
        self.count += 1
        return {"id": f"demo-{self.count:03d}", "at_s": round(self.now, 1)}

    def worked(self, planned_s: float) -> dict[str, Any]:
        """Let a planned time pass as it passes in a bay: a little more, never the same."""
        return self.stamp(planned_s * float(self.rng.lognormal(0.08, 0.1)))
