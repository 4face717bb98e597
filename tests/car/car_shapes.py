"""Cars and outlines for the tests of the nouns: plausible sizes of every class, odd polygons."""

from typing import Any, get_args

from hypothesis import strategies as st

from leastcut.car.bodies import DEFAULTS, build
from leastcut.car.records import BodyClass, Car, Panel, Polygon

CLASSES: tuple[BodyClass, ...] = get_args(BodyClass)


def usual_size(body: BodyClass) -> dict[str, float]:
    size = DEFAULTS[body]
    return {
        "length_mm": size.length_mm,
        "width_mm": size.width_mm,
        "height_mm": size.height_mm,
        "wheelbase_mm": size.wheelbase_mm,
    }


def usual_panels(body: BodyClass, **options: Any) -> dict[str, Panel]:
    return {panel.id: panel for panel in build(body, **usual_size(body), **options)}


def usual_car(body: BodyClass, label: str = "An invented car") -> Car:
    size = usual_size(body)
    return Car(label=label, body=body, panels=build(body, **size), **size)


@st.composite
def bodies(draw: st.DrawFn) -> tuple[BodyClass, dict[str, float], int]:
    """Return a class, a plausible size of it and a count of doors it may have."""
    body = draw(st.sampled_from(CLASSES))
    size = usual_size(body)
    share = size["wheelbase_mm"] / size["length_mm"] * draw(st.floats(0.90, 1.12))
    length = size["length_mm"] * draw(st.floats(0.80, 1.25))
    drawn = {
        "length_mm": length,
        "width_mm": size["width_mm"] * draw(st.floats(0.88, 1.12)),
        "height_mm": size["height_mm"] * draw(st.floats(0.88, 1.20)),
        "wheelbase_mm": length * share,
    }
    doors = draw(st.sampled_from((2, 3) if body == "coupe" else (2, 3, 4, 5)))
    return body, drawn, doors


def shoelace(points: Polygon) -> float:
    """Return the signed area by trapezia, written apart from the package."""
    return -sum(
        (xb - xa) * (yb + ya) / 2
        for (xa, ya), (xb, yb) in zip(points, (*points[1:], points[0]), strict=True)
    )
