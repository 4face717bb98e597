"""Look at photos: decode, measure, forget, so that memory holds a photo or two.

What a look finds depends on the photos' content, the scale and the analysis alone, so a finding
may be kept under :func:`key` and taken again.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import msgspec

from leastcut.car.records import Interval
from leastcut.errors import InputError, Problem
from leastcut.inspect.records import CompareFinding, ScratchFinding
from leastcut.shop.jobschema import JobFile, TrialTable
from leastcut.testspot.records import Measured, Trial

# Raise it when the same photo gives another finding: kept findings of the old one are left alone.
ANALYSIS = 2


class Look(msgspec.Struct, frozen=True, kw_only=True):
    """One look at one or two photos.

    Attributes
    ----------
    kind : {"photo", "trial", "proof"}
        The scratches in one photo; one place before and after; the same with the scratches of both.
    number : int
        Which of the job file's tables of that name asks for it, from 0.
    files : tuple of str
        The photo, or the photos before and after.
    """

    kind: Literal["photo", "trial", "proof"]
    number: int
    files: tuple[str, ...]
    square_mm: float | None = None
    um_per_px: float | None = None


class Seen(msgspec.Struct, frozen=True, kw_only=True):
    """What a look found; ``error`` instead where a photo cannot be decoded."""

    found: tuple[ScratchFinding, ...] = ()
    compared: CompareFinding | None = None
    error: Problem | None = None


@dataclass(frozen=True, kw_only=True)
class Sight:
    """What a look found, with names of the pictures made of it, and the pictures where at hand."""

    seen: Seen
    names: tuple[str, ...] = ()
    pictures: tuple[bytes, ...] = ()


def looks(job: JobFile) -> Iterator[Look]:
    """Yield every look that a job file asks for, in its order."""
    for number, photo in enumerate(job.photo):
        yield Look(
            kind="photo",
            number=number,
            files=(photo.file,),
            square_mm=_plain(photo.square_mm),
            um_per_px=_plain(photo.um_per_px),
        )
    for number, trial in enumerate(job.trial):
        if trial.before is not None and trial.after is not None:
            yield Look(
                kind="trial",
                number=number,
                files=(trial.before, trial.after),
                square_mm=_plain(trial.square_mm),
                um_per_px=_plain(trial.um_per_px),
            )
    for number, proof in enumerate(job.proof):
        yield Look(
            kind="proof",
            number=number,
            files=(proof.before, proof.after),
            square_mm=_plain(proof.square_mm),
            um_per_px=_plain(proof.um_per_px),
        )


def _plain(value: float | None) -> float | None:
    return None if value is None else float(value)


def key(look: Look) -> str:
    """Return what a finding may be kept under when files go by the digest of their content."""
    asked = (ANALYSIS, look.kind, look.files, look.square_mm, look.um_per_px)
    return hashlib.sha256(msgspec.json.encode(asked)).hexdigest()


def see(look: Look, *contents: bytes) -> tuple[Seen, tuple[bytes, ...]]:
    """Decode the photos of a look and measure them.

    Parameters
    ----------
    look : Look
        What is asked.
    *contents : bytes
        The photo files' contents, one for each of ``look.files``.

    Returns
    -------
    seen : Seen
        What was found.
    pictures : tuple of bytes
        JPEG without metadata: the overlay of a photo, both photos of a proof, none of a trial.
    """
    from leastcut.inspect import compare, pictures, scratches
    from leastcut.shop import photos
    from leastcut.shop.pictures import encode_jpeg

    um, square = look.um_per_px, look.square_mm
    try:
        light = [
            photos.decode(content, name).linear
            for content, name in zip(contents, look.files, strict=True)
        ]
    except InputError as error:
        return Seen(error=error.problem()), ()
    found = (
        ()
        if look.kind == "trial"
        else tuple(scratches.find(one, um_per_px=um, square_mm=square) for one in light)
    )
    if look.kind == "photo":
        return Seen(found=found), (encode_jpeg(pictures.overlay(light[0], found[0])),)
    change = compare.compare(light[0], light[1], um_per_px=um, square_mm=square)
    shown = () if look.kind == "trial" else tuple(encode_jpeg(pictures.encode(x)) for x in light)
    return Seen(found=found, compared=change), shown


def trial_of(table: TrialTable, change: CompareFinding | None) -> Trial:
    """Put together what one trial showed."""
    removed: Interval | None = None
    if change is not None and change.removed_fraction is not None:
        assert change.removed_low is not None
        assert change.removed_high is not None
        removed = Interval(
            mean=change.removed_fraction, low=change.removed_low, high=change.removed_high
        )
    return Trial(
        process=table.process,
        sets=table.sets,
        removed=removed,
        cut_um=gauge_drop(table.gauge_before_um, table.gauge_after_um),
        verdict=table.verdict,
        panel=table.panel,
        spot=table.spot,
        since=table.since,
        before_load_mm_per_cm2=change.before_load_mm_per_cm2 if change else None,
        after_load_mm_per_cm2=change.after_load_mm_per_cm2 if change else None,
    )


def gauge_drop(before_um: Sequence[float], after_um: Sequence[float]) -> Measured | None:
    """Return the drop of the mean reading with its standard uncertainty, from at least 2 + 2.

    The uncertainty of a difference of two means; the gauge's bias cancels in it (JCGM 100, 4.2).

    Examples
    --------
    >>> gauge_drop((120.0, 121.0), (119.0, 120.0)).value
    1.0
    """
    import numpy as np

    if len(before_um) < 2 or len(after_um) < 2:
        return None
    before, after = np.asarray(before_um, float), np.asarray(after_um, float)
    # A display that shows the same number again still rounds: at least 1 % of the film apart.
    floor = 0.01 * float(before.mean())
    sd = [max(float(x.std(ddof=1)), floor) / len(x) ** 0.5 for x in (before, after)]
    return Measured(value=float(before.mean() - after.mean()), sd=float(np.hypot(*sd)))
