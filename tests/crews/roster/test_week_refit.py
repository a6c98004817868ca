"""Walks over rosters cost what the judge counts, and prices bound what the whole model proves."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import pytest

from crews.roster.calc.check import check_week
from crews.roster.calc.columns import Columns, Key
from crews.roster.calc.model import RosterModel
from crews.roster.calc.model_rules import SCALE
from crews.roster.calc.problem import Problem
from crews.roster.calc.refit import Facts, Walk, use_once
from crews.roster.calc.refit_loops import HARD, total_cost
from crews.roster.calc.score import score_roster
from crews.roster.calc.search import solve_week
from crews.roster.calc.solution import Assignment, Solution, Status
from tests.benchmarks.week_generator import farm_weeks

from .test_week_brute_force import a_problem

N_PROBLEMS = 60


def a_walk(problem: Problem) -> Walk:
    return Walk(Facts(problem, Columns(problem).people))


def roster_of(problem: Problem, walk: Walk) -> tuple[Assignment, ...]:
    model = RosterModel(problem)
    held = [0] * len(model.model.proto.variables)
    literals: dict[Key, Any] = {**model.x, **model.y}
    for key in walk.keys:
        held[literals[key].index] = 1
    return model.assignments(held)


@pytest.mark.parametrize("is_one_skill", [False, True])
def test_a_walk_costs_what_the_judge_counts(is_one_skill: bool) -> None:
    problems = [a_problem(seed) for seed in range(N_PROBLEMS)]
    farm = farm_weeks(n_people=20, n_weeks=1)
    n_met = 0
    for problem in (replace(farm, is_one_skill_a_shift=is_one_skill), *problems):
        walk = a_walk(problem)
        if not walk.is_able:
            continue
        walk.first(1)
        walk.go(2, 40, 3.0 * SCALE)

        roster = roster_of(problem, walk)
        score = score_roster(problem, roster)

        verdict = check_week(problem, Solution(Status.FEASIBLE, roster, score))
        assert (walk.best_cost < HARD / 100) == verdict.is_feasible
        if verdict.is_feasible:
            n_met += 1
            assert walk.best_cost / SCALE == pytest.approx(score.total_cost, abs=1e-3)
    assert n_met > N_PROBLEMS / 4


def test_moves_leave_the_counts_right() -> None:
    problem = farm_weeks(n_people=20, n_weeks=2)
    walk, again = a_walk(problem), a_walk(problem)
    walk.first(1)
    walk.go(2, 300, 5.0 * SCALE)
    warmth = walk.warmth(3)

    again.begin(walk.keys)

    assert again.best_cost == pytest.approx(walk.best_cost)
    assert total_cost(walk.facts.given, walk.state) >= walk.best_cost - 1
    assert warmth > 1


def test_the_same_seed_walks_the_same_way() -> None:
    problem = farm_weeks(n_people=20, n_weeks=1)
    walks = [a_walk(problem), a_walk(problem)]
    for walk in walks:
        walk.first(1)
        walk.go(2, 200, 3.0 * SCALE)

    assert walks[0].keys == walks[1].keys


def test_prices_bound_what_is_proved() -> None:
    n_close = 0
    for seed in range(0, N_PROBLEMS, 2):
        problem = a_problem(seed)
        proved = solve_week(problem, seconds=None, iterations=1)
        if proved.status != Status.OPTIMAL or proved.score is None:
            continue
        columns = Columns(problem)
        with ThreadPoolExecutor(1) as pool:
            for _ in range(40):
                columns.raise_bound(pool, 0, proved.score.total_cost * SCALE + 1)

        bound = columns.bound / SCALE

        assert bound <= proved.score.total_cost + 1e-6
        n_close += bound > 0.9 * proved.score.total_cost - 1e-6
    assert n_close > 3


def test_the_little_walk_works_its_day() -> None:
    assert use_once() == 0.0
