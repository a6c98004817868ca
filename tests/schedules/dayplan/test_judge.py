"""What the judge names in plans made by hand: each rule once kept and once broken by a minute, a
piece or a name. No search has a part in it.
"""

from dataclasses import dataclass, replace
from typing import Any

import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.problem import Dependency, Duration, Job, Problem, Seat
from schedules.dayplan.calc.resources import (
    Amount,
    Fuel,
    Gear,
    Place,
    Road,
    Shift,
    Skill,
)
from schedules.dayplan.calc.solution import Assignment

from .tiny import a_day, a_job, a_machine, a_person, at, booked, plan_with, span

ANA, BEN = a_person("ana"), a_person("ben")
LOADER = a_machine()
ALL_DAY = (span(0, 480),)


Day = tuple[Problem, tuple[Assignment, ...]]


@dataclass(frozen=True)
class Pair:
    """A day with a plan that keeps all rules, and one with a plan that breaks just `broken`."""

    kept: Day
    clashing: Day
    broken: str


def do(
    key: str, people: str, start_min: float, end_min: float, machine: str | None = None, **more: Any
) -> Assignment:
    given = (tuple(people.split()), machine, at(start_min), at(end_min))
    return Assignment(key, *given, **more)


def pair(broken: str, *days: Day) -> Pair:
    kept, clashing = days
    return Pair(kept, clashing, broken)


def work(key: str = "job", **fields: Any) -> Job:
    return a_job(key, **({"windows": ALL_DAY} | fields))


def driving(key: str = "job", **fields: Any) -> Job:
    return work(key, **({"machine_kinds": ("loader",)} | fields))


def team(people: str, *job_skills: str, **fields: Any) -> Day:
    """Cattle are known to ana at level 2, to ben at level 1 and for ten minutes only to cyd."""
    cattle = Skill("cattle", level=2), Skill("cattle"), Skill("cattle", at(10), 2)
    team = (a_person(key, skill) for key, skill in zip(("ana", "ben", "cyd"), cattle, strict=True))
    job = work(skills=job_skills, **fields)
    return a_day(*team, a_person("dan"), job), (do("job", people, 0, 20),)


def of_two(*seats: Seat) -> dict[str, Any]:
    return {"n_people": 2, "seats": seats}


HANDLER = Seat(("cattle",), level=2)
BEDS = Seat(("beds",))


def crew(people: str, end_min: float) -> Day:
    """Two or four do it in 20 or 10 minutes, one in 35."""
    durations = (Duration(35, n_people=1), Duration(10, n_people=4))
    job = work(n_people=2, durations=durations)
    team = (a_person(key) for key in ("ana", "ben", "cyd", "dan", "eve"))
    return a_day(*team, job), (do("job", people, 0, end_min),)


def by_kind(people: str, end_min: float) -> Day:
    """A truck takes 30 minutes, with two 25."""
    durations = (Duration(30, "truck"), Duration(25, "truck", 2))
    job = driving(machine_kinds=("loader", "truck"), durations=durations)
    truck = a_machine("truck-1", kind="truck")
    return a_day(ANA, BEN, LOADER, truck, job), (do("job", people, 0, end_min, "truck-1"),)


def geared(n: int, start_min: float, n_asked: int = 1) -> Day:
    jobs = (work("a", gear=(Amount("pump"),)), work("b", gear=(Amount("pump", n_asked),)))
    plan = do("a", "ana", 0, 20), do("b", "ben", start_min, start_min + 20)
    return a_day(ANA, BEN, *jobs, gear=(Gear("pump", n),)), plan


STORE = Place("store", 0, 0, stocks=("liner",), call_min=3)
SHIFTS = (Shift(at(0), at(100)), Shift(at(100), at(480)))


def liners(
    n_carried: int,
    *calls: str | None,
    key: str = "liner",
    tools: tuple[str, ...] = (),
    room: int | None = None,
) -> Day:
    """Jobs of 20 minutes that need a liner each; where ana calls for it, 3 minutes later."""
    carries = (Amount(key, n_carried),) if n_carried else ()
    room_for = () if room is None else (Amount(key, room),)
    ana = a_person("ana", carries=carries, room_for=room_for)
    jobs = (work(f"job{k}", items=(Amount(key),)) for k in range(len(calls)))
    plan = (
        do(f"job{k}", "ana", 30 * k + 3, 30 * k + 23, calls_at=call) for k, call in enumerate(calls)
    )
    return a_day(ana, STORE, *jobs, tools=tools), tuple(plan)


