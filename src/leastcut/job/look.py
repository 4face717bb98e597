"""Look at photos: decode, measure, forget, so that memory holds a photo or two a look.

What a look finds depends on the photos' content, the scale and the analysis alone, so a finding
may be kept under :func:`key` and taken again.
"""

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

import msgspec

from leastcut.car.records import Interval
from leastcut.errors import InputError, Problem, Refusal
from leastcut.inspect.records import CompareFinding, ScratchFinding
from leastcut.shop.jobschema import JobFile, TrialTable
from leastcut.testspot.records import Measured, Trial

if TYPE_CHECKING:
    from leastcut.inspect.arrays import F32
    from leastcut.inspect.scratches import Evidence as Measure

Photo = tuple[str, float | None, float | None]  # its file, and the scale it is measured by

# Raise it when the same photo gives another finding: kept findings of the old one are left alone.
ANALYSIS = 3


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


def groups(asked: Sequence[Look]) -> list[list[Look]]:
    """Put the photos of a panel with the pairs that show them too at the same scale.

    Parameters
    ----------
    asked : sequence of Look
        What is asked.

    Returns
    -------
    list of list of Look
        For :func:`see_together`; those with the most photos first, which take longest.

    Examples
    --------
    >>> one = Look(kind="photo", number=0, files=("a.jpg",), square_mm=60.0)
    >>> pair = Look(kind="proof", number=0, files=("a.jpg", "b.jpg"), square_mm=60.0)
    >>> other = Look(kind="photo", number=1, files=("c.jpg",), square_mm=60.0)
    >>> [[look.files for look in group] for group in groups([other, one, pair])]
    [[('a.jpg', 'b.jpg'), ('a.jpg',)], [('c.jpg',)]]
    """
    made = [[look] for look in asked if len(look.files) > 1]
    home = {photo: group for group in reversed(made) for photo in _photos(group[0])}
    for look in asked:
        if len(look.files) == 1:
            (photo,) = _photos(look)
            if photo not in home:
                home[photo] = []
                made.append(home[photo])
            home[photo].append(look)
    return sorted(made, key=lambda group: (-len(group[0].files), -len(group)))


def _photos(look: Look) -> list[Photo]:
    return [(file, look.square_mm, look.um_per_px) for file in look.files]


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
    return see_together([look], dict(zip(look.files, contents, strict=True)))[0]


def see_together(
    asked: Sequence[Look], contents: Mapping[str, bytes]
) -> list[tuple[Seen, tuple[bytes, ...]]]:
    """Look as :func:`see` does, with each photo decoded and measured once for all that ask for it.

    Parameters
    ----------
    asked : sequence of Look
        What is asked; the photos of all are held at once.
    contents : mapping
        The photo files' contents by the names in ``files``.

    Returns
    -------
    list
        What :func:`see` returns, for each.
    """
    from leastcut.inspect import scratches
    from leastcut.shop import photos

    @cache
    def light(name: str) -> "F32":
        return photos.decode(contents[name], name).linear

    @cache
    def measured(photo: Photo) -> "Measure | Refusal":
        name, square_mm, um_per_px = photo
        return scratches.gather(light(name), um_per_px=um_per_px, square_mm=square_mm)

    @cache
    def found(photo: Photo) -> ScratchFinding:
        known = measured(photo)
        return scratches.refusal(known) if isinstance(known, Refusal) else scratches.conclude(known)

    def one(look: Look) -> tuple[Seen, tuple[bytes, ...]]:
        try:
            plain = [light(name) for name in look.files]
        except InputError as error:
            return Seen(error=error.problem()), ()
        photo = _photos(look)
        if look.kind == "trial":
            return Seen(compared=_compared(map(measured, photo))), ()
        seen = tuple(map(found, photo))
        if look.kind == "photo":
            return Seen(found=seen), (_overlay(plain[0], seen[0]),)
        change = _compared(map(measured, photo))
        return Seen(found=seen, compared=change), tuple(map(_picture, plain))

    return [one(look) for look in asked]


def _compared(known: "Iterable[Measure | Refusal]") -> CompareFinding:
    from leastcut.inspect import compare

    before, after = known
    return compare.measured(before, after)[0]


def _overlay(light: "F32", found: ScratchFinding) -> bytes:
    from leastcut.inspect import pictures
    from leastcut.shop.pictures import encode_jpeg

    return encode_jpeg(pictures.overlay(light, found))


def _picture(light: "F32") -> bytes:
    from leastcut.inspect import pictures
    from leastcut.shop.pictures import encode_jpeg

    return encode_jpeg(pictures.encode(light))


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
