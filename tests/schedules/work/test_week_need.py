"""What open work asks of the coming days, counted by hand."""

from datetime import date, timedelta
from typing import Any

import pytest

from equipment.site.calc.local_time import day_bounds
from equipment.site.models import Site
from schedules.work.models import Outcome, Status
from schedules.work.week_need import DayNeed, needs_by_day
from tests.factories import make_site, make_work_order, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")  # 5:00 in Denver
HOUR = timedelta(hours=1)
LOADER = frozenset({"loader"})


def told(site: Site) -> list[DayNeed]:
    days = [day_bounds(date(2026, 3, 4) + timedelta(days=n), site.zone) for n in range(3)]
    return needs_by_day(site.pk, days, NOW)


def order(site: Site, key: str, **facts: Any) -> None:
    usual = {"skill": "beds", "starts_after": NOW + HOUR, "duration_min": 60}
    make_work_order(site, key, **{**usual, **facts})


def test_work_counts_by_its_people_and_its_machine_once(site: Site) -> None:
    order(site, "a", n_people=3)
    order(site, "b", n_people=2, skill="loader", machine_kinds=["loader"])
    assert told(site) == [
        DayNeed(0, "beds", frozenset(), 180, 0),
        DayNeed(0, "loader", LOADER, 120, 60),
    ]


def test_work_of_two_days_counts_on_each_by_its_share(site: Site) -> None:
    midnight = utc("2026-03-05 07:00")
    order(site, "a", starts_after=midnight - HOUR, due_at=midnight + 3 * HOUR)
    assert [(need.n_day, need.person_min) for need in told(site)] == [(0, 15), (1, 45)]


def test_what_began_before_now_counts_from_now_on(site: Site) -> None:
    midnight = utc("2026-03-05 07:00")  # 19 h from now
    order(site, "a", starts_after=NOW - 50 * HOUR, due_at=midnight + 19 * HOUR)
    assert [(need.n_day, need.person_min) for need in told(site)] == [(0, 30), (1, 30)]


def test_what_is_late_counts_today_and_what_comes_later_in_part(site: Site) -> None:
    order(site, "late", starts_after=NOW - 5 * HOUR, due_at=NOW - HOUR)
    third_night = utc("2026-03-07 07:00")
    order(site, "c", starts_after=third_night - HOUR, due_at=third_night + 2 * HOUR)
    order(site, "d", starts_after=third_night)
    assert [(need.n_day, need.person_min) for need in told(site)] == [(0, 60), (2, 20)]


def test_work_under_way_counts_what_is_left_of_it(site: Site) -> None:
    begun: dict[str, Any] = {"status": Status.IN_PROCESS, "starts_after": NOW - HOUR}
    order(site, "a", started_at=NOW - timedelta(minutes=45), **begun)
    order(site, "b", started_at=NOW - 3 * HOUR, skill="cattle", **begun)
    assert [(need.skill, need.person_min) for need in told(site)] == [("beds", 15), ("cattle", 0)]


def test_closed_work_and_other_farms_ask_for_nothing(site: Site) -> None:
    closed: dict[str, Any] = {"ended_at": NOW}
    order(site, "a", status=Status.CANCELLED, outcome=Outcome.NOT_NEEDED, **closed)
    order(site, "b", status=Status.COMPLETED, outcome=Outcome.DONE, **closed)
    order(make_site("theirs"), "c")
    assert told(site) == []


def test_it_takes_one_query(site: Site, django_assert_num_queries: Any) -> None:
    order(site, "a")
    with django_assert_num_queries(1):
        told(site)