def first_has(people: str) -> Day:
    ana = a_person("ana", carries=(Amount("wrench"),))
    job = work(n_people=2, items=(Amount("wrench"),))
    return a_day(ana, BEN, job, tools=("wrench",)), (do("job", people, 0, 20),)


def next_shift(start_min: float) -> Day:
    """Ana carries one liner at the start of each shift."""
    ana = a_person("ana", carries=(Amount("liner"),), shifts=SHIFTS)
    jobs = (work(key, items=(Amount("liner"),)) for key in ("a", "b"))
    return a_day(ana, *jobs), (do("a", "ana", 0, 20), do("b", "ana", start_min, start_min + 20))


def called(start_min: float, stocks: tuple[str, ...] = ("wrench",), **machine: Any) -> Day:
    """A call of 3 min at a shed 5 min away, then back to the barn, or the machine there."""
    shed = Place("shed", 0, 400, stocks=stocks, call_min=3)
    job, driven = (driving(), "loader-1") if machine else (work(), None)
    plan = do("job", "ana", start_min, start_min + 20, driven, calls_at="shed")
    return a_day(ANA, shed, a_machine(**machine), job), (plan,)


def refuelled(start_min: float) -> Day:
    """Thirty minutes are left, the second job needs 20 more: 4 min each way to the lot, 6 there."""
    loader = a_machine(fuel=Fuel(30, 60, "lot", 6))
    jobs = driving("a"), driving("b")
    plan = (
        do("a", "ana", 0, 20, "loader-1"),
        do("b", "ana", start_min, start_min + 20, "loader-1"),
    )
    return a_day(ANA, loader, *jobs), plan


def refuelled_twice(start_min: float) -> Day:
    """A full tank lasts for two jobs of twenty minutes, not for the third."""
    loader = a_machine(fuel=Fuel(0, 50, "lot", 6))
    times = (14, 34, start_min)
    plan = (do(f"job{k}", "ana", t, t + 20, "loader-1") for k, t in enumerate(times))
    return a_day(ANA, loader, *(driving(f"job{k}") for k in range(3))), tuple(plan)


def long_run(duration_min: float) -> Day:
    loader = a_machine(fuel=Fuel(60, 60, "barn", 0))
    job = driving(duration_min=duration_min)
    return a_day(ANA, loader, job), (do("job", "ana", 0, duration_min, "loader-1"),)


def serviced(run_full_min: float = 30, **fields: Any) -> Day:
    loader = a_machine(fuel=Fuel(0, run_full_min, "lot", 6))
    return a_day(ANA, loader, driving(**fields)), (do("job", "ana", 0, 20, "loader-1"),)


def slow(walk_m_min: float, start_min: float) -> Day:
    ana = a_person("ana", walk_m_min=walk_m_min)
    return a_day(ana, work(place="field")), (do("job", "ana", start_min, start_min + 20),)


def by_road(start_min: float, **road: Any) -> Day:
    roads = (Road("barn", "field", **({"length_m": 1600} | road)),)
    return a_day(ANA, work(place="field"), roads=roads), (
        do("job", "ana", start_min, start_min + 20),
    )


def drive_by_road(start_min: float, **road: Any) -> Day:
    roads = (Road("barn", "field", **({"length_m": 1600} | road)),)
    plan = (do("job", "ana", start_min, start_min + 20, "loader-1"),)
    return a_day(ANA, LOADER, driving(place="field"), roads=roads), plan


def back(end_min: float, overtime_min: float = 0, **fields: Any) -> Day:
    """Ten minutes' walk back to the barn, where the shift ends."""
    shifts = (Shift(at(0), at(end_min), overtime_min),)
    ana = a_person("ana", end_place="barn", shifts=shifts, **fields)
    return a_day(ana, work(place="field")), (do("job", "ana", 10, 30),)


