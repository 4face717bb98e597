"""Take a person out of a car's passport in one step.

The named fields are emptied; every other text is searched for the client's name (whole and word by
word), the plate (with or without its gaps), the place and the contact, in any letter case, with or without
accents; photos lose everything but the picture. What a photo *shows* no program can promise:
a plate in view stays in view, so photos are left out unless asked for.
"""

import re
import unicodedata
from collections.abc import Callable, Iterable
from functools import cache
from typing import Any

import msgspec

from leastcut.errors import Problem
from leastcut.handover.passport import Passport, Personal, Photos
from leastcut.handover.passport_file import schema
from leastcut.handover.picture_data import PictureDataError, bare

GONE = "[removed]"
_SHORTEST_WORD = 3


def without_person(
    passport: Passport, photos: Photos, *, keep_photos: bool = False
) -> tuple[Passport, dict[str, bytes], tuple[Problem, ...]]:
    """Return the passport and its photos without personal data, and what a person must look at.

    Parameters
    ----------
    passport : Passport
        As it is.
    photos : mapping
        Its photos by name.
    keep_photos : bool
        Keep the photos, stripped of all hidden data. Somebody must look whether a plate, a face or
        a house shows in them.

    Returns
    -------
    tuple
        The passport, the photos kept, and one problem for every photo that was left out although
        it was asked for, and one reminder to look at those kept.
    """
    erase = _eraser(_secrets(passport), spared(passport))
    plain = msgspec.to_builtins(passport)
    plain = _mapped(plain, erase)
    plain |= {"personal": msgspec.to_builtins(Personal()), "personal_removed": True}
    for visit in plain["visits"]:
        visit["dossier"]["people"]["client"] = ""
    kept, problems = _bare_photos(photos) if keep_photos else ({}, ())
    plain["photos"] = [ref for ref in plain["photos"] if ref["name"] in kept]
    return msgspec.convert(plain, Passport), kept, problems


def _secrets(passport: Passport) -> list[str]:
    personal = passport.personal
    clients = [personal.client, *(one.dossier.people.client for one in passport.visits)]
    return [*clients, personal.location, personal.contact, personal.plate]


def _bare_photos(photos: Photos) -> tuple[dict[str, bytes], tuple[Problem, ...]]:
    kept, problems = {}, []
    for name, content in photos.items():
        try:
            kept[name] = bare(content, where=name)
        except PictureDataError as error:
            problems.append(error.problem())
    if kept:
        problems.append(
            Problem(
                where="photos",
                what=f"{len(kept)} photos are kept and may show a plate, a face or a house",
                do="Look at each before you hand the passport on",
            )
        )
    return kept, tuple(problems)


def spared(passport: Passport) -> frozenset[str]:
    """Return the words that single words of a name never erase: vocabulary and ids of the records."""
    ids = {panel.id for one in passport.visits for panel in one.dossier.car.panels}
    return frozenset({word.casefold() for word in {*ids, *_vocabulary()}})


@cache
def _vocabulary() -> frozenset[str]:
    """Return every word that a field of the record may only choose from."""
    found: set[str] = set()
    queue: list[Any] = [schema()]
    while queue:
        part = queue.pop()
        if isinstance(part, dict):
            found.update(word for word in part.get("enum", ()) if isinstance(word, str))
            queue.extend(part.values())
        elif isinstance(part, list):
            queue.extend(part)
    return frozenset(found)


def _eraser(secrets: Iterable[str], kept: frozenset[str]) -> Callable[[str], str]:
    """Return a function that takes the secrets out of a text."""
    patterns = sorted({p for s in secrets if s.strip() for p in _patterns(s, kept)}, key=len)
    if not patterns:
        return lambda text: text
    finder = re.compile("|".join(reversed(patterns)), re.IGNORECASE)

    def erase(text: str) -> str:
        if text.casefold() in kept:
            return text
        for form in (unicodedata.normalize("NFC", text), _unaccented(text)):
            if finder.search(form):
                return finder.sub(GONE, form)
        return text

    return erase


def _patterns(secret: str, kept: frozenset[str]) -> Iterable[str]:
    """Yield patterns for a secret: the whole of it with any gaps, and each of its words."""
    for form in _forms(secret):
        signs = [re.escape(c) for c in form if c.isalnum()]
        if len(signs) >= _SHORTEST_WORD:
            yield r"(?<!\w)" + r"[\W_]*".join(signs) + r"(?!\w)"
        for word in re.findall(r"\w+", form):
            if _telling(word) and word.casefold() not in kept:
                yield rf"(?<!\w){re.escape(word)}(?!\w)"


def _telling(word: str) -> bool:
    """Return whether a word alone says who: long enough, and no short number such as a year."""
    return len(word) >= _SHORTEST_WORD and not (word.isdigit() and len(word) <= 4)


def _forms(secret: str) -> set[str]:
    """Return a secret as written and without its accents."""
    return {unicodedata.normalize("NFC", secret), _unaccented(secret)}


def _unaccented(text: str) -> str:
    parts = unicodedata.normalize("NFKD", text)
    return "".join(c for c in parts if not unicodedata.combining(c))


def _mapped(value: Any, change: Callable[[str], str]) -> Any:
    """Return plain data with every text value changed; keys stay."""
    match value:
        case str():
            return change(value)
        case dict():
            return {key: _mapped(part, change) for key, part in value.items()}
        case list() | tuple():
            return [_mapped(part, change) for part in value]
        case _:
            return value
