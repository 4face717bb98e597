"""Noise of a day under three rules: OSHA (5 dB exchange), NIOSH and EU (3 dB exchange).

Methods: 29 CFR 1910.95 Appendix A; NIOSH 98-126 (1998); Directive 2003/10/EC and ISO 9612 for
L_EX,8h.
"""

import math
from collections.abc import Sequence
from typing import Literal

from leastcut.safety.check import within
from leastcut.safety.records import NoiseExposure, NoiseUse

# source: 29 CFR 1910.95 App A, dose of hearing conservation counts 80 to 130 dB(A);
# status: table range seen, the threshold from memory
OSHA_THRESHOLD_DBA = 80.0
# source: Directive 2003/10/EC Art. 3 lower action, upper action, limit; status: seen
EU_LOWER_DBA, EU_UPPER_DBA, EU_LIMIT_DBA = 80.0, 85.0, 87.0
LEAST_DOSE_PERCENT = 1e-9  # below, a day is silent: its average level would mean nothing
SOURCE = "29 CFR 1910.95 Appendix A; NIOSH 98-126; Directive 2003/10/EC Art. 3"

Rule = Literal["osha", "niosh"]
# rule -> (criterion level dB(A), exchange rate dB), both for 8 h
_RULES: dict[Rule, tuple[float, float]] = {"osha": (90.0, 5.0), "niosh": (85.0, 3.0)}


def allowed_hours(level_dba: float, rule: Rule) -> float:
    """Return how long a level may last in a day when nothing else is heard [h].

    Parameters
    ----------
    level_dba : float
        Level at the ear [dB(A)], 0 to 140.
    rule : {"osha", "niosh"}
        5 dB steps from 90 dB(A), or 3 dB steps from 85 dB(A).

    Returns
    -------
    float
        8 h / 2^((L - criterion) / exchange).

    Raises
    ------
    ExposureError
        If the level is outside 0 to 140 dB(A).

    Examples
    --------
    >>> allowed_hours(95.0, "osha"), allowed_hours(94.0, "niosh")
    (4.0, 1.0)
    """
    within("level", level_dba, 0.0, 140.0, unit="dB(A)", why="140 dB is the peak limit")
    criterion, exchange = _RULES[rule]
    return float(8.0 / 2.0 ** ((level_dba - criterion) / exchange))


def dose_percent(uses: Sequence[NoiseUse], rule: Rule, *, threshold_dba: float = 0.0) -> float:
    """Return the noise dose of a day [%]; levels below the threshold do not count.

    Raises
    ------
    ExposureError
        If a level or time is out of range, or the times exceed 24 h.

    Notes
    -----
    D = 100 sum C_i / T_i. Source: 29 CFR 1910.95 App A section I(2).

    Examples
    --------
    >>> day = [NoiseUse(level_dba=90.0, minutes=240.0), NoiseUse(level_dba=95.0, minutes=120.0)]
    >>> dose_percent(day, "osha")
    100.0
    """
    _check(uses)
    return 100.0 * math.fsum(
        use.minutes / 60.0 / allowed_hours(use.level_dba, rule)
        for use in uses
        if use.level_dba >= threshold_dba
    )


def twa_dba(dose: float, rule: Rule) -> float:
    """Return the 8 h time-weighted average level of a dose in per cent [dB(A)].

    Exact factors, exchange / log10(2): 16.6096 for OSHA (printed as 16.61) and 9.9658 for NIOSH
    (written by NIOSH as 10.0, which gives up to 0.1 dB less at small doses).

    Raises
    ------
    ExposureError
        If the dose is not positive.

    Examples
    --------
    >>> round(twa_dba(112.5, "osha"), 2)
    90.85
    """
    within("dose", dose, LEAST_DOSE_PERCENT, 1e9, unit="%", why="silence has no average level")
    criterion, exchange = _RULES[rule]
    return criterion + exchange * math.log2(dose / 100.0)


