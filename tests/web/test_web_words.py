"""Every word on the pages stands in one catalogue, in English and Spanish."""

import re
import tomllib

import msgids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.car.bodies import DEFAULTS, build
from leastcut.shop.access import Access
from leastcut.web import words

HOLE = re.compile(r"\{(\w+)\}")
FOUND = msgids.every()


@pytest.mark.parametrize("language", [lang for lang in words.LANGUAGES if lang != "en"])
def test_every_text_is_in_the_catalogue(language: str) -> None:
    catalogue = words.catalogue()
    lacking = {
        text: place for text, place in FOUND.items() if language not in catalogue.get(text, {})
    }
    assert not lacking


def test_the_finder_finds_texts_in_templates_code_and_scripts() -> None:
    assert len(FOUND) > 500
    assert FOUND["Send the photo"] == "photos.html"
    assert FOUND["Largest cut planned on a section of the panel."] == "drawings.py"
    assert "The gauge was not checked: its error is taken wide." in FOUND, "both of a choice"


def test_translations_keep_holes_and_forms() -> None:
    for text, translated in words.catalogue().items():
        for said in translated.values():
            assert said.strip(), text
            assert set(HOLE.findall(said)) == set(HOLE.findall(text)), text
            assert said.count("|") == text.count("|"), text


def test_the_catalogue_is_plain_toml_without_a_text_twice() -> None:
    text = (msgids.WEB / "words" / "words.toml").read_text("utf-8")
    assert tomllib.loads(text) == words.catalogue()
    heads = re.findall(r"^\[(.*)\]$", text, re.MULTILINE)
    assert len(heads) == len(set(heads))


def test_one_and_more() -> None:
    assert words.say("es", "{n} photo|{n} photos", n=1) == "1 foto"
    assert words.say("es", "{n} photo|{n} photos", n=0) == "0 fotos"
    assert words.say("fr", "{n} photo|{n} photos", n=2) == "2 photos", "an unknown language"


def test_panel_names_and_sentences_of_the_core_are_translated() -> None:
    for body, size in DEFAULTS.items():
        made = build(
            body,
            length_mm=size.length_mm,
            width_mm=size.width_mm,
            height_mm=size.height_mm,
            wheelbase_mm=size.wheelbase_mm,
        )
        for panel in made:
            assert words.told("es", panel.name) != panel.name
    assert (
        words.told("es", "no photo of Roof, Left sill")
        == "ninguna foto de Techo, Estribo izquierdo"
    )
    assert (
        words.told("es", "the surface is 8.2 °C above the dew point, humidity 55 %")
        == "la superficie está 8.2 °C por encima del punto de rocío, humedad 55 %"
    )


@given(st.text(max_size=60))
def test_whatever_is_said_comes_back_as_text(sentence: str) -> None:
    assert words.told("en", sentence) == sentence
    assert isinstance(words.told("es", sentence), str)


def test_values_are_never_read_as_holes() -> None:
    assert words.say("en", "drawn {size}", size="{other}", other="x") == "drawn {other}"


def test_the_pages_in_spanish(phone, workbench) -> None:  # noqa: ANN001
    phone.context.add_cookies([{"name": "lang", "value": "es", "url": workbench.address}])
    phone.goto(f"{workbench.here}/panel/bonnet")
    assert phone.locator("html").get_attribute("lang") == "es"
    assert phone.locator("h1").inner_text() == "Capó"
    assert "¿Cómo se sabe?" in phone.locator("main").inner_text()
    phone.goto(f"{workbench.here}/plan")
    shown = phone.locator("main").inner_text()
    for english in ("of the scratches", "clear coat", "Section ", "Keep it"):
        assert english not in shown


def test_units_as_the_reader_likes_them(phone, workbench) -> None:  # noqa: ANN001
    phone.goto(f"{workbench.address}/settings")
    phone.get_by_label("mil, in, °F").check(force=True)
    phone.get_by_label("Dark", exact=True).check(force=True)
    with phone.expect_navigation():
        phone.get_by_role("button", name="Keep it").tap()
    assert phone.locator("html").get_attribute("data-theme") == "dark"
    phone.goto(f"{workbench.here}/panel/bonnet")
    shown = phone.locator("dl.figures").nth(1).inner_text()
    access = Access(workbench.shop.database)
    access.choose(access.owner(now_s=0.0), lang="", units="")  # as it was for the other tests
    assert "mil" in shown
    assert "µm" not in shown
