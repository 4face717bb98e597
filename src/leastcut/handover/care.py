"""The care sheet: how to keep the finish, for this paint and this use. Pure.

Grit does the scratching, not the cloth: wash scratches need mineral grains, which are harder than
any clear coat (source: a car maker's published service information on wash scratches; status:
seen in a stored copy; the study of 25 hand washes with a dirty mixture, relayed by the trade,
points the same way). The numbers of months below are our own rule, common practice, no source: a
year for typical paint with gentle washing, shorter in proportion for softer paint and rougher use.
"""

from typing import Literal

import msgspec

from leastcut.car.records import Interval, PaintSystem, Shade

Wash = Literal["hand", "touchless", "brush", "unknown"]
Parked = Literal["indoors", "outdoors", "unknown"]

# How many times faster marks return than with careful washing by hand: common practice, no source.
_WASH_FACTOR: dict[Wash, float] = {"hand": 1.0, "touchless": 1.0, "brush": 2.5, "unknown": 1.5}
_TYPICAL_MONTHS = 12.0
_SHORTEST, _LONGEST = 3, 18


class Use(msgspec.Struct, frozen=True, kw_only=True):
    """How the car is washed and kept."""

    wash: Wash = "unknown"
    parked: Parked = "unknown"
    washes_per_month: float = 2.0


class CareSheet(msgspec.Struct, frozen=True, kw_only=True):
    """Advice as short paragraphs under headings, and when to look again."""

    paint: str
    parts: tuple[tuple[str, tuple[str, ...]], ...]
    inspect_months: int
    why: str


def care_sheet(
    softness: Interval,
    use: Use = Use(),  # noqa: B008 - an immutable record
    *,
    shade: Shade = "unknown",
    system: PaintSystem = "unknown",
) -> CareSheet:
    """Return the care sheet for one car.

    Parameters
    ----------
    softness : Interval
        The paint's cut relative to the typical paint (1 = typical), with 95 % bounds.
    use : Use
        How the car is washed and kept.
    shade : {"dark", "medium", "light", "unknown"}
        Dark paint shows marks sooner.
    system : {"clear-over-base", "single-stage", "matt", "unknown"}
        Matt paint must never be polished or waxed to a shine.

    Examples
    --------
    >>> care_sheet(Interval(mean=1.0, low=0.8, high=1.2), Use(wash="hand")).inspect_months
    12
    """
    months = inspect_months(softness, use, shade=shade)
    return CareSheet(
        paint=_paint_words(softness),
        parts=(
            ("Wash", _wash(softness, use)),
            ("Dry", _dry(softness)),
            ("Leave to others", _leave(system)),
            ("Do not wait with", _prompt(use)),
        ),
        inspect_months=months,
        why=_why(softness, use, shade),
    )


def inspect_months(softness: Interval, use: Use, *, shade: Shade = "unknown") -> int:
    """Return after how many months to look at the paint under a lamp again.

    The upper bound of the softness counts: what is not known makes the advice more careful.
    """
    pace = max(softness.high, 0.25) * _WASH_FACTOR[use.wash] * max(use.washes_per_month, 0.5) / 2
    if shade == "dark":
        pace *= 1.25
    return round(min(max(_TYPICAL_MONTHS / pace * 1.2, _SHORTEST), _LONGEST))


def _paint_words(softness: Interval) -> str:
    spread = f"{softness.mean:.1f} times the cut of a typical paint, {softness.low:.1f} to {softness.high:.1f}"
    if softness.low > 1.15:
        return f"This paint is soft ({spread}): it polishes fast and marks fast."
    if softness.high < 0.85:
        return f"This paint is hard ({spread}): it marks slowly and takes long to polish."
    return f"This paint is near the usual hardness as far as is known ({spread})."


def _wash(softness: Interval, use: Use) -> tuple[str, ...]:
    advice = [
        "Rinse first, long and from the top, until no grit is left to feel or see.",
        "Two buckets: one with shampoo, one to rinse the mitt, with a grit guard in each. Wash in straight strokes from the roof down; sills and bumpers last, with a mitt of their own.",
        "Wash in the shade, on cool paint. A mitt that fell on the floor is done for the day.",
    ]
    if use.wash == "brush":
        advice.append("Give up the brush wash: it is the largest source of new marks on this car.")
    if softness.high > 1.3:
        advice.append(
            "Soft paint: pre-soak with foam for five minutes and touch it as little as you can."
        )
    return tuple(advice)


def _dry(softness: Interval) -> tuple[str, ...]:
    first = "Lay a clean, deep towel on the panel and lift it, or blow the water off."
    if softness.high > 1.3:
        return (first, "Do not wipe this paint dry, and never wipe dust off it dry.")
    return (first, "Never wipe dust off dry paint.")


def _leave(system: PaintSystem) -> tuple[str, ...]:
    if system == "matt":
        return ("Matt paint: no polish, no wax, no machine. A shiny spot cannot be undone.",)
    return (
        "No polishing between visits, not even by hand: each polish spends clear coat that does not grow back. The ledger of this car says how much is left.",
        "No polish, cleaner or 'restorer' from a well-meaning wash. Ask which product before anyone puts one on.",
    )


def _prompt(use: Use) -> tuple[str, ...]:
    wait = "Bird droppings, tree sap and insects: soak and lift them off within a day; they etch."
    if use.parked == "outdoors":
        return (wait, "The car stands outdoors: look it over every week in the warm months.")
    return (wait,)


def _why(softness: Interval, use: Use, shade: Shade) -> str:
    reasons = [f"softness up to {softness.high:.1f}", f"{use.washes_per_month:g} washes a month"]
    if use.wash != "unknown":
        reasons.append(
            f"washed by {use.wash}" if use.wash != "touchless" else "washed without touch"
        )
    if shade == "dark":
        reasons.append("dark paint shows marks sooner")
    return f"From {', '.join(reasons)}; our own rule, a year for typical paint washed with care."
