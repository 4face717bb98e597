"""How numbers and names are written in the reports: one place, so that all pages agree."""

from collections.abc import Iterable
from decimal import Decimal

from leastcut.car.records import Interval
from leastcut.car.units import UnitSystem, show, symbol
from leastcut.testspot.records import LiquidClass, PadClass, Process, Target

NBSP = "\u00a0"

PADS: dict[PadClass, str] = {
    "foam-finishing": "finishing foam pad",
    "foam-polishing": "polishing foam pad",
    "foam-cutting": "cutting foam pad",
    "microfibre": "microfibre pad",
    "wool": "wool pad",
}
LIQUIDS: dict[LiquidClass, str] = {
    "finishing": "finishing liquid",
    "medium": "medium liquid",
    "heavy": "heavy liquid",
}
TARGETS: dict[Target, str] = {
    "daily": "at least 85 % of the visible scratches gone",
    "show": "at least 95 % of the visible scratches gone",
}
STAGES = {
    "car": "Car",
    "inspect": "Inspect",
    "polish": "Polish",
    "testspot": "Test spot",
    "plan": "Plan",
    "work": "Work",
    "protect": "Protect",
    "safety": "Safety",
    "handover": "Handover",
}


def thickness(um: float, units: UnitSystem) -> str:
    r"""Return a film thickness with its symbol: whole µm from 10 µm on, else one decimal.

    Examples
    --------
    >>> thickness(43.2, "metric")
    '43\xa0µm'
    >>> thickness(2.54, "us")
    '0.10\xa0mil'
    """
    if units == "metric" and abs(um) >= 10:
        return f"{um:.0f}{NBSP}{symbol('micrometer')}"
    return show(um, "micrometer", units)


def bare_thickness(um: float, units: UnitSystem) -> str:
    """Return :func:`thickness` without its symbol, for table columns that carry it."""
    return thickness(um, units).split(NBSP)[0]


def thickness_between(interval: Interval, units: UnitSystem) -> str:
    """Return the bounds of a thickness, for example ``36–48 µm``."""
    low = bare_thickness(interval.low, units)
    return f"{low}–{thickness(interval.high, units)}"


def load(value: float) -> str:
    """Return a scratch load as a number [mm/cm²]: two digits that count."""
    return f"{value:.0f}" if value >= 9.95 else f"{value:.1f}"


def load_between(interval: Interval) -> str:
    """Return the bounds of a scratch load with its unit."""
    return f"{load(interval.low)}–{load(interval.high)}{NBSP}mm/cm²"


def long_time(minutes: float) -> str:
    r"""Return a duration as hours and minutes, to five minutes when above an hour.

    Examples
    --------
    >>> long_time(253.0)
    '4\xa0h\xa015'
    >>> long_time(42.4)
    '42\xa0min'
    """
    if minutes < 60:
        return f"{minutes:.0f}{NBSP}min"
    steps = round(minutes / 5)
    return f"{steps // 12}{NBSP}h{NBSP}{steps % 12 * 5:02d}"


def short_time(seconds: float) -> str:
    """Return a duration as ``minutes:seconds``, to five seconds and never nothing.

    Examples
    --------
    >>> short_time(193)
    '3:15'
    """
    steps = max(round(seconds / 5), 1 if seconds > 0 else 0)
    return f"{steps // 12}:{steps % 12 * 5:02d}"


def percent(fraction: float) -> str:
    r"""Return a probability or share as whole per cent, never claiming 0 or 100 by rounding.

    Examples
    --------
    >>> percent(0.999), percent(0.925), percent(0.0)
    ('>\xa099\xa0%', '92\xa0%', '0\xa0%')
    """
    if 0.99 < fraction < 1:
        return f">{NBSP}99{NBSP}%"
    if 0 < fraction < 0.01:
        return f"<{NBSP}1{NBSP}%"
    return f"{100 * fraction:.0f}{NBSP}%"


def money(amount: Decimal, currency: str) -> str:
    r"""Return an exact amount with its ISO 4217 code.

    Examples
    --------
    >>> money(Decimal("1234.5"), "EUR")
    '1\u202f234.50\xa0EUR'
    """
    return f"{amount:,.2f}".replace(",", "\u202f") + f"{NBSP}{currency}"


def amount(value: float, unit: str, units: UnitSystem) -> str:
    """Return an amount of material; millilitres follow the unit system."""
    if unit == "ml":
        return show(value, "milliliter", units)
    if unit == "m":
        return show(value, "meter", units)
    return f"{value:.0f}{NBSP}{unit}"


def tool(process: Process) -> str:
    """Return pad and liquid of a process in words."""
    return f"{PADS[process.pad]}, {LIQUIDS[process.liquid]}"


def settings(process: Process, units: UnitSystem) -> list[tuple[str, str]]:
    """Return what to set on the machine and hold by hand, as name and value."""
    spin = f"{process.spin_rpm:.0f}{NBSP}rpm" if process.spin_rpm > 0 else "stalls"
    return [
        ("Pad", show(process.pad_diameter_mm, "millimeter", units)),
        ("Throw", show(process.orbit_mm, "millimeter", units)),
        ("Orbits", f"{process.orbits_per_min:.0f}{NBSP}/min"),
        ("Spin", spin),
        ("Push", show(process.force_n, "newton", units)),
        ("Arm speed", show(process.arm_speed_mm_s, "millimeter/second", units)),
        ("Stroke spacing", show(process.stroke_spacing_mm, "millimeter", units)),
    ]


def listed(parts: Iterable[str]) -> str:
    """Join words with commas and a last *and*.

    Examples
    --------
    >>> listed(["roof", "bonnet", "boot"])
    'roof, bonnet and boot'
    """
    words = list(parts)
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def film_symbol(units: UnitSystem) -> str:
    """Return the symbol of film thickness: µm or mil."""
    return symbol("micrometer", units)


def capital(text: str) -> str:
    """Return the text with its first letter large and the rest as it is."""
    return text[:1].upper() + text[1:]
