"""The bound against every plan of tiny days, against plans found, and against a second program."""

from dataclasses import replace
from itertools import combinations

import pytest

from schedules.dayplan.calc.bound.model import Bound, bound_day
from schedules.dayplan.calc.model import solve_day
from schedules.dayplan.calc.problem import Job, Problem
from schedules.dayplan.calc.resources import Person
from schedules.dayplan.calc.score import score_plan
from schedules.dayplan.calc.solution import Assignment
from tests.benchmarks.day_generator import farm_day

from .bound_check import proved
from .test_brute_force import broken_by, options, plans, tiny_problem
from .tiny import a_day, a_job, a_machine, a_person, booked, solved, span


def bounded(problem: Problem) -> Bound:
    return bound_day(problem, solved(problem).assignments, seconds=10)


def with_prices(seed: int) -> Problem:
    """Let what is left out cost little, and lateness and overtime something."""
    problem = tiny_problem(seed)
    jobs = tuple(
        replace(job, left_out_cost=4 + 3 * i, due_at=job.windows[0].start)
        for i, job in enumerate(problem.jobs)
    )
    return replace(problem, jobs=jobs)


def least_cost(problem: Problem) -> float:
    """Cost of the best of all plans on the grid; see test_brute_force."""
    ways = {job: options(problem, job) for job in problem.jobs}
    least = float("inf")
    for n in range(len(problem.jobs) + 1):
        for done in combinations(problem.jobs, n):
            for plan in plans(ways, list(done)):
                given = [
                    Assignment(j.id, b.people, b.machine, b.start, b.end) for j, b in plan.items()
                ]
                cost = score_plan(problem, given).total_cost
                if cost < least and not broken_by(problem, plan):
                    least = cost
    return least


@pytest.mark.parametrize("seed", range(24))
def test_no_plan_of_a_tiny_day_costs_less_than_its_bound(seed: int) -> None:
    problem = with_prices(seed)

    assert bounded(problem).cost <= least_cost(problem) + 1e-6


def test_the_bounds_of_tiny_days_are_mostly_near_the_best() -> None:
    pairs = [(bounded(p).cost, least_cost(p)) for p in map(with_prices, range(12))]

    assert sum(bound for bound, _ in pairs) > 0.8 * sum(cost for _, cost in pairs) > 0


@pytest.mark.parametrize("seed", range(12))
def test_a_second_program_proves_the_bound_from_its_prices(seed: int) -> None:
    problem = with_prices(seed)
    bound = bounded(problem)

    assert proved(problem, bound.part_prices, bound.stand_prices) >= bound.cost - 1e-6


def test_a_second_program_proves_the_bound_of_a_day_of_forty_jobs() -> None:
    problem = farm_day(40)
    solution = solved(problem)
    bound = bound_day(problem, solution.assignments, seconds=20)

    assert 0 < bound.cost <= solution.score.total_cost
    assert proved(problem, bound.part_prices, bound.stand_prices) >= bound.cost - 1e-6


def test_a_search_that_is_asked_for_it_tells_the_bound() -> None:
    problem = farm_day(40)
    plain = solve_day(problem, seconds=0.5)
    bounded = solve_day(problem, seconds=8, bounds=True)

    assert plain.bound_cost < bounded.bound_cost <= bounded.score.total_cost


def test_prices_too_high_prove_less_and_never_too_much() -> None:
    problem = with_prices(3)
    bound = bounded(problem)
    dear = {key: price + 5 for key, price in bound.part_prices.items()}

    assert proved(problem, dear, bound.stand_prices) <= least_cost(problem) + 1e-6


def two_walks(**fields: object) -> Problem:
    """Build two jobs ten minutes away and one person at the barn."""
    return a_day(
        a_person(),
        a_job("there", place="field", windows=(span(0, 200),)),
        a_job("here", windows=(span(0, 25),)),
        **fields,
    )


def test_a_day_of_one_person_is_bounded_exactly() -> None:
    assert bounded(two_walks()).cost == pytest.approx(10, abs=1e-3)


def test_a_machine_is_taken_over_from_where_it_stands_by_one_alone() -> None:
    problem = a_day(
        a_machine(start_place="lot"),
        a_person("ana"),
        a_job("one", machine_kinds=("loader",), windows=(span(0, 60),)),
        a_job("two", machine_kinds=("loader",), windows=(span(100, 200),)),
    )
    solution = solved(problem)

    assert bounded(problem).cost == pytest.approx(solution.score.total_cost, abs=1e-3)


@pytest.mark.parametrize("place", ["barn", "field", "lot"])
def test_a_locked_job_on_the_way_does_not_spoil_the_bound(place: str) -> None:
    locked: Job = a_job(
        "held", place="field", machine_kinds=("loader",), locked=booked("ana", 20, 40, "loader-1")
    )
    someone: Person = a_person("ana")
    problem = a_day(
        a_machine(speed_m_min=400),
        someone,
        locked,
        a_job("after", place=place, windows=(span(30, 200),)),
    )

    assert bounded(problem).cost <= solved(problem).score.total_cost + 1e-6


def test_what_nobody_can_do_counts_whole() -> None:
    problem = a_day(a_person(), a_job("lost", skills=("magic",), priority=4))

    assert bounded(problem).cost == pytest.approx(problem.weights.left_out[3], abs=1e-3)


def test_a_day_of_nothing_is_bounded_by_nothing() -> None:
    assert bounded(a_day()).cost == pytest.approx(0, abs=1e-3)
