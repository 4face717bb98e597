"""The cord and the circuit: voltage lost on the way, and whether the circuit carries the load."""

import math
from collections.abc import Sequence
from typing import Literal

from leastcut.errors import InputError
from leastcut.safety.check import within
from leastcut.safety.records import Cord

Construction = Literal["flexible", "solid"]
FEET_PER_KM = 3280.839895013123
# source: NEC 210.19(A) informational note 4, 3 % for a branch; a recommendation; status: seen-2
DROP_LIMIT_PERCENT = 3.0
# source: NEC 210.20(A), a load of 3 h or more at 125 %; status: 125 % seen-2, 80 % from memory
CONTINUOUS_SHARE = 0.8

# Resistance of one conductor. AWG: ohm per 1000 ft at 75 °C, stranded uncoated / solid; source: NEC
# chapter 9 table 8; status: 10 to 18 seen-2, 4 to 8 from memory. Metric: ohm per km at 20 °C, class
# 5 / class 1 and 2; source: IEC 60228; status: 1 to 2.5 mm² seen-2, others from memory.
_AWG_OHM_PER_KFT: dict[float, tuple[float, float]] = {
    18: (7.95, 7.77),
    16: (4.99, 4.89),
    14: (3.14, 3.07),
    12: (1.98, 1.93),
    10: (1.24, 1.21),
    8: (0.778, 0.764),
    6: (0.491, 0.481),
    4: (0.308, 0.302),
}
_METRIC_OHM_PER_KM: dict[float, tuple[float, float]] = {
    0.5: (39.0, 36.0),
    0.75: (26.0, 24.5),
    1.0: (19.5, 18.1),
    1.5: (13.3, 12.1),
    2.5: (7.98, 7.41),
    4.0: (4.95, 4.61),
    6.0: (3.30, 3.08),
}
# kind -> (to ohm/km, temperature coefficient [1/K], temperature of the table [°C])
_TABLES: dict[str, tuple[float, float, float]] = {
    "awg": (FEET_PER_KM / 1000.0, 0.00323, 75.0),
    "mm2": (1.0, 0.00393, 20.0),
}
_SIZES: dict[str, tuple[float, float]] = {"awg": (4.0, 22.0), "mm2": (0.2, 16.0)}
COPPER_OHM_MM2_PER_KM = 17.241  # at 20 °C; source: IACS annealed copper; status: seen


class ConductorError(InputError):
    """A conductor size that cannot be read or that no cord has."""


def conductor_ohm_per_km(
    name: str, *, construction: Construction = "flexible", temperature_c: float | None = None
) -> float:
    """Return the resistance of one conductor of a cord [ohm/km].

    Parameters
    ----------
    name : str
        ``"14 AWG"`` or ``"1.5 mm2"`` as printed on the cord.
    construction : {"flexible", "solid"}
        Cords are flexible (stranded, class 5); wires in a wall may be solid (class 1 or 2).
    temperature_c : float or None
        Copper temperature [°C]; None takes that of the table, 75 for AWG and 20 for mm².

    Returns
    -------
    float
        Resistance [ohm/km] of one conductor; the current runs through two.

    Raises
    ------
    ConductorError
        If the size cannot be read or is no cord's.
    ExposureError
        If the temperature is outside -40 to 105 °C.

    Examples
    --------
    >>> conductor_ohm_per_km("1.5 mm2")
    13.3
    >>> round(conductor_ohm_per_km("14 AWG"), 2)
    10.3
    """
    column = 0 if construction == "flexible" else 1
    number, kind = _split(name)
    pair = _pair(number, kind, name)
    scale, alpha, at = _TABLES[kind]
    copper_c = at if temperature_c is None else temperature_c
    within("copper temperature", copper_c, -40.0, 105.0, unit="°C")
    return pair[column] * scale * (1.0 + alpha * (copper_c - at))


def awg_area_mm2(gauge: int) -> float:
    """Return the area of a solid wire of an AWG number [mm²]: d = 0.127 mm x 92^((36 - n) / 39).

    Raises
    ------
    ExposureError
        If the number is outside 0 to 40.

    Examples
    --------
    >>> round(awg_area_mm2(14), 3)
    2.081
    """
    within("AWG", float(gauge), 0.0, 40.0, unit="AWG")
    diameter: float = 0.127 * 92.0 ** ((36.0 - gauge) / 39.0)
    return 0.25 * math.pi * diameter * diameter


