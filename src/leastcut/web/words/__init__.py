"""Every word on the pages in the reader's language, from one catalogue (``words.toml``).

The key is the English text itself. ``{name}`` stands for a value; a text with ``|`` has a form for
one and a form for more, chosen by the value ``n``. Sentences that the core made are translated by
the same entries read as patterns: what stands at a placeholder is translated in its turn.
"""

import re
import tomllib
from collections.abc import Mapping
from functools import cache, lru_cache
from importlib.resources import files
from typing import Literal, cast

Language = Literal["en", "es"]
LANGUAGES: Mapping[Language, str] = {"en": "English", "es": "Español"}

# How two names are joined.
_AND = {"es": " y "}
# What may stand between parts that are translated one by one.
_BETWEEN = ((". ", ". "), ("; ", "; "), (", ", ", "), (" × ", " × "))
_HOLE = re.compile(r"\{(\w+)\}")


@cache
def catalogue() -> Mapping[str, Mapping[str, str]]:
    """Return the catalogue: English text to its translations by language."""
    text = (files(__package__) / "words.toml").read_text("utf-8")
    return cast("dict[str, dict[str, str]]", tomllib.loads(text))


def mark(text: str) -> str:
    """Return a text as it is: it stands in the catalogue and is translated where it is shown."""
    return text


def say(lang: str, text: str, **values: object) -> str:
    """Return a text of ours in the reader's language, with its values filled in.

    Parameters
    ----------
    lang : str
        One of `LANGUAGES`; any other is read as English.
    text : str
        The English text, as it stands in the catalogue.
    **values
        For the placeholders; ``n`` also chooses between the forms for one and for more.

    Examples
    --------
    >>> say("es", "Next")
    'Lo siguiente'
    >>> say("en", "{n} photo|{n} photos", n=2)
    '2 photos'
    """
    found = catalogue().get(text, {}).get(lang, text) if lang != "en" else text
    one, _, more = found.partition("|")
    chosen = one if not more or values.get("n") == 1 else more
    return _HOLE.sub(lambda m: str(values.get(m[1], m[0])), chosen)


@lru_cache(8192)
def told(lang: str, sentence: str) -> str:
    """Return a sentence that the core made in the reader's language, as far as it is known.

    Parameters
    ----------
    lang : str
        One of `LANGUAGES`.
    sentence : str
        The English sentence; returned as it is where the catalogue has nothing like it.
    """
    if lang not in _AND or not sentence:
        return sentence
    exact = catalogue().get(sentence)
    if exact is not None:
        return exact.get(lang, sentence)
    for pattern, english in _patterns():
        if found := pattern.fullmatch(sentence):
            parts = {name: told(lang, part) for name, part in found.groupdict().items()}
            return say(lang, english, **parts)
    for between, joined in (*_BETWEEN, (" and ", _AND[lang])):
        pieces = sentence.split(between)
        if len(pieces) > 1 and (between != " and " or all(one in catalogue() for one in pieces)):
            return joined.join(told(lang, one) for one in pieces)
    return sentence


@cache
def _patterns() -> tuple[tuple[re.Pattern[str], str], ...]:
    """Return the entries with placeholders as patterns, those with most text of their own first."""
    holed = [text for text in catalogue() if _HOLE.search(text) and "|" not in text]
    holed.sort(key=lambda text: -len(_HOLE.sub("", text)))
    return tuple((_pattern(text), text) for text in holed if len(_HOLE.sub("", text).strip()) > 2)


def _pattern(text: str) -> re.Pattern[str]:
    pieces = _HOLE.split(text)
    written = "".join(
        f"(?P<{piece}>.+?)" if number % 2 else re.escape(piece)
        for number, piece in enumerate(pieces)
    )
    return re.compile(written, re.DOTALL)
