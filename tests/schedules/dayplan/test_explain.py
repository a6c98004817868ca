"""Reasons that the twins of test_rules do not reach, and their facts."""

from schedules.dayplan.calc.explain import explain
from schedules.dayplan.calc.problem import Booking, Dependency, Problem
from schedules.dayplan.calc.resources import Block, Effort, HeatRest, Shift, Skill
from schedules.dayplan.calc.solution import Reason, ReasonCode

from .tiny import a_day, a_job, a_machine, a_person, at, booked, plan_of, solved, span


def reasons(problem: Problem, **bookings: Booking) -> list[Reason]:
    """Say why a plan made by hand leaves "job" out."""
    plan = plan_of(problem, **bookings)
    return list({left.job: left.reasons for left in explain(problem, plan.assignments)}["job"])


def test_a_window_says_what_the_job_needs_and_what_it_has() -> None:
    problem = a_day(a_person(), a_job(windows=(span(0, 12), span(30, 45))))

    assert reasons(problem) == [
        Reason(ReasonCode.WINDOW_TOO_SHORT, {"needs_min": 20, "has_min": 15})
    ]


def test_a_block_says_where_and_why() -> None:
    problem = a_day(a_person(), a_job(), Block("barn", at(10), at(50), "cows_return"))

    assert reasons(problem) == [
        Reason(
            ReasonCode.PLACE_BLOCKED,
            {"places": ("barn",), "whys": ("cows_return",), "needs_min": 20, "has_min": 10},
        )
    ]


def test_a_missing_skill_is_named_alone() -> None:
    problem = a_day(a_person("ana", "cattle"), a_job(skills=("cattle", "welding")))

    assert reasons(problem) == [Reason(ReasonCode.NO_SKILLED_PERSON, {"skills": ("welding",)})]


def test_skills_that_nobody_has_together_are_all_named() -> None:
    people = (a_person("ana", "cattle"), a_person("ben", "welding"))
    problem = a_day(*people, a_job(skills=("cattle", "welding")))

    assert reasons(problem) == [
        Reason(ReasonCode.NO_SKILLED_PERSON, {"skills": ("cattle", "welding")})
    ]


def test_nobody_on_shift_is_said_when_no_skill_is_asked() -> None:
    problem = a_day(a_person(shifts=(Shift(at(100), at(200)),)), a_job())

    assert reasons(problem) == [Reason(ReasonCode.OUTSIDE_SHIFT)]


def test_a_lapsed_skill_names_who_held_it() -> None:
    problem = a_day(a_person("ana", Skill("cattle", at(5))), a_job(skills=("cattle",)))

    assert reasons(problem) == [
        Reason(ReasonCode.SKILL_LAPSED, {"skills": ("cattle",), "people": ("ana",)})
    ]


def test_two_people_say_how_many_there_are() -> None:
    late = a_person("ben", shifts=(Shift(at(50), at(480)),))
    problem = a_day(a_person(), late, a_job(n_people=2))

    assert reasons(problem) == [Reason(ReasonCode.TWO_PEOPLE_NEEDED, {"n_needed": 2, "n_there": 1})]


def test_heat_says_what_the_job_needs_with_rests() -> None:
    ana = a_person("ana", heat_rests=(HeatRest(at(0), at(480), 0, 0, 45),))
    problem = a_day(ana, a_job(effort=Effort.HEAVY))

    assert reasons(problem) == [
        Reason(ReasonCode.HEAT_REST_TOO_LONG, {"needs_min": 80, "has_min": 60})
    ]


def test_people_and_machines_short_at_once_are_both_told() -> None:
    held = a_machine(holds=(span(0, 480),))
    problem = a_day(a_person(), held, a_job(skills=("cattle",), machine_kinds=("loader",)))

    assert [reason.code for reason in reasons(problem)] == ["no_skilled_person", "machines_held"]


