"""The score by hand, and the judge's eye on the solution's own figures."""

from dataclasses import replace

import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.legs import travel_legs
from schedules.dayplan.calc.model import Progress, solve_day
from schedules.dayplan.calc.problem import Dependency, Duration, Problem, Weights
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


def test_ways_back_are_travel_and_overtime() -> None:
    """To the field and back 10 min each; the job ends at 54, the shift at 45."""
    ana = a_person(
        "ana", end_place="barn", shifts=(Shift(at(0), at(45), overtime_min=30),), crew="one"
    )
    problem = a_day(ana, a_job("far", place="field"))

    plan = plan_of(problem, far=booked("ana", 34, 54))

    assert (plan.assignments[0].travel_min, plan.score.travel_min) == (10, 20)
    assert plan.score.overtime_min == 64 - 45
    assert plan.score.total_cost == 20 + 3 * 19
    assert check(problem, plan).broken == ()


def test_a_jobs_own_prices_count_instead_of_the_weights() -> None:
    problem = a_day(
        a_person(),
        a_job("late", due_at=at(10), late_per_min=7),
        a_job("also", due_at=at(30)),
        a_job("free", left_out_cost=0),
        a_job("dear", left_out_cost=12),
    )

    score = plan_of(problem, late=booked("ana", 0, 20), also=booked("ana", 20, 40)).score

    assert (score.late_min, score.left_out_cost) == (20, 12)
    assert score.total_cost == 7 * 10 + 2 * 10 + 12


def test_time_on_duty_runs_from_leaving_to_being_back() -> None:
    """Ana leaves 10 min before the field's job at 30, waits, and is done at 120; ben is back from
    the field, where he works from 40 to 60, at 70."""
    problem = a_day(
        a_person("ana"),
        a_person("ben", end_place="barn"),
        a_person("cyd", end_place="barn"),
        a_job("a", place="field"),
        a_job("b", place="field"),
        a_job("c", windows=(span(0, 480),)),
        weights=Weights(travel_per_min=0, duty_per_min=0.5),
    )

    plan = plan_of(
        problem, a=booked("ana", 30, 50), b=booked("ben", 40, 60), c=booked("ana", 100, 120)
    )

    assert plan.score.duty_min == (120 - 20) + (70 - 30)
    assert plan.score.total_cost == 70


def test_work_beyond_an_even_share_of_all_jobs_is_uneven() -> None:
    """80 min of work, one job of it done by nobody: ben has half of ana's shift, so the even shares
    are 53 1/3 and 26 2/3 min; ben works 40."""
    problem = a_day(
        a_person("ana", shifts=(Shift(at(0), at(240)), Shift(at(300), at(460)))),
        a_person("ben", shifts=(Shift(at(0), at(200), overtime_min=100),)),
        a_job("a", n_people=2),
        a_job("b"),
        a_job("c", durations=(Duration(5, n_people=2),)),
        weights=Weights(balance_per_min=3),
    )

    plan = plan_of(problem, a=booked("ana ben", 0, 20), b=booked("ben", 20, 40))

    assert plan.score.uneven_min == pytest.approx(40 - 80 / 3)
    assert plan.score.total_cost == pytest.approx(600 + 3 * (40 - 80 / 3))


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
