"""What the search promises: repeatable, whole, true to locks and to the plan before."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.diff import diff_plans
from schedules.dayplan.calc.json_io import problem_from_json, problem_to_json
from schedules.dayplan.calc.model import Progress, solve_day
from schedules.dayplan.calc.problem import Booking, Dependency, Problem
from schedules.dayplan.calc.resources import Block, Effort, HeatRest, Machine, Person, Shift
from schedules.dayplan.calc.solution import Assignment, Solution, Status

from .days import farm_day
from .tiny import (
    a_day,
    a_job,
    a_machine,
    a_person,
    at,
    booked,
    plan_of,
    solved,
    span,
    times_of,
)

DENVER = ZoneInfo("America/Denver")


def as_previous(problem: Problem, solution: Solution) -> Problem:
    """Put a plan into the problem as the one before."""
    given = {a.job: a for a in solution.assignments}

    def seat(a: Assignment) -> Booking:
        return Booking(a.people, a.machine, a.start, a.end)

    jobs = (replace(j, previous=seat(given[j.id])) if j.id in given else j for j in problem.jobs)
    return replace(problem, jobs=tuple(jobs))


# --- the demo-size day -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def big_day() -> Problem:
    return farm_day(seed=1, n_checks=250)


@pytest.fixture(scope="module")
def big_plan(big_day: Problem) -> Solution:
    return solve_day(big_day, seed=3, iterations=20)


def test_a_day_of_demo_size_keeps_every_rule(big_day: Problem, big_plan: Solution) -> None:
    assert 500 <= len(big_day.jobs) <= 900
    assert check(big_day, big_plan).broken == ()
    assert len(big_plan.assignments) + len(big_plan.left_out) == len(big_day.jobs)


def test_a_day_of_demo_size_leaves_out_hardly_anything(big_plan: Solution) -> None:
    assert len(big_plan.left_out) <= 5
    assert all(left.reasons for left in big_plan.left_out)


def test_the_first_plan_of_a_day_is_whole_already(big_day: Problem) -> None:
    first = solve_day(big_day, seconds=0)

    assert first.n_iterations == 0
    assert len(first.assignments) > 0.95 * len(big_day.jobs)
    assert check(big_day, first).broken == ()


def test_the_first_plan_makes_room_for_a_job_that_came_too_late() -> None:
    problem = a_day(
        a_person("ana", "cattle"),
        a_person("ben", start_place="lot"),
        a_job("first", priority=1, windows=(span(0, 28),)),
        a_job("second", priority=2, windows=(span(0, 28),), skills=("cattle",)),
    )

    assert solved(problem, iterations=0).left_out == ()


def test_a_short_handed_day_explains_each_job_it_leaves_out() -> None:
    problem = farm_day(seed=2, n_people_a_shift=7, n_checks=30)

    solution = solve_day(problem, seed=1, iterations=10)

    assert check(problem, solution).broken == ()
    assert len(solution.left_out) > 20
    assert all(left.reasons for left in solution.left_out)


@pytest.mark.parametrize("seed", [4, 5])
def test_other_days_keep_every_rule_too(seed: int) -> None:
    problem = farm_day(seed=seed, n_checks=20, n_people_a_shift=13)

    assert check(problem, solve_day(problem, seed=seed, iterations=25)).broken == ()


# --- repeatable --------------------------------------------------------------------------------


def test_the_same_seed_and_iterations_give_the_same_plan() -> None:
    problem = farm_day(seed=3, n_checks=0)

    plans = [solve_day(problem, seed=5, iterations=15) for _ in range(2)]

    assert plans[0] == plans[1]


def test_the_plan_does_not_depend_on_the_clock_when_iterations_are_given() -> None:
    problem = farm_day(seed=3, n_checks=0)

    hurried = solve_day(problem, seconds=0, seed=5, iterations=15)

    assert hurried == solve_day(problem, seconds=1000, seed=5, iterations=15)


def test_more_iterations_never_cost_more() -> None:
    problem = farm_day(seed=3, n_checks=0)

    costs = [solve_day(problem, seed=5, iterations=n).score.total_cost for n in (0, 20)]

    assert costs[1] < costs[0]


@pytest.mark.parametrize(
    "night",
    [
        datetime(2026, 11, 1, tzinfo=DENVER),  # 25 hours long
        datetime(2026, 3, 8, tzinfo=DENVER),  # 23 hours long
    ],
)
def test_a_daylight_saving_night_gives_the_plan_of_any_other(night: datetime) -> None:
    problem = a_day(
        a_person(breaks=(span(30, 40),)),
        a_machine(),
        *(a_job(str(n), windows=(span(20 * n, 480),), place="field") for n in range(6)),
        a_job("last", machine_kinds=("loader",), depends_on=(Dependency("5", min_gap_min=60),)),
    )
    shift = night.astimezone(UTC) - at(0)

    plain, moved = solved(problem), solved(shifted(problem, shift))

    assert [shifted_one(a, shift) for a in plain.assignments] == list(moved.assignments)


def test_a_day_written_in_local_time_with_offsets_is_the_same_day() -> None:
    night = datetime(2026, 11, 1, 5, tzinfo=UTC)
    problem = shifted(a_day(a_person(), a_job(windows=(span(60, 400),))), night - at(0))

    text = problem_to_json(problem)
    for minute in range(481):
        instant = night + timedelta(minutes=minute)
        text = text.replace(instant.isoformat(), instant.astimezone(DENVER).isoformat())

    assert "-06:00" in text
    assert "-07:00" in text
    assert problem_from_json(text) == problem


def shifted(problem: Problem, by: timedelta) -> Problem:
    """Move all instants of a problem by as much."""
    text = problem_to_json(problem)
    minutes = sorted(range(481), reverse=by > timedelta(0))
    for minute in minutes:
        text = text.replace(at(minute).isoformat(), (at(minute) + by).isoformat())
    return problem_from_json(text)


def shifted_one(given: Assignment, by: timedelta) -> Assignment:
    return replace(given, start=given.start + by, end=given.end + by)


# --- going around what is in the way -----------------------------------------------------------

OPEN = (span(0, 100),)
DRIVEN = a_job(windows=OPEN, machine_kinds=("loader",))
RESTING = a_person(breaks=(span(10, 50),))


@pytest.mark.parametrize(
    "problem",
    [
        a_day(RESTING, a_job(windows=OPEN)),
        a_day(RESTING, a_machine(), DRIVEN),
        a_day(a_person(), a_machine(holds=(span(10, 50),)), DRIVEN),
        a_day(a_person(), a_job(windows=OPEN), Block("barn", at(10), at(50), "flush")),
        a_day(a_person(), a_job(windows=OPEN, is_daylight_only=True), daylight=(span(50, 100),)),
        a_day(a_person(shifts=(Shift(at(0), at(10)), Shift(at(50), at(99)))), a_job(windows=OPEN)),
    ],
    ids=["break", "driver's break", "hold", "block", "daylight", "shift"],
)
def test_a_job_that_does_not_fit_before_is_done_after(problem: Problem) -> None:
    solution = solved(problem)

    assert times_of(solution) == {"job": (50, 70)}
    assert check(problem, solution).broken == ()


# --- locked, under way, given by hand ----------------------------------------------------------


def test_a_locked_job_stays_where_it_is_and_the_rest_goes_around_it() -> None:
    kept = booked("ana", 15, 35)
    problem = a_day(a_person(), a_job("kept", locked=kept), a_job("other", windows=(span(0, 60),)))

    solution = solved(problem)

    assert times_of(solution) == {"kept": (15, 35), "other": (35, 55)}


def test_a_job_under_way_since_before_the_day_holds_its_people_and_machine() -> None:
    running = booked("ana", -30, 30, "loader-1")
    problem = a_day(
        a_person(shifts=(Shift(at(-120), at(480)),)),
        a_person("ben"),
        a_machine(),
        a_job("running", locked=running, machine_kinds=("loader",), windows=(span(-60, 60),)),
        a_job("next", machine_kinds=("loader",)),
    )

    assert times_of(solved(problem))["next"] == (30, 50)


def test_locked_jobs_that_clash_are_kept_and_named_but_do_not_spoil_the_plan() -> None:
    problem = a_day(
        a_person(),
        a_job("a", locked=booked("ana", 0, 40)),
        a_job("b", locked=booked("ana", 10, 30)),
        a_job("c", windows=(span(0, 100),)),
    )

    solution = solved(problem)
    verdict = check(problem, solution)

    assert times_of(solution)["c"] == (40, 60)
    assert {(b.code, b.is_locked) for b in verdict.broken} == {("person_twice", True)}
    assert verdict.is_feasible


def test_a_job_locked_to_somebody_off_shift_is_kept_and_named() -> None:
    problem = a_day(
        a_person(shifts=(Shift(at(100), at(200)),)), a_job("a", locked=booked("ana", 0, 20))
    )

    verdict = check(problem, solved(problem))

    assert [(b.code, b.person, b.is_locked) for b in verdict.broken] == [("off_shift", "ana", True)]


def test_a_moved_lock_is_the_judges_to_name() -> None:
    problem = a_day(a_person(), a_job("a", locked=booked("ana", 0, 20)))

    verdict = check(problem, plan_of(problem, a=booked("ana", 5, 25)))

    assert [b.code for b in verdict.broken] == ["lock_moved"]


def test_nothing_is_taken_out_that_a_locked_job_needs_to_be_reached() -> None:
    """The loader's way to the field is the only way to be at the locked job in time."""
    problem = a_day(
        a_person(),
        a_machine(speed_m_min=800),
        a_job("drive", machine_kinds=("loader",), place="field", windows=(span(0, 21),)),
        a_job("kept", place="field", windows=(span(20, 41),), locked=booked("ana", 21, 41)),
        *(a_job(str(n), windows=(span(60, 300),)) for n in range(4)),
    )

    solution = solved(problem, iterations=200)

    assert solution.left_out == ()
    assert check(problem, solution).broken == ()