def no_road_back(*, is_one_way: bool) -> Day:
    ana = a_person("ana", end_place="barn")
    roads = (Road("barn", "field", 800, is_one_way=is_one_way),)
    return a_day(ana, work(place="field"), roads=roads), (do("job", "ana", 10, 30),)


def paused(start_min: float, end_min: float, *, may_pause: bool = True) -> Day:
    ana = a_person("ana", breaks=(span(10, 25),))
    return a_day(ana, work(may_pause=may_pause)), (do("job", "ana", start_min, end_min),)


def paused_by_either(end_min: float) -> Day:
    """Breaks at 5 to 10 and at 15 to 30: twenty minutes' work is done at 40."""
    team = a_person("ana", breaks=(span(5, 10),)), a_person("ben", breaks=(span(15, 30),))
    return a_day(*team, work(n_people=2, may_pause=True)), (do("job", "ana ben", 0, end_min),)


def paused_machine(start_min: float) -> Day:
    ana = a_person("ana", breaks=(span(10, 25),))
    jobs = driving("a", may_pause=True), driving("b")
    plan = (
        do("a", "ana", 0, 35, "loader-1"),
        do("b", "ben", start_min, start_min + 20, "loader-1"),
    )
    return a_day(ana, BEN, LOADER, *jobs), plan


def bound(people: str, machine: str | None = None, **bond: tuple[str, ...]) -> Day:
    """Job a by ana and ben on the first loader, job b bound to it."""
    if machine is None:
        jobs = work("a", n_people=2), work("b", n_people=len(people.split()), **bond)
        first = None
    else:
        jobs = driving("a", n_people=2), driving("b", **bond)
        first = "loader-1"
    team = ANA, BEN, a_person("cyd"), LOADER, a_machine("loader-2")
    return a_day(*team, *jobs), (do("a", "ana ben", 0, 20, first), do("b", people, 60, 80, machine))


def milestone(at_min: float, *, end_min: float | None = None, people: str = "") -> Day:
    """Sand is there: ten minutes after the first job, no later than 40."""
    done = a_job(
        "there",
        n_people=0,
        duration_min=0,
        windows=(span(0, 40),),
        depends_on=(Dependency("job", min_gap_min=10),),
    )
    end = at_min if end_min is None else end_min
    return a_day(ANA, BEN, work(), done), (
        do("job", "ana", 0, 20),
        do("there", people, at_min, end),
    )


def beside(duration_min: float) -> Day:
    """Work that nobody is planned for, in a place that has one job at a time."""
    stood = work("stands", n_people=0, duration_min=duration_min, occupies=("bay",))
    plan = do("job", "ana", 0, 20), do("stands", "", 10, 10 + duration_min)
    return a_day(ANA, work(occupies=("bay",)), stood), plan


