"""What keeps a job out, as few facts as can be, and what would let it in, each by a solve."""

from dataclasses import replace

from schedules.dayplan.calc.model import solve_day
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.remedies import Clashing, Help, RemedyKind, find_help
from schedules.dayplan.calc.resources import Block, Interval

from .days import farm_day
from .tiny import a_day, a_job, a_machine, a_person, at, span


def help_for(problem: Problem, job: str = "job") -> Help:
    """Leave the job out, plan the rest, and ask."""
    rest = replace(problem, jobs=tuple(j for j in problem.jobs if j.id != job))
    return find_help(problem, solve_day(rest, iterations=50).assignments, job)


def test_a_window_that_is_too_short_clashes_by_itself_and_wants_to_end_later() -> None:
    found = help_for(a_day(a_person(), a_job(windows=(span(0, 12),))))

    assert found.clash == (Clashing.WINDOW,)
    [later] = found.remedies
    assert (later.kind, later.later_min) == (RemedyKind.LATER, 15)
    assert later.given.end <= at(27)


def test_work_of_others_and_too_few_people_clash_and_each_has_a_remedy() -> None:
    problem = a_day(
        a_person(),
        a_job(windows=(span(0, 25),)),
        a_job("other", windows=(span(0, 25),), priority=7),
    )

    found = help_for(problem)

    assert set(found.clash) == {Clashing.WINDOW, Clashing.PEOPLE, Clashing.OTHER_WORK}
    kinds = {remedy.kind: remedy for remedy in found.remedies}
    assert kinds[RemedyKind.LATER].later_min == 15
    assert kinds[RemedyKind.ONE_MORE_PERSON].given.people == ("one more 1",)
    assert kinds[RemedyKind.INSTEAD_OF].instead_of == "other"


def test_nothing_that_matters_more_is_left_out_instead() -> None:
    problem = a_day(
        a_person(),
        a_job(windows=(span(0, 25),)),
        a_job("other", windows=(span(0, 25),), priority=1),
    )

    assert RemedyKind.INSTEAD_OF not in {remedy.kind for remedy in help_for(problem).remedies}


def test_a_closed_place_clashes_with_the_window_and_no_person_helps() -> None:
    problem = a_day(
        a_person(), a_job(windows=(span(0, 30),)), Block("barn", at(0), at(30), "flush")
    )

    found = help_for(problem)

    assert set(found.clash) == {Clashing.PLACE, Clashing.WINDOW}
    assert [remedy.kind for remedy in found.remedies] == [RemedyKind.LATER]


def test_a_machine_that_is_held_wants_another() -> None:
    held = a_machine("loader", holds=(Interval(at(0), at(1000)),))
    problem = a_day(a_person(), held, a_job(machine_kinds=(held.kind,)))

    found = help_for(problem)

    assert found.clash == (Clashing.MACHINES,)
    [more] = found.remedies
    assert (more.kind, more.given.machine) == (RemedyKind.ONE_MORE_MACHINE, "one more")


def test_two_that_must_come_together_want_one_more_person() -> None:
    found = help_for(a_day(a_person(), a_job(n_people=2)))

    assert found.clash == (Clashing.PEOPLE,)
    [more] = found.remedies
    assert more.kind == RemedyKind.ONE_MORE_PERSON
    assert set(more.given.people) == {"ana", "one more 1"}


def test_a_job_that_has_room_clashes_with_nothing() -> None:
    assert help_for(a_day(a_person(), a_job())) == Help("job", (), ())


def test_remedies_of_a_short_handed_day_keep_every_rule_with_all_the_rest_in_place() -> None:
    problem = farm_day(1, n_people_a_shift=9, n_checks=40)
    solution = solve_day(problem, seed=1, iterations=200)
    left_out = [left.job for left in solution.left_out]
    assert left_out
    found = find_help(problem, solution.assignments, left_out[0])

    assert found.clash
    costs = [remedy.total_cost for remedy in found.remedies]
    assert costs == sorted(costs)
    assert all(remedy.given.job == left_out[0] for remedy in found.remedies)
