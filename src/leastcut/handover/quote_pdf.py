"""The quote as a PDF for the client: what is promised, by when, for how much."""

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType

from leastcut.errors import InputError
from leastcut.handover import words
from leastcut.handover.drawings import draw
from leastcut.handover.records import Dossier
from leastcut.handover.typeset import set_pdf

# The document's own words, so that a caller may give them in another language.
LABELS: Mapping[str, str] = MappingProxyType({
    "quote": "Quote",
    "for": "for {client}",
    "finish": "Finish",
    "daily": "at least 85 % of the visible scratch length gone",
    "show": "at least 95 % of the visible scratch length gone",
    "work": "Work",
    "work_words": "{sections} sections on {panels} panels",
    "hours": "Time at the shop",
    "hours_words": "{hours} h, with four chances in five",
    "keeps": "What stays",
    "keeps_words": "at least {reserve} of clear coat wherever it is there to keep",
    "net": "Net",
    "tax": "Tax",
    "total": "Total",
    "deposit": "Of which deposit",
    "valid": "Valid until {date}.",
    "reads": "An estimate from what has been measured so far. Marks deeper than the clear coat can pay for stay, and are pointed out before the work.",
})  # fmt: skip


class QuoteError(InputError):
    """There is nothing to quote."""


def make(dossier: Dossier, *, now: datetime, labels: Mapping[str, str] = LABELS) -> bytes:
    """Return the quote.

    Parameters
    ----------
    dossier : Dossier
        The whole job, with prices.
    now : datetime
        Date of the document; the same dossier and date give the same bytes.
    labels : mapping
        The document's own words; see `LABELS`.

    Returns
    -------
    bytes
        A tagged PDF on one page.

    Raises
    ------
    QuoteError
        If the job has no prices.
    """
    price = dossier.plan.price
    if price is None:
        raise QuoteError("there are no prices", where="prices", do="Say what an hour costs")
    said = dict(labels)
    rows = [(line.what, line.amount) for line in price.lines]
    rows += [(said["net"], price.net), (said["tax"], price.tax), (said["total"], price.total)]
    if price.deposit:
        rows.append((said["deposit"], price.deposit))
    sheet = {
        "title": f"{said['quote']}: {dossier.car.label}",
        "kind": said["quote"],
        "car": dossier.car.label,
        "shop": dossier.people.shop,
        "client": said["for"].format(client=dossier.people.client) if dossier.people.client else "",
        "job_date": dossier.people.date,
        "facts": _facts(dossier, said),
        "rows": [[what, words.money(amount, price.currency)] for what, amount in rows],
        "n_totals": 4 if price.deposit else 3,
        "valid": said["valid"].format(date=price.valid_until) if price.valid_until else "",
        "reads": said["reads"],
        "alt": dossier.car.label,
    }
    pictures = {"car.svg": draw(dossier).car.encode()}
    return set_pdf("quote", sheet, pictures=pictures, units=dossier.units, now=now)


def _facts(dossier: Dossier, said: Mapping[str, str]) -> list[list[str]]:
    worked = [section for section in dossier.plan.sections if section.steps]
    reserve = max((state.film.reserve_um for state in dossier.panels), default=0.0)
    hours = f"{dossier.plan.minutes.p80 / 60:.1f}"
    return [
        [said["finish"], said[dossier.target]],
        [
            said["work"],
            said["work_words"].format(sections=len(worked), panels=len({s.panel for s in worked})),
        ],
        [said["hours"], said["hours_words"].format(hours=hours)],
        [
            said["keeps"],
            said["keeps_words"].format(reserve=words.thickness(reserve, dossier.units)),
        ],
    ]
