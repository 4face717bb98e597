"""From a job file to the planner's inputs, for the commands that plan again and again."""

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from leastcut.plan.build import Around
    from leastcut.plan.choose import Inputs


def inputs_of(path: Path) -> tuple["Inputs", "Around"]:
    """Read a job file with its evidence and return what the planner takes.

    Raises
    ------
    leastcut.errors.InputError
        If the job file or its evidence cannot be used.
    """
    from leastcut.inspect.gauge import calibrate
    from leastcut.inspect.records import WashCheck
    from leastcut.job import decide
    from leastcut.job.gather import gather
    from leastcut.plan.build import Around
    from leastcut.plan.choose import Inputs

    evidence = gather(path)
    job = evidence.job
    wash = WashCheck(
        washed=job.wash.washed,
        feel=job.wash.feel,
        tar_or_iron=job.wash.tar_or_iron,
        dry=job.wash.dry,
    )
    states = decide.panel_states(evidence, gauge=calibrate(evidence.checks), wash=wash)
    spot, draws = decide.test_spot(evidence, states)
    inputs = Inputs(
        layouts=decide.lay_out(evidence, spot),
        panels=decide.panel_needs(states, evidence),
        ladder=evidence.ladder,
        draws=draws,
        p_target=job.target.confidence_percent / 100,
    )
    around = Around(
        car=evidence.car,
        n_trials=len(evidence.trials),
        prices=decide.prices_of(evidence),
        rates=decide.rates_of(evidence),
    )
    return inputs, around
