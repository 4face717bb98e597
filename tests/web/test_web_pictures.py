"""Drawings and documents of the pages: made once, in the reader's language and units, quotes exact."""

import io
import xml.etree.ElementTree as ET
from datetime import UTC, datetime

import httpx2
import msgspec
import pypdfium2
import pytest

from leastcut.car.bodies import DEFAULTS
from leastcut.handover import quote_pdf
from leastcut.handover.records import Dossier
from leastcut.job.settle import read
from leastcut.web.pages.drawings import kept, silhouette

SVG = "{http://www.w3.org/2000/svg}"
DAY = datetime(2026, 3, 12, tzinfo=UTC)


class Shelf:
    """Keeps pictures as the shop does."""

    def __init__(self) -> None:
        self.held: dict[str, bytes] = {}

    def picture(self, key: str) -> bytes | None:
        return self.held.get(key)

    def put_picture(self, key: str, body: bytes) -> None:
        self.held[key] = body


def test_a_drawing_is_made_once_for_the_same_parts() -> None:
    shelf, made = Shelf(), []

    def make() -> str:
        made.append(1)
        return "<svg/>"

    for parts in (("a", 1), ("a", 1), ("a", 2)):
        assert kept(shelf, "sheet", parts, make) == "<svg/>"
    assert len(made) == len(shelf.held) == 2


@pytest.mark.parametrize("body", DEFAULTS)
def test_every_body_has_a_silhouette_of_its_own(body: str) -> None:
    drawn = silhouette(body)  # type: ignore[arg-type]
    assert drawn.startswith("M")
    assert drawn.endswith("Z")
    others = {silhouette(other) for other in DEFAULTS if other != body}
    assert drawn not in others


@pytest.fixture(scope="module")
def dossier(workbench) -> Dossier:  # noqa: ANN001
    stored = workbench.shop.dossier(workbench.visit)
    assert stored is not None
    return read(stored[1])


def words_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(io.BytesIO(pdf))
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def test_the_quote_says_what_the_plan_says(dossier: Dossier) -> None:
    said = words_of(quote_pdf.make(dossier, now=DAY)).replace("\xa0", " ")
    price = dossier.plan.price
    assert price is not None
    for amount in (price.net, price.tax, price.total):
        assert f"{amount} EUR" in said
    assert dossier.car.label in said
    assert f"{dossier.plan.minutes.p80 / 60:.1f} h" in said
    assert len(pypdfium2.PdfDocument(io.BytesIO(quote_pdf.make(dossier, now=DAY)))) == 1


def test_the_same_quote_is_the_same_bytes(dossier: Dossier) -> None:
    assert quote_pdf.make(dossier, now=DAY) == quote_pdf.make(dossier, now=DAY)


def test_no_price_no_quote(dossier: Dossier) -> None:
    bare = msgspec.structs.replace(dossier, plan=msgspec.structs.replace(dossier.plan, price=None))
    with pytest.raises(quote_pdf.QuoteError, match="no prices"):
        quote_pdf.make(bare, now=DAY)


def test_the_sheet_in_another_language_and_other_units(workbench) -> None:  # noqa: ANN001
    cookies = {"leastcut_device": workbench.key}
    with httpx2.Client(base_url=workbench.address, cookies=cookies) as client:
        path = f"/v/{workbench.visit}/sheet.svg"
        english = ET.fromstring(client.get(path).text)
        client.cookies.set("lang", "es")
        client.cookies.set("units", "us")
        spanish = ET.fromstring(client.get(path).text)
        drawn = client.get("/draw/suv.svg?length=4.9%20m").text
    told = {e.text for e in english.iter(f"{SVG}text")}
    assert "Bonnet" in told
    assert "Capó" in {e.text for e in spanish.iter(f"{SVG}text")}
    assert ET.fromstring(drawn).get("role") == "img", "no links in a picture"


def test_a_body_that_cannot_be_is_drawn_as_typical(workbench) -> None:  # noqa: ANN001
    cookies = {"leastcut_device": workbench.key}
    with httpx2.Client(base_url=workbench.address, cookies=cookies) as client:
        odd = client.get("/draw/suv.svg?length=4.9%20parsec")
        typical = client.get("/draw/suv.svg")
        assert odd.status_code == typical.status_code == 200
        assert odd.text == typical.text
        assert client.get("/draw/boat.svg").status_code == 404
