"""What the pad does to the paint, as immutable records. Strokes are the path of the pad's centre."""

from typing import Protocol

import msgspec

from leastcut.car.records import Point

Stroke = tuple[Point, Point]


class PadMotion(Protocol):
    """What the mechanics need to know of a process: any record with these fields will do."""

    @property
    def pad_diameter_mm(self) -> float:
        """Diameter of the pad's face [mm]."""

    @property
    def orbit_mm(self) -> float:
        """Diameter of the throw [mm]; 0 for a machine that only spins."""

    @property
    def orbits_per_min(self) -> float:
        """Orbit rate under load [1/min]."""

    @property
    def spin_rpm(self) -> float:
        """Spin of the pad under load [1/min]; positive in the sense of the orbit, 0 when stalled."""

    @property
    def force_n(self) -> float:
        """Downward force on the pad, machine weight included [N]."""


class PadSettings(msgspec.Struct, frozen=True, kw_only=True):
    """A plain :class:`PadMotion`."""

    pad_diameter_mm: float = 130.0
    orbit_mm: float = 15.0
    orbits_per_min: float = 4800.0
    spin_rpm: float = 300.0
    force_n: float = 45.0


class RemovalSet(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One rectangular section and how it is worked: a crosshatch, `sets` times.

    ``orbit_mm`` is the diameter of the throw; ``preston_um_per_kpa_m`` the paint's and process's
    own rate [µm per kPa of pressure and metre of sliding], which is calibrated, never assumed.
    """

    pad_diameter_mm: float
    orbit_mm: float
    orbits_per_min: float
    spin_rpm: float
    force_n: float
    arm_speed_mm_s: float
    stroke_spacing_mm: float
    sets: int
    width_mm: float
    height_mm: float
    preston_um_per_kpa_m: float
    grid_mm: float = 2.0


class RemovalSummary(msgspec.Struct, frozen=True, kw_only=True):
    """The cut of a worked rectangle.

    Mean, percentiles and ripple are over the section inset by one pad radius; they are None where
    nothing is left of it. ``ripple_fraction`` is (greatest - least) / mean there, and
    ``rms_fraction`` the standard deviation over the mean. ``volume_mm3`` and ``seconds`` count all
    sets, inside the section and beyond; ``strokes_mm`` are all strokes as walked, in order.
    """

    mean_um: float | None
    p05_um: float | None
    p95_um: float | None
    ripple_fraction: float | None
    rms_fraction: float | None
    volume_mm3: float
    seconds: float
    origin_mm: Point
    grid_mm: float
    strokes_per_set: int
    strokes_mm: tuple[Stroke, ...]
