"""What pages read of flushing, in how many queries."""

from datetime import timedelta
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from equipment.barns.models import Alley
from equipment.flushing.models import FlushRun, FlushTimer, Lock, RunStatus, Tank
from equipment.flushing.queries import (
    flush_m3_d_by_end,
    isolated_places,
    open_locks,
    places_reached,
    runs_between,
    tank_plans,
    visit_flush_min,
)
from equipment.flushing.services import put_lock, take_off_lock
from equipment.site.models import Actor, Place
from tests.equipment.flushing.test_services import DAY, FIVE, Barn, make_barn, minutes, plan, visit
from tests.factories import make_actor, make_bed_group, make_flush_timer, make_site, make_tank

pytestmark = pytest.mark.django_db


@pytest.fixture
def barn() -> Barn:
    return make_barn(make_site())


def reached(place: Place) -> list[str]:
    return [str(p) for p in places_reached(place.site_id, place.pk)]


def _isolated(place: Place, **which: Any) -> bool:
    span = {"since": FIVE, "until": FIVE, **which}
    return place.pk in isolated_places(place.site_id, [place.pk], **span)


def _lock(place: Place, by: Actor) -> Lock:
    told: dict[str, Any] = {"site_id": place.site_id, "place_id": place.pk}
    return put_lock(what="valve", by=by, at=DAY, received_at=DAY, **told)


def test_a_place_is_isolated_when_every_flush_that_comes_to_it_is_stopped(barn: Barn) -> None:
    ana = make_actor(barn.site, "ana")
    assert not _isolated(barn.lane.place)
    _lock(barn.alleys[0].place, ana)
    assert not _isolated(barn.lane.place)  # the other alley still runs into it
    assert not _isolated(barn.pen.place)
    assert _isolated(barn.alleys[0].place)
    _lock(barn.alleys[1].place, ana)
    assert _isolated(barn.lane.place)
    assert _isolated(barn.pen.place)


def test_a_place_no_timer_flushes_takes_one_lock_on_it_or_upstream(barn: Barn) -> None:
    FlushTimer.objects.all().delete()
    assert not _isolated(barn.lane.place)
    _lock(barn.back.place, make_actor(barn.site, "ana"))
    assert _isolated(barn.lane.place)
    assert not _isolated(barn.alleys[0].place)  # upstream of the lock


