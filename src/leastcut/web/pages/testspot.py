"""Stage three: the ladder, trials on the test spot, and what to do next with the reason."""

import math
from typing import Any

import msgspec
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from leastcut.testspot.ladder import DEFAULT
from leastcut.testspot.records import Affordable, Candidate, Process, TestSpot
from leastcut.web.pages.choices import CHOICES
from leastcut.web.pages.next import next_of
from leastcut.web.pages.seen import shots
from leastcut.web.pages.visit import Look, look, values_for
from leastcut.web.reply import Reader, reader_of, render

CANDIDATES_SHOWN = 6
MOST_ACCEPTED = 99  # per cent, as the job file takes it


def testspot(request: Request) -> Response:
    """Show the advice, the candidates, the trials, and the form for another trial."""
    found, reader = look(request), reader_of(request)
    ladder = ladder_of(found)
    spot = found.dossier.testspot if found.dossier else None
    trials = shots(request.app.state.shop, found, "trial")
    return render(
        request,
        "testspot.html",
        **values_for(
            found,
            stage="testspot",
            title=reader.say("Test spot"),
            next=next_of(found, reader, "testspot"),
            stage_now=found.stage("testspot"),
            choices=CHOICES,
            ladder=ladder,
            own=[(f"process/{key}", item) for key, item in found.items("process").items()],
            process_words=[(process.label, reader.told(process.label)) for process in ladder],
            panel_words=[(panel.id, reader.told(panel.name)) for panel in found.panels],
            names={panel.id: reader.told(panel.name) for panel in found.panels},
            trials=trials,
            waiting=sum(shot.seen is None and "before" in shot.fields for shot in trials),
            spot=spot,
            advised=_advised(found),
            best=_best(spot, reader),
            candidates=_candidates(found, reader),
        ),
    )


def ladder_of(found: Look) -> tuple[Process, ...]:
    """Return the processes at hand, mildest first as far as that has been worked out."""
    if found.dossier is not None:
        return found.dossier.ladder
    if found.job is None or not found.job.process:
        return DEFAULT
    return tuple(
        Process(label=table.label, pad=table.pad, liquid=table.liquid)
        for table in found.job.process
    )


def _advised(found: Look) -> dict[str, str]:
    """Return what the form for another trial starts with: what is advised."""
    advice = found.dossier.testspot.next if found.dossier else None
    if advice is None or advice.process is None:
        return {"process": ladder_of(found)[0].label, "sets": "2", "spot": "1"}
    return {
        "process": advice.process,
        "sets": str(max(advice.sets, 1)),
        "spot": advice.spot or str(len(found.items("trial")) + 1),
    }


def _best(spot: TestSpot | None, reader: Reader) -> dict[str, Any] | None:
    """Return the best that the budget can pay, with the chance to accept: rounded down."""
    best = spot.next.affordable if spot else None
    if best is None:
        return None
    return {
        "what": _what(best),
        "tried": best.tried,
        "accept": min(math.floor(100 * best.p_target), MOST_ACCEPTED),
        "chance": f"{100 * best.p_target:.0f}",
        "cut": reader.show(best.cut_um.mean, "micrometer"),
        "most": reader.show(best.cut_um.high, "micrometer"),
        "left": f"{100 * best.left.mean:.0f}",
        "left_low": f"{100 * best.left.low:.0f}",
        "left_high": f"{100 * best.left.high:.0f}",
    }


def _what(step: Candidate | Affordable) -> str:
    then = f", {step.finish_sets} × {step.finish}" if step.finish else ""
    return f"{step.sets} × {step.process}{then}"


def _candidates(found: Look, reader: Reader) -> list[dict[str, Any]]:
    """Return the best chances first, with what they would cost."""
    if found.dossier is None:
        return []
    ranked = sorted(
        found.dossier.testspot.candidates, key=lambda c: (-(c.p_target >= 0.9), c.cut_um.mean)
    )
    return [
        {
            "what": _what(c),
            "chance": 100 * c.p_target,
            "cut": reader.show(c.cut_um.mean, "micrometer"),
            "most": reader.show(c.cut_um.high, "micrometer"),
            "within": 100 * c.p_within_budget,
        }
        for c in ranked[:CANDIDATES_SHOWN]
    ]


def plain(record: msgspec.Struct) -> dict[str, Any]:
    """Return a record as plain values for a template."""
    return msgspec.structs.asdict(record)


routes = [Route("/v/{visit:int}/testspot", testspot)]
