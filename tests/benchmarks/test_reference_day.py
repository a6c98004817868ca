"""The frozen reference of the day's plan: its plans keep every rule and its costs are the score's.

The judge and the score share no code with it; the generator's days are its and the search's alike.
"""

import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.problem import Problem, Relation
from schedules.dayplan.calc.score import score_plan
from schedules.dayplan.calc.solution import Assignment, LeftOut, Solution, Status
from tests.benchmarks.day_generator import farm_day
from tests.benchmarks.reference_day import plan
from tests.schedules.dayplan.test_reference import small_problem


def as_solution(problem: Problem, given: list[Assignment]) -> Solution:
    done = {assignment.job for assignment in given}
    left = tuple(LeftOut(job.id) for job in problem.jobs if job.id not in done)
    score = score_plan(problem, given)
    return Solution(Status.FEASIBLE, tuple(given), left, score, 0, 0, 0)


@pytest.mark.parametrize("seed", range(8))
def test_plans_keep_every_rule_and_tell_their_cost(seed: int) -> None:
    problem = farm_day(60, seed)
    told: list[float] = []

    given = plan(problem, 1.0, seed, lambda _, cost: told.append(cost))

    solution = as_solution(problem, given)
    assert not check(problem, solution).broken
    # Ways are exact in it, starts are whole seconds: the cost is the score's.
    assert told[-1] == pytest.approx(solution.score.total_cost, abs=0.01)
    assert told == sorted(told, reverse=True)
    assert len(given) >= 0.9 * len(problem.jobs)


@pytest.mark.parametrize("seed", range(6))
def test_plans_of_days_too_small_for_their_jobs_keep_every_rule(seed: int) -> None:
    problem = small_problem(seed)

    given = plan(problem, 0.3, seed)

    assert given
    assert not check(problem, as_solution(problem, given)).broken


def test_days_press_on_all_the_records_say() -> None:
    problem = farm_day(300, 1)

    jobs = problem.jobs
    relations = {d.relation for job in jobs for d in job.depends_on}
    assert (len(jobs), len(problem.people)) == (300, 40)
    assert relations == set(Relation)
    assert any(len(job.windows) > 1 for job in jobs)
    assert any(skill.until for person in problem.people for skill in person.skills)
    assert any(job.needs_machine and not job.needs_driver for job in jobs)
    assert {job.n_people for job in jobs} == {1, 2}
