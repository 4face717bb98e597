"""How much product a car takes: area times wet film, over what really lands on the paint."""

from leastcut.protect.products import product
from leastcut.safety.check import within

# The share that reaches the paint and does not stay in the applicator.
# source: common practice, no source
_TRANSFER = 0.6


def millilitres(
    area_m2: float, kind: str, *, wet_um: float | None = None, layers: int = 1
) -> float:
    """Return how much liquid the last layer takes [ml].

    Parameters
    ----------
    area_m2 : float
        Painted area [m²].
    kind : {"wax", "sealant", "coating", "film"}
        Class of the product; film is cut by area and takes none.
    wet_um : float or None
        Wet thickness from the data sheet [µm]; None takes the class's usual.
    layers : int
        How many layers.

    Returns
    -------
    float
        Area x wet film x layers / 0.6; 1 µm on 1 m² is 1 ml.

    Raises
    ------
    ExposureError
        If an argument is out of range.
    ProductError
        If there is no such class.

    Examples
    --------
    >>> round(millilitres(9.0, "coating"))
    60
    """
    within("area", area_m2, 0.0, 200.0, unit="m²")
    within("layers", float(layers), 1.0, 10.0, unit="layers")
    thickness = product(kind).wet_um if wet_um is None else wet_um
    within("wet film", thickness, 0.0, 500.0, unit="µm")
    return area_m2 * thickness * layers / _TRANSFER