def test_what_is_isolated_is_asked_of_one_person_or_of_all(
    barn: Barn, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    ana, ben = make_actor(barn.site, "ana"), make_actor(barn.site, "ben")
    lock = _lock(barn.tank.place, ana)
    assert not _isolated(barn.pen.place, owner_id=ben.pk)
    with django_assert_num_queries(6):
        assert _isolated(barn.pen.place, owner_id=ana.pk)
    off_at = FIVE - minutes(1)
    told: dict[str, Any] = {"site_id": barn.site.pk, "lock_id": lock.pk, "by": ana}
    take_off_lock(at=off_at, received_at=off_at, **told)
    assert not _isolated(barn.pen.place)
    assert _isolated(barn.pen.place, since=DAY)


def test_water_reaches_what_lies_downstream_in_its_order(
    barn: Barn, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(5):
        assert reached(barn.alleys[0].place) == ["return", "lane-1"]
    assert reached(barn.back.place) == ["lane-1"]
    assert reached(barn.lane.place) == []


def test_water_of_a_tank_pen_or_row_reaches_its_alleys_first(barn: Barn) -> None:
    beds = make_bed_group(barn.pen, alley=barn.alleys[1])
    assert reached(barn.tank.place) == ["alley-1", "return", "lane-1", "alley-2"]
    assert reached(barn.pen.place) == ["alley-1", "return", "lane-1", "alley-2"]
    assert reached(beds.place) == ["alley-2", "return", "lane-1"]


def test_drains_that_run_in_a_ring_end(barn: Barn) -> None:
    barn.lane.place.drains_to = barn.back.place
    barn.lane.place.save()
    assert reached(barn.back.place) == ["lane-1"]
    assert reached(barn.alleys[0].place) == ["return", "lane-1"]


def test_strangers_place_reaches_nothing(barn: Barn) -> None:
    assert places_reached(make_site("other-farm").pk, barn.back.pk) == []


def test_open_locks_come_oldest_first_with_place_and_owner(
    barn: Barn, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    ana, ben = make_actor(barn.site, "ana"), make_actor(barn.site, "ben")
    ids: dict[str, Any] = {"site_id": barn.site.pk}
    put_lock(**ids, place_id=barn.lane.pk, what="lane", by=ana, at=FIVE)
    put_lock(**ids, place_id=barn.back.pk, what="valve", by=ben, at=DAY)
    off = put_lock(**ids, place_id=barn.tank.pk, what="pump", by=ben, at=DAY)
    take_off_lock(**ids, lock_id=off.pk, by=ben, at=FIVE)
    with django_assert_num_queries(1):
        locks = [(str(lock.place), lock.owner.name) for lock in open_locks(barn.site.pk)]
    assert locks == [("return", "Ben"), ("lane-1", "Ana")]
    assert list(open_locks(make_site("other-farm").pk)) == []


def test_runs_between_reach_into_the_span(
    barn: Barn, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    plan(barn.site, visit(barn.pen))
    put_lock(site_id=barn.site.pk, place_id=barn.lane.pk, what="", by=make_actor(barn.site), at=DAY)
    first, second = FlushRun.objects.order_by("starts_at")
    with django_assert_num_queries(1):
        runs = list(runs_between(barn.site.pk, DAY, DAY + timedelta(1)))
        shown = [
            (str(r.alley.place), str(r.timer.tank.place), r.blocked_by and r.blocked_by.owner.name)
            for r in runs
        ]
    assert shown == [("alley-1", "tank-1", "Someone"), ("alley-2", "tank-1", "Someone")]
    assert list(runs_between(barn.site.pk, first.ends_at, second.ends_at)) == [second]
    assert list(runs_between(barn.site.pk, DAY, first.starts_at)) == []
    assert list(runs_between(make_site("other-farm").pk, DAY, DAY + timedelta(1))) == []


def test_flush_takes_of_the_window_what_its_longest_tank_takes(
    barn: Barn, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    plan(barn.site, visit(barn.pen))
    first, second = FlushRun.objects.order_by("starts_at")
    with django_assert_num_queries(1):
        lasts = visit_flush_min(barn.site.pk)
    whole = (second.ends_at - first.starts_at) / minutes(1)
    assert lasts == {barn.pen.pk: pytest.approx(whole)}
    FlushTimer.objects.filter(alley=barn.alleys[1]).update(tank=make_tank(barn.site, "tank-2"))
    assert visit_flush_min(barn.site.pk) == {barn.pen.pk: pytest.approx(whole - 1)}
    Alley.objects.filter(pk=barn.alleys[1].pk).update(length_m=10)
    assert visit_flush_min(barn.site.pk) == {barn.pen.pk: pytest.approx(whole - 1)}


def level_now(barn: Barn) -> float:
    return tank_plans(barn.site.pk, FIVE, FIVE + minutes(10))[0].day.end_m3


def test_tank_refills_between_the_runs_that_draw_from_it(
    barn: Barn, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    # Two runs of 60 s at 0.5 m³/s draw 30 m³ each; 60 m³/h gives 1 m³ back in the minute between
    # them, and the rest until the end of the hour: plain arithmetic on a tank of 150 m³.
    plan(barn.site, visit(barn.pen))
    with django_assert_num_queries(2):
        day = tank_plans(barn.site.pk, FIVE, FIVE + timedelta(hours=1))[0].day
    assert [step.before_m3 for step in day.steps] == pytest.approx([150, 121])
    assert [step.after_m3 for step in day.steps] == pytest.approx([120, 91])
    left_h = (FIVE + timedelta(hours=1) - day.steps[1].at) / timedelta(hours=1)
    assert day.end_m3 == pytest.approx(91 + 60 * left_h)
    assert day.first_starved is None


def test_tank_too_small_for_its_runs_is_seen(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen))
    Tank.objects.update(volume_m3=50)
    starved = tank_plans(barn.site.pk, DAY, DAY + timedelta(1))[0].day.first_starved
    assert starved is not None
    assert starved.short_m3 == pytest.approx(30 - 21)


def test_level_carries_what_was_drawn_before_and_blocked_runs_draw_nothing(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen, FIVE - minutes(31)))
    drawn = level_now(barn)
    assert drawn < 150
    FlushRun.objects.update(status=RunStatus.BLOCKED)
    assert level_now(barn) == 150


def test_water_of_a_day_is_told_by_the_place_it_ends_in(barn: Barn) -> None:
    FlushTimer.objects.all().delete()
    make_flush_timer(barn.back, barn.tank, times_local=("05:00",))
    end = DAY + timedelta(days=2)
    plan(barn.site, end=end)
    # 20 s of 0.5 m³/s, once a day, by the return alley into the lane
    assert flush_m3_d_by_end(barn.site.pk, DAY, end) == {barn.lane.pk: pytest.approx(10)}
