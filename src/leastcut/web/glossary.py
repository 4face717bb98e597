"""Help where one stands: the words of the trade and ours explained, and the stops of the tour."""

from collections.abc import Mapping

import msgspec

from leastcut.web.words import mark


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One stop of the tour: what to look at, and where the next one is."""

    number: int
    text: str
    path: str


STEPS: tuple[Step, ...] = (
    Step(number=1, path="", text=mark("This car and its owner are invented; the photos are drawn from known scratches. Each piece is a panel, all to one scale. The number it wears is the measure chosen above: try another.")),
    Step(number=2, path="inspect", text=mark("Inspect: six photos under a lamp and a sheet of gauge readings. Open “How do you know?” below any figure to see its evidence and model.")),
    Step(number=3, path="testspot", text=mark("Test spot: three trials, mildest first. leastcut says which process to try next, or which to use, and argues for it.")),
    Step(number=4, path="plan", text=mark("Plan: every section with its sets, minutes and cut; the time and the price. Move what you would like to change and see what it costs.")),
    Step(number=5, path="work", text=mark("Work: one section at a time, with strokes, sets and cautions. This page lives on when the network goes away.")),
    Step(number=6, path="work/prove", text=mark("Prove: a photo before and one after, wiped bare, same place and light.")),
    Step(number=7, path="handover", text=mark("Hand over: the report, the ledger of clear coat, and a link for the client. That is the whole job.")),
)  # fmt: skip


class Term(msgspec.Struct, frozen=True, kw_only=True):
    """One word of the trade or of ours, explained."""

    word: str
    text: str


TERMS: Mapping[str, Term] = {
    "panel": Term(word=mark("panel"), text=mark("One body panel side with its outline in true size. Its edges and body lines are where paint is thinnest; badges, handles and nozzles are kept out.")),
    "section": Term(word=mark("section"), text=mark("The piece worked at one time: at most 610 mm (2 ft) on a side, overlapping its neighbours.")),
    "set": Term(word=mark("set"), text=mark("All the strokes that cover a section once in each of two directions.")),
    "pass": Term(word=mark("pass"), text=mark("One straight stroke of the pad across the section.")),
    "process": Term(word=mark("process"), text=mark("Pad, liquid, machine and settings together: what you do to the paint.")),
    "ladder": Term(word=mark("ladder"), text=mark("The processes at hand, from the mildest to the strongest cut.")),
    "trial": Term(word=mark("trial"), text=mark("One process tried on the test spot, with a photo before and after and, if you can, gauge readings.")),
    "cut": Term(word=mark("cut"), text=mark("Clear coat removed. It never comes back.")),
    "load": Term(word=mark("scratch load"), text=mark("Length of visible scratch on each square centimetre under the lamp, in mm/cm².")),
    "film": Term(word=mark("film"), text=mark("Thickness of the paint: all layers together, or the clear coat alone if your gauge can tell it.")),
    "clear": Term(word=mark("clear coat"), text=mark("The clear layer on top, some 35 to 50 µm when new. It guards the colour against sun and weather; scratches live in it.")),
    "reserve": Term(word=mark("reserve"), text=mark("Clear coat that must stay, whatever the scratches look like.")),
    "budget": Term(word=mark("budget"), text=mark("Clear coat that may be cut from this panel today: what is there at the least, less the reserve.")),
    "proof": Term(word=mark("proof"), text=mark("Before against after: the same place in the same light, wiped bare of oils, which would hide scratches.")),
    "ledger": Term(word=mark("ledger"), text=mark("Every measured or estimated cut of this car, panel by panel, over its life.")),
    "swirl": Term(word=mark("swirl"), text=mark("Fine scratches in every direction; they show as rings around a lamp.")),
    "trail": Term(word=mark("trail"), text=mark("Fine lines in one direction that a machine left.")),
    "haze": Term(word=mark("haze"), text=mark("A dull veil in which no single line can be seen, left by a strong process.")),
    "deep": Term(word=mark("deep scratch"), text=mark("A single wide scratch that survives polishing. Often it is wiser to leave it than to pay for it with clear coat.")),
    "chance": Term(word=mark("chance"), text=mark("How sure the plan is to reach the finish, from everything measured on this car.")),
    "p80": Term(word=mark("four times in five"), text=mark("The time that the job stays under in four of five such jobs: safe to promise.")),
    "square": Term(word=mark("taped square"), text=mark("A square of tape with a known inner side, stuck on the paint in the photo: it gives the scale.")),
    "dewpoint": Term(word=mark("dew point"), text=mark("The temperature at which water settles out of the air. The panel must be well above it before the last layer goes on.")),
    "clay": Term(word=mark("clay"), text=mark("A soft bar that lifts bonded dirt off washed, wet paint, so that the pad does not drag it around.")),
}  # fmt: skip