def lex_8h_dba(uses: Sequence[NoiseUse]) -> float:
    """Return the daily noise exposure level L_EX,8h [dB(A)] (Directive 2003/10/EC, ISO 9612).

    Raises
    ------
    ExposureError
        If a level or time is out of range, or no time is given at all.

    Examples
    --------
    >>> round(lex_8h_dba([NoiseUse(level_dba=85.0, minutes=480.0)]), 6)
    85.0
    """
    _check(uses)
    energy = math.fsum(use.minutes * 10.0 ** (use.level_dba / 10.0) for use in uses)
    within("minutes", energy, 1e-9, math.inf, unit="min", why="silence has no level")
    return 10.0 * math.log10(energy / 480.0)


def together_dba(levels_dba: Sequence[float]) -> float:
    """Return the level of several sources running at once [dB(A)]: energies add.

    Raises
    ------
    ExposureError
        If there is no source or a level is out of range.

    Examples
    --------
    >>> round(together_dba([80.0, 80.0]), 2)
    83.01
    """
    within("number of sources", float(len(levels_dba)), 1.0, 1e6, unit="sources")
    for level in levels_dba:
        within("level", level, 0.0, 140.0, unit="dB(A)")
    return 10.0 * math.log10(math.fsum(10.0 ** (level / 10.0) for level in levels_dba))


def exposure(uses: Sequence[NoiseUse]) -> NoiseExposure:
    """Return the day's noise of one person under all three rules.

    Parameters
    ----------
    uses : sequence of NoiseUse
        Levels at the ear [dB(A)] and minutes; none at all is a silent day.

    Returns
    -------
    NoiseExposure
        Doses [%], average levels [dB(A)] (None on a silent day), protection and why.

    Raises
    ------
    ExposureError
        If a level is outside 0 to 140 dB(A), a time negative, or the times exceed 24 h.

    Examples
    --------
    >>> exposure([NoiseUse(level_dba=90.0, minutes=240.0)]).protection
    'wear'
    """
    osha = dose_percent(uses, "osha", threshold_dba=OSHA_THRESHOLD_DBA)
    niosh = dose_percent(uses, "niosh")
    level = lex_8h_dba(uses) if niosh >= LEAST_DOSE_PERCENT else None
    protection, why = _protection(osha, level)
    return NoiseExposure(
        osha_dose_percent=osha,
        osha_twa_dba=twa_dba(osha, "osha") if osha >= LEAST_DOSE_PERCENT else None,
        niosh_dose_percent=niosh,
        niosh_twa_dba=twa_dba(niosh, "niosh") if level is not None else None,
        lex_8h_dba=level,
        minutes_left=_minutes_left(uses, niosh),
        protection=protection,
        why=why,
        source=SOURCE,
    )


def _check(uses: Sequence[NoiseUse]) -> None:
    for use in uses:
        within("minutes", use.minutes, 0.0, 1440.0, unit="min", why="a day has 24 h")
        within("level", use.level_dba, 0.0, 140.0, unit="dB(A)", why="140 dB is the peak limit")
    total = math.fsum(use.minutes for use in uses)
    within("minutes of all sources", total, 0.0, 1440.0, unit="min", why="a day has 24 h")


def _minutes_left(uses: Sequence[NoiseUse], dose: float) -> float:
    loudest = max((use.level_dba for use in uses), default=0.0)
    return max(0.0, 1.0 - dose / 100.0) * allowed_hours(loudest, "niosh") * 60.0


def _protection(
    osha: float, level: float | None
) -> tuple[Literal["not required", "offer", "wear"], str]:
    """Choose by the strictest of the rules: EU action values, OSHA action level of 50 %."""
    if level is not None and level >= EU_UPPER_DBA - 1e-9:
        return "wear", f"{level:.1f} dB(A) over 8 h reaches the upper action value of 85 dB(A)"
    if osha >= 50.0 - 1e-9:
        return "wear", f"the dose of {osha:.0f} % reaches the action level of 50 %"
    if level is not None and level >= EU_LOWER_DBA - 1e-9:
        return "offer", f"{level:.1f} dB(A) over 8 h reaches the lower action value of 80 dB(A)"
    return "not required", "the day stays below 80 dB(A) over 8 h"
