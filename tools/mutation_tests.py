"""The tests' side of tools/mutation.py: collect once, learn which test reaches what, run some."""

import importlib
import os
import pickle
import re
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from mutmut.mutation import trampoline
from mutmut.mutation.trampoline import set_mutant_under_test

Alone = Callable[[Callable[[], int]], int]
COPY = re.compile(r"__mutmut_\d+$")


@dataclass(frozen=True)
class Plan:
    """What is run: test files and mutated modules (their examples), less tests by name."""

    root: Path
    scratch: Path
    paths: tuple[str, ...]
    without: tuple[str, ...] = ()


@dataclass(eq=False)
class Caught:
    """The collected tests, and which of them reach which function."""

    plan: Plan
    loop: Callable[["Caught"], None] | None
    items: list[pytest.Item] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    hits: set[str] = field(default_factory=set)
    loading: set[str] = field(default_factory=set)
    reached: dict[str, set[str]] = field(default_factory=dict)  # test: functions
    fixtures: dict[str, set[str]] = field(default_factory=dict)  # file: functions
    seconds: dict[str, float] = field(default_factory=dict)

    def pytest_configure(self) -> None:
        """Make drawn examples the same each time, and spend no time on smaller ones."""
        from hypothesis import Phase, settings

        phases = (Phase.explicit, Phase.generate)
        settings.register_profile("mutation", database=None, derandomize=True, phases=phases)
        settings.load_profile("mutation")

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Leave out slow tests, and examples repeated in the copies of a function."""
        items[:] = [item for item in items if self._wanted(item)]
        self.items = items

    def _wanted(self, item: pytest.Item) -> bool:
        slow = any(part in item.nodeid for part in self.plan.without)
        process = item.get_closest_marker("process") or item.get_closest_marker("browser")
        return not (slow or process or COPY.search(item.name))

    def pytest_runtestloop(self, session: pytest.Session) -> bool | None:
        """Do our loop instead of pytest's, if there is one and everything could be collected."""
        if self.loop is None or session.testsfailed:
            return None
        self.loading = set(self.hits)
        self.loop(self)
        return True

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Remember what failed, and what fixtures reached."""
        if report.when == "setup":
            self.fixtures.setdefault(report.nodeid.partition("::")[0], set()).update(self.hits)
        if report.failed:
            self.failed.append(report.nodeid)

    @property
    def whole_s(self) -> float:
        """Time of all the tests [s]."""
        return sum(self.seconds.values())

    def passes(self, items: Sequence[pytest.Item], *, to_the_end: bool = False) -> bool:
        """Run tests until one fails."""
        for item, following in zip(items, [*items[1:], None], strict=True):
            begin, self.hits = time.perf_counter(), set()
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            self.seconds[item.nodeid] = time.perf_counter() - begin
            self.reached[item.nodeid] = self.hits
            if self.failed and not to_the_end:
                return False
        return not self.failed

    def learn(self, alone: Alone) -> None:
        """Run every test in a fork without a mutant, and load here what they loaded there.

        Raises
        ------
        SystemExit
            some test fails

        """
        reply = self.plan.scratch / "learnt.pickle"

        def work() -> int:
            self.passes(self.items, to_the_end=True)
            told = (self.reached, self.fixtures, self.seconds, self.failed)
            learnt = (*told, sorted(sys.modules))
            reply.write_bytes(pickle.dumps(learnt))
            return 0

        alone(work)
        learnt = pickle.loads(reply.read_bytes())
        self.reached, self.fixtures, self.seconds, failed, modules = learnt
        if failed:
            sys.exit(f"without a mutant these fail: {failed}")
        set_mutant_under_test("")
        for name in modules:  # not ours: a mutant must find its own modules and caches fresh
            if name.partition(".")[0] not in {"leastcut", "__main__"} and name not in sys.modules:
                with suppress(Exception):
                    importlib.import_module(name)

    def while_loading(self, mutant: str) -> bool:
        """Tell whether a mutant's function ran before the first test."""
        return function_of(mutant) in self.loading

    def reaching(self, mutant: str) -> tuple[list[pytest.Item], float]:
        """Return the tests to run and their time [s], files together, the quickest first.

        What a test's fixtures reach counts for every test of its file, for they may share them.
        """
        function = function_of(mutant)
        files: dict[str, list[pytest.Item]] = defaultdict(list)
        for item in self.items:
            file = item.nodeid.partition("::")[0]
            if function in self.reached[item.nodeid] or function in self.fixtures.get(file, ()):
                files[file].append(item)
        touched = [sorted(items, key=self._time) for items in files.values()]
        touched.sort(key=lambda items: self._time(items[0]))
        chosen = [item for items in touched for item in items]
        return chosen, sum(map(self._time, chosen))

    def files_reaching(self, mutant: str) -> tuple[tuple[str, ...], float]:
        """Return the test files that reach a mutant's function, or all, and their time [s]."""
        chosen, seconds = self.reaching(mutant)
        copies = self.plan.scratch
        paths = {p.parent if copies in p.parents else p for p in (i.path for i in chosen)}
        files = tuple(sorted(map(str, paths)))
        return (files, seconds) if files else (self.plan.paths, self.whole_s)

    def _time(self, item: pytest.Item) -> float:
        return self.seconds[item.nodeid]


def function_of(mutant: str) -> str:
    """Return the name of the function that a mutant changes.

    >>> function_of("leastcut.safety.cord.x_drop__mutmut_12")
    'leastcut.safety.cord.x_drop'
    """
    return mutant.partition("__mutmut_")[0]


def switch_on(mutant: str) -> None:
    """Make calls go to a mutant, and its function show the mutant's own defaults."""
    set_mutant_under_test(mutant)
    module_name, _, copy = mutant.rpartition(".")
    module = sys.modules.get(module_name)
    *owner, name = COPY.sub("", copy).removeprefix("x_").removeprefix("xǁ").split("ǁ")
    home = getattr(module, owner[0], None) if owner else module
    function = getattr(home, name, None)
    if hasattr(function, "__wrapped__"):
        function.__wrapped__ = getattr(home, copy)


def run_tests(
    plan: Plan, options: Sequence[str], loop: Callable[[Caught], None] | None = None
) -> int:
    """Collect the tests against the mutated copy and run them, or what `loop` wants instead."""
    source = str(plan.scratch / "src")
    sys.path.insert(0, source)
    os.environ["PYTHONPATH"] = source
    os.chdir(plan.root)
    caught = Caught(plan, loop)
    trampoline.record_trampoline_hit = lambda name, **_: caught.hits.add(name)
    if loop is not None:
        set_mutant_under_test("stats")
    fixed = ["-c", str(plan.root / "pyproject.toml"), f"--rootdir={plan.root}", "--capture=sys"]
    fixed += [f"--basetemp={plan.scratch / 'base'}", "-p", "no:cacheprovider", "-p", "no:randomly"]
    return int(pytest.main([*fixed, "--doctest-modules", *options, *plan.paths], plugins=[caught]))
