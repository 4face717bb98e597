"""How well the tests bite: mutmut's mutants of the core, a seeded sample, the tests of each package.

``python tools/mutation.py`` makes every mutant that mutmut knows of a package's functions in a copy
of the source, draws a sample by a seed, runs for each mutant the package's tests that reach the
mutated function, and prints how many mutants a test noticed. Survivors are written as differences
to ``out/mutation/<package>.diff``. One mutant runs at a time; ctrl-c stops it.
"""

import argparse
import hashlib
import json
import math
import os
import resource
import shutil
import signal
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from mutmut.mutation.diff_apply import get_diff_for_mutant
from mutmut.mutation.file_mutation import mutate_file_contents
from mutmut.mutation.trampoline import set_mutant_under_test

sys.path.insert(0, str(Path(__file__).parent))
from mutation_tests import Caught, Plan, run_tests, switch_on

ROOT = Path(__file__).parents[1]
OUT = ROOT / "out" / "mutation"
SAMPLE, SEED = 150, 1
LEAST_CPU_S, TIMES_SLOWER, MORE_WALL = 20, 4, 10
Z95 = 1.959964  # 0.975 quantile of the normal


@dataclass(frozen=True)
class Package:
    """What is mutated, by which tests it is held, and which tests are too slow for every mutant."""

    name: str
    sources: tuple[str, ...]
    tests: tuple[str, ...]
    without: tuple[str, ...] = ()


# Modules that only draw are left out: their numbers are places on paper, judged by eye.
DRAWING = {"charts", "pictures", "drawing", "svg", "film_pictures", "film_sheets"}
EVIDENCE = "tests/evidence/test_evidence_published.py"
PACKAGES = (
    Package("safety", ("safety/*.py",), ("tests/safety", EVIDENCE)),
    Package("polish", ("polish/*.py",), ("tests/polish", EVIDENCE), ("a_brute_force_walk",)),
    Package(
        "film",
        (
            "inspect/film*.py",
            "inspect/gp.py",
            "inspect/gauge.py",
            "inspect/layers.py",
            "inspect/readings.py",
            "inspect/budget.py",
        ),
        ("tests/inspect/test_film*.py", "tests/inspect/test_gauge*.py", EVIDENCE),
        ("test_film_cars.py", "test_promised_gain_is_earned_on_average", "half_a_second_at_most"),
    ),
    Package(
        "testspot",
        ("testspot/*.py",),
        ("tests/testspot", EVIDENCE),
        ("test_spot_career.py", "test_a_decision_takes_a_blink"),
    ),
)


@dataclass(frozen=True)
class Outcome:
    """One mutant, and whether a test noticed it."""

    mutant: str
    verdict: str  # killed, survived, timed out


def mutate(package: Package, source: Path) -> dict[str, Path]:
    """Write mutated modules over a copy of the source and return each mutant's module.

    Parameters
    ----------
    source
        the folder `leastcut` of the copy

    """
    modules = sorted({path for shape in package.sources for path in source.glob(shape)})
    mutants: dict[str, Path] = {}
    for module in modules:
        if module.stem in DRAWING:
            continue
        mutated = mutate_file_contents(str(module), module.read_text(encoding="utf-8"))
        module.write_text(mutated.code, encoding="utf-8")
        dotted = ".".join(module.relative_to(source.parent).with_suffix("").parts)
        mutants |= dict.fromkeys((f"{dotted}.{name}" for name in mutated.mutant_names), module)
    return mutants


def sample(mutants: Sequence[str], count: int, seed: int) -> list[str]:
    """Draw by a seed and each mutant's own name, so that a change elsewhere draws the same ones."""

    def lot(mutant: str) -> str:
        return hashlib.sha256(f"{seed} {mutant}".encode()).hexdigest()

    return sorted(sorted(mutants, key=lot)[:count])


def wilson(killed: int, total: int) -> tuple[float, float]:
    """Return the 95 % interval of a share after Wilson (1927), JASA 22:209."""
    if not total:
        return 0.0, 1.0
    share, spread = killed / total, Z95**2 / total
    middle = (share + spread / 2) / (1 + spread)
    half = math.sqrt(spread * (share * (1 - share) + spread / 4)) / (1 + spread)
    return middle - half, middle + half


def alone(work: Callable[[], Any], *, cpu_s: float, quiet: bool = True) -> int:
    """Do some work in a fork and return its exit code, below zero for the signal that ended it."""
    child = os.fork()
    if child == 0:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(cpu_s), math.ceil(cpu_s) + 2))
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.alarm(math.ceil(cpu_s * MORE_WALL))
        if quiet:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 1)
            os.dup2(nowhere, 2)
        code = 3
        try:
            code = int(work())
        except BaseException:  # noqa: BLE001 (a fork must not go on as its parent)
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
    try:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    except KeyboardInterrupt:
        os.killpg(child, signal.SIGKILL)
        raise


def verdict(code: int) -> str:
    """Say what a fork's exit code means."""
    if code in {-signal.SIGXCPU, -signal.SIGALRM, -signal.SIGKILL}:
        return "timed out"
    return "killed" if code else "survived"


def try_mutant(caught: Caught, mutant: str) -> str:
    """Run the tests that reach a mutant's function, the quickest first."""
    chosen, seconds = caught.reaching(mutant)
    if not chosen:
        return "survived"

    def work() -> int:
        switch_on(mutant)
        return int(not caught.passes(chosen))

    return verdict(alone(work, cpu_s=max(LEAST_CPU_S, TIMES_SLOWER * seconds)))


