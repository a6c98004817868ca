"""Ways of one day by hand: barn (0, 0), field (800, 0), lot (0, 400); 80 m a minute on foot."""

from typing import Any

import pytest

from schedules.dayplan.calc.legs import Leg, Turn, travel_legs, turns_of
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.resources import Bucket, Fuel, Place, Shift
from schedules.dayplan.calc.solution import Assignment

from .tiny import a_day, a_job, a_machine, a_person, at, minute_of, span


def do(
    key: str, people: str, start_min: float, machine: str | None = None, calls_at: str | None = None
) -> Assignment:
    start, end = at(start_min), at(start_min + 20)
    return Assignment(key, tuple(people.split()), machine, start, end, calls_at=calls_at)


def legs_of(problem: Problem, *plan: Assignment) -> dict[str, tuple[Leg, ...]]:
    return travel_legs(problem, plan)


def turn_of(problem: Problem, *plan: Assignment) -> Turn:
    (turn,) = turns_of(problem, plan, travel_legs(problem, plan))
    return turn


def driving(key: str = "job", **fields: Any) -> Any:
    return a_job(key, machine_kinds=("loader",), **fields)


STORE = Place("store", 0, 400, stocks=("liner",), call_min=3)


def test_the_first_of_a_team_calls_and_the_others_go_straight() -> None:
    """800 m to the field; by the store 400 m and then 894.43 m, the root of 800² + 400²."""
    team = a_person("ana"), a_person("ben", walk_m_min=40)
    problem = a_day(*team, STORE, a_job(place="field", n_people=2))

    first, second = legs_of(problem, do("job", "ana ben", 30, calls_at="store"))["job"]

    assert (first.person, second.person) == ("ana", "ben")
    assert first.walk_min == pytest.approx(5 + 11.180, abs=1e-3)
    assert (first.call_min, second.call_min) == (3, 0)
    assert second.walk_min == 20
    assert first.travel_min == pytest.approx(19.180, abs=1e-3)


def test_a_driver_calls_before_walking_to_the_machine() -> None:
    """Barn to store and back is 10 min on foot, the loader takes 8 min from the barn to the field;
    a dirty bucket is washed and the loader hooked up, which is no travel."""
    machine = a_machine(hookup_min=2, last_bucket=Bucket.DIRTY)
    job = driving(place="field", bucket=Bucket.CLEAN)
    problem = a_day(a_person(), STORE, machine, job)

    (leg,) = legs_of(problem, do("job", "ana", 40, "loader-1", "store"))["job"]

    assert (leg.walk_min, leg.call_min, leg.drive_min) == (10, 3, 8)
    assert (leg.wash_min, leg.hookup_min, leg.fill_min) == (15, 2, 0)
    assert (leg.till_machine_min, leg.with_machine_min, leg.travel_min) == (13, 25, 21)


def test_fuel_is_counted_down_by_the_minutes_on_jobs() -> None:
    """Of 50 minutes 20, 20 and 20 are worked: the third job is reached by the lot (4 and 8.944 min
    from barn to lot to field at 100 m a minute) with 6 min to fill; the fourth needs no stop."""
    machine = a_machine(fuel=Fuel(50, 60, "lot", 6))
    places = ("barn", "barn", "field", "field")
    jobs = (driving(f"job{k}", place=place) for k, place in enumerate(places))
    problem = a_day(a_person(), machine, *jobs)

    legs = legs_of(problem, *(do(f"job{k}", "ana", 60 * k, "loader-1") for k in range(4)))

    assert [legs[f"job{k}"][0].fill_min for k in range(4)] == [0, 0, 6, 0]
    assert legs["job2"][0].drive_min == pytest.approx(4 + 8.944, abs=1e-3)
    assert legs["job2"][0].travel_min == pytest.approx(4 + 8.944 + 6, abs=1e-3)
    assert legs["job3"][0].travel_min == 0


def test_fuel_that_just_lasts_needs_no_stop() -> None:
    problem = a_day(a_person(), a_machine(fuel=Fuel(20, 60, "lot", 6)), driving())

    assert legs_of(problem, do("job", "ana", 0, "loader-1"))["job"][0].travel_min == 0


def test_fuel_counted_down_in_tenths_just_lasts_too() -> None:
    problem = a_day(
        a_person(),
        a_machine(fuel=Fuel(0.3, 60, "lot", 6)),
        *(driving(f"job{k}", duration_min=0.1) for k in range(3)),
    )
    plan = (Assignment(f"job{k}", ("ana",), "loader-1", at(k), at(k + 0.1)) for k in range(3))

    assert legs_of(problem, *plan)["job2"][0].fill_min == 0


def test_a_machine_that_is_brought_in_burns_nothing_that_counts() -> None:
    """A service of 20 min leaves the 20 min for the job after it."""
    machine = a_machine(fuel=Fuel(20, 60, "lot", 6))
    problem = a_day(
        a_person(), machine, driving("service", needs_driver=False), driving(windows=(span(0, 90),))
    )

    legs = legs_of(problem, do("service", "ana", 0, "loader-1"), do("job", "ana", 30, "loader-1"))

    assert [leg.fill_min for key in ("service", "job") for leg in legs[key]] == [0, 0, 0]


def test_a_turn_runs_from_leaving_to_being_back() -> None:
    """To the field 10 min and back to the barn; a break of 5 min falls into each way."""
    ana = a_person("ana", end_place="barn", breaks=(span(22, 27), span(52, 57)))
    problem = a_day(ana, a_job(place="field"))

    turn = turn_of(problem, do("job", "ana", 30))

    assert (minute_of(turn.leaves_at), minute_of(turn.back_at)) == (15, 65)
    assert turn.back_min == 10


def test_a_turn_ends_with_the_last_job_where_nobody_must_be_back() -> None:
    problem = a_day(a_person(), a_job("a"), a_job("b", place="field"))

    turn = turn_of(problem, do("a", "ana", 0), do("b", "ana", 40))

    assert (turn.first, turn.last) == ("a", "b")
    assert (minute_of(turn.leaves_at), minute_of(turn.back_at)) == (0, 60)


def test_a_driver_leaves_in_time_to_make_the_machine_ready() -> None:
    """5 min to the lot, where the loader stands, 2 to take it over, 4 to drive it to the barn."""
    problem = a_day(a_person(), a_machine(start_place="lot", hookup_min=2), driving())

    turn = turn_of(problem, do("job", "ana", 30, "loader-1"))

    assert minute_of(turn.leaves_at) == 30 - 5 - 2 - 4


def test_leaving_looks_back_over_breaks_that_overlap() -> None:
    ana = a_person("ana", breaks=(span(10, 28), span(15, 21)))

    turn = turn_of(a_day(ana, a_job(place="field")), do("job", "ana", 30))

    assert minute_of(turn.leaves_at) == 2


def test_each_shift_has_a_turn_of_its_own() -> None:
    shifts = (Shift(at(0), at(60)), Shift(at(100), at(200)))
    problem = a_day(a_person("ana", shifts=shifts, end_place="lot"), a_job("a"), a_job("b"))
    plan = (do("a", "ana", 0), do("b", "ana", 100))

    turns = turns_of(problem, plan, travel_legs(problem, plan))

    assert [(t.first, minute_of(t.back_at)) for t in turns] == [("a", 25), ("b", 125)]
