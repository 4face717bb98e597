"""The shop's dossier as a PDF: all evidence, all sections, the ledger's balance."""

from datetime import datetime

from leastcut.handover.charts import cut_chart
from leastcut.handover.ledger import Ledger
from leastcut.handover.plots import draw_bars
from leastcut.handover.records import Dossier
from leastcut.handover.shop_sheet import cut_file, shop_sheet
from leastcut.handover.typeset import set_pdf
from leastcut.handover.wall import panels_in_order


def make(dossier: Dossier, *, now: datetime, ledger: Ledger | None = None) -> bytes:
    """Return the shop's dossier: what stands behind the plan and the client's report.

    Parameters
    ----------
    dossier : Dossier
        The whole job.
    now : datetime
        Date of the document; the same input and date give the same bytes.
    ledger : Ledger, optional
        The car's ledger: adds the balance of every panel.

    Returns
    -------
    bytes
        A tagged PDF on A4, or on US letter when the dossier's units are US.
    """
    sheet = shop_sheet(dossier, ledger)
    pictures = {
        cut_file(n): draw_bars(cut_chart(dossier, panel.id), width_mm=150.0).encode()
        for n, panel in enumerate(panels_in_order(dossier), 1)
    }
    return set_pdf("dossier", sheet, pictures=pictures, units=dossier.units, now=now)
