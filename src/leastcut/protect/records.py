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


class Weather(msgspec.Struct, frozen=True, kw_only=True):
    """The air at one time of the day, from a forecast or a logger.

    Attributes
    ----------
    at_min : float
        Minutes since the midnight before the first row [min].
    air_c, rh_percent : float
        Air temperature [°C] and relative humidity [%].
    surface_c : float or None
        Surface temperature [°C]; None where it was not measured: taken as the air's.
    """

    at_min: float
    air_c: float
    rh_percent: float
    surface_c: float | None = None


class Span(msgspec.Struct, frozen=True, kw_only=True):
    """A part of the day, in minutes since midnight [min]."""

    from_min: float
    until_min: float


class DayWindow(msgspec.Struct, frozen=True, kw_only=True):
    """When in the day the last layer may go on.

    Attributes
    ----------
    times_min : tuple of float
        The times looked at [min since midnight], evenly spaced.
    windows : tuple of Window
        The verdict at each of them.
    open_spans : tuple of Span
        Where the air allows it, all the time.
    start_spans : tuple of Span
        When to begin so that it stays allowed for `needs_min`.
    needs_min : float
        Application and flash, which must fall into an open span [min].
    surface_assumed : bool
        The surface was taken to be as warm as the air.
    why : str
        The answer in words.
    """

    times_min: tuple[float, ...]
    windows: tuple[Window, ...]
    open_spans: tuple[Span, ...]
    start_spans: tuple[Span, ...]
    needs_min: float
    surface_assumed: bool
    why: str


class Moment(msgspec.Struct, frozen=True, kw_only=True):
    """Something to do, or to keep off, between two times [min since midnight]."""

    what: str
    from_min: float
    until_min: float
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


class Product(msgspec.Struct, frozen=True, kw_only=True):
    """A product for the last layer, as its data sheet has it.

    Attributes
    ----------
    kind : {"wax", "sealant", "coating", "film"}
        Class of the product; none is named by brand.
    flash_min_low, flash_min_high : float
        When to level or wipe off after it went on [min].
    recoat_min_low, recoat_min_high : float or None
        When a further layer may follow [min]; None: none is meant to.
    touch_min : float
        Until nothing may touch it [min].
    dry_min : float
        Until it may get wet [min].
    wash_min : float
        Until it may be washed [min].
    wet_um : float
        Wet film of one layer [µm]; 0 for film.
    source : str
        Where the figures come from.
    """

    kind: ProductClass
    limits: Limits = Limits()
    flash_min_low: float
    flash_min_high: float
    recoat_min_low: float | None = None
    recoat_min_high: float | None = None
    touch_min: float
    dry_min: float
    wash_min: float
    wet_um: float
    source: str
