"""Read a trials file (``TRIALS.toml``): the test spot on its own, without a whole job.

The records below are the one definition of the format; the reader and the JSON Schema are made from
them. Quantities are text with a unit, fractions plain numbers from 0 to 1.
"""

import difflib
import re
import tomllib
from pathlib import Path
from statistics import fmean
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, field

from leastcut.car.records import Interval
from leastcut.errors import InputError
from leastcut.shop.jobfile import read_text
from leastcut.shop.jobschema import ProcessTable
from leastcut.shop.quantities import SEPARATOR, UNITS, Micrometres, Minutes, decode, schema
from leastcut.shop.tomlwhere import Key, field_name, line_of, path_keys
from leastcut.testspot.records import Measured, Process, Target, Trial, Verdict

Chance = Annotated[float, Meta(ge=0.5, lt=1.0)]
Fraction = Annotated[float, Meta(ge=-1.0, le=1.0)]


class TrialsFileError(InputError):
    """A trials file that cannot be used."""


class PaintTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is known of the paint before the first trial; all of it may be left out."""

    label: Annotated[str, Meta(description="Your own name of the paint system.")] = ""
    scratch_width_um: Annotated[
        Micrometres | None, Meta(description="Typical scratch width in the photo; weak evidence.")
    ] = field(name="scratch_width", default=None)


class RulesTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The chances asked for."""

    p_target: Annotated[Chance, Meta(description="Least chance to meet the target.")] = 0.9
    p_within_budget: Annotated[Chance, Meta(description="Least chance to stay within budget.")] = (
        0.99
    )
    p_accept: Annotated[
        Annotated[float, Meta(ge=0, le=1)] | None,
        Meta(description="Chance accepted where the budget can pay for nothing that is proven."),
    ] = None
    max_trials: Annotated[
        int, Meta(description="Trials after which the spot is left alone.", ge=1, le=20)
    ] = 14


class SpotTrialTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One process tried on the test spot; any kind of evidence may be missing."""

    process: Annotated[str, Meta(description="Label of the process.")]
    sets: Annotated[int, Meta(description="Sets done.", ge=1, le=40)]
    panel: Annotated[str | None, Meta(description="Panel of the test spot.")] = None
    spot: Annotated[
        str,
        Meta(description="Name of the spot: trials on one spot stack, another name starts afresh."),
    ] = "1"
    removed: Annotated[
        Fraction | None, Meta(description="Fraction of visible scratch length gone (two photos).")
    ] = None
    removed_low: Annotated[Fraction | None, Meta(description="Its lower 95 % bound.")] = None
    removed_high: Annotated[Fraction | None, Meta(description="Its upper 95 % bound.")] = None
    since: Annotated[
        Literal["trial", "spot"],
        Meta(description="Was the photo before taken before this trial, or of the untouched spot?"),
    ] = "trial"
    gauge_before_um: Annotated[
        tuple[Micrometres, ...], Meta(description="Gauge readings on the spot before.")
    ] = field(name="gauge_before", default=())
    gauge_after_um: Annotated[
        tuple[Micrometres, ...], Meta(description="Gauge readings on the spot after.")
    ] = field(name="gauge_after", default=())
    gauge_sd_um: Annotated[
        Micrometres | None,
        Meta(description="Standard uncertainty of one gauge reading; left out: 1 µm."),
    ] = field(name="gauge_sd", default=None)
    verdict: Annotated[Verdict | None, Meta(description="The inspector's word.")] = None
    wipe_min: Annotated[
        Minutes | None, Meta(description="How long the residue took to wipe off, such as 40 s.")
    ] = field(name="wipe", default=None)


class TrialsFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A whole trials file."""

    format: Annotated[Literal[1], Meta(description="Version of this format.")]
    target: Annotated[Target, Meta(description="How much must go: daily 85 %, show 95 %.")] = (
        "daily"
    )
    budget_um: Annotated[
        Micrometres | None, Meta(description="What may be cut from the panel today.")
    ] = field(name="budget", default=None)
    paint: PaintTable = field(default_factory=PaintTable)
    rules: RulesTable = field(default_factory=RulesTable)
    process: Annotated[
        tuple[ProcessTable, ...],
        Meta(description="The ladder; left out: four common pairs of pad and liquid."),
    ] = ()
    trial: Annotated[tuple[SpotTrialTable, ...], Meta(description="In order of work.")] = ()


def read(path: Path) -> TrialsFile:
    """Read a trials file.

    Raises
    ------
    TrialsFileError
        If a field is unknown, missing or of the wrong form; with line and field.
    InputError
        If the file cannot be read at all.
    """
    return parse(read_text(path), path.name)


