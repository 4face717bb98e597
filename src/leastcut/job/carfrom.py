"""From the job file's tables to a car with its panels; outlines typed by the user take over."""

from collections.abc import Mapping
from typing import Any

import msgspec

from leastcut.car import bodies, outline
from leastcut.car.records import Car, Paint, Panel
from leastcut.errors import InputError
from leastcut.shop.jobschema import JobFile, PanelTable


class PanelTableError(InputError):
    """A panel table that does not fit the car; `number` counts the tables from 0."""

    def __init__(self, error: InputError, number: int) -> None:
        super().__init__(error.what, where=error.where, do=error.do)
        self.number = number


def car_of(job: JobFile, outlines: Mapping[str, Any]) -> Car:
    """Return the car that a job file describes.

    Parameters
    ----------
    job : JobFile
        The job file.
    outlines : mapping of str to object
        Decoded JSON of each ``outline_file`` that the job file names.

    Returns
    -------
    Car
        Panels in the body's order, panels of the user's own last, skipped ones left out.

    Raises
    ------
    InputError
        If dimensions cannot be; a `PanelTableError` if a panel table or its outline cannot.
    """
    table = job.car
    usual = bodies.DEFAULTS[table.body]
    size = {
        "length_mm": float(table.length_mm or usual.length_mm),
        "width_mm": float(table.width_mm or usual.width_mm),
        "height_mm": float(table.height_mm or usual.height_mm),
        "wheelbase_mm": float(table.wheelbase_mm or usual.wheelbase_mm),
    }
    panels = bodies.build(
        table.body,
        **size,
        doors=table.doors,
        material=table.material,
        materials=table.materials,
    )
    return Car(
        label=table.label,
        body=table.body,
        panels=_corrected(panels, job.panel, outlines),
        paint=Paint(
            system=table.paint.system,
            shade=table.paint.shade,
            history=table.paint.history,
            label=table.paint.label,
        ),
        year=table.year,
        **size,
    )


def _corrected(
    panels: tuple[Panel, ...], tables: tuple[PanelTable, ...], outlines: Mapping[str, Any]
) -> tuple[Panel, ...]:
    by_id = {panel.id: panel for panel in panels}
    for number, table in enumerate(tables):
        try:
            if table.skip:
                by_id.pop(table.id, None)
            else:
                by_id[table.id] = _panel(by_id.get(table.id), table, outlines)
        except InputError as error:
            raise PanelTableError(error, number) from None
    return tuple(by_id.values())


def _panel(known: Panel | None, table: PanelTable, outlines: Mapping[str, Any]) -> Panel:
    points = table.outline_mm
    own: dict[str, Any] = {}
    if table.outline_file is not None:
        own = {"id": table.id, **outlines[table.outline_file]}
    elif points is not None:
        own = {"id": table.id, "outline_mm": points}
    if own:
        side = table.side or (known.side if known else None)
        facing = table.facing or (known.facing if known else None)
        if side is None or facing is None:
            raise InputError(
                "a panel that the body does not have",
                do="Write its side (left, right, centre) and facing (top, side, front, rear)",
            )
        own = {"side": side, "facing": facing, "name": table.id.replace("-", " "), **own}
        known = outline.panel_from_dict(own, where="outline")
    if known is None:
        raise InputError(
            "this body has no such panel", do="Correct the id, or give it an outline of its own"
        )
    if table.width_mm or table.height_mm:
        known = bodies.refine(known, width_mm=table.width_mm, height_mm=table.height_mm)
    return msgspec.structs.replace(known, material=table.material or known.material)
