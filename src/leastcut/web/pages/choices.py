"""The words a person picks from, with how they read on a page."""

from collections.abc import Mapping

from leastcut.web.words import mark

Options = tuple[tuple[str, str], ...]

CHOICES: Mapping[str, Options] = {
    "car.body": (
        ("two-box", mark("Hatchback")),
        ("three-box", mark("Saloon")),
        ("estate", mark("Estate")),
        ("suv", mark("SUV")),
        ("coupe", mark("Coupé")),
        ("pickup", mark("Pickup")),
        ("van", mark("Van")),
    ),
    "car.material": (
        ("steel", mark("Steel")),
        ("aluminium", mark("Aluminium")),
        ("composite", mark("Composite")),
        ("plastic", mark("Plastic")),
        ("unknown", mark("Not known")),
    ),
    "car.paint.system": (
        ("clear-over-base", mark("Clear over colour")),
        ("single-stage", mark("Colour without clear")),
        ("matt", mark("Matt")),
        ("unknown", mark("Not known")),
    ),
    "car.paint.shade": (
        ("dark", mark("Dark")),
        ("medium", mark("Medium")),
        ("light", mark("Light")),
        ("unknown", mark("Not known")),
    ),
    "car.paint.history": (
        ("factory", mark("Factory paint")),
        ("repainted", mark("Repainted somewhere")),
        ("unknown", mark("Not known")),
    ),
    "target.finish": (
        ("daily", mark("Daily driver: 85 % of the scratches gone")),
        ("show", mark("Show car: 95 % gone")),
    ),
    "wash.washed": (
        ("unwashed", mark("Not washed")),
        ("rinsed", mark("Only rinsed")),
        ("washed", mark("Washed by hand")),
    ),
    "wash.feel": (
        ("not-felt", mark("Not felt yet")),
        ("rough", mark("Rough")),
        ("smooth", mark("Smooth as glass")),
    ),
    "wash.tar_or_iron": (("no", mark("None seen")), ("yes", mark("Some seen"))),
    "wash.dry": (("no", mark("Not yet")), ("yes", mark("Dry and bare"))),
    "pad": (
        ("foam-finishing", mark("Finishing foam")),
        ("foam-polishing", mark("Polishing foam")),
        ("foam-cutting", mark("Cutting foam")),
        ("microfibre", mark("Microfibre")),
        ("wool", mark("Wool")),
    ),
    "liquid": (
        ("finishing", mark("Finishing liquid")),
        ("medium", mark("Medium liquid")),
        ("heavy", mark("Heavy liquid")),
    ),
    "verdict": (
        ("clean", mark("Clean")),
        ("some-left", mark("Some left")),
        ("hazy", mark("Hazy")),
        ("unchanged", mark("Unchanged")),
    ),
    "protect.product": (
        ("wax", mark("Wax")),
        ("sealant", mark("Sealant")),
        ("coating", mark("Coating")),
        ("film", mark("Film")),
    ),
    "room.outdoors": (("no", mark("Indoors")), ("yes", mark("Outdoors"))),
    "film.state": (
        ("factory", mark("Factory paint")),
        ("repainted", mark("Repainted")),
        ("filled", mark("Filler below")),
        ("thin", mark("Thin")),
        ("unmeasured", mark("Not measured")),
        ("unreadable", mark("Not readable")),
    ),
    "layer": (("total", mark("All layers together")), ("clear", mark("Clear coat alone"))),
    "since": (
        ("trial", mark("Just before this trial")),
        ("spot", mark("Before anything was done here")),
    ),
}


def worded(field: str, value: str) -> str:
    """Return how a word of a field reads, in English."""
    return dict(CHOICES[field]).get(value, value)
