"""Markup and code typed into every field: kept as words, shown as words, never run."""

from collections.abc import Iterator

import pytest
from door import Desk, desk
from hostile_files import WORDS

from leastcut.shop.facts import NewFact

PAGES = (
    "",
    "/car",
    "/inspect",
    "/inspect/photos",
    "/inspect/readings",
    "/testspot",
    "/plan",
    "/protect",
    "/handover",
    "/work" + "/prove",
    "/work",
)


@pytest.fixture(scope="module")
def poisoned(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A workbench in whose every free text stands markup, put there past all checks of forms."""
    with desk(tmp_path_factory.mktemp("poisoned")) as made:
        for number, words in enumerate(WORDS):
            made.person(f"{words}", "detailer")
            made.key(label=words)
            visit = made.shop.new_visit(
                made.shop.new_car(words, client=words, now_s=1.0), now_s=1.0
            )
            fields = {
                "car.label": words,
                "car.body": "estate",
                "people.client": words,
                "people.detailer": words,
                "car.paint.colour": words,
            }
            facts = [
                NewFact(key=f"k{n}", kind="set", field=f, body=b)
                for n, (f, b) in enumerate(fields.items())
            ]
            facts += [
                NewFact(key="n1", kind="add", field="note", body={"text": words}),
                NewFact(key="n2", kind="add", field="note", body={"text": words, "panel": words}),
                NewFact(
                    key="p1",
                    kind="add",
                    field="process",
                    body={"name": words, "pad": words, "label": words},
                ),
                NewFact(
                    key="r1",
                    kind="add",
                    field="reading",
                    body={"panel": words, "spot": words, "reading_um": 100},
                ),
            ]
            made.shop.append(visit, facts, device=None, person=words, now_s=1.0)
            made.shop.note_summary(visit, words)
            assert visit == made.visit + 1 + number
        yield made


def tags_of(text: str) -> list[str]:
    """Return the elements of a page as a browser's own kind of reader finds them."""
    from html.parser import HTMLParser

    found: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            names = {name for name, _ in attrs}
            links = [value or "" for name, value in attrs if name in {"href", "src", "action"}]
            bad = any(name.startswith("on") for name in names)
            bad = bad or any(
                link.strip().lower().startswith(("javascript:", "data:text")) for link in links
            )
            src = dict(attrs).get("src", "")
            kind = dict(attrs).get("type", "")
            inert = kind in {"application/json", "text/plain"}
            if bad or (tag == "script" and not inert and not (src or "").startswith("/static/")):
                found.append(f"{tag} {attrs}")

    Reader().feed(text)
    return found


def test_the_reader_finds_what_it_looks_for() -> None:
    for words in WORDS[:3]:
        assert tags_of(f"<p>{words}</p><a title='{words}'>") or tags_of(f'<a title="{words}">')
    assert tags_of("<a href='JavaScript:alert(1)'>x</a>")
    assert not tags_of('<script type="module" src="/static/pages/bench.js"></script>')


@pytest.mark.parametrize("number", range(len(WORDS)))
def test_markup_in_every_field_is_shown_as_words(poisoned: Desk, number: int) -> None:
    client = poisoned.paired()
    visit = poisoned.visit + 1 + number
    shown = 0
    for path in PAGES:
        answer = client.get(f"/v/{visit}{path}")
        assert answer.status_code < 500, path
        assert not tags_of(answer.text), path
        shown += answer.status_code == 200
    assert shown >= 8


def test_markup_in_lists(poisoned: Desk) -> None:
    client = poisoned.paired()
    for path in ("/", "/people", "/people/audit", "/?search=%3Cscript%3Ealert(1)%3C/script%3E"):
        answer = client.get(path)
        assert answer.status_code == 200
        assert not tags_of(answer.text), path
    listed = client.get("/").text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in listed
    template = client.get(f"/v/{poisoned.visit + 5}").text
    assert "{{ 7 * 7 }}" in template  # words, not worked out


@pytest.mark.parametrize("words", WORDS)
def test_words_in_the_search_are_words(poisoned: Desk, words: str) -> None:
    client = poisoned.paired()
    answer = client.get("/", params={"search": words})
    assert answer.status_code in {200, 400}
    assert not tags_of(answer.text)
    assert poisoned.shop.cars().total == len(WORDS) + 1


@pytest.mark.parametrize("words", WORDS)
def test_markup_sent_back_with_a_fault_is_words(poisoned: Desk, words: str) -> None:
    client = poisoned.paired()
    for path, form in (
        ("/new", {"key": "k", "label": words, "length": words, "body": words}),
        ("/people/new", {"name": words, "role": words}),
        (
            f"/v/{poisoned.visit}/facts",
            {"key": "k9", "do": "set", "car.length": words, "back": words},
        ),
        (f"/v/{poisoned.visit}/facts", {"key": "k9", "do": words, "list": words, words: words}),
        (
            f"/v/{poisoned.visit}/facts",
            {"key": "k9", "do": "decide", "field": words, "value": words},
        ),
    ):
        answer = client.post(path, data=form, headers={"accept": "text/html"})
        assert 300 <= answer.status_code < 500, (path, answer.status_code)
        assert not tags_of(answer.text), path
        assert words not in answer.headers.get("location", "")
    answer = client.post(
        "/pair", data={"code": words, "label": words}, headers={"accept": "text/html"}
    )
    assert answer.status_code in {403, 422}
    assert not tags_of(answer.text)
