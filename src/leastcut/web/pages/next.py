"""The single next thing to do, for the whole job and for each stage; derived, never stored."""

from collections.abc import Iterator

import msgspec

from leastcut.handover.records import StageName
from leastcut.inspect import wash as washing
from leastcut.inspect.records import WashCheck
from leastcut.web.pages.visit import Look
from leastcut.web.reply import Reader
from leastcut.web.words import mark


class Next(msgspec.Struct, frozen=True, kw_only=True):
    """What to do next: a sentence, the page to do it on, and the words of its button."""

    stage: StageName
    what: str
    href: str
    go: str


def next_of(found: Look, reader: Reader, stage: StageName | None = None) -> Next | None:
    """Return the next thing to do in a stage, or in the whole job; None when there is nothing.

    Parameters
    ----------
    found : Look
        The visit.
    reader : Reader
        In whose language.
    stage : str, optional
        Look in this stage only.
    """
    for item in _things(found, reader):
        if stage is None or item.stage == stage:
            return item
    return None


def wash_of(found: Look) -> WashCheck:
    """Return the wash-and-clay check as the facts have it."""
    if found.job is None:
        return WashCheck()
    table = found.job.wash
    return WashCheck(
        washed=table.washed, feel=table.feel, tar_or_iron=table.tar_or_iron, dry=table.dry
    )


def _things(found: Look, reader: Reader) -> Iterator[Next]:
    """Yield what there is to do, in the order of the job."""
    yield from _before_the_machine(found, reader)
    yield from _test_spot(found, reader)
    yield from _work(found, reader)
    yield from _after(found, reader)


def _before_the_machine(found: Look, reader: Reader) -> Iterator[Next]:
    here = f"/v/{found.visit}"
    if found.job is None:
        yield _next("car", reader, mark("Say what car it is."), f"{here}/car", mark("The car"))
        return
    ready, lacks = washing.check(wash_of(found))
    if not ready:
        yield Next(
            stage="inspect",
            what=reader.told(lacks[0]),
            href=f"{here}/inspect/wash",
            go=reader.say("Wash check"),
        )
    if not found.items("photo"):
        what = mark("Photograph one panel under a lamp, with the taped square in the picture.")
        yield _next("inspect", reader, what, f"{here}/inspect/photos", mark("Take photos"))
    if not found.now.readings:
        what = mark("Read the paint with the gauge: three places on each panel tell most.")
        yield _next("inspect", reader, what, f"{here}/inspect/readings", mark("Type readings"))
    table = found.job.car
    if None in {table.length_mm, table.width_mm, table.height_mm, table.wheelbase_mm}:
        what = mark("Measure the car with a tape: now it is drawn as a typical body of its class.")
        yield _next("car", reader, what, f"{here}/car", mark("The car"))


def _test_spot(found: Look, reader: Reader) -> Iterator[Next]:
    if found.dossier is None:
        return
    advice = found.dossier.testspot.next
    if advice.do == "try" and not found.now.events:
        yield Next(
            stage="testspot",
            what=reader.told(advice.why),
            href=f"/v/{found.visit}/testspot",
            go=reader.say("Test spot"),
        )


def _work(found: Look, reader: Reader) -> Iterator[Next]:
    here = f"/v/{found.visit}"
    if found.dossier is None:
        return
    if not any(plan.steps for plan in found.sections):
        what = mark("No section can be worked within its budget: see why, and what would help.")
        yield _next("plan", reader, what, f"{here}/plan", mark("Plan"))
        return
    if found.job is not None and found.job.prices is None:
        what = mark("Say what an hour costs, and there is a quote.")
        yield _next("plan", reader, what, f"{here}/plan#prices", mark("Prices"))
    for state in found.run.sections:
        if state.status in {"waiting", "working", "paused"} and state.planned:
            name = reader.told(found.panel(state.panel).name)
            yield Next(
                stage="work",
                what=reader.say("Work section {section} of {panel}.", section=state.id, panel=name),
                href=f"{here}/work",
                go=reader.say("To work"),
            )
            break


def _after(found: Look, reader: Reader) -> Iterator[Next]:
    here = f"/v/{found.visit}"
    if found.now.events and not found.items("proof"):
        what = mark("Wipe a worked place bare and photograph it again: that proves the result.")
        yield _next("work", reader, what, f"{here}/work/prove", mark("Prove it"))
    if found.job is not None and None in {
        found.job.protect.air_c,
        found.job.protect.humidity_percent,
    }:
        what = mark("Read air temperature and humidity: they say when the last layer may go on.")
        yield _next("protect", reader, what, f"{here}/protect", mark("Protect"))
    if found.dossier is not None and found.now.events:
        what = mark("Hand over: the report for the client is ready.")
        yield _next("handover", reader, what, f"{here}/handover", mark("Hand over"))


def _next(stage: StageName, reader: Reader, what: str, href: str, go: str) -> Next:
    return Next(stage=stage, what=reader.say(what), href=href, go=reader.say(go))
