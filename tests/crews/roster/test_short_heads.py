"""Shifts that lack people, counted by hand and against the roster's own judge."""

from datetime import date, time, timedelta
from typing import Any

import pytest

from crews.roster.build import build_week, read_facts, roster_on_record
from crews.roster.calc.score import Roster
from crews.roster.models import Presence, ShiftDemand, ShiftPattern
from crews.roster.short_heads import ShortHeads, short_heads
from equipment.site.models import Site
from tests.factories import make_shift, make_skill, make_worker, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 16:00")  # 9:00 am in Denver
TODAY = date(2026, 3, 4)
DAY = timedelta(days=1)
MORNING = utc("2026-03-05 12:00")  # 5:00 am tomorrow


@pytest.fixture
def day(site: Site) -> ShiftPattern:
    return ShiftPattern.objects.create(
        site=site, key="day", name="Day", starts_local=time(5), duration_min=480
    )


def demand(pattern: ShiftPattern, target: int, skill: str = "", on: date | None = None) -> None:
    ShiftDemand.objects.create(
        site=pattern.site,
        pattern=pattern,
        skill=make_skill(pattern.site, skill) if skill else None,
        local_date=on,
        target=target,
    )


def told(site: Site) -> list[ShortHeads]:
    return short_heads(site, TODAY, TODAY + 3 * DAY, NOW)


def test_a_shift_is_short_in_all_and_of_a_skill(site: Site, day: ShiftPattern) -> None:
    demand(day, 2, on=TODAY + DAY)
    demand(day, 1, "loader", on=TODAY + DAY)
    make_shift(make_worker(site, "ana", skills=("beds", "cattle")), MORNING)
    assert told(site) == [
        ShortHeads(TODAY + DAY, "Day", "", 2, 1, MORNING),
        ShortHeads(TODAY + DAY, "Day", "loader", 1, 0, MORNING, "Loader"),
    ]

    make_shift(make_worker(site, "ben", skills=("loader",)), MORNING)
    assert told(site) == []


def test_the_larger_of_every_date_and_this_one_counts_and_begun_shifts_do_not(
    site: Site, day: ShiftPattern
) -> None:
    demand(day, 1)
    demand(day, 3, on=TODAY + DAY)
    found = [(short.on, short.n_needed) for short in told(site)]
    assert found == [(TODAY + DAY, 3), (TODAY + 2 * DAY, 1)]


def test_who_called_in_sick_is_not_there(site: Site, day: ShiftPattern) -> None:
    demand(day, 1, on=TODAY + DAY)
    make_shift(make_worker(site, "ana"), MORNING, presence=Presence.SICK)
    assert [short.n_there for short in told(site)] == [0]


def test_patterns_of_the_same_hours_are_one_kind(site: Site, day: ShiftPattern) -> None:
    late_break = ShiftPattern.objects.create(
        site=site, key="day-2", name="Day 2", starts_local=time(5), duration_min=480
    )
    demand(day, 1, on=TODAY + DAY)
    demand(late_break, 1, on=TODAY + DAY)
    make_shift(make_worker(site, "ana"), MORNING, pattern=late_break)
    assert told(site) == [ShortHeads(TODAY + DAY, "Day", "", 2, 1, MORNING)]


def test_it_finds_what_the_rosters_judge_finds(site: Site, day: ShiftPattern) -> None:
    for n in range(4):
        skills = ("loader",) if n % 2 else ("beds",)
        make_shift(make_worker(site, f"w-{n}", skills=skills), MORNING)
    demand(day, 5)
    demand(day, 2, "loader", on=TODAY + DAY)
    demand(day, 3, "beds", on=TODAY + DAY)
    facts = read_facts(site, TODAY + DAY, TODAY + 3 * DAY)
    problem = build_week(facts, at=NOW)
    roster = Roster(problem, roster_on_record(facts))
    judged = {
        (d.on, d.skill or "", d.target, roster.heads_pct(d) / 100)
        for d in problem.demand
        if roster.heads_pct(d) / 100 < (d.target or d.least)
    }
    assert len(judged) == 3
    assert judged == {(s.on, s.skill, s.n_needed, s.n_there) for s in told(site)}


def test_it_takes_three_queries(
    site: Site, day: ShiftPattern, django_assert_num_queries: Any
) -> None:
    demand(day, 1)
    with django_assert_num_queries(3):
        told(site)
