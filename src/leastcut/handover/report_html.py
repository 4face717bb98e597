"""The client's report as one HTML file: works without network, with a before/after slider."""

import base64
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from leastcut.handover.album import used
from leastcut.handover.care import Use
from leastcut.handover.charts import film_chart, load_chart
from leastcut.handover.client import report_sheet
from leastcut.handover.drawings import draw_film
from leastcut.handover.glyphs import FONTS
from leastcut.handover.photos import fit_all
from leastcut.handover.plots import draw_bars, draw_intervals
from leastcut.handover.records import Dossier
from leastcut.handover.typeset import TEMPLATES


def make(
    dossier: Dossier,
    *,
    now: datetime,
    use: Use | None = None,
    photos: Mapping[str, bytes] | None = None,
) -> str:
    """Return the client's report as one HTML document.

    Everything is inside: fonts, drawings, photos; a content policy forbids it to fetch anything.
    The slider is a plain range input, so it works by touch, mouse, arrow keys and screen reader;
    on paper both photos stand side by side.

    Parameters
    ----------
    dossier : Dossier
        The whole job.
    now : datetime
        Date of the document; the same input and date give the same text.
    use : Use, optional
        How the car is washed and kept, for the care sheet.
    photos : mapping, optional
        Photos and overlays by the names that the dossier gives them.

    Raises
    ------
    ReportPhotoError
        If a photo that shall be shown cannot be read.
    """
    from markupsafe import Markup

    fitted = fit_all(used(dossier, photos or {}))
    pictures = {name: _inline(content, "image/jpeg") for name, content in fitted.items()}
    # The drawings are ours, every word in them escaped where they are drawn.
    drawings = {
        "car": Markup(draw_film(dossier)),  # noqa: S704
        "film": Markup(draw_intervals(film_chart(dossier))),  # noqa: S704
        "loads": Markup(draw_bars(load_chart(dossier))),  # noqa: S704
    }
    return str(
        _template().render(
            sheet=report_sheet(dossier, use=use, photos=pictures, now=now),
            drawings=drawings,
            fonts={"regular": _font("400Regular"), "bold": _font("700Bold")},
            made=now.date().isoformat(),
        )
    )


def _template() -> Any:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined
    )
    return environment.get_template("report.html.j2")


def _inline(content: bytes, kind: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"


def _font(weight: str) -> str:
    path = FONTS / f"AtkinsonHyperlegible_{weight}.ttf"
    return base64.b64encode(path.read_bytes()).decode()
