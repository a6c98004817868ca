"""Hours on shift by skills held, counted by hand."""

from datetime import date, timedelta
from typing import Any

import pytest

from crews.people.models import WorkerSkill
from crews.roster.models import Presence
from crews.roster.queries import SkillHours, hours_by_skills
from equipment.site.calc.local_time import day_bounds
from equipment.site.models import Site
from tests.factories import LONG_AGO, make_shift, make_skill, make_worker, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")  # 5:00 in Denver
HOUR = timedelta(hours=1)
TODAY = date(2026, 3, 4)


def told(site: Site) -> list[SkillHours]:
    days = [day_bounds(TODAY + timedelta(days=n), site.zone) for n in range(2)]
    return hours_by_skills(site.pk, days, NOW)


def test_people_of_the_same_skills_are_added_up(site: Site) -> None:
    for key in ("ana", "ben"):
        make_shift(make_worker(site, key, skills=("loader", "beds")), NOW + HOUR)
    make_shift(make_worker(site, "cal"), NOW + HOUR)
    assert told(site) == [
        SkillHours(0, frozenset(), 480),
        SkillHours(0, frozenset({"beds", "loader"}), 960),
    ]


def test_only_what_is_left_of_today_counts_and_a_night_is_on_both_days(site: Site) -> None:
    make_shift(make_worker(site, "ana"), NOW - 3 * HOUR)  # until 10:00
    make_shift(make_worker(site, "ben"), utc("2026-03-05 05:00"))  # 22:00 to 6:00
    assert [(hours.n_day, hours.shift_min) for hours in told(site)] == [
        (0, 5 * 60 + 2 * 60),
        (1, 6 * 60),
    ]


def test_who_is_away_or_past_a_skill_does_not_count_for_it(site: Site) -> None:
    make_shift(make_worker(site, "ana"), NOW, presence=Presence.SICK)
    make_shift(make_worker(site, "cal"), NOW, presence=Presence.ON_LEAVE)
    ben = make_worker(site, "ben", skills=("beds",))
    lapses = {"skill": make_skill(site, "loader"), "from_on": LONG_AGO, "until_on": TODAY}
    WorkerSkill.objects.create(site=site, worker=ben, **lapses)
    make_shift(ben, NOW)
    assert told(site) == [SkillHours(0, frozenset({"beds"}), 480)]


def test_it_takes_one_query(site: Site, django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(1):
        assert told(site) == []