def parse(text: str, name: str) -> TrialsFile:
    """Read the text of a trials file called `name`.

    Raises
    ------
    TrialsFileError
        As :func:`read`.

    Examples
    --------
    >>> parse('format = 1', "a.toml").target
    'daily'
    """
    try:
        found = msgspec.convert(tomllib.loads(text), TrialsFile, dec_hook=decode)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise TrialsFileError(f"not valid TOML: {error}", where=name, do="Mend the line") from None
    except msgspec.ValidationError as error:
        raise _explained(str(error), text, name) from None
    _check(found, text, name)
    return found


def _check(file: TrialsFile, text: str, name: str) -> None:
    labels = [process.label for process in ladder(file)]
    for number, trial in enumerate(file.trial):
        place = _place(["trial", number, "process"], text, name)
        if trial.process not in labels:
            near = difflib.get_close_matches(trial.process, labels, n=1)
            do = f"Did you mean {near[0]!r}?" if near else f"The ladder has: {'; '.join(labels)}"
            raise TrialsFileError(f"no process is called {trial.process!r}", where=place, do=do)


def _place(keys: list[Key], text: str, name: str) -> str:
    line = line_of(text, keys)
    return f"{name}:{line} {field_name(keys)}" if line else f"{name} {field_name(keys)}".strip()


def _explained(message: str, text: str, name: str) -> TrialsFileError:
    """Turn msgspec's message into what, where and do."""
    what, _, path = message.rpartition(" - at `")
    keys = path_keys(path.rstrip("`")) if what else []
    what, do = what or message, "See the chapter on the test spot for the fields"
    if unknown := re.match(r"Object contains unknown field `(.*)`$", what):
        known = _known(keys)
        near = difflib.get_close_matches(unknown[1], known, n=1)
        do = f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(known)}"
        keys, what = [*keys, unknown[1]], f"unknown field '{unknown[1]}'"
    elif missing := re.match(r"Object missing required field `(.*)`$", what):
        what, do = f"'{missing[1]}' is missing", f"Write {missing[1]} = …"
    elif SEPARATOR in what:
        what, do = what.split(SEPARATOR, 1)
    return TrialsFileError(what.replace("`", "'"), where=_place(keys, text, name), do=do)


_TABLES: dict[str, type[msgspec.Struct]] = {
    "process": ProcessTable,
    "trial": SpotTrialTable,
    "paint": PaintTable,
    "rules": RulesTable,
}


def _known(keys: list[Key]) -> list[str]:
    table = _TABLES.get(str(keys[0]), TrialsFile) if keys else TrialsFile
    return [known.encode_name for known in msgspec.structs.fields(table)]


def ladder(file: TrialsFile) -> tuple[Process, ...]:
    """Return the processes of the file, or the four common ones when it names none."""
    from leastcut.testspot.ladder import DEFAULT

    return tuple(_process(table) for table in file.process) or DEFAULT


def _process(table: ProcessTable) -> Process:
    given = {
        key: value for key, value in msgspec.structs.asdict(table).items() if value is not None
    }
    return msgspec.convert(
        {key: float(v) if isinstance(v, float) else v for key, v in given.items()}, Process
    )


def trials(file: TrialsFile) -> tuple[Trial, ...]:
    """Return the trials of the file."""
    return tuple(_trial(table) for table in file.trial)


def _trial(table: SpotTrialTable) -> Trial:
    return Trial(
        process=table.process,
        sets=table.sets,
        removed=_removed(table),
        cut_um=_gauge(table),
        verdict=table.verdict,
        panel=table.panel,
        spot=table.spot,
        since=table.since,
        wipe_s=None if table.wipe_min is None else 60.0 * table.wipe_min,
    )


def _removed(table: SpotTrialTable) -> Interval | None:
    """Bounds left out are taken 0.1 away: a careful count by eye."""
    if table.removed is None:
        return None
    low = table.removed - 0.1 if table.removed_low is None else table.removed_low
    high = table.removed + 0.1 if table.removed_high is None else table.removed_high
    return Interval(mean=table.removed, low=low, high=high)


def _gauge(table: SpotTrialTable) -> Measured | None:
    before, after = table.gauge_before_um, table.gauge_after_um
    if not before or not after:
        return None
    one = 1.0 if table.gauge_sd_um is None else table.gauge_sd_um
    spread = one * (1.0 / len(before) + 1.0 / len(after)) ** 0.5
    return Measured(value=fmean(before) - fmean(after), sd=spread)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of the format."""

    def hook(kind: type) -> dict[str, Any]:
        if kind not in UNITS:
            raise NotImplementedError(kind)
        return schema(kind)

    return msgspec.json.schema(TrialsFile, schema_hook=hook)
