"""Straight lines through measured points: ordinary, and with errors in both variables."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.inspect.gum import Estimate, propagate

Array = NDArray[np.float64]

_ROUNDS = 40  # each gains a digit or more; the worst published example settles in about 15


@dataclass(frozen=True)
class Fit:
    """Coefficients of a linear model, their covariance, residual standard deviation and freedom."""

    coefficients: Array
    covariance: Array
    residual_sd: float
    dof: int


@dataclass(frozen=True)
class Line:
    """y = intercept + slope (x - pivot), with the covariance of (intercept, slope)."""

    intercept: float
    slope: float
    covariance: Array
    pivot: float
    dof: int

    def at(self, x: float) -> Estimate:
        """Return the line's value at x with its standard uncertainty (GUM H.3.4)."""
        row = np.array([[1.0, x - self.pivot]])
        var = float(propagate(row, self.covariance)[0, 0])
        return Estimate(self.intercept + self.slope * (x - self.pivot), var**0.5, float(self.dof))


def least_squares(design: Array, y: Array) -> Fit:
    """Solve a linear model by orthogonal triangles, columns scaled, one step of refinement.

    Parameters
    ----------
    design : ndarray, shape (n, k)
        One column per coefficient, n > k.
    y : ndarray, shape (n,)
        Observations.

    Returns
    -------
    Fit
        Coefficients with covariance from the residuals (Golub & Van Loan 2013, Matrix
        Computations, 5.3).
    """
    scale = np.sqrt(np.sum(design**2, axis=0))
    q, r = np.linalg.qr(design / scale)
    first = np.linalg.solve(r, q.T @ y)
    scaled = first + np.linalg.solve(r, q.T @ (y - design @ (first / scale)))
    residual = y - design @ (scaled / scale)
    dof = len(y) - design.shape[1]
    sd = float((residual @ residual / dof) ** 0.5)
    inverse = np.linalg.inv(r) / scale[:, None]
    return Fit(scaled / scale, sd**2 * inverse @ inverse.T, sd, dof)


def fit_ordinary(x: Array, y: Array, *, pivot: float = 0.0) -> Line:
    """Fit a line by ordinary least squares; needs three points or more.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Points; x is taken as exact.
    pivot : float
        Where the intercept is stated.

    Returns
    -------
    Line
        Uncertainties from the residuals.
    """
    fit = least_squares(np.column_stack([np.ones_like(x), x - pivot]), y)
    intercept, slope = (float(c) for c in fit.coefficients)
    return Line(intercept, slope, fit.covariance, pivot, fit.dof)


def fit_both(x: Array, y: Array, *, u_x: Array, u_y: Array, pivot: float = 0.0) -> Line:
    """Fit a line to points whose both coordinates are uncertain, errors independent.

    Method: York, Evensen, Lopez Martinez & De Basabe Delgado 2004, Am. J. Phys. 72, 367, section
    III, uncorrelated case. Uncertainties are those stated for the points, not scaled by the fit.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Points, two or more different x.
    u_x, u_y : ndarray, shape (n,)
        Standard uncertainties; u_y positive.
    pivot : float
        Where the intercept is stated.

    Returns
    -------
    Line
        With covariance at the pivot and n - 2 degrees of freedom.

    Examples
    --------
    >>> line = fit_both(np.array([0.0, 1.0, 2.0]), np.array([1.0, 3.0, 5.0]),
    ...                 u_x=np.zeros(3), u_y=np.ones(3))
    >>> round(line.slope, 9), round(line.intercept, 9)
    (2.0, 1.0)
    """
    slope = float(np.polyfit(x, y, 1)[0])
    for _ in range(_ROUNDS):
        weight = 1 / (u_y**2 + slope**2 * u_x**2)
        total = weight.sum()
        x_bar, y_bar = float(weight @ x / total), float(weight @ y / total)
        du, dv = x - x_bar, y - y_bar
        beta = weight * (du * u_y**2 + slope * dv * u_x**2)
        slope = float((weight * beta) @ dv / ((weight * beta) @ du))
    centre = float(weight @ (x_bar + beta) / total)
    spread = float(weight @ (x_bar + beta - centre) ** 2)
    off = pivot - centre
    var = np.array([[1 / total + off**2 / spread, off / spread], [off / spread, 1 / spread]])
    return Line(y_bar + slope * (pivot - x_bar), slope, var, pivot, len(x) - 2)
