"""Look at photos: decode one, measure it, forget it, so that memory holds a photo or two."""

from collections.abc import Sequence
from pathlib import Path

from leastcut.car.records import Interval
from leastcut.handover.records import PhotoFinding
from leastcut.inspect import compare, pictures, scratches
from leastcut.inspect.records import CompareFinding
from leastcut.shop import photos
from leastcut.shop.jobschema import PhotoTable, TrialTable
from leastcut.shop.pictures import encode_jpeg
from leastcut.testspot.records import Measured, Trial


def look_at(folder: Path, table: PhotoTable, number: int) -> tuple[PhotoFinding, bytes]:
    """Decode one photo and measure its scratches; return the finding and its overlay as JPEG.

    Raises
    ------
    InputError
        If the photo cannot be decoded.
    """
    photo = photos.load(folder / table.file)
    finding = scratches.find(photo.linear, um_per_px=table.um_per_px, square_mm=table.square_mm)
    overlay = encode_jpeg(pictures.overlay(photo.linear, finding))
    name = f"pictures/{table.panel}-{number + 1}.jpg"
    return PhotoFinding(panel=table.panel, photo=table.file, finding=finding, overlay=name), overlay


def compared(folder: Path, table: TrialTable) -> CompareFinding | None:
    """Compare the two photos of a trial, or return None where there are none.

    Raises
    ------
    InputError
        If a photo cannot be decoded.
    """
    if table.before is None or table.after is None:
        return None
    return compare.compare(
        photos.load(folder / table.before).linear,
        photos.load(folder / table.after).linear,
        um_per_px=table.um_per_px,
        square_mm=table.square_mm,
    )


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
