"""How much product a car takes: area times wet film, over what really lands on the paint."""

from leastcut.errors import InputError
from leastcut.protect.records import ProductClass
from leastcut.safety.check import within

# Wet film of a hand-applied layer [µm], and the share that reaches the paint.
# source: common practice, no source; replace by the data sheet's coverage where it gives one
_WET_UM: dict[ProductClass, float] = {"wax": 5.0, "sealant": 3.0, "coating": 4.0, "film": 0.0}
_TRANSFER = 0.6


def millilitres(
    area_m2: float, product: ProductClass, *, wet_um: float | None = None, layers: int = 1
) -> float:
    """Return how much liquid the last layer takes [ml].

    Parameters
    ----------
    area_m2 : float
        Painted area [m²].
    product : {"wax", "sealant", "coating", "film"}
        Class of the product; film is cut by area and takes none.
    wet_um : float or None
        Wet thickness from the data sheet [µm]; None takes the class's usual.
    layers : int
        How many layers.

    Returns
    -------
    float
        Area x wet film x layers / 0.6, the share that does not stay in the applicator; 1 µm on
        1 m² is 1 ml.

    Raises
    ------
    ExposureError
        If an argument is out of range.

    Examples
    --------
    >>> round(millilitres(9.0, "coating"))
    60
    """
    within("area", area_m2, 0.0, 200.0, unit="m²")
    within("layers", float(layers), 1.0, 10.0, unit="layers")
    thickness = _WET_UM[product] if wet_um is None else wet_um
    within("wet film", thickness, 0.0, 500.0, unit="µm")
    return area_m2 * thickness * layers / _TRANSFER


class ProductError(InputError):
    """A class of product that is not known."""


def product_class(name: str) -> ProductClass:
    """Return `name` as a class of product.

    Raises
    ------
    ProductError
        If there is no such class.

    Examples
    --------
    >>> product_class("wax")
    'wax'
    """
    for known in _WET_UM:
        if known == name:
            return known
    raise ProductError(
        f"unknown class of product {name!r}", where="product", do=f"Choose {', '.join(_WET_UM)}"
    )
