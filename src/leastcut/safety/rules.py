"""The rules behind the cautions, as data: when, what, what to do, and who says so."""

from typing import Literal

import msgspec

Status = Literal["seen", "seen-2", "from memory", "common practice, no source"]


class Rule(msgspec.Struct, frozen=True, kw_only=True):
    """One rule: when `condition` holds, say `what` and `do` at `stage`."""

    id: str
    stage: str
    condition: str
    what: str
    do: str
    source: str
    status: Status


_PRACTICE: Status = "common practice, no source"

RULES: tuple[Rule, ...] = (
    Rule(
        id="local-first",
        stage="plan",
        condition="always",
        what="These cautions are general",
        do="Local codes, the data sheets of machine, liquid and coating, and licensed trades go "
        "first; where they ask for more, do more",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="eyes-hands-lungs",
        stage="work",
        condition="always",
        what="Liquid and dust are thrown from the pad",
        do="Wear safety glasses and gloves that the liquid's data sheet names; keep dust down by "
        "wiping wet, and wear a mask when cleaning dry pads",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="stance-and-cord",
        stage="work",
        condition="always",
        what="A cord across the paint scratches it, a cord under the foot trips",
        do="Carry the cord over the shoulder, start the machine only in contact with the paint and "
        "stop it before lifting; stand so that both hands hold it, sleeves and hair tied back",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="rcd",
        stage="work",
        condition="always",
        what="Mains power near wash water",
        do="Use an outlet with a residual-current (ground-fault) breaker, a cord without cuts, "
        "and dry hands; leave wiring to a licensed electrician",
        source="NEC 210.8 and IEC 60364-4-41 ask for them in garages and outdoors",
        status="from memory",
    ),
    Rule(
        id="alone",
        stage="work",
        condition="works alone",
        what="Nobody sees an accident when one works alone",
        do="Tell somebody when the work ends, and keep a telephone within reach",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="wash-first",
        stage="inspect",
        condition="not washed",
        what="Grit under a pad scratches deeper than the pad can take out",
        do="Wash, clay where the paint feels rough, and dry before any photo, trial or set",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="vibration-unknown",
        stage="plan",
        condition="vibration unknown",
        what="The day's vibration is not known",
        do="Enter the machine's declared vibration and K from its manual; until then take a break "
        "at the first tingling or numbness",
        source="HSE LP 246/31 par. 20",
        status="seen",
    ),
    Rule(
        id="vibration-action",
        stage="plan",
        condition="vibration action",
        what="The day's vibration, with its uncertainty, reaches the action value of 2.5 m/s² A(8)",
        do="Share the polishing or spread it over days, keep hands warm, and ask a doctor about "
        "health surveillance; employers must have a programme to reduce it",
        source="Directive 2002/44/EC Art. 3 and 5",
        status="seen",
    ),
    Rule(
        id="vibration-limit",
        stage="plan",
        condition="vibration limit",
        what="The polishing of this car in one day and by one person, with its uncertainty, passes "
        "the limit value of 5 m/s² A(8)",
        do="Do not let one person do it in one day",
        source="Directive 2002/44/EC Art. 3 and 5",
        status="seen",
    ),
    Rule(
        id="noise-unknown",
        stage="work",
        condition="noise unknown",
        what="The machine's noise is not known",
        do="Wear hearing protection if you must raise your voice to be heard at arm's length",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="noise-offer",
        stage="work",
        condition="noise 80",
        what="The noise is at or above 80 dB(A)",
        do="Have hearing protection at hand and use it for long sessions",
        source="Directive 2003/10/EC Art. 3 lower action value",
        status="seen",
    ),
    Rule(
        id="noise-wear",
        stage="work",
        condition="noise 85",
        what="The noise is at or above 85 dB(A)",
        do="Wear hearing protection while any machine runs",
        source="Directive 2003/10/EC Art. 3 upper action value; 29 CFR 1910.95 action level",
        status="seen",
    ),
    Rule(
        id="solvent",
        stage="work",
        condition="solvent used",
        what="Wipe fluid and coatings give off vapour that burns and makes dizzy",
        do="No flame, spark or smoking; open the doors, keep heaters off, keep bottles closed and "
        "in a metal cabinet, and read the product's safety data sheet",
        source="NIOSH Pocket Guide npgd0359",
        status="seen",
    ),
    Rule(
        id="rags",
        stage="work",
        condition="solvent used",
        what="Rags with solvent or drying oil can catch fire by themselves",
        do="Lay them flat outdoors to dry or keep them in a closed metal can with water",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="vapour-high",
        stage="work",
        condition="vapour high",
        what="So much wipe fluid in this room passes a limit for people or for fire",
        do="Use less at a time, open more, or move outdoors; a fan in the vapour must be one that "
        "cannot spark",
        source="OSHA letter 1991-12-02 (25 % of the lower explosive limit); NIOSH npgd0359",
        status="seen",
    ),
    Rule(
        id="room-unknown",
        stage="plan",
        condition="room unknown",
        what="Whether the vapour stays low cannot be told without the room",
        do="Enter the room's size and how its air is renewed, or wipe with the doors open",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="cord-weak",
        stage="work",
        condition="cord weak",
        what="The cord takes more than 3 % of the voltage: the machine runs weak and the cord warms",
        do="Use a shorter or thicker cord, and unroll it fully",
        source="NEC 210.19(A) informational note 4, advice",
        status="seen-2",
    ),
    Rule(
        id="circuit-full",
        stage="work",
        condition="circuit full",
        what="The load is more than 80 % of the circuit for hours",
        do="Put lamps, extraction and machines on different circuits; ask a licensed electrician",
        source="NEC 210.19(A)(1), 210.20(A)",
        status="seen-2",
    ),
    Rule(
        id="film-thin",
        stage="plan",
        condition="film thin",
        what="The clear coat here may fall below what must stay",
        do="Do not cut; clean and protect, or refer to a paint shop",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="film-unmeasured",
        stage="inspect",
        condition="film unmeasured",
        what="The film here was not measured, so its budget is a guess",
        do="Measure at three places or more before any set",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="film-on-plastic",
        stage="inspect",
        condition="film unmeasured on plastic",
        what="The film on this plastic was not measured, so its budget is a guess",
        do="A magnetic or eddy-current gauge does not read here: use an ultrasonic one, or take "
        "the mildest process and stop early",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="film-filled",
        stage="inspect",
        condition="film filled",
        what="The film is far above factory range: filler or several layers of paint",
        do="The clear coat is unknown: finish only by the mildest process, or leave it",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="film-repainted",
        stage="inspect",
        condition="film repainted",
        what="The panel was painted again: softer, harder or thinner clear than the rest",
        do="Make a trial on this panel of its own; ask how long ago, fresh paint must cure first",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="edges",
        stage="work",
        condition="edges",
        what="Paint is thinnest and pads press hardest at edges",
        do="Tape the edges, keep the pad flat and stop short of them",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="body-lines",
        stage="work",
        condition="body lines",
        what="A body line is cut faster than the face beside it",
        do="Tape it or pass it once, lightly, along its length",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="trim",
        stage="work",
        condition="keep-outs",
        what="Liquid stains rough plastic and rubber, pads catch badges and nozzles",
        do="Tape lamps, handles, badges, seals and nozzles before the first set",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="plastic",
        stage="work",
        condition="plastic",
        what="Plastic keeps the heat at its surface and softens the paint on it",
        do="Less speed and pressure, short sets, and feel the surface between them",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="hot",
        stage="work",
        condition="hot",
        what="The panel is or would become too hot to polish",
        do="Work in the shade, let it cool below 45 °C, fewer passes without a pause; stop at 60 °C",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="sanding",
        stage="work",
        condition="sanding",
        what="Sanding takes several times the clear coat of a set",
        do="Only wet, only with readings before and after, and only where the budget allows; wear "
        "a mask for fine dust",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="airbag",
        stage="work",
        condition="airbag",
        what="Airbags and belt tensioners sit behind trim here",
        do="Do not take trim off, heat it or strike it; leave it to a trained workshop",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="single-stage",
        stage="testspot",
        condition="single-stage",
        what="There is no clear coat: each set takes colour, and the pad shows it",
        do="Budget the whole colour layer, finishing processes only; colour on the pad is no fault",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="matt",
        stage="testspot",
        condition="matt",
        what="Matt paint cannot be polished: any cut makes shiny spots that stay",
        do="Clean and protect only",
        source="",
        status=_PRACTICE,
    ),
    Rule(
        id="old-paint",
        stage="work",
        condition="old",
        what="Paint of this age may hold lead or chromate",
        do="No dry sanding, no dust: work wet, wear gloves, collect the slurry and the pads as "
        "hazardous waste by local rules, keep children away",
        source="16 CFR 1303 restricts consumer lead paint from 1978 and exempts vehicles",
        status="from memory",
    ),
)
