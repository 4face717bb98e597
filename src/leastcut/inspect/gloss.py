"""Gloss meter readings: averages, haze, before against after, and what a coat can reflect at all.

Gloss is reflection at 20, 60 or 85 degrees in gloss units (GU), 100 being polished black glass of
index 1.567 (ISO 2813, ASTM D523; definition seen in previews). The share of light that a smooth
coat reflects follows from its index alone (Fresnel), so no clear coat can read above its ceiling.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Literal

import msgspec
import numpy as np

from leastcut.car.records import Interval
from leastcut.errors import Problem
from leastcut.inspect.gum import coverage_factor, type_a
from leastcut.inspect.readings import RowError, number_in, panel_in, text_in

Angle = Literal[20, 60, 85]
When = Literal["before", "after"]

REFERENCE_INDEX = 1.567
"""Index of the reference glass. Source: ISO 2813:1997 and 2014 extracts. status: seen"""

HIGHEST_INDEX = 1.55
"""No clear coat is taken to have a higher index: acrylic and urethane have 1.49 to 1.52 (from
memory), and a margin."""

METER_U_GU = 0.5
"""Standard uncertainty of one gloss reading that repeats do not show, 1 GU being the usual statement
of reproducibility. Common practice, no source."""


class GlossReading(msgspec.Struct, frozen=True, kw_only=True):
    """One reading of a gloss meter [GU] at one angle [°]."""

    panel: str
    spot: str
    angle: Angle
    gloss_gu: float
    when: When = "before"
    line: int | None = None


class GlossFinding(msgspec.Struct, frozen=True, kw_only=True):
    """Gloss of one panel at one time: mean with 95 % bounds per angle [GU], haze, what is odd.

    ``haze_gu`` is the haze index G60 - G20 of ASTM D4039, None unless both angles were read.
    """

    panel: str
    when: When
    n_readings: int
    gloss_gu: dict[str, Interval]
    haze_gu: float | None
    notes: tuple[str, ...] = ()


class GlossChange(msgspec.Struct, frozen=True, kw_only=True):
    """What polishing did to the gloss of one panel at one angle [GU]; `sure` when 0 is outside."""

    panel: str
    angle: Angle
    gain_gu: Interval
    sure: bool


def reflectance(index: float, angle_deg: float) -> float:
    """Return the share of unpolarised light that a smooth dielectric reflects from air.

    Parameters
    ----------
    index : float
        Refractive index, at least 1.
    angle_deg : float
        Angle of incidence from the normal [°], below 90.

    Returns
    -------
    float
        Fresnel's formula, between 0 and 1 (Born & Wolf 1999, Principles of Optics, 1.5.3).

    Examples
    --------
    >>> round(reflectance(1.5, 0.0), 12)
    0.04
    """
    c = np.cos(np.radians(angle_deg))
    s = np.sqrt(index**2 - np.sin(np.radians(angle_deg)) ** 2)
    across = (c - s) / (c + s)
    along = (index**2 * c - s) / (index**2 * c + s)
    return float((across**2 + along**2) / 2)


def ceiling_gu(index: float, angle: float) -> float:
    """Return the most that a perfectly smooth coat of an index can read [GU].

    Examples
    --------
    >>> round(ceiling_gu(1.5, 20), 2), round(ceiling_gu(1.5, 60), 2)
    (82.05, 89.14)
    """
    return 100 * reflectance(index, angle) / reflectance(REFERENCE_INDEX, angle)


def best_angle(gloss_60_gu: float) -> Angle:
    """Return the angle that tells most at this gloss: 20 above 70 GU at 60°, 85 below 10.

    Source: ASTM D523-14, 4.1. status: seen
    """
    if gloss_60_gu > 70:
        return 20
    return 85 if gloss_60_gu < 10 else 60


def roughness_nm(
    gloss_gu: float, *, smooth_gu: float, angle_deg: float, wavelength_nm: float = 550.0
) -> float:
    """Return the rms roughness that explains a loss of gloss below a smooth coat [nm].

    Method: Bennett & Porteus 1961, J. Opt. Soc. Am. 51, 123, R/R0 = exp(-(4π σ cos θ/λ)²), for
    heights of a normal distribution; single scratches are not that, so it is an order of size.

    Parameters
    ----------
    gloss_gu, smooth_gu : float
        Gloss read, and gloss of the same coat when smooth [GU]; positive.
    angle_deg : float
        Angle of incidence [°].
    wavelength_nm : float
        Of the light [nm].

    Examples
    --------
    >>> round(roughness_nm(95.495, smooth_gu=100.0, angle_deg=20.0), 1)
    10.0
    """
    loss = max(0.0, float(np.log(smooth_gu / gloss_gu)))
    return float(loss**0.5 * wavelength_nm / (4 * np.pi * np.cos(np.radians(angle_deg))))


def find(readings: Sequence[GlossReading]) -> tuple[GlossFinding, ...]:
    """Average gloss readings per panel and time.

    Parameters
    ----------
    readings : sequence of GlossReading
        Any number; may be empty.

    Returns
    -------
    tuple of GlossFinding
        In the order in which panels and times first appear.
    """
    groups: dict[tuple[str, When], dict[Angle, list[float]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for r in readings:
        groups[r.panel, r.when][r.angle].append(r.gloss_gu)
    return tuple(_finding(panel, when, angles) for (panel, when), angles in groups.items())


def _finding(panel: str, when: When, angles: Mapping[Angle, list[float]]) -> GlossFinding:
    spans = {str(a): _interval(*_mean(angles[a])) for a in sorted(angles)}
    haze = spans["60"].mean - spans["20"].mean if {"20", "60"} <= spans.keys() else None
    return GlossFinding(
        panel=panel,
        when=when,
        n_readings=sum(map(len, angles.values())),
        gloss_gu=spans,
        haze_gu=haze,
        notes=_doubts({a: spans[str(a)].mean for a in angles}),
    )


def _mean(values: list[float]) -> tuple[float, float, float]:
    """Mean [GU], its standard uncertainty, degrees of freedom; one reading has the meter's alone."""
    if len(values) == 1:
        return values[0], METER_U_GU, float("inf")
    found = type_a(np.array(values))
    u = float(np.hypot(found.u, METER_U_GU))
    return found.value, u, found.dof * (u / found.u) ** 4 if found.u > 0 else float("inf")


