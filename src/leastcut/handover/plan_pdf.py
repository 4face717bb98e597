"""The correction plan as a PDF that a person tapes to the wall."""

from datetime import datetime

from leastcut.handover import typeset
from leastcut.handover.drawings import Drawings, draw
from leastcut.handover.records import Dossier
from leastcut.handover.typeset import Manuscript
from leastcut.handover.wall import panel_file, plan_sheet


def make(dossier: Dossier, *, now: datetime, drawings: Drawings | None = None) -> bytes:
    """Return the plan: the car with its order of work, then one page for each panel.

    Parameters
    ----------
    dossier : Dossier
        The whole job.
    now : datetime
        Date of the document; the same dossier and date give the same bytes.
    drawings : Drawings, optional
        The pattern sheet and the panels; drawn from the dossier when left out.

    Returns
    -------
    bytes
        A tagged PDF on A4, or on US letter when the dossier's units are US.
    """
    return manuscript(dossier, now=now, drawings=drawings).set()


def manuscript(dossier: Dossier, *, now: datetime, drawings: Drawings | None = None) -> Manuscript:
    """Return the plan ready to be set; the parameters are those of :func:`make`."""
    pictures = drawings or draw(dossier)
    files = {"car.svg": pictures.car.encode()}
    for index, panel in enumerate(dossier.car.panels):
        files[panel_file(index)] = pictures.panels[panel.id].encode()
    sheet = plan_sheet(dossier)
    return typeset.manuscript("plan", sheet, pictures=files, units=dossier.units, now=now)
