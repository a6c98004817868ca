"""The problem of a week from the farm's rows: rules, wishes, demand, history, defaults."""

from datetime import date, time, timedelta

import pytest

from crews.people.models import Crew, Leave, LeaveKind, Worker
from crews.roster.build import build_week, read_facts, roster_on_record
from crews.roster.calc.change import changed_roster
from crews.roster.calc.check import check_week
from crews.roster.calc.problem import Given, Measure, Problem
from crews.roster.calc.search import solve_week
from crews.roster.calc.solution import Solution, Status
from crews.roster.models import (
    RosterPractice,
    Rotation,
    ShiftDemand,
    ShiftPattern,
    ShiftWish,
    WorkerRules,
)
from crews.roster.services import plan_shifts
from equipment.site.models import Role, Site
from equipment.weather.models import DayForecast
from tests.factories import make_actor, make_site, make_skill, make_worker, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")
MONDAY, NEXT = date(2026, 3, 9), date(2026, 3, 16)


@pytest.fixture
def site() -> Site:
    return make_site()


def make_pattern(site: Site, key: str, starts: int, *, minutes: int = 480) -> ShiftPattern:
    return ShiftPattern.objects.create(
        site=site,
        key=key,
        name=key.title(),
        starts_local=time(starts),
        duration_min=minutes,
    )


def turn(worker: Worker, pattern: ShiftPattern, on: int = 5, off: int = 2) -> Rotation:
    return Rotation.objects.create(
        site=worker.site,
        worker=worker,
        pattern=pattern,
        days_on=on,
        days_off=off,
        anchor_on=MONDAY,
    )


def week(site: Site) -> Problem:
    return build_week(read_facts(site, MONDAY, NEXT), at=NOW)


def test_a_farm_with_rotations_alone_gets_the_roster_that_it_has(site: Site) -> None:
    day, night = make_pattern(site, "day", 6), make_pattern(site, "night", 22)
    for key, pattern in (("ana", day), ("beto", day), ("caro", night)):
        turn(make_worker(site, key), pattern)
    plan_shifts(site_id=site.pk, from_on=MONDAY, until_on=NEXT, at=NOW)
    facts = read_facts(site, MONDAY, NEXT)

    solution = solve_week(build_week(facts, at=NOW), seconds=10)

    assert solution.status == Status.OPTIMAL
    assert solution.score is not None
    assert solution.score.total_cost == 0
    by_turn = {(a.person, a.on, a.kind) for a in roster_on_record(facts)}
    assert {(a.person, a.on, a.kind) for a in solution.assignments} == by_turn
    assert len(by_turn) == 15


def test_patterns_of_the_same_hours_are_one_kind(site: Site) -> None:
    first, second = make_pattern(site, "day-1", 6), make_pattern(site, "day-2", 6)
    turn(make_worker(site, "ana"), first)
    turn(make_worker(site, "beto"), second)

    problem = week(site)

    assert [kind.id for kind in problem.kinds] == ["day-1"]
    assert {(d.kind, d.target) for d in problem.demand if d.on == MONDAY} == {("day-1", 2)}


def test_eleven_hours_of_rest_and_six_days_in_a_row_without_a_word(site: Site) -> None:
    # Directive 2003/88/EC, articles 3 and 5: 11 h a day, a day in seven.
    make_pattern(site, "day", 6)
    make_worker(site, "ana")
    [contract] = week(site).contracts
    assert {(r.measure, r.least, r.most) for r in contract.rules} == {
        (Measure.REST_MIN, 660, None),
        (Measure.DAYS_IN_A_ROW, None, 6),
    }


def test_rules_of_the_farm_and_then_of_the_worker(site: Site) -> None:
    make_pattern(site, "night", 22)
    ana = make_worker(site, "ana")
    make_worker(site, "beto")
    RosterPractice.objects.create(
        site=site,
        rest_h=10,
        week_most_h=48,
        week_least_h=30,
        nights_in_row_most=4,
        weekends_most=2,
    )
    WorkerRules.objects.create(site=site, worker=ana, week_most_h=20, days_in_row_most=3)

    problem = week(site)

    rules = {
        person.id: {r.id: r.most if r.least is None else r.least for r in contract.rules}
        for person in problem.people
        for contract in problem.contracts
        if contract.id == person.contract
    }
    usual = {"rest": 600, "week_least": 1800, "nights_in_row": 4, "weekends": 2}
    assert rules == {
        "ana": {**usual, "week_most": 1200, "days_in_row": 3},
        "beto": {**usual, "week_most": 2880, "days_in_row": 6},
    }


def test_history_is_carried_in_and_leave_is_away(site: Site) -> None:
    night = make_pattern(site, "night", 22)
    ana = make_worker(site, "ana")
    turn(ana, night, on=14, off=7)
    Rotation.objects.update(anchor_on=date(2026, 3, 2))
    plan_shifts(site_id=site.pk, from_on=date(2026, 3, 2), until_on=MONDAY, at=NOW)
    Leave.objects.create(
        site=site,
        worker=ana,
        kind=LeaveKind.VACATION,
        from_on=date(2026, 3, 12),
        until_on=date(2026, 3, 14),
    )

    [person] = week(site).people

    assert person.before == ("night",) * 7
    assert person.away_on == (date(2026, 3, 12), date(2026, 3, 13))
    assert person.carried == {"weekends": 1, "nights": 7, "weekend_days": 2}


