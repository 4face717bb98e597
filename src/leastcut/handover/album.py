"""Which photos a report shows, in which order, with which words. Pure."""

from collections.abc import Container, Iterator, Mapping

import msgspec

from leastcut.handover import words
from leastcut.handover.records import Dossier, PanelProof, PhotoFinding
from leastcut.handover.wall import panel_names


class Pair(msgspec.Struct, frozen=True, kw_only=True):
    """One place before and after: names of the two photos, and what they prove."""

    panel: str
    before: str
    after: str
    caption: str


class Shot(msgspec.Struct, frozen=True, kw_only=True):
    """One photo with its words."""

    panel: str
    photo: str
    caption: str


def pairs(dossier: Dossier, photos: Container[str]) -> tuple[Pair, ...]:
    """Return the proofs whose two photos are at hand."""
    return tuple(_pairs(dossier, photos))


def _pairs(dossier: Dossier, photos: Container[str]) -> Iterator[Pair]:
    names = panel_names(dossier)
    for proof in dossier.proofs:
        before, after = proof.photo_before, proof.photo_after
        if before in photos and after in photos:
            assert before is not None
            assert after is not None
            panel = names.get(proof.panel, proof.panel)
            yield Pair(panel=panel, before=before, after=after, caption=proof_words(proof))


def proof_words(proof: PanelProof) -> str:
    """Return what a proof says, with its bounds."""
    before, after = proof.before_mm_per_cm2, proof.after_mm_per_cm2
    if before is None or after is None:
        return "not judged." if proof.refused is None else f"not judged: {proof.refused.why}."
    said = (
        f"{words.load(before.mean)} ({words.load_between(before)}) before, "
        f"{words.load(after.mean)} ({words.load_between(after)}) after"
    )
    if proof.removed is None:
        return f"{said}."
    low = words.percent(proof.removed.low).split(words.NBSP)[0]
    gone = f"{words.percent(proof.removed.mean)} ({low} to {words.percent(proof.removed.high)})"
    asked = "" if proof.required is None else f"; {words.percent(proof.required)} was promised"
    return f"{said}; {gone} of the scratches are gone{asked}."


def shots(dossier: Dossier, photos: Container[str]) -> tuple[Shot, ...]:
    """Return the photos of the inspection that are at hand, the marked copy before the plain one."""
    names = panel_names(dossier)
    found = []
    for one in dossier.photos:
        file = next((f for f in (one.overlay, one.photo) if f is not None and f in photos), None)
        if file is not None:
            panel = names.get(one.panel, one.panel)
            found.append(Shot(panel=panel, photo=file, caption=_seen(one)))
    return tuple(found)


def _seen(one: PhotoFinding) -> str:
    finding = one.finding
    if finding.refused is not None:
        return f"not judged: {finding.refused.why}"
    if finding.load_mm_per_cm2 is None:
        return "no scale"
    low, high = finding.load_low, finding.load_high
    bounds = (
        f" ({words.load(low)}–{words.load(high)})" if low is not None and high is not None else ""
    )
    return f"{words.load(finding.load_mm_per_cm2)}{bounds}{words.NBSP}mm/cm²"


def used(dossier: Dossier, photos: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return only the photos that a report shows."""
    names = {one.photo for one in shots(dossier, photos)}
    for pair in pairs(dossier, photos):
        names |= {pair.before, pair.after}
    return {name: photos[name] for name in photos if name in names}
