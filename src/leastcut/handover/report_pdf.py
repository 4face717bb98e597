"""The client's report as a PDF: what was found, what was or will be done, and why so little."""

from collections.abc import Mapping
from datetime import datetime

from leastcut.handover.album import used
from leastcut.handover.care import Use
from leastcut.handover.charts import film_chart, load_chart
from leastcut.handover.client import report_sheet
from leastcut.handover.drawings import Drawings, draw_film
from leastcut.handover.photos import fit_all
from leastcut.handover.plots import draw_bars, draw_intervals
from leastcut.handover.records import Dossier
from leastcut.handover.truth import read_truth, true_clear
from leastcut.handover.typeset import set_pdf


def make(
    dossier: Dossier,
    *,
    now: datetime,
    truth: Mapping[str, object] | None = None,
    use: Use | None = None,
    photos: Mapping[str, bytes] | None = None,
    drawings: Drawings | None = None,
) -> bytes:
    """Return the client's report.

    Parameters
    ----------
    dossier : Dossier
        The whole job. When no work is recorded yet, the report calls itself a condition report
        and proposal.
    now : datetime
        Date of the document; the same input and date give the same bytes.
    truth : mapping, optional
        The hidden truth of a demonstration: adds a page of found against true. By
        panel id ``{"clear_um": …, "load_mm_per_cm2": …}``, under ``"paint"`` ``{"softness": …}``.
    use : Use, optional
        How the car is washed and kept, for the care sheet.
    photos : mapping, optional
        Photos and overlays by the names that the dossier gives them; those of the inspection and
        of the proof are shown, made small enough for the document to stay below 6 MB.
    drawings : Drawings, optional
        The pattern sheet; drawn from the dossier when left out.

    Returns
    -------
    bytes
        A tagged PDF on A4, or on US letter when the dossier's units are US.

    Raises
    ------
    ReportPhotoError
        If a photo that shall be shown cannot be read.
    """
    car = drawings.car if drawings else draw_film(dossier)
    files = {
        "car.svg": car.encode(),
        "film.svg": draw_intervals(film_chart(dossier)).encode(),
        "loads.svg": draw_bars(load_chart(dossier)).encode(),
    }
    known = read_truth(truth) if truth else None
    if known:
        chart = film_chart(dossier, true_clear(known))
        files["truth.svg"] = draw_intervals(chart).encode()
    fitted = fit_all(used(dossier, photos or {}))
    names = {name: f"photo-{n}.jpg" for n, name in enumerate(fitted)}
    files |= {names[name]: content for name, content in fitted.items()}
    sheet = report_sheet(dossier, truth=known, use=use, photos=names, now=now)
    return set_pdf("report", sheet, pictures=files, units=dossier.units, now=now)
