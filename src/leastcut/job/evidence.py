"""Evidence of one job: everything read, nothing decided."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from leastcut.car.records import Car
from leastcut.handover.records import PhotoFinding
from leastcut.inspect.records import EarlierCut, GaugeCheck, Reading
from leastcut.shop.jobschema import JobFile
from leastcut.testspot.records import Process, Trial


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What was gathered for a job.

    Attributes
    ----------
    job : JobFile
        The job file as written.
    photos : tuple of PhotoFinding
        What was found in each photo, refused ones included.
    pictures : mapping of str to bytes
        Overlay pictures (JPEG) by the file name they are to be written under.
    """

    job: JobFile
    car: Car
    ladder: tuple[Process, ...]
    photos: tuple[PhotoFinding, ...] = ()
    readings: tuple[Reading, ...] = ()
    checks: tuple[GaugeCheck, ...] = ()
    earlier: tuple[EarlierCut, ...] = ()
    trials: tuple[Trial, ...] = ()
    pictures: Mapping[str, bytes] = field(default_factory=dict)
