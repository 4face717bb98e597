"""How a trial is done, step by step, and what to beware of at the test spot."""

from collections.abc import Sequence

from leastcut.car.records import Paint
from leastcut.testspot.ladder import needs_finish
from leastcut.testspot.records import Advice, Process, TestSpot

SPOT_MM = 610  # 2 ft, common practice, no source
_SOFT = 1.8  # softness whose lower bound above this calls for care; ours

_WIPE = "Wipe the spot bare of residue and oils, without pressing; note the time if it drags."
_AFTER = (
    "Photo after: same place, same lamp, same distance, square in view; gauge on the marked places"
    " again."
)
_VERDICT = "Look under the lamp and give the verdict: unchanged, some left, clean, or hazy"
_SQUARE = (
    f"Tape off an untouched square of at most {SPOT_MM} mm on a flat, typical panel that is not the"
    " most precious one: washed, dry, cool, away from edges and body lines."
)
_BEFORE = (
    "Photo before, lamp in view, the square as scale; a dozen gauge readings at marked places if"
    " there is a gauge."
)


def steps(advice: Advice, ladder: Sequence[Process]) -> tuple[str, ...]:
    """Return the trial as the user does it; empty when the advice is not to try.

    Parameters
    ----------
    advice : Advice
        What to do next.
    ladder : sequence of Process
        The processes at hand.

    Examples
    --------
    >>> from leastcut.testspot.ladder import DEFAULT
    >>> go = Advice(do="try", process=DEFAULT[1].label, sets=2, why="")
    >>> len(steps(go, DEFAULT))
    6
    """
    if advice.do != "try":
        return ()
    process = next(process for process in ladder if process.label == advice.process)
    sets = f"{advice.sets} set" + ("s" if advice.sets > 1 else "")
    haze = (
        " (haze is to be expected: the finishing step comes later)" if needs_finish(process) else ""
    )
    work = (
        f"Work {sets} of {process.label}, one process only: {process.arm_speed_mm_s:.0f} mm/s,"
        f" strokes {process.stroke_spacing_mm:.0f} mm apart, one direction and then across it."
    )
    return (*_place(advice), work, _WIPE, _AFTER, f"{_VERDICT}{haze}.")


def _place(advice: Advice) -> tuple[str, ...]:
    if advice.spot is not None:
        return (f"Go on with spot {advice.spot}: its first photo stays the photo before.",)
    return (_SQUARE, _BEFORE)


def cautions(spot: TestSpot, *, paint: Paint | None = None, thin: bool = False) -> tuple[str, ...]:
    """Return what to beware of at the test spot; all of it common practice, no source.

    Parameters
    ----------
    spot : TestSpot
        The answer so far.
    paint : Paint or None
        What is known of the paint.
    thin : bool
        Whether a panel of the car was found thin.
    """
    known = paint or Paint()
    facts = {
        "Matt paint must not be polished: any set leaves a shiny place for good.": (
            known.system == "matt"
        ),
        "No clear coat: colour on the pad is paint, and every set takes some of it.": (
            known.system == "single-stage"
        ),
        "Colour on the pad means there is no clear coat, or it is through: stop and look.": (
            known.system == "unknown"
        ),
        "One panel does not speak for a repainted one: where gauge or eye find another paint, it"
        " needs a test spot of its own.": known.history != "factory",
        "A thin panel is no place for a test spot, and gets no more than the mildest.": thin,
        "This paint is soft: it also hazes easily; wipe without pressing, with soft towels.": (
            spot.softness.low > _SOFT
        ),
    }
    return tuple(words for words, true in facts.items() if true)
