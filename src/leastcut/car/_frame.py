"""Hard points of a car body: the few places that all panels hang on.

Every number in :class:`Ratios` is a proportion of a generic car of its class, drawn by us from
the usual look of such cars (status: from memory, our own), not traced from any model. x runs from
the front end to the rear, z up from the ground.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from leastcut.car.records import BodyClass, Point

Rear = Literal["deck", "hatch", "window", "bed", "slab"]


@dataclass(frozen=True, kw_only=True)
class Dimensions:
    """Overall size of a car [mm] and its usual count of doors, tailgate counted."""

    length_mm: float
    width_mm: float
    height_mm: float
    wheelbase_mm: float
    doors: int


@dataclass(frozen=True, kw_only=True)
class Ratios:
    """Proportions of a body class.

    ``wb`` is the wheelbase; x values of the middle are shares of it behind the front axle, x
    values of the ends are shares of the overhang; z values are shares of the height; the widths
    are shares of the width.
    """

    rear: Rear
    front: float  # front overhang as a share of both
    arch: float  # wheel arch radius / wb
    clearance: float
    sill: float  # top of the sill
    nose: Point  # front edge of the bonnet (share of front overhang, z)
    cowl: Point  # foot of the windscreen
    header: Point  # top of the windscreen
    rear_header: Point  # end of the roof
    glass: Point  # foot of the rear glass (share of rear overhang, z)
    tail: Point  # where the lid or tailgate turns down (share of rear overhang, z)
    rear_bumper: float  # top of the rear bumper
    belt: Point  # window sill at the front axle and at the rear axle
    door4: float  # rear edge of the front door with four side doors
    door2: float  # the same with two
    window_end: float  # rear end of the side windows, share of wb
    bonnet_width: float
    roof_width: float
    tail_width: float


DEFAULTS: dict[BodyClass, Dimensions] = {
    "two-box": Dimensions(
        length_mm=4250, width_mm=1790, height_mm=1460, wheelbase_mm=2630, doors=5
    ),
    "three-box": Dimensions(
        length_mm=4700, width_mm=1830, height_mm=1445, wheelbase_mm=2790, doors=4
    ),
    "estate": Dimensions(length_mm=4720, width_mm=1830, height_mm=1475, wheelbase_mm=2790, doors=5),
    "suv": Dimensions(length_mm=4560, width_mm=1860, height_mm=1670, wheelbase_mm=2690, doors=5),
    "pickup": Dimensions(length_mm=5340, width_mm=1880, height_mm=1810, wheelbase_mm=3210, doors=4),
    "van": Dimensions(length_mm=5050, width_mm=1950, height_mm=1960, wheelbase_mm=3150, doors=5),
    "coupe": Dimensions(length_mm=4520, width_mm=1840, height_mm=1330, wheelbase_mm=2640, doors=2),
}

RATIOS: dict[BodyClass, Ratios] = {
    "two-box": Ratios(
        rear="hatch",
        front=0.545,
        arch=0.132,
        clearance=0.125,
        sill=0.190,
        nose=(0.20, 0.515),
        cowl=(0.150, 0.690),
        header=(0.430, 0.958),
        rear_header=(1.065, 0.935),
        glass=(0.830, 0.690),
        tail=(0.920, 0.600),
        rear_bumper=0.400,
        belt=(0.630, 0.690),
        door4=0.560,
        door2=0.680,
        window_end=1.050,
        bonnet_width=0.80,
        roof_width=0.64,
        tail_width=0.68,
    ),
    "three-box": Ratios(
        rear="deck",
        front=0.455,
        arch=0.126,
        clearance=0.125,
        sill=0.190,
        nose=(0.20, 0.500),
        cowl=(0.170, 0.680),
        header=(0.435, 0.955),
        rear_header=(0.960, 0.940),
        glass=(0.330, 0.735),
        tail=(0.945, 0.715),
        rear_bumper=0.405,
        belt=(0.630, 0.680),
        door4=0.545,
        door2=0.665,
        window_end=1.005,
        bonnet_width=0.79,
        roof_width=0.62,
        tail_width=0.70,
    ),
    "estate": Ratios(
        rear="window",
        front=0.455,
        arch=0.126,
        clearance=0.125,
        sill=0.190,
        nose=(0.20, 0.500),
        cowl=(0.170, 0.680),
        header=(0.440, 0.955),
        rear_header=(1.225, 0.940),
        glass=(0.890, 0.690),
        tail=(0.940, 0.610),
        rear_bumper=0.400,
        belt=(0.625, 0.680),
        door4=0.545,
        door2=0.665,
        window_end=1.215,
        bonnet_width=0.79,
        roof_width=0.62,
        tail_width=0.68,
    ),
    "suv": Ratios(
        rear="window",
        front=0.490,
        arch=0.144,
        clearance=0.150,
        sill=0.225,
        nose=(0.16, 0.560),
        cowl=(0.165, 0.690),
        header=(0.425, 0.955),
        rear_header=(1.180, 0.945),
        glass=(0.840, 0.690),
        tail=(0.925, 0.610),
        rear_bumper=0.425,
        belt=(0.635, 0.680),
        door4=0.550,
        door2=0.670,
        window_end=1.155,
        bonnet_width=0.82,
        roof_width=0.62,
        tail_width=0.70,
    ),
    "pickup": Ratios(
        rear="bed",
        front=0.430,
        arch=0.127,
        clearance=0.195,
        sill=0.265,
        nose=(0.15, 0.560),
        cowl=(0.150, 0.690),
        header=(0.340, 0.955),
        rear_header=(0.700, 0.955),
        glass=(0.300, 0.690),
        tail=(0.970, 0.620),
        rear_bumper=0.345,
        belt=(0.630, 0.650),
        door4=0.465,
        door2=0.530,
        window_end=0.662,
        bonnet_width=0.82,
        roof_width=0.66,
        tail_width=0.76,
    ),
    "van": Ratios(
        rear="slab",
        front=0.490,
        arch=0.113,
        clearance=0.120,
        sill=0.180,
        nose=(0.22, 0.475),
        cowl=(0.040, 0.590),
        header=(0.230, 0.930),
        rear_header=(1.270, 0.985),
        glass=(0.950, 0.560),
        tail=(0.965, 0.500),
        rear_bumper=0.280,
        belt=(0.560, 0.570),
        door4=0.375,
        door2=0.375,
        window_end=0.360,
        bonnet_width=0.76,
        roof_width=0.74,
        tail_width=0.78,
    ),
    "coupe": Ratios(
        rear="deck",
        front=0.470,
        arch=0.134,
        clearance=0.115,
        sill=0.185,
        nose=(0.18, 0.500),
        cowl=(0.215, 0.700),
        header=(0.500, 0.955),
        rear_header=(0.895, 0.950),
        glass=(0.380, 0.745),
        tail=(0.945, 0.720),
        rear_bumper=0.410,
        belt=(0.650, 0.705),
        door4=0.560,
        door2=0.690,
        window_end=0.930,
        bonnet_width=0.80,
        roof_width=0.58,
        tail_width=0.68,
    ),
}


def ratios_of(body: BodyClass, *, two_door: bool) -> Ratios:
    """Return the proportions of a class; a two-door pickup has the short cab."""
    ratios = RATIOS[body]
    if ratios.rear == "bed" and two_door:
        return replace(ratios, rear_header=(0.575, 0.955), window_end=0.530)
    return ratios


@dataclass(frozen=True)
class Frame:
    """A body of one class at one size: hard points in mm."""

    ratios: Ratios
    size: Dimensions
    two_door: bool

    @property
    def length(self) -> float:
        """Overall length [mm]."""
        return self.size.length_mm

    @property
    def width(self) -> float:
        """Overall width [mm]."""
        return self.size.width_mm

    @property
    def height(self) -> float:
        """Overall height [mm]."""
        return self.size.height_mm

    @property
    def wb(self) -> float:
        """Wheelbase [mm]."""
        return self.size.wheelbase_mm

    @cached_property
    def xf(self) -> float:
        """Front axle [mm]."""
        return self.ratios.front * (self.length - self.wb)

    @property
    def xr(self) -> float:
        """Rear axle [mm]."""
        return self.xf + self.wb

    @property
    def rear_overhang(self) -> float:
        """From the rear axle to the end [mm]."""
        return self.length - self.xr

    @cached_property
    def arch(self) -> float:
        """Radius of the wheel arches [mm], never more than the overhangs and height carry."""
        room = 0.6 * min(self.xf, self.rear_overhang)
        return min(self.ratios.arch * self.wb, room, 0.27 * self.height)

    @property
    def hub(self) -> float:
        """Height of the wheel centre [mm]."""
        return 0.91 * self.arch

    @property
    def z0(self) -> float:
        """Lower edge of the body [mm]."""
        return min(self.ratios.clearance * self.height, 0.85 * self.hub)

    @property
    def z1(self) -> float:
        """Upper edge of the sill, lower edge of the doors [mm]."""
        return self.ratios.sill * self.height

    def mid(self, point: Point) -> Point:
        """Return a hard point between the axles in mm."""
        return self.xf + point[0] * self.wb, point[1] * self.height

    def fore(self, point: Point) -> Point:
        """Return a hard point of the front overhang in mm."""
        return point[0] * self.xf, point[1] * self.height

    def aft(self, point: Point) -> Point:
        """Return a hard point of the rear overhang in mm."""
        return self.xr + point[0] * self.rear_overhang, point[1] * self.height

    def belt(self, x: float) -> float:
        """Return the height of the window sill at x [mm]."""
        t = (x - self.xf) / self.wb
        front, rear = self.ratios.belt
        return (front + (rear - front) * t) * self.height

    def shoulder(self, x: float) -> float:
        """Return the height of the main body line at x [mm]; it crowns between the axles."""
        t = (x - self.xf) / self.wb
        crown = 0.010 * self.height * (1 - (2 * t - 1) ** 2)
        return self.belt(x) - 0.21 * (self.belt(x) - self.z1) + crown

    def hem(self, x: float) -> float:
        """Return the height of the lower body line at x [mm]; it rises a little to the rear."""
        t = (x - self.xf) / self.wb
        return self.z1 + (0.17 + 0.05 * t) * (self.belt(x) - self.z1)

    def arch_at(self, axle: float, z: float, side: int) -> Point:
        """Return where a wheel arch crosses height z, in front (-1) of or behind (+1) the axle."""
        return axle + side * math.sqrt(max(self.arch**2 - (self.hub - z) ** 2, 0.0)), z

    @property
    def hinge(self) -> float:
        """Front edge of the front door at its foot [mm]."""
        return self.xf + self.arch + 0.045 * self.wb

    @property
    def door_end(self) -> float:
        """Rear edge of the front door [mm]."""
        share = self.ratios.door2 if self.two_door else self.ratios.door4
        return max(self.xf + share * self.wb, self.hinge + 0.2 * self.wb)
