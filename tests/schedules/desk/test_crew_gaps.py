"""The Crew page says in words where rest is short and where people are missing.

Rest between shifts: 11 h wanted, 10 h at least; common practice, no source (no federal rule for
adults on farms).
"""

from datetime import timedelta

import pytest
from django.test import Client

from crews.roster.models import Presence, Shift
from schedules.work.models import WorkOrder
from tests.factories import make_shift, make_skill, make_work_order, make_worker
from tests.farm import HOUR, Farm

from .conftest import NOW
from .reading import url, words

pytestmark = pytest.mark.django_db

TITLE = "Rest and people of the coming days"


@pytest.fixture(autouse=True)
def _nothing_else(farm: Farm) -> None:
    """Leave only the shifts and the work of the test itself."""
    Shift.objects.filter(site=farm.site).delete()
    closed = {"status": "CANCELLED", "outcome": "not_needed"}
    WorkOrder.objects.filter(site=farm.site).update(**closed)


def _said(manager: Client) -> str:
    return words(manager.get(url("crew")))


def _rest(farm: Farm, rest_h: float) -> None:
    """Ana works from 8 am to 4 pm today, and again after so many hours."""
    first = make_shift(farm.worker, NOW - HOUR)
    tomorrow = first.local_date + timedelta(days=1)
    make_shift(farm.worker, first.ends_at + rest_h * HOUR, local_date=tomorrow)


@pytest.mark.parametrize(
    ("rest_h", "words_said"),
    [
        (9.5, "Ana rests only 9.5 h before the shift of Thu 5 Mar, 1:30 am: less than 10 h."),
        (10.5, "Ana rests 10.5 h before the shift of Thu 5 Mar, 2:30 am: 11 h are wanted."),
    ],
)
def test_a_short_rest_is_said_with_its_hours(
    farm: Farm, manager: Client, rest_h: float, words_said: str
) -> None:
    _rest(farm, rest_h)
    assert words_said in _said(manager)


def test_a_long_rest_is_no_news(farm: Farm, manager: Client) -> None:
    _rest(farm, 11)
    assert "rests" not in _said(manager)


def _needs(farm: Farm, skill: str, n_people: int) -> None:
    make_work_order(
        farm.site,
        f"{skill}/1",
        skill=skill,
        n_people=n_people,
        starts_after=NOW + HOUR,
        due_at=NOW + 3 * HOUR,
    )


def test_a_shift_with_too_few_for_its_work_is_named(farm: Farm, manager: Client) -> None:
    make_skill(farm.site, "spreader")
    for key in ("cal", "dee"):
        make_shift(make_worker(farm.site, key, skills=("spreader",)), NOW - HOUR)
    _needs(farm, "spreader", 2)
    assert "needed for Spreader" not in _said(manager)
    Shift.objects.filter(worker__key="dee").update(presence=Presence.SICK)
    said = "Wed 4 Mar, 8:00 am – 4:00 pm: 2 people needed for Spreader, 1 on shift."
    assert said in _said(manager)


def test_where_nothing_is_short_the_page_says_nothing_of_it(farm: Farm, manager: Client) -> None:
    make_shift(farm.worker, NOW - HOUR)
    assert TITLE not in _said(manager)
    _needs(farm, "mixing", 1)
    assert TITLE in _said(manager)
