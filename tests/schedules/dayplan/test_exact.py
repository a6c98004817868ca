"""The exact model: what it proves, what it declines, and that its plans keep every rule."""

from typing import Any

import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.exact.model import Exact
from schedules.dayplan.calc.exact.scope import Beyond, beyond
from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.model import Progress, solve_day
from schedules.dayplan.calc.problem import Dependency, Job, Relation, Seat
from schedules.dayplan.calc.resources import (
    Amount,
    Effort,
    HeatRest,
    Machine,
    Person,
    Place,
    Shift,
    Skill,
)
from schedules.dayplan.calc.score import score_plan
from schedules.dayplan.calc.solution import Status

from .public_instances import lag_project, skill_project
from .public_problems import lag_day, skill_day
from .tiny import a_day, a_job, a_machine, a_person, at, booked, minute_of, span


@pytest.mark.parametrize(("name", "least"), [("easy_02", 35), ("medium_01", 19)])
def test_skill_projects_are_proved_at_the_published_makespan(name: str, least: int) -> None:
    # MiniZinc Challenge 2012, mspsp; values in fixtures/published/dayplan/README.md.
    problem = skill_day(skill_project(name))

    solution = solve_day(problem, seconds=60)

    assert check(problem, solution).broken == ()
    assert (solution.status, solution.score.total_cost) == (Status.OPTIMAL, least)


def test_a_lag_project_is_proved_at_the_published_makespan() -> None:
    # ProGen/max J10, instance 33; the value in fixtures/published/dayplan/README.md.
    problem = lag_day(lag_project("psp_j10_33"))

    solution = solve_day(problem, seconds=60)

    assert check(problem, solution).broken == ()
    assert (solution.status, solution.score.total_cost) == (Status.OPTIMAL, 70)


def test_the_bound_is_told_and_the_search_can_be_stopped() -> None:
    problem = lag_day(lag_project("psp_j30_33"))
    told: list[Progress] = []

    def stop_at_a_bound(progress: Progress) -> bool:
        told.append(progress)
        return progress.bound_cost > 0

    solution = solve_day(problem, seconds=60, on_progress=stop_at_a_bound)

    assert check(problem, solution).broken == ()
    assert 0 < told[-1].bound_cost <= solution.bound_cost <= 114 <= solution.score.total_cost


def test_a_job_is_left_out_where_two_do_not_fit_and_late_where_it_may_be() -> None:
    # One hour, one person: the dearer two of three 25-minute jobs, one of them 20 minutes late.
    jobs = [a_job(str(k), duration_min=25, left_out_cost=cost) for k, cost in enumerate((50, 90))]
    last = a_job("last", duration_min=25, left_out_cost=95, due_at=at(30), late_per_min=1)
    problem = a_day(a_person(), *jobs, last)

    exact = Exact(Instance(problem), all_done=False)
    found = exact.solve(60, 0, 1)

    assert found.assignments is not None
    assert {given.job for given in found.assignments} == {"1", "last"}
    assert score_plan(problem, found.assignments).total_cost == found.bound_cost == 50


def test_with_nothing_left_out_the_bound_is_no_more_than_the_cheapest_job() -> None:
    jobs = (a_job(str(k), duration_min=40, left_out_cost=7) for k in range(2))

    found = Exact(Instance(a_day(a_person(), *jobs)), all_done=True).solve(60, 0, 1)

    assert (found.assignments, found.bound_cost) == (None, 7)


def test_overtime_and_strangers_are_priced_as_the_score_does() -> None:
    shift = (Shift(at(0), at(30), overtime_min=30),)
    people = (a_person("ana", shifts=shift, crew="a"), a_person("ben", shifts=shift, crew="b"))
    jobs = (a_job(str(k), preferred_crew="a") for k in range(3))
    problem = a_day(*people, *jobs)

    found = Exact(Instance(problem), all_done=True).solve(60, 0, 1)

    # Ana does all three with 30 minutes past the shift (90), or two with ten (30) and Ben one (5),
    # or Ana one and Ben two (30 + 10).
    assert found.assignments is not None
    assert score_plan(problem, found.assignments).total_cost == found.bound_cost == 35


def test_gear_places_levels_gaps_and_breaks_are_kept() -> None:
    problem = a_day(
        a_person("ana", Skill("sort", level=2), breaks=(span(20, 30),)),
        a_person("ben"),
        a_job("one", occupies=("bay",), seats=(Seat(("sort",), 2),)),
        a_job("two", occupies=("bay",)),
        a_job(
            "three",
            windows=(span(0, 20), span(35, 70)),
            depends_on=(Dependency("one", Relation.START_TO_START, 5, 40),),
        ),
    )

    found = Exact(Instance(problem), all_done=True).solve(60, 0, 1)

    assert found.assignments is not None
    starts = {given.job: minute_of(given.start) for given in found.assignments}
    assert {given.people for given in found.assignments if given.job == "one"} == {("ana",)}
    assert starts["one"] == 0 or starts["one"] >= 30
    assert abs(starts["one"] - starts["two"]) >= 20
    assert starts["three"] >= max(35, starts["one"] + 5)


HOT = (HeatRest(at(0), at(60), 5, 10, 15),)


@pytest.mark.parametrize(
    ("code", "records"),
    [
        (Beyond.LOCKED, (a_job(locked=booked("ana", 0, 20)),)),
        (Beyond.PREVIOUS, (a_job(previous=booked("ana", 0, 20)),)),
        (Beyond.MACHINES, (a_job(machine_kinds=("loader",)), a_machine())),
        (Beyond.ITEMS, (a_job(items=(Amount("drill"),)),)),
        (Beyond.PAUSES, (a_job(may_pause=True),)),
        (Beyond.BONDS, (a_job(same_people_as=("b",)), a_job("b"))),
        (Beyond.HEAT, (a_job(effort=Effort.HEAVY), a_person("hot", heat_rests=HOT))),
        (Beyond.WAYS, (a_job(place="field"),)),
        (Beyond.FRACTIONS, (a_job(duration_min=1 / 7),)),
        (Beyond.SKILLS_LAPSE, (a_job(), a_person("ben", Skill("sort", at(30))))),
    ],
)
def test_what_the_model_cannot_say_is_declined(
    code: Beyond, records: tuple[Job | Person | Machine | Place, ...]
) -> None:
    inst = Instance(a_day(a_person(), *records))

    assert beyond(inst) == {code}
    with pytest.raises(ValueError, match="inst: the day has"):
        Exact(inst, all_done=True)


def test_a_plain_day_is_within_the_model() -> None:
    fields: dict[str, Any] = {"windows": (span(0, 20), span(30, 60)), "due_at": at(40)}

    assert beyond(Instance(a_day(a_person(), a_job(**fields)))) == set()