def _interval(mean: float, u: float, dof: float) -> Interval:
    reach = coverage_factor(min(dof, 1e9)) * u
    return Interval(mean=mean, low=mean - reach, high=mean + reach)


def _doubts(means: Mapping[Angle, float]) -> tuple[str, ...]:
    notes = []
    for angle, mean in means.items():
        most = ceiling_gu(HIGHEST_INDEX, angle)
        if mean > most + 2 * METER_U_GU:
            notes.append(
                f"{mean:.1f} GU at {angle}° is more than any smooth clear coat reflects "
                f"({most:.1f} GU): calibrate the meter, or flakes in the colour shine through."
            )
    if 60 in means and best_angle(means[60]) not in means:
        notes.append(
            f"At {means[60]:.0f} GU the {best_angle(means[60])}° angle tells more than 60°."
        )
    return tuple(notes)


def changes(readings: Sequence[GlossReading]) -> tuple[GlossChange, ...]:
    """Compare gloss after with gloss before, per panel and angle that were read at both times.

    The meter's own fault is the same before and after and cancels; what is left is the scatter of
    the readings (GUM 5.1, F.1.2.3), but no less than half a unit in the last digit a meter shows.

    Parameters
    ----------
    readings : sequence of GlossReading
        Both times together.

    Returns
    -------
    tuple of GlossChange
        Gains with 95 % bounds; empty when nothing was read twice.
    """
    groups: dict[tuple[str, Angle], dict[When, list[float]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for r in readings:
        groups[r.panel, r.angle][r.when].append(r.gloss_gu)
    return tuple(
        _change(panel, angle, times["before"], times["after"])
        for (panel, angle), times in groups.items()
        if times["before"] and times["after"]
    )


_SCATTER_GU, _SCATTER_DOF = 1.0, 2.0  # what one reading scatters, pooled with the data's own


def _change(panel: str, angle: Angle, before: list[float], after: list[float]) -> GlossChange:
    square = sum(float(np.var(v)) * len(v) for v in (before, after))
    dof = len(before) + len(after) - 2 + _SCATTER_DOF
    var = (square + _SCATTER_DOF * _SCATTER_GU**2) / dof
    gain = float(np.mean(after) - np.mean(before))
    u = (var * (1 / len(before) + 1 / len(after))) ** 0.5
    span = _interval(gain, u, dof)
    return GlossChange(panel=panel, angle=angle, gain_gu=span, sure=not span.low <= 0 <= span.high)


MOST_GU = 2000.0
"""Above this no gloss is believed: polished metal reads up to 2000 GU at 20°. From memory."""


def parse_rows(
    rows: Iterable[tuple[int, Mapping[str, str]]],
    *,
    where: str,
    panels: Collection[str] | None,
) -> tuple[tuple[GlossReading, ...], tuple[Problem, ...]]:
    """Turn the rows of a gloss file into readings.

    Parameters
    ----------
    rows, where, panels
        As in :func:`leastcut.inspect.readings.parse_rows`, with columns ``panel``, ``angle_deg``
        and ``gloss_gu``; optional ``spot`` and ``when`` (``before`` or ``after``).

    Returns
    -------
    tuple of GlossReading, tuple of Problem
        Good rows in order, and what is wrong with each of the others.

    Examples
    --------
    >>> parse_rows([(2, {"panel": "roof", "angle_deg": "45", "gloss_gu": "80"})],
    ...            where="g.csv", panels=None)[1][0].where
    'g.csv:2 angle_deg'
    """
    good: list[GlossReading] = []
    problems: list[Problem] = []
    for line, row in rows:
        try:
            good.append(_reading(row, line, panels))
        except RowError as error:
            problems.append(error.at(f"{where}:{line}").problem())
    return tuple(good), tuple(problems)


def _reading(row: Mapping[str, str], line: int, panels: Collection[str] | None) -> GlossReading:
    do = "Read the meter again or delete the row"
    angle = number_in(row, "angle_deg", "Write 20, 60 or 85")
    if angle not in (20, 60, 85):
        raise RowError(f"{angle:g}° is no gloss angle", where="angle_deg", do="Write 20, 60 or 85")
    gloss = number_in(row, "gloss_gu", do)
    if not 0 < gloss <= MOST_GU:
        raise RowError(f"{gloss:g} is no gloss", where="gloss_gu", do=do)
    when = text_in(row, "when").lower() or "before"
    if when not in ("before", "after"):
        raise RowError(f"{when!r} is not known here", where="when", do="Use before or after")
    return GlossReading(
        panel=panel_in(row, panels),
        spot=text_in(row, "spot") or f"line {line}",
        angle=int(angle),  # type: ignore[arg-type]
        gloss_gu=gloss,
        when=when,  # type: ignore[arg-type]
        line=line,
    )