def test_a_wish_goes_before_the_turn(site: Site) -> None:
    day = make_pattern(site, "day", 6)
    ana = make_worker(site, "ana")
    turn(ana, day)
    ShiftWish.objects.create(site=site, worker=ana, local_date=MONDAY)

    wishes = {w.on: w for w in week(site).wishes}

    assert (wishes[MONDAY].is_off, wishes[MONDAY].price) == (True, 3)
    tuesday, saturday = MONDAY + timedelta(days=1), MONDAY + timedelta(days=5)
    assert (wishes[tuesday].kind, wishes[tuesday].price) == ("day", 1)
    assert wishes[saturday].is_off


def test_wish_for_a_shift_not_in_use_any_more_is_none(site: Site) -> None:
    ana = make_worker(site, "ana")
    turn(ana, make_pattern(site, "day", 6))
    gone = make_pattern(site, "dusk", 14)
    ShiftWish.objects.create(site=site, worker=ana, local_date=MONDAY, pattern=gone)
    ShiftPattern.objects.filter(pk=gone.pk).update(retired_at=NOW)

    wishes = {w.on: w for w in week(site).wishes}

    assert (wishes[MONDAY].kind, wishes[MONDAY].is_off, wishes[MONDAY].price) == ("day", False, 1)


def test_turn_of_who_left_needs_nobody(site: Site) -> None:
    day = make_pattern(site, "day", 6)
    for key in ("ana", "beto"):
        turn(make_worker(site, key), day)
    Worker.objects.filter(key="beto").update(retired_at=NOW)

    assert {d.target for d in week(site).demand} == {1}


def test_of_the_demand_of_a_date_and_of_every_date_the_larger_counts(site: Site) -> None:
    day = make_pattern(site, "day", 6)
    make_worker(site, "ana", skills=("loader",))
    loader = make_skill(site, "loader")
    wednesday = MONDAY + timedelta(days=2)
    rows = [(None, 1, 2), (MONDAY, 0, 4), (wednesday, 0, 1)]
    for on, least, target in rows:
        ShiftDemand.objects.create(
            site=site, pattern=day, skill=loader, local_date=on, least=least, target=target
        )

    needed = {(d.on, d.skill): (d.least, d.target) for d in week(site).demand}

    assert needed[MONDAY, "loader"] == (1, 4)
    assert needed[MONDAY + timedelta(days=1), "loader"] == (1, 2)
    assert needed[wednesday, "loader"] == (1, 2)


def test_crews_are_kept_together_with_their_leads(site: Site) -> None:
    make_pattern(site, "day", 6)
    crew = Crew.objects.create(site=site, key="west", name="West")
    make_worker(site, "ana", crew=crew, role=Role.LEAD)
    make_worker(site, "beto", crew=crew)
    make_worker(site, "caro")

    [found] = week(site).crews

    assert (found.people, found.leads) == (("ana", "beto"), ("ana",))
    assert found.lead_price == 4


def test_a_skill_that_lapses_is_held_until_then(site: Site) -> None:
    day = make_pattern(site, "day", 6)
    ana = make_worker(site, "ana", skills=("loader",))
    ana.skills.update(until_on=date(2026, 3, 11))
    [person] = week(site).people
    assert person.holds("loader", date(2026, 3, 10))
    assert not person.holds("loader", date(2026, 3, 11))
    assert day.pk


def test_new_people_count_for_a_fifth_on_the_first_hot_day(site: Site) -> None:
    # NIOSH 2016-106: a fifth more each day for who is new to the heat.
    make_pattern(site, "day", 6)
    make_worker(site, "ana", started_on=MONDAY)
    make_worker(site, "beto", started_on=date(2020, 1, 1))
    DayForecast.objects.create(
        site=site,
        on=MONDAY,
        made_at=NOW,
        source="told",
        tmin_degc=24,
        tmax_degc=41,
        rain_chance_frac=0,
        rain_mm=0,
        et0_mm=8,
        et0_sd_mm=1,
        et0_method="told",
    )

    problem = week(site)

    assert problem.hot_on == (MONDAY,)
    heads = [problem.head_pct(person, MONDAY) for person in problem.people]
    assert heads == [20, 100]


def test_who_is_on_a_shift_that_has_begun_stays_and_nobody_joins(site: Site) -> None:
    day = make_pattern(site, "day", 6)
    ana, _beto = make_worker(site, "ana"), make_worker(site, "beto")
    turn(ana, day)
    plan_shifts(site_id=site.pk, from_on=MONDAY, until_on=NEXT, at=NOW)
    noon = utc("2026-03-09 18:00")  # 12:00 in Denver

    facts = read_facts(site, MONDAY, NEXT)
    problem = build_week(facts, at=noon)

    within = [(g.person, g.on, g.kind) for g in problem.fixed if g.on < NEXT]
    assert within == [("ana", MONDAY, "day")]
    joined = changed_roster(roster_on_record(facts), [Given("beto", MONDAY, "day")])
    broken = check_week(problem, Solution(Status.FEASIBLE, joined)).broken
    assert "most_exceeded" in {b.code for b in broken}


def test_facts_are_read_in_few_queries(site: Site, django_assert_max_num_queries: object) -> None:
    day = make_pattern(site, "day", 6)
    for key in ("ana", "beto", "caro"):
        turn(make_worker(site, key, skills=("loader",)), day)
    make_actor(site, "timer")
    with django_assert_max_num_queries(12):  # type: ignore[operator]
        week(site)
