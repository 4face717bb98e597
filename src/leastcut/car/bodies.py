"""Generic bodies in true size: a car in a minute, without drawings.

Each body class is a set of proportions (our own, from memory of how such cars look; no model was
traced) hung on four measurements that stand in every registration paper: length, width, height,
wheelbase. The panels come out in mm, good enough to plan sections, time and materials. Where it
matters, a tape measurement of a panel replaces the guess: :func:`refine`.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace as changed

import msgspec

from leastcut.car._checked import OutlineError
from leastcut.car._frame import DEFAULTS, RATIOS, Dimensions, Frame, ratios_of
from leastcut.car._middle import middle
from leastcut.car._piece import finish
from leastcut.car._sides import fuel_flap, sides
from leastcut.car.records import BodyClass, Material, Panel, Point
from leastcut.errors import InputError

__all__ = ["DEFAULTS", "BodyError", "Dimensions", "build", "refine"]

# What a body can be; wide enough for a microcar and a long van [mm].
_LIMITS = {
    "length": (2400.0, 7500.0),
    "width": (1200.0, 2600.0),
    "height": (1000.0, 3300.0),
    "wheelbase": (1600.0, 5000.0),
}
# Shares that every road car keeps; outside them the numbers are mixed up, not unusual.
_SHARES = {
    ("wheelbase", "length"): (0.48, 0.74),
    ("height", "length"): (0.20, 0.62),
    ("width", "length"): (0.24, 0.62),
    ("height", "width"): (0.55, 1.70),
}
_DOORS: dict[BodyClass, tuple[int, ...]] = {"coupe": (2, 3)}
_ANY_DOORS = (2, 3, 4, 5)


class BodyError(InputError):
    """Dimensions that no car of this kind can have, or a panel that cannot be made from them."""


def build(
    body: BodyClass,
    *,
    length_mm: float,
    width_mm: float,
    height_mm: float,
    wheelbase_mm: float,
    doors: int | None = None,
    material: Material = "steel",
    materials: Mapping[str, Material] | None = None,
) -> tuple[Panel, ...]:
    """Return the panels of a generic car of this class and size, in the order of work.

    Parameters
    ----------
    body : str
        Body class.
    length_mm, width_mm, height_mm, wheelbase_mm : float
        Overall size without mirrors [mm].
    doors : int, optional
        As the trade counts: 2 or 3 means one door a side, 4 or 5 two; the class's usual number
        when left out.
    material : str
        Of the metal panels; bumpers are plastic.
    materials : mapping, optional
        Material by panel id where it differs, such as ``{"bonnet": "aluminium"}``.

    Returns
    -------
    tuple of Panel
        Sides mirrored; the fuel flap stands on the right.

    Raises
    ------
    BodyError
        If the class is unknown, a measure is not a size a car can have, or a material is given
        for a panel that this body has not.

    Examples
    --------
    >>> size = DEFAULTS["three-box"]
    >>> panels = build("three-box", length_mm=4700, width_mm=1830, height_mm=1445,
    ...                wheelbase_mm=2790)
    >>> [p.id for p in panels][:3]
    ['roof', 'pillar-a-left', 'pillar-a-right']
    """
    size = _checked_size(body, (length_mm, width_mm, height_mm, wheelbase_mm), doors)
    two_door = size.doors <= 3
    frame = Frame(ratios=ratios_of(body, two_door=two_door), size=size, two_door=two_door)
    try:
        panels = sorted(_finished(frame, material), key=_order_of_work)
    except OutlineError:
        raise BodyError(
            f"these four measures make no {body}",
            where="length, width, height, wheelbase",
            do="Check each, or choose the body class that comes nearer",
        ) from None
    return _with_materials(tuple(panels), materials or {})


def _finished(frame: Frame, material: Material) -> Iterator[Panel]:
    for piece in middle(frame):
        yield finish(piece, "centre", material)
    for piece in sides(frame):
        yield finish(piece, "left", material)
        flap = (("fuel flap", fuel_flap(frame)),) if piece.id in {"quarter", "bed"} else ()
        yield finish(changed(piece, keep_outs=(*piece.keep_outs, *flap)), "right", material)


# From the top downwards, because dirt and splatter fall; one side finished before the other
# (common practice, no source).
_LEVELS = (
    ("roof",),
    ("pillar-a",),
    ("bonnet", "boot-lid", "tailgate"),
    ("wing-front", "door-front", "door-rear", "pillar-c", "quarter", "bed"),
    ("bumper-front", "bumper-rear"),
    ("sill",),
)


def _order_of_work(panel: Panel) -> tuple[int, str, int]:
    stem = panel.id.removesuffix(f"-{panel.side}")
    level = next(i for i, stems in enumerate(_LEVELS) if stem in stems)
    return level, panel.side, _LEVELS[level].index(stem)


def refine(panel: Panel, *, width_mm: float | None = None, height_mm: float | None = None) -> Panel:
    """Return the panel stretched to what the tape says, keep-outs and lines with it.

    Parameters
    ----------
    panel : Panel
        A generic panel.
    width_mm, height_mm : float, optional
        Greatest extent along u and v as measured over the surface [mm]; what is left out stays.

    Raises
    ------
    BodyError
        If a measure is not a length a panel can have, or is more than three times off.
    """
    scale = tuple(
        1.0 if measured is None else _stretch(panel, axis, measured)
        for axis, measured in ((0, width_mm), (1, height_mm))
    )

    def moved(points: tuple[Point, ...]) -> tuple[Point, ...]:
        return tuple((round(x * scale[0], 1), round(y * scale[1], 1)) for x, y in points)

    return msgspec.structs.replace(
        panel,
        outline_mm=moved(panel.outline_mm),
        keep_outs=tuple(
            msgspec.structs.replace(k, outline_mm=moved(k.outline_mm)) for k in panel.keep_outs
        ),
        body_lines_mm=tuple(moved(line) for line in panel.body_lines_mm),
    )


def _stretch(panel: Panel, axis: int, measured: float) -> float:
    what = ("width", "height")[axis]
    extent = max(p[axis] for p in panel.outline_mm) - min(p[axis] for p in panel.outline_mm)
    if not (math.isfinite(measured) and extent / 3 <= measured <= extent * 3):
        raise BodyError(
            f"a {what} of {measured:g} mm does not fit a panel drawn {extent:.0f} mm",
            where=panel.id,
            do="Measure again along the surface, or trace the outline from a photo",
        )
    return measured / extent


def _checked_size(
    body: BodyClass, sizes: tuple[float, float, float, float], doors: int | None
) -> Dimensions:
    if body not in RATIOS:
        raise BodyError(
            f"no body class {body!r}", where="body", do=f"Use one of {', '.join(RATIOS)}"
        )
    named = dict(zip(_LIMITS, sizes, strict=True))
    for name, value in named.items():
        _inside(name, value)
    for (small, large), (low, high) in _SHARES.items():
        share = named[small] / named[large]
        if not low <= share <= high:
            raise BodyError(
                f"a {small} of {named[small]:.0f} mm with a {large} of {named[large]:.0f} mm",
                where=small,
                do=f"A {small} lies between {low:.0%} and {high:.0%} of the {large}: check both",
            )
    count = DEFAULTS[body].doors if doors is None else doors
    if count not in _DOORS.get(body, _ANY_DOORS):
        allowed = " or ".join(map(str, _DOORS.get(body, _ANY_DOORS)))
        raise BodyError(f"a {body} with {count} doors", where="doors", do=f"Use {allowed}")
    return Dimensions(**{f"{k}_mm": float(v) for k, v in named.items()}, doors=count)


def _inside(name: str, value: float) -> None:
    low, high = _LIMITS[name]
    if not (math.isfinite(value) and low <= value <= high):
        raise BodyError(
            f"a {name} of {value:g} mm",
            where=name,
            do=f"A car's {name} lies between {low:.0f} and {high:.0f} mm",
        )


def _with_materials(
    panels: tuple[Panel, ...], materials: Mapping[str, Material]
) -> tuple[Panel, ...]:
    unknown = sorted(set(materials) - {p.id for p in panels})
    if unknown:
        raise BodyError(
            f"no panel {unknown[0]!r} on this body",
            where="materials",
            do=f"Use one of {', '.join(p.id for p in panels)}",
        )
    return tuple(
        msgspec.structs.replace(p, material=materials[p.id]) if p.id in materials else p
        for p in panels
    )
