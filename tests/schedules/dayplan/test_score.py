"""The score by hand, and the judge's eye on the solution's own figures."""

from dataclasses import replace

import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.legs import travel_legs
from schedules.dayplan.calc.model import Progress, solve_day
from schedules.dayplan.calc.problem import Dependency, Problem
from schedules.dayplan.calc.resources import Shift
from schedules.dayplan.calc.solution import Assignment, LeftOut

from .tiny import a_day, a_job, a_machine, a_person, at, booked, plan_of, solved, span


def priced_day() -> Problem:
    return a_day(
        a_person("ana", crew="one", shifts=(Shift(at(0), at(45), overtime_min=30),)),
        a_machine(start_place="lot"),
        a_job("late", due_at=at(10), preferred_crew="two"),
        a_job("far", place="field", machine_kinds=("loader",), windows=(span(0, 90),)),
        a_job("lost", priority=4, previous=booked("ana", 0, 20)),
    )


def test_each_part_of_the_score_is_what_a_hand_computes() -> None:
    plan = plan_of(priced_day(), late=booked("ana", 0, 20), far=booked("ana", 34, 54, "loader-1"))

    score = plan.score
    # 400 m walked at 80 m a minute to the lot, then 894.4 m driven at 100.
    assert score.travel_min == pytest.approx(5 + 8.944, abs=1e-3)
    assert score.late_min == 10
    assert score.overtime_min == 9
    assert (score.n_off_crew, score.n_changes) == (1, 1)
    assert score.left_out_cost == 2000
    assert score.total_cost == pytest.approx(2000 + 2 * 10 + 3 * 9 + 13.944 + 5 + 20, abs=1e-3)


def test_a_start_moved_within_the_tolerance_is_no_change() -> None:
    problem = a_day(a_person(), a_job(previous=booked("ana", 0, 20)))

    moved = [plan_of(problem, job=booked("ana", m, m + 20)).score.n_changes for m in (5, 6)]

    assert moved == [0, 1]


def test_another_machine_or_person_is_a_change() -> None:
    problem = a_day(
        a_person(),
        a_person("ben"),
        a_machine(),
        a_machine("loader-2"),
        a_job(machine_kinds=("loader",), previous=booked("ana", 0, 20, "loader-1")),
    )
    bookings = (
        booked("ana", 0, 20, "loader-1"),
        booked("ana", 0, 20, "loader-2"),
        booked("ben", 0, 20, "loader-1"),
    )

    assert [plan_of(problem, job=b).score.n_changes for b in bookings] == [0, 1, 1]


def test_each_shift_begins_at_the_start_place_again() -> None:
    shifts = (Shift(at(0), at(60)), Shift(at(100), at(200)))
    problem = a_day(
        a_person("ana", shifts=shifts),
        a_job("a", place="field", windows=(span(0, 60),)),
        a_job("b", windows=(span(100, 200),)),
    )
    plan = plan_of(problem, a=booked("ana", 10, 30), b=booked("ana", 100, 120))

    assert [leg.walk_min for leg in travel_legs(problem, plan.assignments)["b"]] == [0]
    assert check(problem, plan).broken == ()


def test_the_search_and_the_score_agree_on_the_cost_of_a_plan() -> None:
    problem = priced_day()
    heard: list[Progress] = []

    solution = solve_day(problem, seed=1, iterations=20, on_progress=heard.append)

    # The search rounds each of the two legs and each price in minutes up to whole seconds.
    assert 0 <= heard[-1].cost - solution.score.total_cost < 10 / 60


def test_a_plan_that_misstates_its_figures_is_caught() -> None:
    problem = a_day(a_person(start_place="lot"), a_job())
    plan = solved(problem)
    lied = replace(plan.assignments[0], travel_min=0)
    cheap = replace(plan.score, total_cost=0)

    codes = [b.code for b in check(problem, replace(plan, assignments=(lied,), score=cheap)).broken]

    assert codes == ["travel_misstated", "score_misstated"]


def test_a_plan_must_account_for_every_job_once() -> None:
    problem = a_day(a_person(), a_job("a"), a_job("b", windows=(span(0, 100),)))
    plan = plan_of(problem, a=booked("ana", 0, 20))
    twice = replace(plan, assignments=plan.assignments * 2)
    silent = replace(plan, left_out=())
    both = replace(plan, left_out=(LeftOut("a"), LeftOut("b")))

    assert {b.code for b in check(problem, twice).broken} == {"assigned_twice"}
    assert {(b.code, b.job) for b in check(problem, silent).broken} == {("not_accounted", "b")}
    assert {(b.code, b.job) for b in check(problem, both).broken} == {("not_accounted", "a")}


def test_a_plan_that_names_strangers_is_refused_whole() -> None:
    problem = a_day(a_person(), a_job())
    stranger = Assignment("who", ("zoe",), "tank", at(0), at(20))
    plan = replace(plan_of(problem), assignments=(stranger,))

    verdict = check(problem, plan)

    assert [b.code for b in verdict.broken] == [
        "unknown_job",
        "unknown_person",
        "unknown_machine",
    ]
    assert verdict.score is None


def test_too_many_people_and_a_machine_too_much_are_named() -> None:
    problem = a_day(a_person(), a_person("ben"), a_machine(), a_job())

    verdict = check(problem, plan_of(problem, job=booked("ana ben", 0, 20, "loader-1")))

    assert [b.code for b in verdict.broken] == ["too_many_people", "machine_unneeded"]


def test_a_job_cut_short_is_named() -> None:
    problem = a_day(a_person(), a_job())

    verdict = check(problem, plan_of(problem, job=booked("ana", 0, 19)))

    assert [b.code for b in verdict.broken] == ["too_short"]
    assert verdict.broken[0].facts == {"needs_min": 20, "has_min": 19}


def test_a_locked_job_whose_predecessor_nobody_does_is_the_locks_doing() -> None:
    waits = a_job("then", depends_on=(Dependency("first"),), locked=booked("ana", 0, 20))
    problem = a_day(a_person(), a_job("first", skills=("magic",)), waits)

    verdict = check(problem, solved(problem))

    assert [(b.code, b.is_locked) for b in verdict.broken] == [("predecessor_left_out", True)]