def try_anew(plan: Plan, mutant: str, seconds: float) -> str:
    """Collect and run anew with a mutant of a function that runs while modules load."""

    def work() -> int:
        set_mutant_under_test(mutant)
        return run_tests(plan, ["-x"])

    return verdict(alone(work, cpu_s=max(LEAST_CPU_S, TIMES_SLOWER * seconds)))


def tell(text: str) -> None:
    """Show progress at once, beside what the tests print."""
    os.write(2, text.encode())


def judge(plan: Plan, mutants: Sequence[str]) -> list[Outcome]:
    """Try each mutant in a fork of a process that has collected the tests once.

    Returns
    -------
    one outcome per mutant, in their order

    Raises
    ------
    SystemExit
        a test fails without any mutant

    """
    outcomes: list[Outcome] = []

    def note(mutant: str, word: str) -> None:
        outcomes.append(Outcome(mutant, word))
        tell({"killed": ".", "survived": "S", "timed out": "T"}[word])

    late: dict[str, tuple[tuple[str, ...], float]] = {}

    def loop(caught: Caught) -> None:
        caught.learn(lambda work: alone(work, cpu_s=3600))
        tell(f"{len(mutants)} mutants, {len(caught.items)} tests in {caught.whole_s:.0f} s\n")
        for mutant in mutants:
            word = try_mutant(caught, mutant)
            if word == "survived" and caught.while_loading(mutant):
                late[mutant] = caught.files_reaching(mutant)
            else:
                note(mutant, word)

    reply = Path(plan.scratch) / "outcomes.json"

    def first() -> int:
        code = run_tests(plan, [], loop)
        told = [[o.mutant, o.verdict] for o in outcomes]
        reply.write_text(json.dumps([told, late]), encoding="utf-8")
        return code

    if alone(first, cpu_s=36000, quiet=False):
        sys.exit("the tests fail before any mutant is tried")
    told, late = json.loads(reply.read_text(encoding="utf-8"))
    outcomes = [Outcome(*pair) for pair in told]
    for mutant, (files, seconds) in late.items():
        note(mutant, try_anew(replace(plan, paths=tuple(files)), mutant, seconds))
    tell("\n")
    return sorted(outcomes, key=lambda outcome: mutants.index(outcome.mutant))


def last_survivors(name: str) -> set[str]:
    """Return the mutants that the last run of a package let live."""
    lines = (OUT / f"{name}.diff").read_text(encoding="utf-8").splitlines()
    return {line.removeprefix("# ") for line in lines if line.startswith("# ")}


def work_through(package: Package, count: int, seed: int, *, again: bool) -> list[Outcome]:
    """Mutate a copy, draw the sample, try it, and write the survivors' differences."""
    wanted = last_survivors(package.name) if again else None
    with tempfile.TemporaryDirectory(prefix="mutation-") as scratch:
        source = Path(scratch, "src", "leastcut")
        shutil.copytree(ROOT / "src" / "leastcut", source, ignore=shutil.ignore_patterns("*.pyc"))
        home = mutate(package, source)
        chosen = sample(list(home), count, seed)
        mutants = [name for name in chosen if wanted is None or name in wanted]
        tell(f"{package.name}: {len(home)} mutants in all, ")
        tests = [str(path) for shape in package.tests for path in sorted(ROOT.glob(shape))]
        # folders: a module named by itself would be searched for classes of tests as well
        examples = sorted({str(path.parent) for path in home.values()})
        plan = Plan(ROOT, Path(scratch), tuple(tests + examples), package.without)
        outcomes = judge(plan, mutants)
        left = [outcome.mutant for outcome in outcomes if outcome.verdict == "survived"]
        write_survivors(package.name, left, home, source.parent)
    return outcomes


def write_survivors(name: str, left: Sequence[str], home: dict[str, Path], source: Path) -> None:
    """Write what each surviving mutant changed."""
    OUT.mkdir(parents=True, exist_ok=True)
    texts = {path: path.read_text(encoding="utf-8") for path in {home[m] for m in left}}
    told = [
        f"# {mutant}\n"
        + get_diff_for_mutant(mutant, texts[home[mutant]], home[mutant].relative_to(source))
        for mutant in left
    ]
    (OUT / f"{name}.diff").write_text("\n\n".join(told) + "\n", encoding="utf-8")


def row(name: str, outcomes: Sequence[Outcome]) -> str:
    """Return one line of the table; a mutant that runs out of time was noticed."""
    count = Counter(outcome.verdict for outcome in outcomes)
    noticed = count["killed"] + count["timed out"]
    low, high = wilson(noticed, len(outcomes))
    return (
        f"| {name} | {len(outcomes)} | {count['killed']} | {count['timed out']} "
        f"| {count['survived']} | {noticed / max(1, len(outcomes)):.1%} "
        f"| {low:.1%} to {high:.1%} |"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Try a sample of mutants and print the table."""
    names = [package.name for package in PACKAGES]
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("packages", nargs="*", help=f"of {', '.join(names)}; else all")
    parser.add_argument(
        "--seed", type=int, default=SEED, help="draws the sample (default %(default)s)"
    )
    parser.add_argument(
        "--sample", type=int, default=SAMPLE, help="mutants of each package (default %(default)s)"
    )
    parser.add_argument("--again", action="store_true", help="only the last run's survivors")
    chosen = parser.parse_args(arguments)
    rows = [
        row(package.name, work_through(package, chosen.sample, chosen.seed, again=chosen.again))
        for package in PACKAGES
        if not chosen.packages or package.name in chosen.packages
    ]
    print(f"seed {chosen.seed}; left out: what only draws ({', '.join(sorted(DRAWING))})\n")
    print("| package | mutants | killed | timed out | survived | score | 95 % |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | --- |")
    print("\n".join(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
