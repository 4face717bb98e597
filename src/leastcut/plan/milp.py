"""Pick one option per section so that the whole car costs least: exact by HiGHS, greedy if it must.

The model: binary x[s, o] picks option o for section s; y[p] says that process p is used on the car
and z[g, p] that it is used on panel g. Minimise ``sum c x + sum setup y + sum change z`` subject to
one option per section, ``x`` uses p only where ``z``, ``z`` only where ``y``, and rows of limits
(minutes, liquid). y and z may be continuous: at the optimum they are 0 or 1 because x is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Prices per whole limit [min] that the greedy answer tries, dearest last.
PRICES = (0.0, 1e2, 3e2, 1e3, 3e3, 1e4, 1e6)


@dataclass(frozen=True)
class Limit:
    """A limit on something that all sections share.

    ``sum use x + sum per_process y + sum per_change z <= most``: what the options use, what a
    process uses once for the car, and once for every panel.
    """

    name: str
    use: tuple[Floats, ...]
    per_process: Floats
    per_change: Floats
    most: float


@dataclass(frozen=True)
class ChoiceProblem:
    """One option per section, with couplings across panels and the car.

    Attributes
    ----------
    cost : tuple of (m_s,) arrays
        Cost of every option of every section [min].
    uses : tuple of (m_s, P) bool arrays
        Which processes an option uses.
    group : tuple of int
        Panel number of every section.
    setup, change : (P,) arrays
        Cost of a process used anywhere on the car, and on each panel that it is used on [min].
    limits : tuple of Limit
        Limits that all sections share.
    """

    cost: tuple[Floats, ...]
    uses: tuple[Bools, ...]
    group: tuple[int, ...]
    setup: Floats
    change: Floats
    limits: tuple[Limit, ...] = ()


@dataclass(frozen=True)
class Solution:
    """What was chosen and how good it is proven to be.

    ``choice`` is empty when the limits leave nothing (``infeasible``, proven) or nothing was found
    in time; ``gap`` is ``(cost − bound) / cost``, or None when no bound is known.
    """

    choice: tuple[int, ...]
    cost: float
    gap: float | None
    by: Literal["milp", "greedy", "infeasible", "out of time"]


def used(problem: ChoiceProblem, choice: Sequence[int]) -> Bools:
    """Return the (G, P) table of the processes used on each panel under `choice`."""
    table = np.zeros((max(problem.group, default=-1) + 1, len(problem.setup)), dtype=bool)
    for s, o in enumerate(choice):
        table[problem.group[s]] |= problem.uses[s][o]
    return table


def total_cost(problem: ChoiceProblem, choice: Sequence[int]) -> float:
    """Return the cost of a complete choice [min], couplings included."""
    table = used(problem, choice)
    own = sum(float(problem.cost[s][o]) for s, o in enumerate(choice))
    return own + float(table.any(axis=0) @ problem.setup + table.sum(axis=0) @ problem.change)


def broken_limits(problem: ChoiceProblem, choice: Sequence[int]) -> tuple[str, ...]:
    """Name the limits that a complete choice exceeds."""
    found = []
    for limit in problem.limits:
        spent = spending(problem, limit, choice)
        if spent > limit.most * (1 + 1e-9) + 1e-9:
            found.append(limit.name)
    return tuple(found)


def spending(problem: ChoiceProblem, limit: Limit, choice: Sequence[int]) -> float:
    """Return what a complete choice uses of one limit."""
    table = used(problem, choice)
    own = sum(float(limit.use[s][o]) for s, o in enumerate(choice))
    shared = table.any(axis=0) @ limit.per_process + table.sum(axis=0) @ limit.per_change
    return own + float(shared)


def solve(problem: ChoiceProblem, *, time_limit_s: float = 2.0, gap: float = 1e-3) -> Solution:
    """Return the cheapest choice, with the proven gap.

    HiGHS runs under a time limit; a greedy answer stands in when it finds nothing better in time.

    Parameters
    ----------
    problem : ChoiceProblem
        Options, couplings and limits.
    time_limit_s : float
        Most time to search [s].
    gap : float
        Relative gap at which the search may stop.

    Returns
    -------
    Solution
        ``by`` says which method found it; ``infeasible`` with an empty choice when the limits
        leave nothing.
    """
    if not problem.cost:
        return Solution((), 0.0, 0.0, "milp")
    result = _highs(problem, time_limit_s=time_limit_s, gap=gap)
    if result.status == 2:  # proven infeasible
        return Solution((), float("inf"), None, "infeasible")
    exact = () if result.x is None else _read(problem, result.x)
    rough = () if result.status == 0 else greedy(problem)
    best, by = _better(problem, exact, rough)
    if not best:
        return Solution((), float("inf"), None, "out of time")
    cost = total_cost(problem, best)
    return Solution(best, cost, _gap(cost, result.mip_dual_bound), by)


def _better(
    problem: ChoiceProblem, exact: tuple[int, ...], rough: tuple[int, ...]
) -> tuple[tuple[int, ...], Literal["milp", "greedy"]]:
    if not exact or (rough and total_cost(problem, rough) < total_cost(problem, exact) - 1e-9):
        return rough, "greedy"
    return exact, "milp"


def _gap(cost: float, bound: float | None) -> float | None:
    if bound is None or not np.isfinite(bound):
        return None
    return max(0.0, (cost - bound) / max(abs(cost), 1e-9))


def _starts(problem: ChoiceProblem) -> NDArray[np.int64]:
    return np.concatenate([[0], np.cumsum([len(c) for c in problem.cost])]).astype(np.int64)


def _read(problem: ChoiceProblem, x: Floats) -> tuple[int, ...]:
    start = _starts(problem)
    return tuple(int(np.argmax(x[a:b])) for a, b in pairwise(start))


def _highs(problem: ChoiceProblem, *, time_limit_s: float, gap: float) -> Any:
    """Build the matrices and run the solver."""
    from scipy.optimize import Bounds, milp

    n = int(_starts(problem)[-1])
    n_groups, n_processes = max(problem.group) + 1, len(problem.setup)
    cost = np.concatenate([*problem.cost, problem.setup, np.tile(problem.change, n_groups)])
    whole = np.zeros(cost.size)
    whole[:n] = 1
    rows = _Rows(n_x=n, n_y=n_processes, n_z=n_groups * n_processes)
    return milp(
        cost,
        integrality=whole,
        bounds=Bounds(0, 1),
        constraints=[*rows.one_each(problem), *rows.couplings(problem), *rows.limits(problem)],
        options={"time_limit": time_limit_s, "mip_rel_gap": gap},
    )


@dataclass(frozen=True)
class _Rows:
    """The constraint rows, as sparse matrices over the columns x | y | z."""

    n_x: int
    n_y: int
    n_z: int

    def _matrix(self, rows: Any, columns: Any, values: Any, count: int) -> Any:
        from scipy.sparse import csr_array

        return csr_array((values, (rows, columns)), shape=(count, self.n_x + self.n_y + self.n_z))

    def one_each(self, problem: ChoiceProblem) -> list[Any]:
        from scipy.optimize import LinearConstraint

        sizes = [len(c) for c in problem.cost]
        rows = np.repeat(np.arange(len(sizes)), sizes)
        matrix = self._matrix(rows, np.arange(self.n_x), np.ones(self.n_x), len(sizes))
        return [LinearConstraint(matrix, 1, 1)]

    def couplings(self, problem: ChoiceProblem) -> list[Any]:
        """Section over panel (one row per section and process), panel over car."""
        from scipy.optimize import LinearConstraint

        section = np.repeat(np.arange(len(problem.cost)), [len(c) for c in problem.cost])
        x, p = np.nonzero(np.concatenate(problem.uses))
        row = section[x] * self.n_y + p
        z_of = self.n_x + self.n_y + np.array(problem.group)[:, None] * self.n_y
        z = (z_of + np.arange(self.n_y)).ravel()
        n_rows = z.size
        upper = self._matrix(
            np.concatenate([row, np.arange(n_rows)]),
            np.concatenate([x, z]),
            np.concatenate([np.ones(x.size), -np.ones(n_rows)]),
            n_rows,
        )
        k = np.arange(self.n_z)
        lower = self._matrix(
            np.concatenate([k, k]),
            np.concatenate([self.n_x + self.n_y + k, self.n_x + k % self.n_y]),
            np.concatenate([np.ones(k.size), -np.ones(k.size)]),
            k.size,
        )
        return [LinearConstraint(upper, -np.inf, 0), LinearConstraint(lower, -np.inf, 0)]

    def limits(self, problem: ChoiceProblem) -> list[Any]:
        from scipy.optimize import LinearConstraint

        n_groups = self.n_z // self.n_y
        rows = [
            np.concatenate([*m.use, m.per_process, np.tile(m.per_change, n_groups)])
            for m in problem.limits
        ]
        most = [m.most for m in problem.limits]
        return [LinearConstraint(np.array(rows), -np.inf, most)] if rows else []


def greedy(problem: ChoiceProblem) -> tuple[int, ...]:
    """Return a good choice quickly: the best kit of processes, then one section at a time.

    Every small kit of processes is tried (the ladder is short), each section taking its cheapest
    option within the kit; then single sections move while that lowers the whole cost. Empty when
    no choice found keeps the limits.
    """
    best: tuple[float, tuple[int, ...]] = (float("inf"), ())
    for kit in _kits(len(problem.setup)):
        for price in PRICES if problem.limits else PRICES[:1]:
            choice = _within(problem, kit, price)
            if choice and not broken_limits(problem, choice):
                best = min(best, (total_cost(problem, choice), choice))
                break
    return _polish(problem, list(best[1])) if best[1] else ()


def _kits(n: int) -> list[Bools]:
    """Return kits of processes to try: all of them, then every subset of up to three."""
    kits = [np.ones(n, dtype=bool)]
    for size in range(min(n, 4)):
        for members in combinations(range(n), size):
            kit = np.zeros(n, dtype=bool)
            kit[list(members)] = True
            kits.append(kit)
    return kits


def _within(problem: ChoiceProblem, kit: Bools, price: float) -> tuple[int, ...]:
    """Take each section's cheapest option within the kit, its use of the limits priced."""
    choice = []
    for s, (cost, uses) in enumerate(zip(problem.cost, problem.uses, strict=True)):
        burden = cost + uses @ problem.change * 0.5
        for limit in problem.limits:
            burden = burden + price * limit.use[s] / limit.most
        allowed = np.where((uses & ~kit).any(axis=1), np.inf, burden)
        o = int(np.argmin(allowed))
        if not np.isfinite(allowed[o]):
            return ()
        choice.append(o)
    return tuple(choice)


def _polish(problem: ChoiceProblem, choice: list[int]) -> tuple[int, ...]:
    current = total_cost(problem, choice)
    for s in range(len(choice)):
        for o in range(len(problem.cost[s])):
            trial = [*choice[:s], o, *choice[s + 1 :]]
            cost = total_cost(problem, trial)
            if cost < current - 1e-9 and not broken_limits(problem, trial):
                choice, current = trial, cost
    return tuple(choice)
