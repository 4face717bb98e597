"""Check that everything a job file names is there: panels, processes, files."""

import difflib
from collections.abc import Callable, Iterator, Sequence

from leastcut.shop.jobschema import JobFile
from leastcut.shop.tomlwhere import Key

# Keys of the field, what is wrong, what to do.
Fault = tuple[list[Key], str, str]
Named = Iterator[tuple[list[Key], str]]


def check(
    job: JobFile,
    *,
    panels: Sequence[str],
    processes: Sequence[str],
    exists: Callable[[str], bool],
) -> Iterator[Fault]:
    """Yield every name in the job file that leads nowhere.

    Parameters
    ----------
    job : JobFile
        The job file.
    panels, processes : sequence of str
        Panel ids of the car, labels of the ladder.
    exists : callable
        Tells whether a file of that name lies beside the job file.
    """
    for keys, name in _panels(job):
        if name not in panels:
            yield keys, f"no panel '{name}' on this car", _near(name, panels)
    if job.sections_for is not None and job.sections_for not in processes:
        what = f"no process '{job.sections_for}'"
        yield ["sections_for"], what, _near(job.sections_for, processes)
    for number, trial in enumerate(job.trial):
        if trial.process not in processes:
            yield (
                ["trial", number, "process"],
                f"no process '{trial.process}'",
                _near(trial.process, processes),
            )
        if (trial.before is None) != (trial.after is None):
            yield ["trial", number], "only one of two photos", "Give both before and after"
    for keys, name in _files(job):
        if not exists(name):
            yield keys, f"no file '{name}' beside the job file", "Check the name"


def _panels(job: JobFile) -> Named:
    for number, photo in enumerate(job.photo):
        yield ["photo", number, "panel"], photo.panel
    for number, trial in enumerate(job.trial):
        if trial.panel:
            yield ["trial", number, "panel"], trial.panel
    for number, proof in enumerate(job.proof):
        yield ["proof", number, "panel"], proof.panel
    for number, cut in enumerate(job.film.earlier):
        yield ["film", "earlier", number, "panel"], cut.panel


def _files(job: JobFile) -> Named:
    for number, photo in enumerate(job.photo):
        yield ["photo", number, "file"], photo.file
    for number, trial in enumerate(job.trial):
        if trial.before and trial.after:
            yield ["trial", number, "before"], trial.before
            yield ["trial", number, "after"], trial.after
    for number, proof in enumerate(job.proof):
        yield ["proof", number, "before"], proof.before
        yield ["proof", number, "after"], proof.after


def _near(name: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(name, known, n=1)
    return f"Did you mean '{near[0]}'?" if near else f"Known: {', '.join(known)}"
