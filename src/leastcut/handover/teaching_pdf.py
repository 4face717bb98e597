"""Teaching sheets as a PDF: process cards, and a drill on a section drawn to scale."""

from datetime import datetime

from leastcut.handover.drill import teaching_sheet
from leastcut.handover.records import Dossier
from leastcut.handover.typeset import set_pdf


def make(dossier: Dossier, *, now: datetime) -> bytes:
    """Return one card for every process of the plan and a drill sheet.

    Parameters
    ----------
    dossier : Dossier
        The whole job.
    now : datetime
        Date of the document; the same dossier and date give the same bytes.

    Returns
    -------
    bytes
        A tagged PDF on A4, or on US letter when the dossier's units are US.
    """
    sheet, pictures = teaching_sheet(dossier)
    return set_pdf("teaching", sheet, pictures=pictures, units=dossier.units, now=now)
