"""Runs follow visits and clocks, one valve a tank; a lock stops all water that could reach it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from equipment.barns.models import Alley, Pen
from equipment.errors import NoteMissingError, NotLockOwnerError
from equipment.flushing.models import FlushRun, FlushTimer, FlushWater, Lock, RunStatus, Tank
from equipment.flushing.services import (
    FlushCounts,
    plan_flush_runs,
    put_lock,
    take_off_lock,
)
from equipment.flushing.visits import FlushVisit, UsableSpan
from equipment.sandyard.models import Lane
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Change, Place, Site
from equipment.site.queries import site_version
from tests.factories import (
    make_actor,
    make_alley,
    make_bed_group,
    make_flush_timer,
    make_lane,
    make_pen,
    make_site,
    make_tank,
    utc,
)

pytestmark = pytest.mark.django_db

DAY = utc("2026-06-01 06:00")  # 00:00 in Denver
NEXT_DAY = utc("2026-06-02 06:00")
FIVE = utc("2026-06-01 11:00")


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


HALF_HOUR = minutes(30)


@dataclass
class Barn:
    """One pen with two alleys that run into a return alley and on into the lane."""

    site: Site
    tank: Tank
    lane: Lane
    back: Alley
    pen: Pen
    alleys: list[Alley]

    @property
    def timers(self) -> list[FlushTimer]:
        return list(FlushTimer.objects.filter(site=self.site).order_by("pk"))


def make_barn(site: Site) -> Barn:
    tank, lane = make_tank(site), make_lane(site)
    back = make_alley(site, "return", drains_to=lane.place)
    pen = make_pen(site)
    alleys = [
        make_alley(site, f"alley-{n}", pen=pen, drains_to=back.place, length_m=100) for n in (1, 2)
    ]
    for alley in alleys:
        make_flush_timer(alley, tank, open_s=60)
    return Barn(site, tank, lane, back, pen, alleys)


@pytest.fixture
def barn() -> Barn:
    return make_barn(make_site())


@pytest.fixture
def ana(barn: Barn) -> Actor:
    return make_actor(barn.site, "ana")


@pytest.fixture
def ben(barn: Barn) -> Actor:
    return make_actor(barn.site, "ben")


def visit(
    pen: Pen, start: datetime = FIVE, *, length: timedelta = HALF_HOUR, key: str = "2026-06-01/1"
) -> FlushVisit:
    return FlushVisit(pen.pk, key, (UsableSpan(None, start, start + length),))


def plan(
    site: Site,
    *visits: FlushVisit,
    at: datetime = DAY,
    start: datetime = DAY,
    end: datetime = NEXT_DAY,
) -> FlushCounts:
    return plan_flush_runs(site_id=site.pk, start=start, end=end, visits=list(visits), at=at)


def starts() -> dict[str, datetime]:
    return dict(FlushRun.objects.values_list("alley__place__key", "starts_at"))


def statuses(site: Site) -> dict[str, str]:
    runs = FlushRun.objects.filter(site=site)
    return dict(runs.values_list("alley__place__key", "status"))


def lock(place: Place, by: Actor, at: datetime = DAY) -> Lock:
    return put_lock(
        site_id=place.site_id, place_id=place.pk, what="valve", by=by, at=at, received_at=at
    )


def unlock(
    of: Lock, by: Actor, *, at: datetime = FIVE, note: str = "", is_lead: bool = False
) -> Lock:
    return take_off_lock(
        site_id=of.site_id, lock_id=of.pk, by=by, at=at, note=note, is_lead=is_lead, received_at=at
    )


# Runs -------------------------------------------------------------------------------------------


def test_flush_of_a_visit_is_drained_just_before_the_release(barn: Barn) -> None:
    assert plan(barn.site, visit(barn.pen)) == FlushCounts(n_runs_made=2)
    first, second = FlushRun.objects.order_by("starts_at")
    assert second.ends_at == FIVE + minutes(30)
    assert first.starts_at > FIVE
    assert first.volume_m3 == pytest.approx(60 * 0.5)


def test_valves_of_one_tank_open_one_after_the_other(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen))
    first, second = FlushRun.objects.order_by("starts_at")
    assert second.starts_at == first.starts_at + minutes(1)


def test_valves_of_two_tanks_may_open_together(barn: Barn) -> None:
    FlushTimer.objects.filter(alley=barn.alleys[1]).update(tank=make_tank(barn.site, "tank-2"))
    plan(barn.site, visit(barn.pen))
    assert len(set(starts().values())) == 1


def test_pens_that_wish_the_same_instant_queue_at_their_tank(barn: Barn) -> None:
    other = make_pen(barn.site, "2")
    make_flush_timer(make_alley(barn.site, "alley-3", pen=other, length_m=100), barn.tank)
    FlushTimer.objects.update(open_s=60)
    plan(barn.site, visit(barn.pen), visit(other))
    opened = sorted(FlushRun.objects.values_list("starts_at", flat=True))
    gaps = [later - earlier for earlier, later in pairwise(opened)]
    assert all(gap >= minutes(1) for gap in gaps)


def test_where_rows_are_not_empty_long_enough_the_flush_begins_with_them(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen, length=minutes(1)))
    assert min(starts().values()) == FIVE


def test_alley_is_flushed_by_the_windows_of_its_own_rows(barn: Barn) -> None:
    near, far = barn.alleys
    FlushTimer.objects.filter(alley=far).update(tank=make_tank(barn.site, "tank-2"))
    spans = (
        UsableSpan(near.pk, FIVE, FIVE + minutes(20)),
        UsableSpan(far.pk, FIVE, FIVE + minutes(50)),
        UsableSpan(far.pk, FIVE, FIVE + minutes(45)),
    )
    plan(barn.site, FlushVisit(barn.pen.pk, "2026-06-01/1", spans))
    ends = dict(FlushRun.objects.values_list("alley_id", "ends_at"))
    assert ends == {near.pk: FIVE + minutes(20), far.pk: FIVE + minutes(45)}


def test_runs_at_set_times_keep_the_local_clock(barn: Barn) -> None:
    # US law (15 U.S.C. 260a; from memory): forward on the second Sunday of March at 2:00, back
    # on the first Sunday of November. A skipped time is held an hour later, a doubled one once.
    FlushTimer.objects.all().delete()
    make_flush_timer(barn.back, barn.tank, times_local=("01:30", "02:30"))
    spring, autumn = utc("2026-03-08 07:00"), utc("2026-11-01 06:00")
    for midnight in (spring, autumn):
        plan(barn.site, at=utc("2026-01-01 00:00"), start=midnight, end=midnight + timedelta(1))
    assert list(FlushRun.objects.order_by("starts_at").values_list("starts_at", flat=True)) == [
        utc("2026-03-08 08:30"),
        utc("2026-03-08 09:30"),
        utc("2026-11-01 07:30"),
        utc("2026-11-01 09:30"),
    ]


def test_run_that_the_gap_moves_past_midnight_is_made_by_the_day_it_falls_into() -> None:
    # Nuuk is at UTC-2 and goes forward with Europe at 01:00 UTC on the last Sunday of March, so
    # at 23:00 on Saturday (tz database, "europe", EU rule; from memory): 23:30 does not exist.
    barn = make_barn(make_site("north", time_zone="America/Nuuk"))
    FlushTimer.objects.all().delete()
    make_flush_timer(barn.back, barn.tank, times_local=("23:30",))
    sunday = utc("2026-03-29 01:00")
    plan(barn.site, at=utc("2026-03-01 00:00"), start=sunday, end=sunday + timedelta(hours=2))
    run = FlushRun.objects.get()
    assert run.starts_at == utc("2026-03-29 01:30")
    assert run.natural_key == "flush-return/2026-03-28/t1"


def test_planning_runs_again_changes_nothing(barn: Barn) -> None:
    make_flush_timer(barn.back, barn.tank, times_local=("05:25", "17:00"))
    plan(barn.site, visit(barn.pen))
    rows, version = list(FlushRun.objects.order_by("pk").values()), site_version(barn.site.pk)
    assert plan(barn.site, visit(barn.pen)) == FlushCounts()
    assert list(FlushRun.objects.order_by("pk").values()) == rows
    assert site_version(barn.site.pk) == version


def test_run_moves_with_its_visit_and_stays_the_same_run(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen))
    before = dict(FlushRun.objects.values_list("pk", "starts_at"))
    counts = plan(barn.site, visit(barn.pen, FIVE + minutes(12)))
    assert counts == FlushCounts(n_runs_changed=2)
    after = dict(FlushRun.objects.values_list("pk", "starts_at"))
    assert after == {pk: at + minutes(12) for pk, at in before.items()}


def test_run_that_has_begun_is_never_changed(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen))
    first, second = FlushRun.objects.order_by("starts_at")
    at = first.starts_at
    plan(barn.site, visit(barn.pen, FIVE - minutes(10)), at=at)
    assert FlushRun.objects.get(pk=first.pk).starts_at == first.starts_at
    moved = FlushRun.objects.get(pk=second.pk)
    assert moved.starts_at >= first.starts_at + minutes(1)  # behind the open valve


def test_run_that_has_begun_keeps_the_length_it_was_planned_with(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen))
    first, second = FlushRun.objects.order_by("starts_at")
    FlushTimer.objects.update(open_s=90)
    plan(barn.site, visit(barn.pen), at=first.starts_at)
    assert FlushRun.objects.get(pk=first.pk).ends_at == first.ends_at
    assert FlushRun.objects.get(pk=second.pk).volume_m3 == pytest.approx(90 * 0.5)


def test_run_that_was_never_planned_is_not_made_up_afterwards(barn: Barn) -> None:
    make_flush_timer(barn.back, barn.tank, times_local=("04:00", "08:00"))
    assert plan(barn.site, visit(barn.pen), at=FIVE + HALF_HOUR).n_runs_made == 1
    assert list(starts()) == ["return"]


def test_run_of_a_timer_out_of_use_goes_unless_it_has_begun(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen))
    first, second = FlushRun.objects.order_by("starts_at")
    FlushTimer.objects.update(retired_at=DAY)
    assert plan(barn.site, visit(barn.pen), at=first.starts_at) == FlushCounts(n_runs_removed=1)
    assert list(FlushRun.objects.values_list("pk", flat=True)) == [first.pk]
    assert second.pk != first.pk


def test_runs_outside_the_span_are_neither_made_nor_touched(barn: Barn) -> None:
    make_flush_timer(barn.back, barn.tank, times_local=("04:00", "08:00"))
    tomorrow = visit(barn.pen, FIVE + timedelta(1), key="2026-06-02/1")
    plan(barn.site, visit(barn.pen), tomorrow)
    assert not FlushRun.objects.filter(starts_at__gte=NEXT_DAY).exists()
    plan(barn.site, visit(barn.pen), tomorrow, end=NEXT_DAY + timedelta(1))
    rows = list(FlushRun.objects.filter(starts_at__gte=NEXT_DAY).values())
    assert plan(barn.site, visit(barn.pen)) == FlushCounts()
    assert list(FlushRun.objects.filter(starts_at__gte=NEXT_DAY).values()) == rows
    assert len(rows) == 4


def test_run_whose_visit_leaves_the_span_leaves_with_it(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen))
    pks = set(FlushRun.objects.values_list("pk", flat=True))
    assert plan(barn.site, visit(barn.pen, NEXT_DAY)) == FlushCounts(n_runs_changed=2)
    assert set(FlushRun.objects.filter(starts_at__gte=NEXT_DAY).values_list("pk", flat=True)) == pks


# Locks ------------------------------------------------------------------------------------------


def other_pen_runs(barn: Barn) -> FlushVisit:
    """Give the barn a second pen whose alley drains into another lane."""
    pen = make_pen(barn.site, "2")
    lane = make_lane(barn.site, "lane-2")
    make_flush_timer(
        make_alley(barn.site, "elsewhere", pen=pen, drains_to=lane.place),
        make_tank(barn.site, "t2"),
    )
    return visit(pen)


def test_lock_on_an_alley_blocks_its_own_runs_only(barn: Barn, ana: Actor) -> None:
    plan(barn.site, visit(barn.pen))
    put = lock(barn.alleys[0].place, ana)
    assert statuses(barn.site) == {"alley-1": RunStatus.BLOCKED, "alley-2": RunStatus.PLANNED}
    assert FlushRun.objects.get(status=RunStatus.BLOCKED).blocked_by == put


@pytest.mark.parametrize("where", ["return", "lane-1", "tank-1", "pen-1"])
def test_lock_blocks_every_run_whose_water_reaches_it(barn: Barn, ana: Actor, where: str) -> None:
    plan(barn.site, visit(barn.pen), other_pen_runs(barn))
    lock(Place.objects.get(key=where), ana)
    assert statuses(barn.site) == {
        "alley-1": RunStatus.BLOCKED,
        "alley-2": RunStatus.BLOCKED,
        "elsewhere": RunStatus.PLANNED,
    }


def test_lock_on_beds_blocks_the_alley_they_stand_on(barn: Barn, ana: Actor) -> None:
    beds = make_bed_group(barn.pen, alley=barn.alleys[1])
    plan(barn.site, visit(barn.pen))
    lock(beds.place, ana)
    assert statuses(barn.site) == {"alley-1": RunStatus.PLANNED, "alley-2": RunStatus.BLOCKED}


def test_lock_on_beds_without_known_alley_blocks_all_of_the_pens(barn: Barn, ana: Actor) -> None:
    beds = make_bed_group(barn.pen)
    plan(barn.site, visit(barn.pen))
    lock(beds.place, ana)
    assert set(statuses(barn.site).values()) == {RunStatus.BLOCKED}


def test_run_planned_while_a_lock_is_on_is_blocked(barn: Barn, ana: Actor) -> None:
    lock(barn.lane.place, ana)
    plan(barn.site, visit(barn.pen))
    assert set(statuses(barn.site).values()) == {RunStatus.BLOCKED}


def test_no_plan_lifts_a_lock(barn: Barn, ana: Actor) -> None:
    plan(barn.site, visit(barn.pen))
    lock(barn.lane.place, ana)
    assert plan(barn.site, visit(barn.pen)) == FlushCounts()
    plan(barn.site, visit(barn.pen, FIVE + minutes(9)))
    assert set(statuses(barn.site).values()) == {RunStatus.BLOCKED}


def test_run_that_is_over_is_not_blocked_after_the_fact(barn: Barn, ana: Actor) -> None:
    plan(barn.site, visit(barn.pen))
    lock(barn.lane.place, ana, at=FIVE + minutes(30))
    assert set(statuses(barn.site).values()) == {RunStatus.PLANNED}


def test_phone_clock_that_runs_ahead_leaves_no_run_unblocked(barn: Barn, ana: Actor) -> None:
    plan(barn.site, visit(barn.pen))
    put_lock(
        site_id=barn.site.pk,
        place_id=barn.lane.pk,
        what="",
        by=ana,
        at=FIVE + timedelta(hours=3),
        received_at=FIVE,
    )
    assert set(statuses(barn.site).values()) == {RunStatus.BLOCKED}


def test_owner_takes_the_lock_off_and_runs_are_planned_again(barn: Barn, ana: Actor) -> None:
    plan(barn.site, visit(barn.pen))
    off = unlock(lock(barn.lane.place, ana), ana)
    assert (off.off_at, off.off_by) == (FIVE, ana)
    assert set(statuses(barn.site).values()) == {RunStatus.PLANNED}
    assert not FlushRun.objects.exclude(blocked_by=None).exists()


def test_each_person_has_a_lock_of_their_own_and_the_last_one_off_frees(
    barn: Barn, ana: Actor, ben: Actor
) -> None:
    plan(barn.site, visit(barn.pen))
    first, second = lock(barn.lane.place, ana), lock(barn.alleys[0].place, ben)
    unlock(first, ana)
    assert statuses(barn.site) == {"alley-1": RunStatus.BLOCKED, "alley-2": RunStatus.PLANNED}
    assert FlushRun.objects.get(status=RunStatus.BLOCKED).blocked_by == second
    unlock(second, ben)
    assert set(statuses(barn.site).values()) == {RunStatus.PLANNED}


def test_nobody_else_takes_a_lock_off(barn: Barn, ana: Actor, ben: Actor) -> None:
    plan(barn.site, visit(barn.pen))
    put = lock(barn.lane.place, ana)
    with pytest.raises(NotLockOwnerError, match="Ana"):
        unlock(put, ben, note="it looked free")
    put.refresh_from_db()
    assert put.off_at is None
    assert set(statuses(barn.site).values()) == {RunStatus.BLOCKED}


def test_lead_takes_it_off_only_with_a_note_of_the_procedure(
    barn: Barn, ana: Actor, ben: Actor
) -> None:
    put = lock(barn.lane.place, ana)
    with pytest.raises(NoteMissingError):
        unlock(put, ben, is_lead=True, note="  ")
    off = unlock(put, ben, is_lead=True, note="Ana went home, called her, alley walked, all clear")
    assert (off.off_by, off.off_note[:3]) == (ben, "Ana")


def test_same_lock_put_on_twice_is_one_and_taken_off_twice_is_off(barn: Barn, ana: Actor) -> None:
    first, second = lock(barn.lane.place, ana), lock(barn.lane.place, ana, at=FIVE)
    assert first == second
    unlock(first, ana)
    again = unlock(first, ana, at=FIVE + minutes(9))
    assert again.off_at == FIVE
    told = Change.objects.order_by("pk").values_list("topic", "subject_id")
    assert list(told) == [("lock.on", str(barn.lane.pk)), ("lock.off", str(barn.lane.pk))]


def test_lock_put_on_again_after_it_came_off_is_a_new_one(barn: Barn, ana: Actor) -> None:
    plan(barn.site, visit(barn.pen))
    first = lock(barn.lane.place, ana)
    unlock(first, ana, at=DAY)
    assert lock(barn.lane.place, ana) != first
    assert set(statuses(barn.site).values()) == {RunStatus.BLOCKED}


def test_lock_never_comes_off_before_it_went_on(barn: Barn, ana: Actor) -> None:
    put = lock(barn.lane.place, ana, at=FIVE)
    assert unlock(put, ana, at=FIVE - minutes(3)).off_at == FIVE


# Other sites ------------------------------------------------------------------------------------


def test_strangers_places_locks_and_runs_are_out_of_reach(barn: Barn, ana: Actor) -> None:
    other = make_barn(make_site("other-farm"))
    plan(barn.site, visit(barn.pen))
    plan(other.site, visit(other.pen))
    theirs = lock(other.lane.place, make_actor(other.site))
    assert set(statuses(barn.site).values()) == {RunStatus.PLANNED}
    with pytest.raises(NotFoundError):
        put_lock(site_id=barn.site.pk, place_id=other.lane.pk, what="", by=ana, at=DAY)
    with pytest.raises(NotFoundError):
        take_off_lock(
            site_id=barn.site.pk, lock_id=theirs.pk, by=ana, at=DAY, is_lead=True, note="mine"
        )
    plan(barn.site)
    assert set(statuses(other.site).values()) == {RunStatus.BLOCKED}


def test_runs_that_are_over_are_taken_as_done_by_the_next_plan(barn: Barn) -> None:
    plan(barn.site, visit(barn.pen))
    assert set(statuses(barn.site).values()) == {RunStatus.PLANNED}
    plan(barn.site, visit(barn.pen), at=FIVE + minutes(31))
    assert set(statuses(barn.site).values()) == {RunStatus.DONE}


def test_a_lock_told_late_takes_back_that_a_run_was_done(barn: Barn, ana: Actor) -> None:
    plan(barn.site, visit(barn.pen))
    plan(barn.site, visit(barn.pen), at=FIVE + minutes(40))
    lock(barn.lane.place, ana, at=FIVE)
    assert set(statuses(barn.site).values()) == {RunStatus.BLOCKED}


def test_a_run_whose_tank_is_low_waits_and_says_so(barn: Barn) -> None:
    FlushTimer.objects.all().delete()
    for n, alley in enumerate(barn.alleys):
        make_flush_timer(alley, barn.tank, key=f"t{n}", times_local=("05:00",), open_s=180)
    # 90 m³ each from a tank of 150 m³ that fills with 60 m³/h: the second lacks 30 m³, 30 minutes
    plan(barn.site)
    first, second = FlushRun.objects.filter(starts_at__gte=DAY).order_by("starts_at")
    assert (first.starts_at, first.waits_s, first.short_m3) == (FIVE, 0, 0)
    assert (second.starts_at, second.waits_s) == (FIVE + minutes(30), 1800)
    assert plan(barn.site, at=FIVE + minutes(5)) == FlushCounts()


def test_a_run_whose_tank_stays_low_is_told_as_starved(barn: Barn) -> None:
    FlushWater.objects.create(site=barn.site, wait_max_min=10)
    FlushTimer.objects.all().delete()
    for n, alley in enumerate(barn.alleys):
        make_flush_timer(alley, barn.tank, key=f"t{n}", times_local=("05:00",), open_s=180)
    plan(barn.site)
    starved = FlushRun.objects.get(short_m3__gt=0)
    assert starved.starts_at == FIVE + minutes(3)
    assert starved.short_m3 == pytest.approx(27)  # 60 left, 3 came in while the first ran
