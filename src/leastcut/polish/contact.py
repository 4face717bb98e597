"""How a compliant pad presses on a panel that is not flat.

The foam is taken as a bed of independent springs (an elastic foundation): the pressure at a place
is the stiffness times how far the foam is squeezed there. On a convex panel with radii Rx and Ry
the squeeze is δ - x²/2Rx - y²/2Ry, less what a tilt of the machine adds on one side. Source of the
model: K. L. Johnson, *Contact Mechanics* (1985), 4.3; from memory. The stiffness of polishing foam
on its backing is not published: about 0.2 to 1 kPa per millimetre, from the compression hardness
of soft polyurethane foams (the quantity of ISO 3386), from memory. Calibrate it by how far the pad
gives under a known weight.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from leastcut.errors import InputError
from leastcut.polish.records import PadMotion
from leastcut.polish.speed import Array

FOAM_KPA_PER_MM = 0.5


class ContactError(InputError):
    """A panel or pad that cannot press on each other."""


@dataclass(frozen=True)
class Pose:
    """How pad and panel meet: radii of the convex panel [mm] (None for flat), and the tilt.

    ``tilt_degrees`` turns the machine about the y axis: the pad's +x side is pressed in.
    """

    radius_x_mm: float | None = None
    radius_y_mm: float | None = None
    tilt_degrees: float = 0.0


FLAT = Pose()


@dataclass(frozen=True)
class Contact:
    """Pressure under the pad on a square grid centred on its axis.

    Attributes
    ----------
    pressure_kpa : ndarray, shape (n, n)
        Pressure [kPa], 0 off the pad and where it lifts; rows run along +y.
    cell_mm : float
        Cell size [mm].
    squeeze_mm : float
        How far the foam is squeezed on the axis [mm].
    touching : float
        Share of the pad's face that touches.
    """

    pressure_kpa: Array
    cell_mm: float
    squeeze_mm: float
    touching: float

    def radius_of_gyration_mm(self) -> float:
        """Return the root mean square distance of the pressure from the axis [mm]."""
        n = self.pressure_kpa.shape[0]
        at = (np.arange(n) - 0.5 * (n - 1)) * self.cell_mm
        squares = at[:, None] ** 2 + at[None, :] ** 2
        return math.sqrt(float((self.pressure_kpa * squares).sum() / self.pressure_kpa.sum()))


def contact_pressure(
    settings: PadMotion,
    pose: Pose = FLAT,
    *,
    stiffness_kpa_per_mm: float = FOAM_KPA_PER_MM,
    cells: int = 129,
) -> Contact:
    """Return the pressure that carries the force on a convex panel.

    Parameters
    ----------
    settings : PadMotion
        Pad size and force.
    pose : Pose
        Curvature of the panel and tilt of the machine.
    stiffness_kpa_per_mm : float
        Foam stiffness [kPa/mm].
    cells : int
        Cells across the pad.

    Returns
    -------
    Contact
        The pressure sums to the force.

    Raises
    ------
    ContactError
        If a radius, the stiffness or the force is not above 0.
    """
    for name, value in (
        ("radius_x_mm", pose.radius_x_mm),
        ("radius_y_mm", pose.radius_y_mm),
        ("stiffness_kpa_per_mm", stiffness_kpa_per_mm),
        ("force_n", settings.force_n),
    ):
        if value is not None and not value > 0:
            raise ContactError(f"{name} is {value:g}", where=name, do="Give a number above 0")
    radius = settings.pad_diameter_mm / 2
    cell = 2 * radius / cells
    at = (np.arange(cells) - 0.5 * (cells - 1)) * cell
    x, y = np.meshgrid(at, at)
    lift = lift_mm(x, y, pose)
    face = x**2 + y**2 <= radius**2
    wanted = settings.force_n * 1e3 / (stiffness_kpa_per_mm * cell**2)  # sum of squeezes [mm]
    squeeze = _squeeze_for(lift[face], wanted)
    pressed = np.where(face, np.maximum(squeeze - lift, 0.0), 0.0)
    return Contact(
        stiffness_kpa_per_mm * pressed,
        cell,
        squeeze,
        float(np.count_nonzero(pressed) / np.count_nonzero(face)),
    )


def lift_mm(x_mm: npt.ArrayLike, y_mm: npt.ArrayLike, pose: Pose) -> Array:
    """Return how much farther the panel is from a place of the pad than on the axis [mm]."""
    x, y = np.asarray(x_mm, dtype=np.float64), np.asarray(y_mm, dtype=np.float64)
    bend_x = 0.5 / pose.radius_x_mm if pose.radius_x_mm else 0.0
    bend_y = 0.5 / pose.radius_y_mm if pose.radius_y_mm else 0.0
    slope = math.tan(math.radians(pose.tilt_degrees))
    return np.asarray(bend_x * x**2 + bend_y * y**2 - slope * x, dtype=np.float64)


def _squeeze_for(lift: Array, wanted: float) -> float:
    """Return δ with Σ max(δ - lift, 0) = wanted: exact, by going through the lifts in order."""
    ordered = np.sort(lift.ravel())
    count = np.arange(1, ordered.size + 1)
    # with the n lowest places touching, δ = (wanted + Σ lift)/n must lie below the next lift
    delta = (wanted + np.cumsum(ordered)) / count
    following = np.append(ordered[1:], np.inf)
    return float(delta[np.argmax(delta <= following)])
