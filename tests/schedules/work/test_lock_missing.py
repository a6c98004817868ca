"""Work that needs a lock and is told without one is taken down, and a person is asked at once.

That the worker exposed controls the water before the work: 29 CFR 1910.147 (c)(1), control of
hazardous energy, which farms keep by practice; from memory.
"""

from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from equipment.barns.models import BedGroup
from equipment.flushing.services import put_lock, take_off_lock
from equipment.site.models import Actor, Place, Role, Site
from schedules.work.models import Report, WorkOrder
from schedules.work.progress import add_load, finish_work, start_work
from tests.equipment.flushing.test_services import Barn, make_barn
from tests.factories import make_bed_group, make_standing_order, make_user, make_work_order
from tests.farm import say

from .verbs import T0, VERBS, who

pytestmark = pytest.mark.django_db


@pytest.fixture
def barn(site: Site) -> Barn:
    return make_barn(site)


@pytest.fixture
def beds(barn: Barn) -> BedGroup:
    """A row along the first of the pen's two alleys."""
    return make_bed_group(barn.pen, alley=barn.alleys[0])


@pytest.fixture
def order(beds: BedGroup) -> WorkOrder:
    rule = make_standing_order(beds.site, needs_lock=True)
    return make_work_order(beds.site, place=beds.place, standing_order=rule)


def _lock(place: Place, by: Actor, at: datetime = T0) -> int:
    told: dict[str, Any] = {"site_id": place.site_id, "by": by, "at": at, "received_at": at}
    return put_lock(place_id=place.pk, what="valve", **told).pk


def _take_off(site: Site, lock_id: int, by: Actor, at: datetime) -> None:
    take_off_lock(site_id=site.pk, lock_id=lock_id, by=by, at=at, received_at=at)


def test_a_start_without_a_lock_is_kept_and_asked_about(order: WorkOrder, ana: Actor) -> None:
    started = start_work(**who(order, ana))
    assert (started.status, started.needs_decision) == ("IN-PROCESS", "lock_missing")
    assert Report.objects.get().by == ana


@pytest.mark.parametrize("locked", ["beds", "alley", "pen", "tank"])
def test_a_lock_that_stops_the_water_is_enough(
    order: WorkOrder, barn: Barn, beds: BedGroup, ana: Actor, locked: str
) -> None:
    places = {
        "beds": beds.place,
        "alley": barn.alleys[0].place,
        "pen": barn.pen.place,
        "tank": barn.tank.place,
    }
    _lock(places[locked], ana)
    assert start_work(**who(order, ana)).needs_decision == ""


def test_a_lock_on_another_alley_stops_nothing_here(
    order: WorkOrder, barn: Barn, ana: Actor
) -> None:
    _lock(barn.alleys[1].place, ana)
    assert start_work(**who(order, ana)).needs_decision == "lock_missing"


def test_work_that_needs_no_lock_asks_for_none(order: WorkOrder, ana: Actor) -> None:
    rule = order.standing_order
    assert rule is not None
    rule.needs_lock = False
    rule.save()
    assert start_work(**who(order, ana)).needs_decision == ""


def test_the_lock_must_be_on_at_the_moment_that_is_told(
    order: WorkOrder, beds: BedGroup, ana: Actor
) -> None:
    lock_id = _lock(beds.place, ana)
    _take_off(beds.site, lock_id, ana, T0 + timedelta(minutes=5))
    assert start_work(**who(order, ana, 6)).needs_decision == "lock_missing"


def test_a_start_heard_late_counts_the_lock_that_was_on_then(
    order: WorkOrder, beds: BedGroup, ana: Actor
) -> None:
    lock_id = _lock(beds.place, ana)
    _take_off(beds.site, lock_id, ana, T0 + timedelta(minutes=5))
    assert start_work(**who(order, ana, 4)).needs_decision == ""


def test_work_only_told_when_done_needs_a_lock_within_its_time(
    order: WorkOrder, beds: BedGroup, ana: Actor
) -> None:
    lock_id = _lock(beds.place, ana)
    _take_off(beds.site, lock_id, ana, T0 + timedelta(minutes=5))
    assert VERBS["done"](order, ana, 6).needs_decision == ""


def test_work_done_without_any_lock_is_asked_about(order: WorkOrder, ana: Actor) -> None:
    done = finish_work(outcome="done", **who(order, ana))
    assert (done.status, done.needs_decision) == ("COMPLETED", "lock_missing")


def test_a_first_load_without_a_lock_is_asked_about(order: WorkOrder, ana: Actor) -> None:
    assert add_load(**who(order, ana)).needs_decision == "lock_missing"


def test_the_missing_lock_is_asked_about_before_the_wrong_time(
    order: WorkOrder, ana: Actor
) -> None:
    assert start_work(**who(order, ana, 600)).needs_decision == "lock_missing"


def test_the_api_answers_with_the_question(order: WorkOrder) -> None:
    WorkOrder.objects.filter(pk=order.pk).update(due_at=T0 + timedelta(days=9000))
    type(order.site).objects.filter(pk=order.site_id).update(slug="ours")
    order.site.refresh_from_db()
    client = APIClient()
    client.force_login(make_user(Role.LEAD, order.site))
    told = say(client, f"work-orders/{order.pk}/start/")
    assert (told.status_code, told.json()["needs_decision"]) == (200, "lock_missing")