PAIRS = {
    "seats in their order": pair(
        "skill_missing",
        team("ana dan", **of_two(HANDLER, Seat())),
        team("dan ana", **of_two(HANDLER, Seat())),
    ),
    "a seat's level": pair(
        "skill_too_low",
        team("dan ana", **of_two(Seat(), HANDLER)),
        team("dan ben", **of_two(Seat(), HANDLER)),
    ),
    "a seat's skill lapses": pair(
        "skill_lapsed", team("ana", seats=(HANDLER,)), team("cyd", seats=(HANDLER,))
    ),
    "the job's level": pair(
        "skill_too_low",
        team("ana", "cattle", skill_level=2),
        team("ben", "cattle", skill_level=2),
    ),
    "the job's level beside seats": pair(
        "skill_too_low",
        team("ana ben", "cattle", **of_two(HANDLER, Seat())),
        team("ana ben", "cattle", skill_level=2, **of_two(HANDLER, Seat())),
    ),
    "a crew smaller than asked": pair("too_short", crew("ana", 35), crew("ana", 34)),
    "a larger crew": pair("too_short", crew("ana ben cyd dan", 10), crew("ana ben cyd dan", 9)),
    "no crew between": pair("too_few_people", crew("ana ben", 20), crew("ana ben cyd", 20)),
    "no crew beyond": pair(
        "too_many_people", crew("ana ben cyd dan", 20), crew("ana ben cyd dan eve", 20)
    ),
    "a machine kind's duration": pair("too_short", by_kind("ana", 30), by_kind("ana", 29)),
    "gear for two": pair("gear_short", geared(2, 0), geared(1, 0)),
    "gear given back": pair("gear_short", geared(1, 20), geared(1, 19)),
    "two pieces for one": pair("gear_short", geared(2, 20, 2), geared(1, 20, 2)),
    "nothing at hand": pair("item_missing", liners(1, None), liners(0, None)),
    "used up": pair("item_missing", liners(2, None, None), liners(1, None, None)),
    "a tool is not used up": pair(
        "item_missing", liners(1, None, None, tools=("liner",)), liners(1, None, None)
    ),
    "only what is stocked": pair(
        "item_missing", liners(0, "store"), liners(0, "store", key="spring")
    ),
    "a call serves later jobs, not earlier ones": pair(
        "item_missing", liners(0, "store", None), liners(0, None, "store")
    ),
    "a call fills up to what there is room for": pair(
        "item_missing", liners(0, "store", None, room=2), liners(0, "store", None, room=1)
    ),
    "the first of the team has it": pair(
        "item_missing", first_has("ana ben"), first_has("ben ana")
    ),
    "carried again in the next shift": pair("item_missing", next_shift(100), next_shift(60)),
    "a call on the way": pair("person_late", called(13), called(12)),
    "a call before the machine": pair(
        "person_late", called(14, hookup_min=1), called(13, hookup_min=1)
    ),
    "a call for nothing": pair("call_in_vain", called(13), called(13, ())),
    "a stop for fuel": pair("person_late", refuelled(34), refuelled(33)),
    "the next stop for fuel": pair("person_late", refuelled_twice(68), refuelled_twice(67)),
    "more than a full tank": pair("fuel_too_small", long_run(60), long_run(61)),
    "idle under a job": pair("person_late", serviced(needs_driver=False), serviced()),
    "idle for longer than a full tank": pair(
        "fuel_too_small", serviced(10, needs_driver=False), long_run(61)
    ),
    "own speed": pair("person_late", slow(40, 20), slow(40, 19)),
    "the way by road": pair("person_late", by_road(20), by_road(19)),
    "the way of a machine by road": pair("person_late", drive_by_road(16), drive_by_road(15)),
    "against a one-way road": pair(
        "no_way", no_road_back(is_one_way=False), no_road_back(is_one_way=True)
    ),
    "on foot where only machines may": pair(
        "no_way", by_road(20), by_road(400, is_for_people=False)
    ),
    "by machine where only people may": pair(
        "no_way", drive_by_road(16), drive_by_road(400, is_for_machines=False)
    ),
    "back by the end": pair("late_back", back(40), back(39)),
    "back in overtime": pair("late_back", back(30, 10), back(30, 9)),
    "back after a break": pair(
        "late_back", back(45, breaks=(span(33, 38),)), back(44, breaks=(span(33, 38),))
    ),
    "left for a break": pair("pause_missing", paused(0, 35), paused(0, 34)),
    "not begun in a break": pair("on_break", paused(25, 45), paused(24, 45)),
    "may not be left": pair("on_break", paused(0, 35), paused(0, 35, may_pause=False)),
    "left for the breaks of either": pair(
        "pause_missing", paused_by_either(40), paused_by_either(39)
    ),
    "the machine stays": pair("machine_twice", paused_machine(35), paused_machine(12)),
    "the same people": pair(
        "people_differ",
        bound("ben ana", same_people_as=("a",)),
        bound("ana cyd", same_people_as=("a",)),
    ),
    "other people": pair(
        "people_shared",
        bound("cyd", other_people_than=("a",)),
        bound("ben", other_people_than=("a",)),
    ),
    "the same machine": pair(
        "machines_differ",
        bound("cyd", "loader-1", same_machine_as=("a",)),
        bound("cyd", "loader-2", same_machine_as=("a",)),
    ),
    "a milestone waits": pair("gap_too_short", milestone(30), milestone(29)),
    "a milestone's window": pair("outside_window", milestone(40), milestone(41)),
    "nobody for a milestone": pair(
        "too_many_people", milestone(30, end_min=31), milestone(30, end_min=31, people="ben")
    ),
    "a milestone takes no place": pair("place_twice", beside(0), beside(1)),
}