# --- the plan before ---------------------------------------------------------------------------


def test_the_same_day_again_keeps_the_whole_plan() -> None:
    problem = farm_day(seed=3, n_checks=0)
    first = solve_day(problem, seed=5, iterations=10)

    again = solve_day(as_previous(problem, first), seconds=0)

    assert diff_plans(first.assignments, again.assignments) == ()
    assert again.score.n_changes == 0


def test_someone_called_in_sick_changes_little_but_that_ones_jobs() -> None:
    problem = farm_day(seed=3, n_checks=0)
    first = solve_day(problem, seed=5, iterations=500)  # a good one: else mends are changes
    sick = "p1-03"
    hit = {a.job for a in first.assignments if sick in a.people}
    left = replace(problem, people=tuple(p for p in problem.people if p.id != sick))

    again = solve_day(as_previous(left, first), seed=1, iterations=30)
    changed = {
        change.job for change in diff_plans(first.assignments, again.assignments, tolerance_min=5)
    }

    assert hit
    assert hit <= changed
    assert len(changed) <= 2 * len(hit)
    assert check(as_previous(left, first), again).broken == ()


def test_a_held_loader_is_on_no_job_of_the_new_plan() -> None:
    problem = farm_day(seed=3, n_checks=0)
    first = solve_day(problem, seed=5, iterations=10)
    machines = tuple(
        replace(m, holds=m.available) if m.id == "loader-3" else m for m in problem.machines
    )

    again = solve_day(as_previous(replace(problem, machines=machines), first), iterations=10)

    assert any(a.machine == "loader-3" for a in first.assignments)
    assert not any(a.machine == "loader-3" for a in again.assignments)


