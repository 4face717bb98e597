"""Evidence of one job: everything read, nothing decided."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from leastcut.car.records import Car
from leastcut.errors import Problem
from leastcut.handover.records import PhotoFinding
from leastcut.inspect.records import (
    CompareFinding,
    EarlierCut,
    GaugeCheck,
    Reading,
    ScratchFinding,
)
from leastcut.shop.jobschema import JobFile
from leastcut.testspot.records import Process, Trial
from leastcut.work.runs import Event


@dataclass(frozen=True, kw_only=True)
class ProofSight:
    """One place before and after the work, and what was found in the two photos.

    ``photo_before`` and ``photo_after`` name pictures made of them; ``section`` may be empty.
    """

    panel: str
    section: str
    compared: CompareFinding
    before: ScratchFinding
    after: ScratchFinding
    photo_before: str
    photo_after: str


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What was gathered for a job.

    Attributes
    ----------
    job : JobFile
        The job file as written, less what could not be used.
    photos : tuple of PhotoFinding
        What was found in each photo, refused ones included.
    readings, readings_after : tuple of Reading
        Before and after the work.
    proofs : tuple of ProofSight
        Places photographed before and after the work.
    events : tuple of Event
        The record of the work.
    pictures : mapping of str to bytes
        Overlays and photos of the proof (JPEG) by the name they are to be written under.
    problems : tuple of Problem
        What could not be used and was left out.
    """

    job: JobFile
    car: Car
    ladder: tuple[Process, ...]
    photos: tuple[PhotoFinding, ...] = ()
    readings: tuple[Reading, ...] = ()
    readings_after: tuple[Reading, ...] = ()
    checks: tuple[GaugeCheck, ...] = ()
    earlier: tuple[EarlierCut, ...] = ()
    trials: tuple[Trial, ...] = ()
    proofs: tuple[ProofSight, ...] = ()
    events: tuple[Event, ...] = ()
    pictures: Mapping[str, bytes] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