@pytest.fixture(params=list(PAIRS.values()), ids=list(PAIRS))
def days(request: pytest.FixtureRequest) -> Pair:
    assert isinstance(request.param, Pair)
    return request.param


def test_a_plan_on_the_rule_is_let_pass(days: Pair) -> None:
    problem, assignments = days.kept

    assert check(problem, plan_with(problem, *assignments)).broken == ()


def test_the_rule_is_named_in_a_plan_beyond_it(days: Pair) -> None:
    problem, assignments = days.clashing
    verdict = check(problem, plan_with(problem, *assignments))

    assert {broken.code for broken in verdict.broken} == {days.broken}
    assert not verdict.is_feasible


@pytest.mark.parametrize(
    "bond", [{name: ("a",)} for name in ("same_people_as", "other_people_than", "same_machine_as")]
)
def test_a_bond_to_a_job_that_is_left_out_binds_nobody(bond: dict[str, tuple[str, ...]]) -> None:
    problem = a_day(ANA, LOADER, driving("a"), driving("b", **bond))

    plan = plan_with(problem, do("b", "ana", 0, 20, "loader-1"))

    assert check(problem, plan).broken == ()


def test_nobody_and_no_machine_are_not_shared() -> None:
    bonds = {"same_people_as": ("stands",), "same_machine_as": ("stands",)}
    stands = work("stands", n_people=0)
    problem = a_day(ANA, LOADER, stands, driving("b", **bonds))

    plan = plan_with(problem, do("stands", "", 0, 20), do("b", "ana", 0, 20, "loader-1"))

    assert check(problem, plan).broken == ()


def test_a_call_at_a_place_that_is_not_there_is_refused_whole() -> None:
    problem = a_day(ANA, work())
    stranger = do("job", "ana", 0, 20, calls_at="moon")

    verdict = check(problem, replace(plan_with(problem), assignments=(stranger,)))

    assert [(b.code, b.place) for b in verdict.broken] == [("unknown_place", "moon")]
    assert verdict.score is None


def test_what_a_plan_takes_from_a_locked_job_is_the_plans_doing() -> None:
    """The plan's job uses the liner and the pump that the locked one needs."""
    ana = a_person("ana", carries=(Amount("liner"),))
    needs = {"items": (Amount("liner"),), "gear": (Amount("pump"),)}
    locked = work("locked", locked=booked("ana", 10, 30), **needs)
    problem = a_day(ana, BEN, locked, work("mine", **needs), gear=(Gear("pump", 1),))
    mine, kept = do("mine", "ana", 0, 20), do("locked", "ana", 10, 30)

    by_plan = check(problem, plan_with(problem, mine, kept)).broken
    named = {(b.code, b.job, b.other_job, b.is_locked) for b in by_plan if b.code != "person_twice"}

    assert named == {
        ("gear_short", "locked", "mine", False),
        ("item_missing", "locked", "mine", False),
    }


def test_what_a_locked_job_lacks_by_itself_is_the_locks_doing() -> None:
    locked = work("locked", locked=booked("ana", 10, 30), items=(Amount("liner"),))
    problem = a_day(ANA, locked)

    verdict = check(problem, plan_with(problem, do("locked", "ana", 10, 30)))

    assert [(b.code, b.is_locked) for b in verdict.broken] == [("item_missing", True)]
    assert verdict.is_feasible


def test_no_way_is_none_however_slow_one_walks() -> None:
    ana = a_person("ana", walk_m_min=0.001)
    roads = (Road("barn", "field", 1, is_for_people=False),)
    problem = a_day(ana, work(place="field"), roads=roads)

    verdict = check(problem, plan_with(problem, do("job", "ana", 400, 420)))

    assert [(b.code, b.place) for b in verdict.broken] == [("no_way", "field")]


def test_the_facts_of_a_shortage_are_told() -> None:
    problem, plan = geared(2, 0, 2)
    (broken,) = check(problem, plan_with(problem, *plan)).broken

    assert broken.facts == {"gear": "pump", "needs": 3, "has": 2}
    assert (broken.job, broken.other_job) == ("b", "a")
