"""What ``leastcut testspot`` does once its arguments are read: load, assess, show, remember."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from leastcut.car.units import UnitSystem
from leastcut.shop import lessonsfile, trialsfile
from leastcut.shop.trialsfile import TrialsFile
from leastcut.testspot import decide, drawing, learning, paint, pictures, protocol, tell
from leastcut.testspot.ladder import check
from leastcut.testspot.paint import PaintDraws, Prior
from leastcut.testspot.records import Process, TestSpot, Trial
from leastcut.testspot.rules import Rules


@dataclass(frozen=True)
class Answer:
    """A trials file, the answer to it and the prior it started from."""

    file: TrialsFile
    ladder: tuple[Process, ...]
    trials: tuple[Trial, ...]
    spot: TestSpot
    draws: PaintDraws
    start: Prior
    year: float

    def contract(self) -> dict[str, Any]:
        """Return the stable keys of the machine interface, protocol and cautions with them."""
        return {
            **tell.to_contract(self.spot),
            "protocol": list(protocol.steps(self.spot.next, self.ladder)),
            "cautions": list(protocol.cautions(self.spot)),
        }

    def summary(self, units: UnitSystem) -> str:
        """Return the summary for a person, with the trial to do step by step."""
        steps = protocol.steps(self.spot.next, self.ladder)
        lines = [tell.summary(self.spot, units), ""]
        lines += [f"{number}. {step}" for number, step in enumerate(steps, start=1)]
        lines += [f"Beware: {caution}" for caution in protocol.cautions(self.spot)]
        return "\n".join(lines)

    def drawings(self, folder: Path) -> dict[Path, str]:
        """Return the pictures by path."""
        budget = self.file.budget_um
        required = paint.REQUIRED[self.file.target]
        rules = self.file.rules
        curve = pictures.survival(self.trials, self.draws, ladder=self.ladder, required=required)
        ladder = pictures.ladder(
            self.spot,
            trials=self.trials,
            budget_um=budget,
            p_target=rules.p_target,
            p_within_budget=rules.p_within_budget,
        )
        costs = pictures.costs(self.spot, budget_um=budget, p_target=rules.p_target)
        return {
            folder / "depth.svg": drawing.survival_svg(curve),
            folder / "ladder.svg": drawing.ladder_svg(ladder),
            folder / "cost.svg": drawing.cost_svg(costs),
        }

    def keep(self, path: Path, car: str) -> None:
        """Add what the trials taught to the lessons of `path`, in place of the car's earlier ones."""
        taught = learning.lesson(
            self.draws,
            self.ladder,
            car=car,
            year=self.year,
            paint_label=self.file.paint.label,
            start=self.start,
        )
        others = learning.forget(lessonsfile.read(path), car)
        lessonsfile.write(path, (*others, taught))


def answer(path: Path, *, lessons: Path | None, year: float | None) -> Answer:
    """Read a trials file and assess it, from the lessons of earlier cars if there are any."""
    file = trialsfile.read(path)
    rungs = check(trialsfile.ladder(file))
    trials = trialsfile.trials(file)
    known = lessonsfile.read(lessons) if lessons is not None else ()
    now = max([taught.year for taught in known], default=0.0) if year is None else year
    start = learning.pooled(
        known,
        rungs,
        year=now,
        paint_label=file.paint.label,
        width_hint_um=file.paint.scratch_width_um,
    )
    spot, draws = decide.assess(
        trials,
        rungs,
        target=file.target,
        budget_um=file.budget_um,
        start=start,
        rules=Rules(
            p_target=file.rules.p_target,
            p_within_budget=file.rules.p_within_budget,
            p_accept=file.rules.p_accept,
            max_trials=file.rules.max_trials,
        ),
    )
    return Answer(file, rungs, trials, spot, draws, start, now)


def forget(path: Path, car: str) -> None:
    """Take a car's lessons out of the file.

    Raises
    ------
    LessonsError
        If no lesson is the car's.
    """
    before = lessonsfile.read(path)
    after = learning.forget(before, car)
    if len(after) == len(before):
        known = ", ".join(sorted({taught.car for taught in before})) or "none"
        raise lessonsfile.LessonsError(
            f"no lesson is of {car!r}", where=path.name, do=f"Cars with lessons: {known}"
        )
    lessonsfile.write(path, after)