# --- preferences and prices --------------------------------------------------------------------


def test_the_nearer_person_goes() -> None:
    problem = a_day(a_person("ana"), a_person("ben", start_place="field"), a_job(place="field"))

    assert solved(problem).assignments[0].people == ("ben",)


def test_the_preferred_crew_does_the_job_when_it_can() -> None:
    people = (a_person("ana", crew="one"), a_person("ben", crew="two"))
    problem = a_day(*people, a_job(preferred_crew="two"))

    assert solved(problem).assignments[0].people == ("ben",)


def test_overtime_is_used_only_when_nothing_else_helps() -> None:
    tired = a_person("ana", shifts=(Shift(at(0), at(10), overtime_min=60),))
    fresh = a_person("ben", start_place="lot")

    shared = solved(a_day(tired, fresh, a_job()))
    alone = solved(a_day(tired, a_job()))

    assert shared.assignments[0].people == ("ben",)
    assert alone.score.overtime_min == 10


def test_the_dearer_job_is_done_when_only_one_can_be() -> None:
    jobs = (a_job("slack", priority=5), a_job("cows", priority=2))
    problem = a_day(a_person(), *(replace(j, windows=(span(0, 30),)) for j in jobs))

    assert [a.job for a in solved(problem).assignments] == ["cows"]


