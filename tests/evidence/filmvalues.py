"""The gauge, readings, and optics of the coat, from a row's inputs."""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from published import DATA, Quantity

from leastcut.car.ramp import contrast
from leastcut.inspect import area, gloss, gum, kinds, line, outliers, scratches

Array = NDArray[np.float64]
FT2_M2 = 0.09290304


@cache
def data(name: str) -> Array:
    """The table of a set, by name."""
    made = {
        "numacc1": np.array([10000001.0, 10000003.0, 10000002.0]),
        "numacc3": np.array([1000000.2] + [1000000.1, 1000000.3] * 500),
        "numacc4": np.array([10000000.2] + [10000000.1, 10000000.3] * 500),
        "wampler2": _wampler(),
    }
    if name in made:
        return made[name]
    return np.genfromtxt(DATA / name, delimiter=",", comments="#", skip_header=3)


def _wampler() -> Array:
    x = np.arange(21.0)
    return np.column_stack([x[:, None] ** np.arange(6) @ 0.1 ** np.arange(6), x])


@cache
def fit(name: str) -> line.Fit:
    """The line or polynomial of a set."""
    powers = {"norris": (0, 1), "pontius": (0, 1, 2), "wampler2": tuple(range(6))}.get(name, (1,))
    y, x = data(name if name == "wampler2" else f"strd_{name}.csv").T
    return line.least_squares(np.column_stack([x**p for p in powers]), y)


def of_line(text: str) -> float:
    """``set:b0`` for a coefficient, ``set:sd0`` for its uncertainty, ``set:residual``."""
    name, what = text.split(":")
    found = fit(name)
    if what == "residual":
        return found.residual_sd
    if what.startswith("sd"):
        return float(np.sqrt(found.covariance[int(what[2:]), int(what[2:])]))
    return float(found.coefficients[int(what[1:])])


def of_values(text: str) -> float:
    """``set:mean`` or ``set:s``."""
    name, what = text.split(":")
    values = data(name if name.startswith("num") else f"strd_{name}.csv")
    found = gum.type_a(values)
    return found.value if what == "mean" else found.u * len(values) ** 0.5


def end_gauge(text: str) -> float:
    """JCGM 100, H.1: what ``text`` names of the budget, in nm."""
    parts = {"expansion": 50e6 * 0.1 * gum.rectangular(1e-6), "warmth": 50e6 * 11.5e-6 * gum.rectangular(0.05)}  # fmt: skip
    if text in parts:
        return parts[text]
    u_d, nu_d = gum.combined([(5.8, 24), (3.9, 5), (6.7, 8)])
    rest = [(25.0, 18.0), (u_d, nu_d), (parts["expansion"], 50.0), (parts["warmth"], 2.0)]
    u, nu = gum.combined(rest)
    k = gum.coverage_factor(float(int(nu)), level=0.99)
    return {"comparator": u_d, "u": u, "nu": nu, "k": k, "U99": k * u}[text]


@cache
def impedance() -> tuple[Array, Array, Array]:
    """JCGM 100, H.2: R, X, Z; the covariance of V, I, phi; that of R, X, Z."""
    rows = data("gum_h2_observations.csv") * [1, 1e-3, 1]
    v, i, p = rows.mean(axis=0)
    r, x, z = v / i * np.cos(p), v / i * np.sin(p), v / i
    jacobian = np.array([[r / v, -r / i, -x], [x / v, -x / i, r], [z / v, -z / i, 0.0]])
    own = gum.mean_covariance(rows)
    return np.array([r, x, z]), own, gum.propagate(jacobian, own)


def of_impedance(text: str) -> float:
    """``R``, ``u(R)`` or ``r(R,X)``, and the same of the inputs ``V``, ``I``, ``phi``."""
    values, own, found = impedance()
    names = {"R": (found, 0), "X": (found, 1), "Z": (found, 2), "V": (own, 0), "I": (own, 1), "phi": (own, 2)}  # fmt: skip
    if text in names:
        return float(values[names[text][1]])
    one, other = (text[2:-1].split(",") * 2)[:2]
    (cov, i), (_, j) = names[one], names[other]
    if text.startswith("u"):
        return float(cov[i, i] ** 0.5)
    return float(cov[i, j] / (cov[i, i] * cov[j, j]) ** 0.5)


THERMOMETER_C = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]  # fmt: skip
THERMOMETER_MK = [171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160]
DAILY_C = [18.75, 28.25, 25.75, 28.00, 28.50, 20.75, 21.00, 22.75, 18.50, 27.25, 20.75, 26.50, 28.00, 23.25, 28.00, 21.75, 26.00, 26.50, 28.00, 33.25, 32.00, 29.50]  # fmt: skip


def thermometer(text: str) -> float:
    """JCGM 100, H.3: intercept, slope or the correction at 30 °C."""
    found = line.fit_ordinary(np.array(THERMOMETER_C), -np.array(THERMOMETER_MK) / 1e3, pivot=20.0)
    return {"y1": found.intercept, "y2": found.slope, "at 30": found.at(30.0).value}[text]


