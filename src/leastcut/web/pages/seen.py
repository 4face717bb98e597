"""What was found in a visit's photos so far, each as soon as it is there."""

from collections.abc import Mapping
from typing import Any

import msgspec

from leastcut.errors import Problem, Refusal
from leastcut.inspect.records import ScratchFinding
from leastcut.job.look import Look as Asked
from leastcut.job.look import Seen, key, looks
from leastcut.job.settle import picture_key
from leastcut.web.pages.visit import Look
from leastcut.web.reply import Reader
from leastcut.web.words import mark


class Shot(msgspec.Struct, frozen=True, kw_only=True):
    """One photo, or one pair of photos, with what was found in it; `seen` is None until then."""

    item: str
    fields: Mapping[str, Any]
    seen: Seen | None
    pictures: tuple[str, ...]

    @property
    def finding(self) -> ScratchFinding | None:
        """What was found in the (last) photo."""
        return self.seen.found[-1] if self.seen and self.seen.found else None

    @property
    def trouble(self) -> Problem | Refusal | None:
        """Why it cannot be judged, if it cannot."""
        if self.seen is None:
            return None
        if self.seen.error is not None:
            return self.seen.error
        if self.seen.compared is not None:
            return self.seen.compared.refused
        return self.finding.refused if self.finding else None


def shots(shop: Any, found: Look, kind: str) -> list[Shot]:
    """Return the photos, trials or proofs of a visit in their order, newest first.

    Parameters
    ----------
    shop : Shop
        Keeps the findings.
    found : Look
        The visit.
    kind : {"photo", "trial", "proof"}
        Which of them.
    """
    if found.job is None:
        return []
    asked = {one.number: one for one in looks(found.job) if one.kind == kind}
    keys = found.now.order.get(kind, ())
    items = found.items(kind)
    made = [_shot(shop, kind, name, items[name], asked.get(n)) for n, name in enumerate(keys)]
    return made[::-1]


def _shot(shop: Any, kind: str, name: str, fields: Mapping[str, Any], asked: Asked | None) -> Shot:
    body = None if asked is None else shop.finding(key(asked))
    count = {"photo": 1, "trial": 0, "proof": 2}[kind]
    return Shot(
        item=f"{kind}/{name}",
        fields=fields,
        seen=None if body is None else msgspec.json.decode(body, type=Seen),
        pictures=tuple(picture_key(asked, n) for n in range(count)) if asked and body else (),
    )


class Check(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that makes a photo good: what, whether (None: not judged), what to do if not."""

    what: str
    good: bool | None
    do: str


# Words by which a refusal or a flag tells what is wrong with a photo.
_BLUR = ("blurred", "pixel spans", "too small", "focus-unproven")
_LIGHT = ("burnt out", "too dark", "no-highlight")
_SQUARE = ("square", "no scale")
_OIL = ("rainbow",)


def guidance(shot: Shot, reader: Reader) -> list[Check]:
    """Say of a photo whether the square was found, it is sharp, well lit, and bare of oil."""
    finding = shot.finding
    if finding is None:
        return []
    why = finding.refused.why if finding.refused else ""
    words = " ".join([*finding.flags, why])

    def fine(signs: tuple[str, ...]) -> bool | None:
        if any(sign in words for sign in signs):
            return False
        return None if finding.refused else True

    square = finding.um_per_px is not None or fine(_SQUARE)
    square_do = mark("Put the whole square in the picture, flat on the panel, seen from above.")
    sharp_do = mark("Hold still, tap the paint on the screen to focus, come a little closer.")
    light_do = mark("Turn the exposure until only the lamp's own reflection is white.")
    oil_do = mark("Wipe the place until the colours are gone.")
    return [
        Check(what=reader.say(mark("Square found")), good=square, do=reader.say(square_do)),
        Check(what=reader.say(mark("Sharp")), good=fine(_BLUR), do=reader.say(sharp_do)),
        Check(what=reader.say(mark("Light right")), good=fine(_LIGHT), do=reader.say(light_do)),
        Check(what=reader.say(mark("Bare of oil")), good=fine(_OIL), do=reader.say(oil_do)),
    ]
