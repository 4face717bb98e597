"""Flash and cure clock: what follows when, once the last layer is on."""

from leastcut.protect.products import ProductError, check
from leastcut.protect.records import Moment, Product
from leastcut.safety.check import within


def clock(applied_min: float, item: Product, *, layers: int = 1) -> tuple[Moment, ...]:
    """Return what to do, and what to keep off, in the order of time.

    Parameters
    ----------
    applied_min : float
        When the first layer went on [min since midnight].
    item : Product
        From :func:`leastcut.protect.products.product`, with the data sheet's own figures.
    layers : int
        Layers in all; each further one goes on as early as the sheet allows.

    Returns
    -------
    tuple of Moment
        Level or wipe off, further layers, keep off, keep dry, do not wash; times [min since
        midnight], counted for the waits from the last layer.

    Raises
    ------
    ExposureError
        If a time or the number of layers is out of range.
    ProductError
        If the product's times contradict themselves, or a further layer is not meant to follow.

    Examples
    --------
    >>> from leastcut.protect.products import product
    >>> [m.what for m in clock(600.0, product("wax"))]
    ['wipe off', 'touch nothing', 'keep dry', 'do not wash']
    """
    check(item)
    within("applied", applied_min, 0.0, 14400.0, unit="min")
    within("layers", float(layers), 1.0, 10.0, unit="layers")
    starts = _starts(applied_min, item, layers)
    found: list[Moment] = []
    for number, start in enumerate(starts, start=1):
        found += _layer(start, item, number)
    last = starts[-1]
    found += [
        _wait("touch nothing", last, item.touch_min, "the film is soft and takes prints"),
        _wait("keep dry", last, item.dry_min, "rain and dew spot it before it has cured"),
        _wait("do not wash", last, item.wash_min, "washing liquid attacks it before it has cured"),
    ]
    return tuple(found)


def _starts(applied_min: float, item: Product, layers: int) -> list[float]:
    if layers == 1:
        return [applied_min]
    gap = item.recoat_min_low
    if gap is None:
        raise ProductError(
            f"a {item.kind} has no time for a further layer",
            where="layers",
            do="Give the data sheet's earliest and latest time for it, or one layer",
        )
    return [applied_min + gap * number for number in range(layers)]


def _layer(start: float, item: Product, number: int) -> list[Moment]:
    word = "level and let dry" if item.kind in {"coating", "film"} else "wipe off"
    moments = []
    if number > 1:
        wait = (item.recoat_min_high or 0.0) - (item.recoat_min_low or 0.0)
        moments.append(
            Moment(
                what=f"layer {number}",
                from_min=start,
                until_min=start + wait,
                why="later it no longer bonds to the layer below",
            )
        )
    moments.append(
        Moment(
            what=word,
            from_min=start + item.flash_min_low,
            until_min=start + item.flash_min_high,
            why="earlier it smears, later it is hard to take off",
        )
    )
    return moments


def _wait(what: str, start: float, minutes: float, why: str) -> Moment:
    return Moment(what=what, from_min=start, until_min=start + minutes, why=why)