def daily(text: str) -> float:
    """The mean of 22 daily readings, its uncertainty, its 95 % bounds."""
    found = gum.type_a(np.array(DAILY_C))
    reach = gum.coverage_factor(found.dof, level=0.95) * found.u
    return {"mean": found.value, "u": found.u, "low": found.value - reach, "high": found.value + reach}[text]  # fmt: skip


PEARSON_X = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
PEARSON_Y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
WEIGHT_X = [1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0]
WEIGHT_Y = [1.0, 1.8, 4, 8, 20, 20, 70, 70, 100, 500]


def both(text: str) -> float:
    """The line through ten points uncertain both ways: ``slope`` or ``intercept``."""
    u_x, u_y = (np.array(w, dtype=float) ** -0.5 for w in (WEIGHT_X, WEIGHT_Y))
    found = line.fit_both(np.array(PEARSON_X), np.array(PEARSON_Y), u_x=u_x, u_y=u_y)
    return float(getattr(found, text))


def limit(text: str) -> float:
    """Grubbs' limit of ``n:alpha``."""
    n, alpha = text.split(":")
    return outliers.grubbs_limit(int(n), alpha=float(alpha))


def spot_limit(text: str) -> float:
    """``low:high:which`` of the range a spot's mean must keep to."""
    low, high, which = text.split(":")
    return area.spot_limits_um(float(low), float(high))[which == "high"]


def ceiling(text: str) -> float:
    """Gloss of a smooth coat: ``index:angle``."""
    index, angle = map(float, text.split(":"))
    return gloss.ceiling_gu(index, angle)


def share(text: str) -> float:
    """Share of light reflected: ``index:angle``."""
    return gloss.reflectance(*map(float, text.split(":")))


def slope(text: str) -> float:
    """Gloss units for 0.001 of index at an angle."""
    return gloss.ceiling_gu(1.568, float(text)) - gloss.ceiling_gu(1.567, float(text))


def counted(text: str) -> float:
    """A bound of the load of ``n`` equal scratches: ``n:low`` or ``n:high``."""
    n, which = text.split(":")
    return scratches.interval(np.ones(int(n)), 0.0, 1.0)[which == "high"]


def rayleigh(text: str) -> float:
    """Chance of ``n:z`` when no direction is preferred."""
    n, z = map(float, text.split(":"))
    apart = np.arccos(np.sqrt(z * n) / n) / 2
    half = int(n) // 2
    return kinds.rayleigh(np.concatenate([np.full(half, apart), np.full(half, -apart)]))


FILM = "inspect-film"
AREAS = {
    "areas": lambda t: area.areas_to_measure(float(t) * FT2_M2),
    "spots": lambda t: area.areas_to_measure(float(t) * FT2_M2) * area.SPOTS_PER_AREA,
    "readings": lambda t: area.areas_to_measure(float(t) * FT2_M2) * area.SPOTS_PER_AREA * area.READINGS_PER_SPOT,
}  # fmt: skip
QUANTITIES = {
    "strd_values": Quantity(FILM, "mean and standard deviation of readings", of_values),
    "strd_line": Quantity(FILM, "line of a gauge's check: coefficients, their uncertainty, residual", of_line),
    "gum_h1": Quantity(FILM, "uncertainty budget of an end gauge [nm]", end_gauge),
    "gum_h2": Quantity(FILM, "correlated readings carried through a formula", of_impedance),
    "gum_h3": Quantity(FILM, "line of a thermometer's calibration", thermometer),
    "daily": Quantity(FILM, "mean of readings with its 95 % bounds", daily),
    "both_uncertain": Quantity(FILM, "line through points uncertain both ways", both),
    "grubbs": Quantity(FILM, "limit for a suspect reading among n, at a level", limit),
    "spot_limit": Quantity(FILM, "limit of a spot's mean for a range", spot_limit),
    "pa2_areas": Quantity(FILM, "areas to measure on so many ft²", AREAS["areas"]),
    "pa2_spots": Quantity(FILM, "spots to measure on so many ft²", AREAS["spots"]),
    "pa2_readings": Quantity(FILM, "gauge readings on so many ft²", AREAS["readings"]),
    "readings_per_spot": Quantity(FILM, "least readings that make a spot", lambda _: area.READINGS_PER_SPOT),
    "spots_per_area": Quantity(FILM, "spots that make an area", lambda _: area.SPOTS_PER_AREA),
    "spot_mm": Quantity(FILM, "diameter of a spot", lambda _: area.SPOT_DIAMETER_MM),
    "gloss": Quantity("inspect", "gloss of a smooth coat: index, angle", ceiling),
    "reflected": Quantity("inspect", "share of light reflected: index, angle", share),
    "gloss_slope": Quantity("inspect", "gloss units for 0.001 of index, angle", slope),
    "best_angle": Quantity("inspect", "angle to measure at, by the gloss at 60°", lambda t: float(gloss.best_angle(float(t)))),
    "poisson": Quantity("inspect", "95 % bound of a count of scratches", counted),
    "rayleigh": Quantity("inspect", "chance of a resultant when no direction is preferred: n, z", rayleigh),
    "contrast": Quantity("car", "contrast of two colours", lambda t: contrast(*(f"#{c}" for c in t.split(":")))),
}  # fmt: skip
