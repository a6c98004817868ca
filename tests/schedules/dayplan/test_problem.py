"""Records refuse nonsense when they are made, and say which record and why."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from schedules.dayplan.calc.problem import Dependency, Seat, Weights
from schedules.dayplan.calc.resources import (
    Amount,
    Effort,
    Fuel,
    HeatRest,
    Interval,
    Place,
    ProblemError,
    Road,
    Shift,
    Skill,
    end_with_rest,
)
from schedules.dayplan.calc.solution import Assignment

from .tiny import a_day, a_job, a_machine, a_person, at, booked, span

ROUND = (a_job("a", depends_on=(Dependency("b"),)), a_job("b", depends_on=(Dependency("a"),)))
NAIVE = datetime(2026, 5, 4)  # noqa: DTZ001 - the point of the case
LOCAL = datetime(2026, 5, 4, tzinfo=ZoneInfo("America/Denver"))

REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "naive instant": (lambda: Interval(NAIVE, at(9)), "interval: start must be an aware UTC"),
    "local instant": (lambda: Interval(LOCAL, at(9)), "interval: start must be an aware UTC"),
    "end before start": (lambda: span(5, 5), "interval: start .* must be before end"),
    "no duration": (lambda: a_job(duration_min=0), "job 'job': duration_min 0 is not above 0"),
    "below nobody": (lambda: a_job(n_people=-1), "job 'job': n_people -1 is below 0"),
    "skills of nobody": (lambda: a_job(n_people=0, skills=("x",)), "job 'job': needs nobody, but"),
    "seats": (lambda: a_job(n_people=2, seats=(Seat(),)), "job 'job': n_people 2 is not the num"),
    "bound to itself": (lambda: a_job(same_people_as=("job",)), "job 'job': is bound to itself"),
    "fuel": (lambda: Fuel(60, 50, "barn", 5), "fuel: run_left_min 60 is not in 0..run_full"),
    "unknown gear": (lambda: a_day(a_job(gear=(Amount("bar"),))), "job 'job': gear 'bar' is not"),
    "ways": (lambda: a_day(ways_m=((0,),)), "problem: ways_m is not 4 rows of 4"),
    "road to itself": (lambda: Road("barn", "barn", 5), "road 'barn' - 'barn': leads back"),
    "no window": (lambda: a_job(windows=()), "job 'job': windows must not be empty"),
    "priority": (lambda: a_job(priority=10), "job 'job': priority 10 is not in 1..9"),
    "same place twice": (lambda: a_job(occupies=("barn",)), "job 'job': occupies names 'barn'"),
    "gap": (lambda: Dependency("a", min_gap_min=5, max_gap_min=4), "dependency on 'a': max_gap"),
    "shifts": (
        lambda: a_person(shifts=(Shift(at(0), at(60)), Shift(at(50), at(90)))),
        "person 'ana': shifts overlap at 2026-05-04T00:50",
    ),
    "skills": (lambda: a_person("ana", "x", "x"), "person 'ana': skills names 'x' twice"),
    "rest": (lambda: HeatRest(at(0), at(60), 0, 30, 15), "heat rest from .* must rise"),
    "speed": (lambda: a_machine(speed_m_min=0), "machine 'loader-1': speed_m_min 0 must be"),
    "prices": (lambda: Weights(left_out=(1, 2)), "weights: left_out needs 9 prices"),
    "negative price": (lambda: Weights(travel_per_min=-1), "weights: no price may be below 0"),
    "two jobs": (lambda: a_day(a_job(), a_job()), "problem: jobs names 'job' twice"),
    "unknown place": (lambda: a_day(a_job(place="moon")), "job 'job': place 'moon' is not in"),
    "unknown job": (
        lambda: a_day(a_job(depends_on=(Dependency("b"),))),
        "job 'job': depends on unknown 'b'",
    ),
    "unknown lock": (
        lambda: a_day(a_job(locked=booked("zoe", 0, 20))),
        "job 'job': is locked to unknown person 'zoe'",
    ),
    "round": (lambda: a_day(*ROUND), "job '[ab]': waits for itself: "),
    "no time": (lambda: Assignment("a", ("ana",), None, at(0), at(0)), "assignment of 'a': start"),
}


@pytest.mark.parametrize(("make", "message"), list(REFUSED.values()), ids=list(REFUSED))
def test_nonsense_is_refused_with_the_record_named(
    make: Callable[[], object], message: str
) -> None:
    with pytest.raises(ProblemError, match=message):
        make()


def test_a_previous_plan_may_name_who_and_what_is_gone() -> None:
    assert a_day(a_job(previous=booked("gone", 0, 20, "sold"))).jobs[0].previous is not None


def test_a_place_without_a_key_is_refused() -> None:
    with pytest.raises(ProblemError, match="place: key must not be empty"):
        Place("", 0, 0)


def test_a_skill_lasts_to_the_instant_it_lapses() -> None:
    ana = a_person("ana", Skill("cattle", at(20)))

    assert ana.has_skill("cattle", at(20))
    assert not ana.has_skill("cattle", at(20) + timedelta(seconds=1))


def test_the_later_of_two_shifts_holds_where_overtime_meets_it() -> None:
    first, second = Shift(at(0), at(60), overtime_min=30), Shift(at(70), at(100))
    ana = a_person("ana", shifts=(first, second))

    assert [ana.shift_at(at(m)) for m in (59, 65, 70, 100)] == [first, first, second, None]


# NIOSH heat table as printed (cdc.gov/niosh/mining/content/heatstressworkrest.html): work and rest
# minutes of each hour.
@pytest.mark.parametrize(
    ("work_min", "rest_min"), [(45, 15), (40, 20), (35, 25), (30, 30), (20, 40)]
)
def test_an_hour_of_work_takes_an_hour_for_each_of_its_work_shares(
    work_min: int, rest_min: int
) -> None:
    ana = a_person("ana", heat_rests=(HeatRest(at(0), at(480), 0, 0, rest_min),))

    end = end_with_rest([ana], at(0), work_min, Effort.HEAVY)

    assert abs(end - at(60)) < timedelta(milliseconds=1)


def test_rest_counts_only_while_the_heat_lasts() -> None:
    ana = a_person("ana", heat_rests=(HeatRest(at(30), at(60), 0, 0, 30),))

    assert end_with_rest([ana], at(20), 40, Effort.HEAVY) == at(75)


def test_no_rest_is_owed_where_no_effort_is_named() -> None:
    ana = a_person("ana", heat_rests=(HeatRest(at(0), at(60), 60, 60, 60),))

    assert end_with_rest([ana], at(0), 40, None) == at(40)


def test_no_work_is_done_while_the_table_says_none() -> None:
    ana = a_person("ana", heat_rests=(HeatRest(at(10), at(60), 0, 0, 60),))

    assert end_with_rest([ana], at(0), 20, Effort.HEAVY) == at(70)


def test_rests_and_pauses_both_hold_work_up() -> None:
    """Ten minutes till the pause, then ten at half the speed."""
    ana = a_person("ana", heat_rests=(HeatRest(at(0), at(60), 0, 0, 30),))

    assert end_with_rest([ana], at(0), 15, Effort.HEAVY, [span(20, 30)]) == at(40)
    assert end_with_rest([ana], at(0), 15, None, [span(5, 30)]) == at(40)


def test_rest_grows_with_effort() -> None:
    ana = a_person("ana", heat_rests=(HeatRest(at(0), at(480), 5, 20, 40),))

    ends = [end_with_rest([ana], at(0), 30, effort) for effort in Effort]

    assert ends == sorted(ends)


def test_a_problem_changed_in_part_is_judged_again() -> None:
    problem = a_day(a_job("a"), a_job("b", depends_on=(Dependency("a"),)))

    with pytest.raises(ProblemError, match="depends on unknown 'a'"):
        replace(problem, jobs=problem.jobs[1:])
