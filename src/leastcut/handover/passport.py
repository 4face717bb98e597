"""The car passport: a car's whole history in one record, ready to go with the car.

Every visit's dossier stands in it as it was, the ledger over all visits, and photos by name. What
says who owns the car and where it lives is kept apart in :class:`Personal`, so that one step can
take it out (:mod:`leastcut.handover.privacy`).
"""

from collections.abc import Mapping

import msgspec

from leastcut.handover.ledger import Ledger, LedgerError, merge
from leastcut.handover.records import Dossier
from leastcut.handover.visits import visit

FORMAT = 1


class Personal(msgspec.Struct, frozen=True, kw_only=True):
    """Who owns the car and how to recognise it; any may be empty."""

    client: str = ""
    plate: str = ""
    location: str = ""
    contact: str = ""


class PhotoRef(msgspec.Struct, frozen=True, kw_only=True):
    """One photo in the passport: its name there, its panel, its date, what it shows."""

    name: str
    panel: str
    when: str
    shows: str = ""


class PassportVisit(msgspec.Struct, frozen=True, kw_only=True):
    """One visit as it was."""

    when: str
    dossier: Dossier


class Passport(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A car's whole history; visits in order of time."""

    leastcut_passport: int = FORMAT
    car: str
    personal: Personal = Personal()
    visits: tuple[PassportVisit, ...] = ()
    ledger: Ledger
    photos: tuple[PhotoRef, ...] = ()
    personal_removed: bool = False


Photos = Mapping[str, bytes]


def new_passport(car: str, *, personal: Personal = Personal()) -> Passport:  # noqa: B008
    """Return a passport without visits for a car's label."""
    return Passport(car=car, personal=personal, ledger=Ledger(car=car))


def add_visit(
    passport: Passport, dossier: Dossier, *, when: str, photos: Photos | None = None
) -> tuple[Passport, dict[str, bytes]]:
    """Return the passport with one more visit, and its photos under their names in the passport.

    Parameters
    ----------
    passport : Passport
        The car's passport so far.
    dossier : Dossier
        What the visit found and decided.
    when : str
        ISO date of the visit; a visit on a date that is already there replaces it.
    photos : mapping, optional
        Photo file as named in the dossier to its content. Photos of a panel are renamed: a file
        name may say whose car it is.

    Raises
    ------
    LedgerError
        If the dossier is of another car or `when` is no date.
    """
    if dossier.car.label != passport.car:
        raise LedgerError(
            f"the job is of the car {dossier.car.label!r}, the passport of {passport.car!r}",
            where="passport",
            do="Keep one passport for each car; give the car the same label at every visit",
        )
    book = merge(passport.ledger, visit(dossier, when=when))
    refs, contents = _photos(dossier, when, photos or {})
    kept = [one for one in passport.visits if one.when != when]
    kept.append(PassportVisit(when=when, dossier=dossier))
    return (
        msgspec.structs.replace(
            passport,
            visits=tuple(sorted(kept, key=lambda one: one.when)),
            ledger=book,
            photos=(*(ref for ref in passport.photos if ref.when != when), *refs),
        ),
        contents,
    )


def _photos(dossier: Dossier, when: str, photos: Photos) -> tuple[list[PhotoRef], dict[str, bytes]]:
    panels = {one.photo: one.panel for one in dossier.photos}
    refs, contents = [], {}
    for n, (file, content) in enumerate(sorted(photos.items()), 1):
        name = f"{when[:10]}-{n:03d}{_suffix(content)}"
        refs.append(PhotoRef(name=name, panel=panels.get(file, ""), when=when))
        contents[name] = content
    return refs, contents


def _suffix(content: bytes) -> str:
    """Return the file ending that a picture's first bytes call for."""
    if content[:3] == b"\xff\xd8\xff":
        return ".jpg"
    if content[:8] == b"\x89PNG\r\n\x1a\n":
        return ".png"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return ".webp"
    return ".bin"
