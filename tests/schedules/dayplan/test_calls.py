"""One call at a store for all later jobs of a shift: where it is made, and when one is not enough.

The published day is V. Pillac's R101.100_25-5-5-5, with the authors' own tours: its time on duty is
worked out by `public_instances`, which knows nothing of the search; fixtures/published/dayplan.
"""

from typing import Any

import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.problem import Job, Problem, Weights
from schedules.dayplan.calc.resources import Amount, Person, Place
from schedules.dayplan.calc.search.mix import Lines, is_apart
from schedules.dayplan.calc.search.tables import Tables
from schedules.dayplan.calc.search.worker import Worker
from schedules.dayplan.calc.solution import ReasonCode, Solution

from .public_instances import technician_day, technician_routes, time_on_duty
from .public_problems import technician_problem, technician_stops
from .tiny import (
    a_day,
    a_job,
    a_machine,
    a_person,
    at,
    minute_of,
    plan_with,
    solved,
    span,
    times_of,
)

R101 = "R101.100_25-5-5-5"
STORE = Place("store", 0, 400, stocks=("wrench", "liner"))  # five minutes from the barn, as the lot
WRENCH, LINER = Amount("wrench"), Amount("liner")
WAY_OUT_AND_BACK_MIN = 10


def needing(key: str, *items: Amount, **fields: Any) -> Job:
    return a_job(key, items=items, **({"windows": (span(0, 480),)} | fields))


def two_needing(item: Amount, person: Person) -> Problem:
    jobs = needing("first", item), needing("second", item)
    return a_day(person, STORE, *jobs, tools=("wrench",))


def calls_of(solution: Solution) -> list[str]:
    """Return the jobs before which a call is made, in order of time."""
    by_time = sorted(solution.assignments, key=lambda given: given.start)
    return [given.job for given in by_time if given.calls_at is not None]


def planned(problem: Problem) -> Solution:
    solution = solved(problem)
    assert check(problem, solution).broken == ()
    return solution


def test_one_call_serves_two_jobs() -> None:
    solution = planned(two_needing(LINER, a_person()))

    assert len(calls_of(solution)) == 1
    assert solution.score.total_cost == WAY_OUT_AND_BACK_MIN


def test_with_room_for_one_liner_each_job_takes_a_call() -> None:
    solution = planned(two_needing(LINER, a_person(room_for=(LINER,))))

    assert len(calls_of(solution)) == 2
    assert solution.score.total_cost == 2 * WAY_OUT_AND_BACK_MIN


def test_a_tool_is_fetched_once_however_little_room_there_is() -> None:
    solution = planned(two_needing(WRENCH, a_person(room_for=(WRENCH,))))

    assert len(calls_of(solution)) == 1


def test_who_carries_it_does_not_call() -> None:
    solution = planned(two_needing(WRENCH, a_person(carries=(WRENCH,))))

    assert (calls_of(solution), solution.score.total_cost) == ([], 0)


def test_what_is_carried_lasts_for_one_job_only() -> None:
    solution = planned(two_needing(LINER, a_person(carries=(LINER,))))

    assert solution.score.total_cost == WAY_OUT_AND_BACK_MIN


def test_the_call_is_made_earlier_where_the_job_itself_leaves_no_time_for_it() -> None:
    early = needing("early", windows=(span(15, 35),))
    tight = needing("tight", LINER, windows=(span(35, 56),))
    problem = a_day(a_person(), STORE, early, tight)

    solution = planned(problem)

    assert calls_of(solution) == ["early"]
    assert times_of(solution) == {"early": (15, 35), "tight": (35, 55)}


def test_a_call_that_leaves_no_time_keeps_the_job_out() -> None:
    tight = needing("tight", LINER, windows=(span(0, 29),))  # ten minutes of way, twenty of work
    late = needing("tight", LINER, windows=(span(0, 30),))

    assert [out.job for out in planned(a_day(a_person(), STORE, tight)).left_out] == ["tight"]
    assert planned(a_day(a_person(), STORE, late)).left_out == ()


def test_two_liners_for_one_job_need_room_for_two() -> None:
    job = needing("big", Amount("liner", 2))
    small, large = (a_person(room_for=(Amount("liner", n),)) for n in (1, 2))

    [out] = planned(a_day(small, STORE, job)).left_out

    assert (out.job, out.reasons[0].code, out.reasons[0].facts) == (
        "big",
        ReasonCode.ITEMS_NOT_TO_BE_HAD,
        {"items": ("liner",)},
    )
    assert planned(a_day(large, STORE, job)).left_out == ()


def test_people_leave_as_late_as_leaves_all_that_follows_in_time() -> None:
    # Barn at any time, then the field, ten minutes off, not before 100: on duty from 70 to 120.
    any_time = a_job("any", windows=(span(0, 95),))
    walked = a_job("walked", place="field", windows=(span(100, 120),))
    duty = Weights(travel_per_min=0, duty_per_min=1)
    problem = a_day(a_person(), any_time, walked, weights=duty)

    solution = planned(problem)

    assert solution.score.total_cost == 50
    assert min(minute_of(given.start) for given in solution.assignments) == 70


def test_published_tours_have_their_published_time_on_duty() -> None:
    day, (value, routes) = technician_day(R101), technician_routes(R101)

    assert abs(sum(time_on_duty(day, t, stops) or 0 for t, stops in routes.items()) - value) < 1e-3


def test_a_published_day_is_planned_by_its_own_rules() -> None:
    day = technician_day(R101)
    problem = technician_problem(day)

    solution = planned(problem)
    routes = technician_stops(solution, len(day.technicians))
    on_duty = [time_on_duty(day, t, stops) for t, stops in routes.items()]

    assert sorted(s for stops in routes.values() for s in stops if s is not None) == [*range(100)]
    assert None not in on_duty
    # Our ways are rounded up to seconds: at most one for each of 100 requests, the calls, the ways
    # home, in minutes.
    assert 0 <= solution.score.total_cost - sum(t or 0 for t in on_duty) < 150 / 60


def test_shifts_put_together_anew_are_a_plan_no_worse_than_the_best() -> None:
    problem = technician_problem(technician_day(R101))
    tables = Tables(Instance(problem))
    worker, seen = Worker(tables, 1), Lines(tables)
    worker.begin()
    for _ in range(40):
        worker.go_on(5, 0.0)
        seen.add(worker.B, worker.S, worker.W)

    worker.seen = seen
    before = worker.best_cost
    worker._mix(seen)

    plan = plan_with(problem, *worker.assignments())
    assert check(problem, plan).broken == ()
    assert worker.best_cost < before
    assert abs(plan.score.total_cost - worker.best_cost) < 1


@pytest.mark.parametrize(
    "change",
    [
        {"n_people": 2},
        {"occupies": ("bay",)},
        {"same_people_as": ("b",)},
        {"due_at": at(30)},
        {"machine_kinds": ("loader",)},
    ],
)
def test_shifts_that_touch_each_other_are_not_put_together(change: dict[str, Any]) -> None:
    assert is_apart(a_day(a_person(), a_job(), a_job("b")))
    assert not is_apart(a_day(a_person(), a_machine(), a_job(**change), a_job("b")))
