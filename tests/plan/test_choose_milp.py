import itertools
from dataclasses import replace

import numpy as np
import pytest

from leastcut.plan import milp
from leastcut.plan.milp import ChoiceProblem, Limit


def random_problem(
    rng: np.random.Generator,
    *,
    sections: int,
    options: int,
    processes: int,
    groups: int,
    limits: int = 0,
) -> ChoiceProblem:
    sizes = rng.integers(2, options + 1, sections)
    uses = tuple(rng.random((m, processes)) < 0.45 for m in sizes)
    limit_rows = tuple(
        Limit(
            name=f"limit {k}",
            use=tuple(rng.uniform(0, 2, m) for m in sizes),
            per_process=rng.uniform(0, 1, processes),
            per_change=rng.uniform(0, 0.5, processes),
            most=float(rng.uniform(0.35, 0.8) * sections * 2),
        )
        for k in range(limits)
    )
    return ChoiceProblem(
        cost=tuple(rng.uniform(1, 9, m) for m in sizes),
        uses=uses,
        group=tuple(int(g) for g in np.sort(rng.integers(0, groups, sections))),
        setup=rng.uniform(0, 6, processes),
        change=rng.uniform(0, 3, processes),
        limits=limit_rows,
    )


def brute_force(problem: ChoiceProblem) -> float | None:
    """Try every combination with plain sets and sums; None when none keeps the limits."""
    best = None
    for choice in itertools.product(*[range(len(c)) for c in problem.cost]):
        pairs = {
            (problem.group[s], int(p))
            for s, o in enumerate(choice)
            for p in np.flatnonzero(problem.uses[s][o])
        }
        on_car = {p for _, p in pairs}
        cost = sum(problem.cost[s][o] for s, o in enumerate(choice))
        cost += sum(problem.setup[p] for p in on_car) + sum(problem.change[p] for _, p in pairs)
        kept = all(
            sum(m.use[s][o] for s, o in enumerate(choice))
            + sum(m.per_process[p] for p in on_car)
            + sum(m.per_change[p] for _, p in pairs)
            <= m.most
            for m in problem.limits
        )
        if kept and (best is None or cost < best):
            best = cost
    return best


@pytest.mark.parametrize("limits", [0, 1, 2])
def test_the_solver_finds_what_brute_force_finds(limits: int) -> None:
    rng = np.random.default_rng(20 + limits)
    infeasible = 0
    for _ in range(80):  # 3 × 80 = 240 cases
        problem = random_problem(rng, sections=5, options=4, processes=3, groups=2, limits=limits)
        best = brute_force(problem)
        found = milp.solve(problem, gap=1e-9, time_limit_s=10.0)
        if best is None:
            infeasible += 1
            assert found.by == "infeasible"
            assert found.choice == ()
        else:
            assert found.cost == pytest.approx(best, rel=1e-7)
            assert milp.total_cost(problem, found.choice) == pytest.approx(best, rel=1e-7)
            assert milp.broken_limits(problem, found.choice) == ()
            assert found.gap == pytest.approx(0.0, abs=1e-7)
    assert limits == 0 or 0 < infeasible < 80


def test_the_greedy_answer_is_feasible_and_near_the_best() -> None:
    rng = np.random.default_rng(5)
    ratios = []
    for _ in range(60):
        problem = random_problem(rng, sections=6, options=5, processes=4, groups=3)
        rough = milp.greedy(problem)
        assert len(rough) == 6
        ratios.append(milp.total_cost(problem, rough) / milp.solve(problem, gap=1e-9).cost)
    assert min(ratios) >= 1 - 1e-9
    assert np.mean(ratios) < 1.05


def test_greedy_answers_when_time_runs_out_and_states_its_gap() -> None:
    rng = np.random.default_rng(9)
    problem = random_problem(rng, sections=60, options=10, processes=6, groups=12, limits=1)
    found = milp.solve(problem, time_limit_s=0.0)
    assert len(found.choice) == 60
    assert milp.broken_limits(problem, found.choice) == ()
    if found.gap is not None:
        assert found.gap >= 0
        assert found.cost * (1 - found.gap) <= milp.solve(problem, time_limit_s=20.0).cost + 1e-6


def test_nothing_to_choose() -> None:
    empty = ChoiceProblem(cost=(), uses=(), group=(), setup=np.ones(2), change=np.ones(2))
    found = milp.solve(empty)
    assert (found.choice, found.cost, found.gap) == ((), 0.0, 0.0)


def test_impossible_limit_is_infeasible_also_for_greedy() -> None:
    one = ChoiceProblem(
        cost=(np.array([1.0]),),
        uses=(np.array([[True]]),),
        group=(0,),
        setup=np.array([1.0]),
        change=np.array([1.0]),
        limits=(Limit("minutes", (np.array([5.0]),), np.zeros(1), np.zeros(1), 4.0),),
    )
    assert milp.greedy(one) == ()
    assert milp.solve(one).by == "infeasible"
    assert milp.broken_limits(one, (0,)) == ("minutes",)


def test_out_of_time_is_not_called_impossible() -> None:
    """Tight limits that greedy misses, and no time for the solver: nothing is claimed."""
    rng = np.random.default_rng(3)
    said = set()
    for _ in range(8):
        problem = random_problem(rng, sections=30, options=6, processes=4, groups=6, limits=2)
        tight = tuple(
            replace(limit, most=1.05 * sum(float(u.min()) for u in limit.use))
            for limit in problem.limits
        )
        found = milp.solve(replace(problem, limits=tight), time_limit_s=0.0)
        said.add(found.by)
        assert found.choice == () or milp.broken_limits(problem, found.choice) == ()
    assert "out of time" in said
