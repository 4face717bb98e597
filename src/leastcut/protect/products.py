"""Products for the last layer by class, with the usual figures to start from.

All of them are common practice without a source: the product's own data sheet goes first, and each
figure can be replaced (:func:`msgspec.structs.replace`).
"""

from leastcut.errors import InputError
from leastcut.protect.records import Limits, Product
from leastcut.protect.window import check_limits
from leastcut.safety.check import within

PRACTICE = "common practice, no source; the product's data sheet goes first"
_HOUR, _DAY = 60.0, 1440.0

PRODUCTS: tuple[Product, ...] = (
    Product(
        kind="wax",
        flash_min_low=5.0,
        flash_min_high=20.0,
        touch_min=20.0,
        dry_min=1.0 * _HOUR,
        wash_min=1.0 * _DAY,
        wet_um=5.0,
        source=PRACTICE,
    ),
    Product(
        kind="sealant",
        flash_min_low=10.0,
        flash_min_high=30.0,
        recoat_min_low=12.0 * _HOUR,
        recoat_min_high=7.0 * _DAY,
        touch_min=1.0 * _HOUR,
        dry_min=12.0 * _HOUR,
        wash_min=2.0 * _DAY,
        wet_um=3.0,
        source=PRACTICE,
    ),
    Product(
        kind="coating",
        limits=Limits(air_c_min=10.0, air_c_max=30.0, surface_c_min=10.0, surface_c_max=30.0),
        flash_min_low=1.0,
        flash_min_high=5.0,
        recoat_min_low=1.0 * _HOUR,
        recoat_min_high=4.0 * _HOUR,
        touch_min=6.0 * _HOUR,
        dry_min=1.0 * _DAY,
        wash_min=7.0 * _DAY,
        wet_um=4.0,
        source=PRACTICE,
    ),
    Product(
        kind="film",
        limits=Limits(air_c_min=15.0, air_c_max=30.0, surface_c_min=15.0, surface_c_max=32.0),
        flash_min_low=0.0,
        flash_min_high=_HOUR,
        touch_min=12.0 * _HOUR,
        dry_min=1.0 * _DAY,
        wash_min=7.0 * _DAY,
        wet_um=0.0,
        source=PRACTICE,
    ),
)


class ProductError(InputError):
    """A class of product that is not known, or figures of a sheet that contradict themselves."""


def product(name: str) -> Product:
    """Return the usual figures of a class of product.

    Raises
    ------
    ProductError
        If there is no such class.

    Examples
    --------
    >>> product("coating").wash_min / 1440.0
    7.0
    """
    for entry in PRODUCTS:
        if entry.kind == name:
            return entry
    known = ", ".join(entry.kind for entry in PRODUCTS)
    raise ProductError(
        f"unknown class of product {name!r}", where="product", do=f"Choose one of {known}"
    )


def check(item: Product) -> Product:
    """Return a product whose figures can all hold.

    Raises
    ------
    ProductError
        If a time ends before it begins, or it may be washed before it may get wet.
    WindowError
        If a lower limit stands above its upper one.
    ExposureError
        If a figure is out of range.
    """
    check_limits(item.limits)
    times = ("flash_min_low", "flash_min_high", "touch_min", "dry_min", "wash_min")
    for name in times:
        within(name, getattr(item, name), 0.0, 60.0 * _DAY, unit="min")
    within("wet film", item.wet_um, 0.0, 500.0, unit="µm")
    low, high = item.recoat_min_low, item.recoat_min_high
    pairs = [("flash", item.flash_min_low, item.flash_min_high)]
    pairs.append(("time to wash", item.dry_min, item.wash_min))
    if low is not None and high is not None:
        pairs.append(("further layer", low, high))
    for what, early, late in pairs:
        if early > late:
            raise ProductError(
                f"{what}: {early:g} min comes after {late:g} min",
                where="product",
                do="Copy both from the product's data sheet",
            )
    return item
