"""The arithmetic under the gauge against published examples."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares as minimise

from leastcut.inspect.gum import (
    combined,
    coverage_factor,
    mean_covariance,
    propagate,
    rectangular,
    type_a,
)
from leastcut.inspect.line import fit_both, fit_ordinary, least_squares
from leastcut.inspect.outliers import grubbs_limit, suspects

DATA = Path(__file__).parent.parent / "data"
Array = NDArray[np.float64]


def table(name: str) -> Array:
    return np.genfromtxt(DATA / name, delimiter=",", comments="#", skip_header=3)


def digits(found: float, certified: float) -> float:
    """Return the number of agreeing digits, as NIST counts them."""
    error = abs(found - certified) / abs(certified)
    return 15.0 if error == 0 else min(15.0, -float(np.log10(error)))


# source: NIST StRD, univariate; certified values in the data files; status: seen, recomputed
NUM_ACC_3 = np.array([1000000.2] + [1000000.1, 1000000.3] * 500)
NUM_ACC_4 = np.array([10000000.2] + [10000000.1, 10000000.3] * 500)


@pytest.mark.parametrize(
    ("values", "mean", "s", "least"),
    [
        (np.array([10000001.0, 10000003.0, 10000002.0]), 10000002.0, 1.0, 9),
        (NUM_ACC_3, 1000000.2, 0.1, 9),
        # The decimals of NumAcc4 do not fit a double: the best possible is 8.3 digits of s.
        (NUM_ACC_4, 10000000.2, 0.1, 8),
        (table("strd_mavro.csv"), 2.001856, 0.000429123454003053, 9),
        (table("strd_michelso.csv"), 299.8524, 0.0790105478190518, 9),
    ],
)
def test_nist_univariate(values: Array, mean: float, s: float, least: int) -> None:
    found = type_a(values)
    assert digits(found.value, mean) >= 9
    assert digits(found.u * len(values) ** 0.5, s) >= least


# source: NIST StRD, linear; certified values as in the data files; status: seen, recomputed
LINEAR = [
    (
        "strd_norris.csv",
        (0, 1),
        [-0.262323073774029, 1.00211681802045],
        [0.232818234301152, 0.000429796848199937],
        0.884796396144373,
    ),
    (
        "strd_pontius.csv",
        (0, 1, 2),
        [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14],
        [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16],
        0.205177424076185e-03,
    ),
    ("strd_noint1.csv", (1,), [2.07438016528926], [0.0165289256198347], 3.56753034006338),
    ("strd_noint2.csv", (1,), [0.727272727272727], [0.0420827318078432], 0.369274472937998),
]


@pytest.mark.parametrize(("name", "powers", "coefficients", "sds", "residual"), LINEAR)
def test_nist_linear(
    name: str,
    powers: tuple[int, ...],
    coefficients: list[float],
    sds: list[float],
    residual: float,
) -> None:
    y, x = table(name).T
    fit = least_squares(np.column_stack([x**p for p in powers]), y)
    found_sds = np.sqrt(np.diag(fit.covariance))
    assert min(map(digits, fit.coefficients, coefficients)) >= 9
    assert min(map(digits, found_sds, sds)) >= 9
    assert digits(fit.residual_sd, residual) >= 9


def test_nist_wampler_two() -> None:
    # source: NIST StRD Wampler2, generated data; status: seen
    x = np.arange(21.0)
    design = x[:, None] ** np.arange(6)
    fit = least_squares(design, design @ 0.1 ** np.arange(6))
    assert min(map(digits, fit.coefficients, 0.1 ** np.arange(6))) >= 9


def test_gum_h1_end_gauge() -> None:
    # source: JCGM 100:2008 H.1; inputs seen in a public copy, nu_eff and U99 from memory;
    # status: recomputed (31.664 nm, 16.75, 92.48 nm; printed rounded 32, 16, 93)
    u_d, nu_d = combined([(5.8, 24), (3.9, 5), (6.7, 8)])
    contributions = [
        (25.0, 18.0),
        (u_d, nu_d),
        (50e6 * 0.1 * rectangular(1e-6), 50.0),
        (50e6 * 11.5e-6 * rectangular(0.05), 2.0),
    ]
    u, nu = combined(contributions)
    assert (u_d, nu_d) == pytest.approx((9.6819, 25.45), abs=5e-3)
    assert (u, nu) == pytest.approx((31.664, 16.75), abs=5e-3)
    assert coverage_factor(nu, level=0.99) * u == pytest.approx(92.48, abs=0.01)


def test_gum_h2_resistance_and_reactance() -> None:
    # source: JCGM 100:2008 H.2; status: results seen (R 127.732(70), X 219.85(30), Z 254.26(24))
    volt, ampere, phase = (table("gum_h2_observations.csv") * [1, 1e-3, 1]).T
    v, i, p = volt.mean(), ampere.mean(), phase.mean()
    r, x, z = v / i * np.cos(p), v / i * np.sin(p), v / i
    jacobian = np.array([[r / v, -r / i, -x], [x / v, -x / i, r], [z / v, -z / i, 0.0]])
    cov = propagate(jacobian, mean_covariance(np.column_stack([volt, ampere, phase])))
    u = np.sqrt(np.diag(cov))
    assert (r, x, z) == pytest.approx((127.7322, 219.8465, 254.2597), abs=1e-4)
    assert u == pytest.approx([0.07107, 0.29558, 0.23634], abs=1e-4)
    assert cov[0, 1] / (u[0] * u[1]) == pytest.approx(-0.588, abs=1e-3)
    assert cov[1, 2] / (u[1] * u[2]) == pytest.approx(0.993, abs=1e-3)


def test_gum_h3_thermometer() -> None:
    # source: JCGM 100:2008 H.3; data seen in the examples of two public uncertainty packages;
    # results y1 -0.1712(29), y2 0.00218(67), r -0.930, s 0.0035, b(30) -0.1494(41): from memory
    t = np.array(
        [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    )
    b = -np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160]) / 1000
    line = fit_ordinary(t, b, pivot=20.0)
    u = np.sqrt(np.diag(line.covariance))
    at_30 = line.at(30.0)
    assert (line.intercept, line.slope) == pytest.approx((-0.1712, 0.00218), abs=5e-5)
    assert u == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert line.covariance[0, 1] / u.prod() == pytest.approx(-0.930, abs=5e-4)
    assert (at_30.value, at_30.u) == pytest.approx((-0.1494, 0.0041), abs=5e-5)
    assert at_30.dof == 9


# source: Pearson 1901 data with York's 1966 weights, as in Lybanon 1984, Am. J. Phys. 52, 22;
# data seen in a public repository; slope -0.480533 and intercept 5.479911 from memory
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
U_X = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0]) ** -0.5
U_Y = np.array([1.0, 1.8, 4, 8, 20, 20, 70, 70, 100, 500]) ** -0.5


def test_line_with_both_coordinates_uncertain() -> None:
    line = fit_both(PEARSON_X, PEARSON_Y, u_x=U_X, u_y=U_Y)
    assert (line.slope, line.intercept) == pytest.approx((-0.480533, 5.479911), abs=1e-6)
    u = np.sqrt(np.diag(line.covariance))
    assert u == pytest.approx([0.2950, 0.0580], abs=1e-3)


def test_line_with_both_agrees_with_a_general_minimiser() -> None:
    # source: the same likelihood minimised over line and true x by scipy.optimize.least_squares
    def misfit(p: Array) -> Array:
        x = p[2:]
        return np.concatenate([(PEARSON_X - x) / U_X, (PEARSON_Y - p[0] - p[1] * x) / U_Y])

    best = minimise(misfit, np.concatenate([[5.5, -0.5], PEARSON_X]), xtol=1e-14, ftol=1e-14)
    line = fit_both(PEARSON_X, PEARSON_Y, u_x=U_X, u_y=U_Y)
    assert (line.intercept, line.slope) == pytest.approx(tuple(best.x[:2]), abs=1e-7)


@pytest.mark.parametrize(
    ("n", "alpha", "limit"),
    # source: LibreTexts, Appendix 07, Critical Values for Grubbs' Test, two-sided; status: seen.
    # Its rows for n = 7 at 0.05 and n = 15 at 0.01 contradict the formula and are left out.
    [
        (3, 0.05, 1.155),
        (4, 0.05, 1.481),
        (5, 0.05, 1.715),
        (6, 0.05, 1.887),
        (8, 0.05, 2.126),
        (10, 0.05, 2.290),
        (15, 0.05, 2.549),
        (5, 0.01, 1.764),
        (6, 0.01, 1.973),
        (8, 0.01, 2.274),
        (10, 0.01, 2.482),
        (14, 0.01, 2.755),
    ],
)
def test_grubbs_table(n: int, alpha: float, limit: float) -> None:
    assert grubbs_limit(n, alpha=alpha) == pytest.approx(limit, abs=1.1e-3)


def test_grubbs_on_the_uranium_readings() -> None:
    # source: NIST/SEMATECH e-Handbook 1.3.5.17.1 (Tietjen & Moore 1972); status: memory, recomputed
    uranium = np.array([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    g = (uranium.max() - uranium.mean()) / uranium.std(ddof=1)
    assert g == pytest.approx(2.4687, abs=1e-4)
    assert suspects(uranium) == (7,)


def test_few_or_equal_readings_raise_no_suspicion() -> None:
    assert suspects(np.array([100.0, 100.0, 100.0, 900.0])) == ()
    assert suspects(np.full(9, 100.0)) == ()


def test_clean_readings_are_suspected_as_rarely_as_stated() -> None:
    rng = np.random.default_rng(5)
    alarms = np.mean([bool(suspects(rng.normal(size=12))) for _ in range(3000)])
    assert 0.004 < alarms < 0.018  # 1 % with the scatter of 3000 tries
