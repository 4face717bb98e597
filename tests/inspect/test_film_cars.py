"""Two thousand invented cars: intervals hold, repaints are found, nobody cuts through."""

import film_figures as figures
import numpy as np
import pytest


@pytest.fixture(scope="module")
def trial() -> figures.Trial:
    return figures.run(2000, seed=11)


def test_intervals_hold_the_truth(trial: figures.Trial) -> None:
    everything = np.ones_like(trial.measured)
    assert 0.93 <= figures.coverage(trial, everything) <= 0.98
    for rows in (
        trial.measured & trial.clear_gauge,
        trial.measured & ~trial.clear_gauge,
        ~trial.measured & ~trial.plastic,
        ~trial.measured & trial.plastic,
    ):
        assert 0.93 <= figures.coverage(trial, rows) <= 0.98


def test_repainted_and_filled_panels_are_found(trial: figures.Trial) -> None:
    recall, alarms = figures.redone(trial)
    assert recall >= 0.95
    assert alarms <= 0.03


def test_the_whole_budget_leaves_the_reserve(trial: figures.Trial) -> None:
    assert figures.overcut(trial, np.ones_like(trial.measured)) <= 0.01
    assert figures.overcut(trial, trial.measured) <= 0.01


def test_the_budget_is_worth_most_of_a_perfect_gauge(trial: figures.Trial) -> None:
    assert figures.worth(trial, trial.measured) >= 0.80
    assert figures.worth(trial, trial.measured & trial.clear_gauge) >= 0.95


def test_measuring_pays(trial: figures.Trial) -> None:
    assert trial.budget[trial.measured].mean() > 1.5 * trial.budget[~trial.measured].mean()


def test_sections_keep_the_reserve_too() -> None:
    trial = figures.run(250, seed=4, with_sections=True)
    cut = trial.section_budget > 0
    short = trial.section_thin - trial.section_budget < figures.RESERVE_UM
    assert cut.mean() > 0.5
    assert np.mean(cut & short) <= 0.01