def test_a_team_works_at_the_pace_of_the_one_who_must_rest_most() -> None:
    new = a_person("ben", heat_rests=(HeatRest(at(0), at(480), 0, 0, 45),))
    problem = a_day(
        a_person("ana", heat_rests=(HeatRest(at(0), at(480), 0, 0, 30),)),
        new,
        a_job(n_people=2, effort=Effort.HEAVY, windows=(span(0, 100),)),
    )

    assert times_of(solved(problem)) == {"job": (0, 80)}


def test_a_team_without_the_slow_one_is_found_when_only_that_is_quick_enough() -> None:
    people: list[Person | Machine] = [
        a_person("new", heat_rests=(HeatRest(at(0), at(480), 0, 0, 60),)),
        a_person("ana", start_place="lot"),
        a_person("ben", start_place="lot"),
    ]
    problem = a_day(*people, a_job(n_people=2, effort=Effort.HEAVY, windows=(span(0, 30),)))

    assert set(solved(problem).assignments[0].people) == {"ana", "ben"}


def test_no_price_but_the_impossible_jobs_is_known_to_be_the_best() -> None:
    problem = a_day(a_person(), a_job("done"), a_job("lost", skills=("magic",), priority=4))

    solution = solved(problem)

    assert solution.status is Status.OPTIMAL
    assert solution.bound_cost == solution.score.total_cost == problem.weights.left_out[3]


# --- progress ----------------------------------------------------------------------------------


def test_progress_begins_with_the_first_plan_and_never_gets_worse() -> None:
    heard: list[Progress] = []
    solve_day(farm_day(seed=3, n_checks=0), seed=5, iterations=40, on_progress=heard.append)

    assert heard[0].n_iterations == 0
    costs = [progress.cost for progress in heard]
    assert costs == sorted(costs, reverse=True)
    assert len(heard) > 1


def test_a_caller_may_stop_the_search_and_keeps_the_best_plan() -> None:
    problem = farm_day(seed=3, n_checks=0)

    solution = solve_day(problem, seed=5, iterations=1000, on_progress=lambda _: True)

    assert solution.n_iterations == 0
    assert check(problem, solution).broken == ()


def test_a_day_without_jobs_is_a_plan() -> None:
    assert solved(a_day(a_person())).assignments == ()


def test_a_day_without_people_leaves_everything_out() -> None:
    solution = solved(a_day(a_job()))

    assert [left.job for left in solution.left_out] == ["job"]
