"""What coming work needs of each skill, told to the roster."""

from datetime import date, time, timedelta

import pytest

from crews.roster.build import build_week, read_facts
from crews.roster.models import ShiftDemand, ShiftPattern
from equipment.site.models import Site
from schedules.work.demand import keep_demand
from schedules.work.models import Outcome, Status
from tests.factories import make_skill, make_work_order, make_worker, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")  # 5:00 in Denver
TODAY = date(2026, 3, 4)


@pytest.fixture
def day(site: Site) -> ShiftPattern:
    make_skill(site, "loader")
    return ShiftPattern.objects.create(
        site=site, key="day-1", name="Day", starts_local=time(5), duration_min=480
    )


def needs(site: Site) -> dict[int, int]:
    """People needed by days from today."""
    keep_demand(site_id=site.pk, at=NOW)
    rows = ShiftDemand.objects.filter(local_date__isnull=False)
    return {(r.local_date - TODAY).days: r.target for r in rows if r.local_date}


def order(site: Site, n: int, **facts: object) -> None:
    usual = {"skill": "loader", "starts_after": NOW + timedelta(hours=2), "duration_min": 60}
    make_work_order(site, f"by-hand/{n}", **{**usual, **facts})


def test_the_largest_piece_of_work_needs_its_people(site: Site, day: ShiftPattern) -> None:
    order(site, 1, n_people=3)
    assert needs(site) == {0: 3, 7: 3, 14: 3}  # and the same weekdays after


def test_all_work_of_a_shift_needs_its_minutes(site: Site, day: ShiftPattern) -> None:
    # 8 x 100 min are 800 min; of 480 min 75 % are work: 800 / 360 = 2.2, so 3.
    for n in range(8):
        order(site, n, duration_min=100)
    assert needs(site)[0] == 3


def test_work_called_off_or_outside_of_shifts_needs_nobody(site: Site, day: ShiftPattern) -> None:
    order(site, 1, status=Status.CANCELLED, outcome=Outcome.NOT_NEEDED, ended_at=NOW)
    order(site, 2, starts_after=NOW + timedelta(hours=10))
    order(site, 3, skill="")
    order(site, 5, due_at=NOW + timedelta(hours=20))  # which the next shift can do as well
    order(site, 4, skill="unheard-of")
    assert needs(site) == {}


def test_patterns_of_the_same_hours_are_told_once(site: Site, day: ShiftPattern) -> None:
    ShiftPattern.objects.create(
        site=site, key="day-2", name="Day, later break", starts_local=time(5), duration_min=480
    )
    order(site, 1)
    keep_demand(site_id=site.pk, at=NOW)
    today = ShiftDemand.objects.get(local_date=TODAY)
    assert (today.pattern, today.target) == (day, 1)


def test_told_again_changes_nothing_and_follows_the_work(site: Site, day: ShiftPattern) -> None:
    order(site, 1)
    assert keep_demand(site_id=site.pk, at=NOW) == 3
    assert keep_demand(site_id=site.pk, at=NOW) == 0
    order(site, 2, n_people=2)
    assert needs(site)[0] == 2


def test_the_roster_reads_it(site: Site, day: ShiftPattern) -> None:
    make_worker(site, "ana", skills=("loader",))
    order(site, 1, n_people=2)
    keep_demand(site_id=site.pk, at=NOW)
    first = TODAY + timedelta(days=7)
    problem = build_week(read_facts(site, first, first + timedelta(days=7)), at=NOW)
    assert [(d.on, d.skill, d.target) for d in problem.demand] == [(first, "loader", 2)]
