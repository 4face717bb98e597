"""The client's report as one HTML file: works without network, with a before/after slider."""

import base64
from collections.abc import Mapping, Sequence
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
    return _template().render(
        sheet=report_sheet(dossier, use=use, photos=pictures),
        drawings=drawings,
        fonts={"regular": _font("400Regular"), "bold": _font("700Bold")},
        table=_table,
        made=now.date().isoformat(),
    )


def _template() -> Any:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined
    )
    return environment.get_template("report.html.j2")


def _table(
    caption: str, head: Sequence[str], rows: Sequence[Sequence[str]], numbers: Sequence[int]
) -> Any:
    """Return a table whose columns in `numbers` are set to the right."""
    from markupsafe import Markup, escape

    def cell(tag: str, i: int, words: str) -> Markup:
        side = Markup(' class="num"') if i in numbers else Markup("")
        scope = Markup(' scope="col"') if tag == "th" else Markup("")
        return Markup("<{t}{side}{scope}>{w}</{t}>").format(
            t=Markup(tag), side=side, scope=scope, w=words
        )

    top = Markup("").join(cell("th", i, words) for i, words in enumerate(head))
    body = Markup("").join(
        Markup("<tr>{}</tr>").format(
            Markup("").join(cell("td", i, words) for i, words in enumerate(row))
        )
        for row in rows
    )
    return Markup(
        '<div class="scroll" tabindex="0" role="region" aria-label="{}"><table>'
        "<thead><tr>{}</tr></thead><tbody>{}</tbody></table></div>"
    ).format(escape(caption), top, body)


def _inline(content: bytes, kind: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"


def _font(weight: str) -> str:
    path = FONTS / f"AtkinsonHyperlegible_{weight}.ttf"
    return base64.b64encode(path.read_bytes()).decode()
