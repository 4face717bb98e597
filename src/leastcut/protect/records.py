"""Last-step records."""

from typing import Literal

import msgspec

ProductClass = Literal["wax", "sealant", "coating", "film"]


class Window(msgspec.Struct, frozen=True, kw_only=True):
    """May the last layer go on now? Dew point, margin of the surface above it, and the reason."""

    dew_point_c: float
    margin_c: float
    ok: bool
    why: str


class Limits(msgspec.Struct, frozen=True, kw_only=True):
    """What a product's data sheet allows; the general rules hold besides.

    Attributes
    ----------
    margin_c : float
        Least distance of the surface above the dew point [K].
    rh_percent_max, rh_percent_min : float
        Relative humidity of the air [%].
    air_c_min, air_c_max, surface_c_min, surface_c_max : float
        Temperatures [°C].
    """

    margin_c: float = 3.0
    rh_percent_max: float = 85.0
    rh_percent_min: float = 0.0
    air_c_min: float = 5.0
    air_c_max: float = 35.0
    surface_c_min: float = 5.0
    surface_c_max: float = 40.0