def drop(
    conductor: str,
    length_m: float,
    *,
    amps: float,
    volts: float,
    circuit_amps: float | None = None,
    construction: Construction = "flexible",
    temperature_c: float | None = None,
    limit_percent: float = DROP_LIMIT_PERCENT,
    continuous: bool = True,
) -> Cord:
    """Return what a cord takes from the machine, and whether the circuit carries the load.

    Parameters
    ----------
    conductor : str
        ``"14 AWG"`` or ``"1.5 mm2"``.
    length_m : float
        Length of the cord, one way [m].
    amps, volts : float
        Current of everything on the cord [A], voltage at the outlet [V].
    circuit_amps : float or None
        Rating of the circuit's breaker [A]; None if unknown.
    construction, temperature_c
        As :func:`conductor_ohm_per_km`.
    limit_percent : float
        Largest drop wanted [%].
    continuous : bool
        The load runs 3 h or more, so that only 80 % of the circuit may be used.

    Returns
    -------
    Cord
        Drop [V, %], loss [W], longest length [m], load on the circuit [%], and a verdict.

    Raises
    ------
    ConductorError
        If the size cannot be read or is no cord's.
    ExposureError
        If a quantity is out of range, or the cord would take the whole voltage.

    Notes
    -----
    Vd = 2 L I R at unity power factor; reactance is negligible for these sizes.

    Examples
    --------
    >>> cord = drop("1.5 mm2", 25.0, amps=10.0, volts=230.0)
    >>> round(cord.drop_v, 2), round(cord.drop_percent, 2)
    (6.65, 2.89)
    """
    resistance = conductor_ohm_per_km(
        conductor, construction=construction, temperature_c=temperature_c
    )
    within("length", length_m, 0.0, 1000.0, unit="m")
    within("current", amps, 0.0, 200.0, unit="A")
    within("voltage", volts, 12.0, 1000.0, unit="V")
    within("drop limit", limit_percent, 0.1, 50.0, unit="%")
    lost = 2.0 * length_m / 1000.0 * amps * resistance
    within("voltage lost", lost, 0.0, volts, unit="V", why="the cord takes all of it")
    share = 100.0 * lost / volts
    load = _load_percent(amps, circuit_amps)
    ok, why = _verdict(share, limit_percent, load, continuous=continuous)
    return Cord(
        conductor=conductor,
        ohm_per_km=resistance,
        drop_v=lost,
        drop_percent=share,
        limit_percent=limit_percent,
        loss_w=lost * amps,
        power_left_percent=100.0 * (1.0 - share / 100.0) ** 2,
        longest_m=_longest(limit_percent, volts, amps, resistance),
        circuit_amps=circuit_amps,
        load_percent_of_circuit=load,
        ok=ok,
        why=why,
        source="Vd = 2 L I R; NEC chapter 9 table 8 or IEC 60228; NEC 210.19(A) note 4 (advice)",
    )


def amps_of(watts: Sequence[float], volts: float) -> float:
    """Return the current of machines, lamps and extraction on one circuit [A], power factor 1.

    Raises
    ------
    ExposureError
        If a power is negative or the voltage out of range.

    Examples
    --------
    >>> amps_of([900.0, 50.0, 1200.0], 230.0) < 10.0
    True
    """
    within("voltage", volts, 12.0, 1000.0, unit="V")
    return math.fsum(within("power", w, 0.0, 1e5, unit="W") for w in watts) / volts


def _longest(limit_percent: float, volts: float, amps: float, ohm_per_km: float) -> float:
    if amps == 0.0:
        return math.inf
    return 1000.0 * limit_percent / 100.0 * volts / (2.0 * amps * ohm_per_km)


def _split(name: str) -> tuple[float, Literal["awg", "mm2"]]:
    text = name.strip().lower().replace("²", "2").replace(",", ".")
    for suffix, kind in (("awg", "awg"), ("mm2", "mm2")):
        if text.endswith(suffix):
            try:
                number = float(text.removesuffix(suffix))
            except ValueError:
                break
            return number, "awg" if kind == "awg" else "mm2"
    raise _unknown(name)


def _pair(number: float, kind: Literal["awg", "mm2"], name: str) -> tuple[float, float]:
    """Return (flexible, solid) resistance in the units of the kind's table."""
    table = _AWG_OHM_PER_KFT if kind == "awg" else _METRIC_OHM_PER_KM
    low, high = _SIZES[kind]
    if not low <= number <= high:
        raise _unknown(name)
    if number in table:
        return table[number]
    return _awg_pair(number) if kind == "awg" else _metric_pair(number)


def _awg_pair(number: float) -> tuple[float, float]:
    """Return what geometry says of a size that the table leaves out: solid wire, strands 2 % more.

    The table's own columns differ by 2 %; its solid column is geometry to 0.5 %.
    """
    if number != int(number):
        raise _unknown(f"{number:g} AWG")
    at_75 = COPPER_OHM_MM2_PER_KM / awg_area_mm2(int(number)) / (1.0 + 0.00323 * (20.0 - 75.0))
    solid = at_75 / FEET_PER_KM * 1000.0
    return 1.02 * solid, solid


def _metric_pair(area_mm2: float) -> tuple[float, float]:
    """Return copper's own resistance with the table's allowances: 16 % flexible, 6 % solid."""
    bare = COPPER_OHM_MM2_PER_KM / area_mm2
    return 1.16 * bare, 1.06 * bare


def _unknown(name: str) -> ConductorError:
    return ConductorError(
        f"unknown conductor {name!r}",
        where="conductor",
        do='Give it as printed on the cord: "14 AWG" (4 to 22) or "1.5 mm2" (0.2 to 16)',
    )


def _load_percent(amps: float, circuit_amps: float | None) -> float | None:
    if circuit_amps is None:
        return None
    within("circuit", circuit_amps, 1.0, 200.0, unit="A")
    return 100.0 * amps / circuit_amps


def _verdict(
    share: float, limit_percent: float, load: float | None, *, continuous: bool
) -> tuple[bool, str]:
    allowed = 100.0 * (CONTINUOUS_SHARE if continuous else 1.0)
    if load is not None and load > allowed + 1e-9:
        hours = " for loads of 3 h or more" if continuous else ""
        return False, f"the load is {load:.0f} % of the circuit; at most {allowed:.0f} %{hours}"
    if share > limit_percent + 1e-9:
        return False, f"the cord takes {share:.1f} % of the voltage; at most {limit_percent:g} %"
    return True, f"the cord takes {share:.1f} % of the voltage"