def test_a_driver_and_a_machine_that_never_meet_are_told_as_that() -> None:
    loader = a_machine(driver_skill="loader", available=(span(0, 25),))
    driver = a_person("ana", "loader", shifts=(Shift(at(20), at(480)),))
    problem = a_day(a_person("ben"), driver, loader, a_job(machine_kinds=("loader",)))

    assert reasons(problem) == [
        Reason(ReasonCode.NO_DRIVER_ON_SHIFT, {"skills": ("loader",), "machines": ("loader-1",)})
    ]


def test_a_team_and_a_machine_that_never_meet_are_told_as_that() -> None:
    loader = a_machine(available=(span(0, 25),))
    late = a_person("ben", shifts=(Shift(at(20), at(480)),))
    job = a_job(machine_kinds=("loader",), n_people=2)

    assert reasons(a_day(a_person(), late, loader, job)) == [Reason(ReasonCode.NO_COMMON_TIME)]


def test_busy_people_are_named_with_what_they_do() -> None:
    problem = a_day(
        a_person(), a_job("other", windows=(span(0, 30),)), a_job(windows=(span(0, 30),))
    )

    assert reasons(problem, other=booked("ana", 0, 20)) == [
        Reason(ReasonCode.ALL_PEOPLE_BUSY, {"jobs": ("other",), "people": ("ana",)})
    ]


def test_busy_drivers_are_told_from_busy_people() -> None:
    people = (a_person("ana", "loader"), a_person("ben"))
    job = a_job(machine_kinds=("loader",), windows=(span(0, 30),))
    problem = a_day(*people, a_machine(driver_skill="loader"), a_job("other"), job)

    assert reasons(problem, other=booked("ana", 0, 20)) == [
        Reason(ReasonCode.ALL_DRIVERS_BUSY, {"machines": ("loader-1",), "jobs": ("other",)})
    ]


def test_people_machine_and_place_free_at_different_times_are_told_as_that() -> None:
    problem = a_day(
        a_person(),
        a_machine(),
        a_job("hands"),
        a_job("service", machine_ids=("loader-1",), needs_driver=False),
        a_person("ben", shifts=(Shift(at(60), at(480)),)),
        a_job(machine_kinds=("loader",), windows=(span(0, 40),)),
    )
    given = {"hands": booked("ana", 0, 20), "service": booked("ben", 20, 40, "loader-1")}

    assert reasons(problem, **given) == [Reason(ReasonCode.NO_COMMON_TIME_LEFT)]


def test_what_it_waits_for_comes_first_and_lasting_reasons_after() -> None:
    waits = a_job(depends_on=(Dependency("first"),), skills=("magic",))
    problem = a_day(a_person(), a_job("first"), waits)

    assert [reason.code for reason in reasons(problem)] == [
        "predecessor_left_out",
        "no_skilled_person",
    ]


def test_a_gap_to_what_was_done_too_early_or_late_names_it() -> None:
    waits = a_job(depends_on=(Dependency("first", min_gap_min=45),))
    problem = a_day(a_person(), a_job("first"), waits)

    assert reasons(problem, first=booked("ana", 0, 20)) == [
        Reason(ReasonCode.GAP_NOT_KEPT, {"jobs": ("first",)})
    ]


def test_a_plan_that_leaves_nothing_out_needs_no_reason() -> None:
    problem = a_day(a_person(), a_job())

    assert explain(problem, solved(problem).assignments) == ()


def test_a_window_that_the_end_of_the_day_cuts_lies_beyond_it() -> None:
    """The day ends at minute 480: of half an hour twelve minutes are left."""
    problem = a_day(a_person(), a_job(windows=(span(468, 498),)))

    assert reasons(problem) == [Reason(ReasonCode.OUTSIDE_HORIZON)]


def test_somebody_without_a_shift_does_nothing() -> None:
    """Whoever goes home sick before the shift has none left."""
    problem = a_day(a_person(shifts=()), a_person("ben"), a_job())

    assert [given.people for given in solved(problem).assignments] == [("ben",)]
