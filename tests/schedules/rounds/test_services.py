"""The clock of a small farm: planned ahead once, re-timed by what happens, never doubled."""

from collections import Counter
from dataclasses import asdict
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from time_machine import TimeMachineFixture

from equipment.barns.models import Pen, ReturnMode
from equipment.flushing.models import FlushRun
from equipment.parlor.models import MilkingStart
from equipment.site.errors import DomainError, NotFoundError
from equipment.site.models import Actor, Change, Site, TaskRun
from equipment.site.queries import site_version
from equipment.site.runs import KINDS, perform
from schedules.errors import (
    MilkingStateError,
    OtherVisitError,
    TimeInFutureError,
    UnknownMomentError,
    VisitOrderError,
)
from schedules.rounds import tasks
from schedules.rounds.models import BedWindow, Milking, MilkingState, PenVisit
from schedules.rounds.services import (
    PlanCounts,
    end_milking,
    plan_milkings,
    record_visit_time,
    start_milking,
)
from tests.factories import (
    make_actor,
    make_alley,
    make_bed_group,
    make_flush_timer,
    make_parlor,
    make_pen,
    make_site,
    make_tank,
    utc,
)

pytestmark = pytest.mark.django_db

MONDAY = date(2026, 6, 1)  # Denver in summer: UTC-6
BEFORE = utc("2026-05-31 12:00")
FIVE = utc("2026-06-01 11:00")  # 05:00 in Denver, when slot 1 starts


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


@pytest.fixture
def site() -> Site:
    """Two pens of 300 cows milked at 5, 13 and 21 h: each takes the deck 30 min (6 s a cow)."""
    site = make_site()
    make_parlor(site, starts_local=("05:00", "13:00", "21:00"))
    for key in ("1", "2"):
        make_bed_group(make_pen(site, key))
    return site


@pytest.fixture
def lead(site: Site) -> Actor:
    return make_actor(site, "lead")


def plan(site: Site, *, days: int = 1, from_on: date = MONDAY, at: datetime = BEFORE) -> PlanCounts:
    return plan_milkings(
        site_id=site.pk, from_on=from_on, until_on=from_on + timedelta(days=days), at=at
    )


def visit_of(pen_key: str, slot: int = 1, day: date = MONDAY) -> PenVisit:
    return PenVisit.objects.get(
        pen__place__key=f"pen-{pen_key}", milking__slot=slot, milking__local_date=day
    )


def rows_of(site: Site) -> list[object]:
    models = (Milking, PenVisit, BedWindow)
    return [list(m._default_manager.filter(site=site).order_by("pk").values()) for m in models]


def topics(site: Site, since: int = 0) -> list[tuple[str, str]]:
    changes = Change.objects.filter(site=site, version__gt=since).order_by("pk")
    return [(change.topic, change.subject_id) for change in changes]


def report(
    visit: PenVisit, moment: str, at: datetime, by: Actor, *, late: timedelta = timedelta(0)
) -> PenVisit:
    return record_visit_time(
        site_id=visit.site_id,
        visit_id=visit.pk,
        moment=moment,
        at=at,
        by=by,
        received_at=at + late,
    )


# Planning ---------------------------------------------------------------------------------------


def test_each_date_and_slot_gets_its_milking_with_its_pens_and_windows(site: Site) -> None:
    counts = plan(site, days=3)
    assert counts.timetable.n_milkings_made == 9
    found = Counter(Milking.objects.values_list("local_date", "slot"))
    assert found == {(MONDAY + timedelta(days=d), slot): 1 for d in range(3) for slot in (1, 2, 3)}
    assert PenVisit.objects.count() == 18
    assert BedWindow.objects.count() == 18
    assert set(Milking.objects.values_list("state", flat=True)) == {MilkingState.PLANNED}


def test_planned_times_are_the_trades_arithmetic(site: Site) -> None:
    # Walk 200 m at 55 m/min (Massey University thesis 5490, abstract) is 3 min 38 s; the deck
    # takes 300 cows in 30 min and turns in 8: plain arithmetic on 80 stalls at 6 s.
    plan(site)
    first, second = visit_of("1"), visit_of("2")
    assert (first.first_on_at, second.first_on_at) == (FIVE, FIVE + minutes(30))
    walk = timedelta(minutes=3, seconds=38)
    assert first.first_out_at == FIVE - walk
    assert first.first_back_at == FIVE + minutes(8) + walk
    assert first.last_back_at == FIVE + minutes(38) + walk
    milking = first.milking
    assert (milking.ends_at, milking.wash_until) == (FIVE + minutes(68), FIVE + minutes(113))


def test_usable_window_is_the_empty_one_without_the_buffers(site: Site) -> None:
    plan(site)
    visit = visit_of("1")
    window = visit.windows.get()
    assert (window.opens_at, window.closes_at) == (visit.last_out_at, visit.first_back_at)
    assert window.usable_from == window.opens_at + minutes(5)
    assert window.usable_until == window.closes_at - minutes(5)


def test_return_mode_gives_far_rows_more_time_and_has_a_price(site: Site) -> None:
    pen = make_pen(site, "3", return_mode=ReturnMode.FEED_RAIL_LOCK, return_hold_min=30)
    near, far = make_bed_group(pen, "near"), make_bed_group(pen, "far", is_far_row=True)
    plan(site)
    visit = visit_of("3")
    closes = {w.bed_group_id: w.closes_at for w in visit.windows.all()}
    assert closes == {
        near.pk: visit.first_back_at,
        far.pk: visit.first_back_at + minutes(30),
    }
    assert visit.cost_cow_h > 0
    assert visit_of("1").cost_cow_h == 0


def test_pens_go_by_rank_and_retired_or_empty_pens_do_not_go(site: Site) -> None:
    make_pen(site, "hospital", milking_rank=9)
    make_pen(site, "fresh", milking_rank=0)
    make_pen(site, "empty", milking_rank=4, n_cows=0)
    retired = make_pen(site, "old", milking_rank=5)
    retired.place.retired_at = BEFORE
    retired.place.save()
    plan(site)
    order = PenVisit.objects.filter(milking__slot=1).order_by("position")
    assert list(order.values_list("pen__place__key", flat=True)) == [
        "pen-fresh",
        "pen-1",
        "pen-2",
        "pen-hospital",
    ]


def test_row_of_beds_out_of_use_has_no_window(site: Site) -> None:
    beds = make_bed_group(Pen.objects.get(place__key="pen-1"), "b")
    plan(site)
    assert visit_of("1").windows.count() == 2
    version = site_version(site.pk)
    beds.place.retired_at = BEFORE
    beds.place.save()
    plan(site)
    assert visit_of("1").windows.count() == 1
    visits = PenVisit.objects.filter(pen__place__key="pen-1").values_list("pk", flat=True)
    assert topics(site, version) == [("visit.retimed", str(pk)) for pk in visits]


def test_planning_again_changes_no_row_and_tells_nothing(site: Site) -> None:
    plan(site, days=2)
    rows, version = rows_of(site), site_version(site.pk)
    counts = plan(site, days=2)
    assert not any(asdict(counts.timetable).values())
    assert (rows_of(site), site_version(site.pk)) == (rows, version)


def test_new_milkings_are_told_once_each(site: Site) -> None:
    plan(site)
    ids = Milking.objects.order_by("local_date", "slot").values_list("pk", flat=True)
    assert topics(site) == [("milking.planned", str(pk)) for pk in ids]


def test_changed_pen_moves_future_milkings_in_place(site: Site) -> None:
    plan(site)
    before, version = dict(PenVisit.objects.values_list("pk", "first_on_at")), site_version(site.pk)
    Pen.objects.filter(place__key="pen-1").update(n_cows=200)
    plan(site)
    after = dict(PenVisit.objects.values_list("pk", "first_on_at"))
    second = [visit_of("2", slot).pk for slot in (1, 2, 3)]
    assert after.keys() == before.keys()
    assert {pk: before[pk] - after[pk] for pk in second} == dict.fromkeys(second, minutes(10))
    assert {topic for topic, _ in topics(site, version)} == {"visit.retimed"}
    assert {int(pk) for _, pk in topics(site, version)} == set(
        after
    )  # pen 1's cows are back sooner


def test_changed_buffer_retimes_visits_through_their_windows(site: Site) -> None:
    plan(site)
    version = site_version(site.pk)
    site_parlor = Milking.objects.all()[0].parlor
    site_parlor.open_buffer_min = 2
    site_parlor.save()
    plan(site)
    assert {topic for topic, _ in topics(site, version)} == {"visit.retimed"}
    window = visit_of("1").windows.get()
    assert window.usable_from == window.opens_at + minutes(2)


def test_retired_pen_leaves_future_milkings_and_a_new_one_joins(site: Site) -> None:
    plan(site)
    version = site_version(site.pk)
    pen = Pen.objects.get(place__key="pen-1")
    pen.place.retired_at = BEFORE
    pen.place.save()
    make_pen(site, "3")
    counts = plan(site).timetable
    assert (counts.n_visits_made, counts.n_visits_removed) == (3, 3)
    told = Counter(topic for topic, _ in topics(site, version))
    assert told == {"milking.planned": 3, "visit.retimed": 3}
    assert visit_of("2").first_on_at == FIVE


def test_milking_that_the_farm_no_longer_holds_is_taken_out(site: Site) -> None:
    plan(site)
    MilkingStart.objects.filter(slot=3).delete()
    assert plan(site).timetable.n_milkings_removed == 1
    assert list(Milking.objects.values_list("slot", flat=True)) == [1, 2]


@pytest.mark.parametrize("touch", ["started", "reported", "begun"])
def test_milking_under_way_is_never_planned_anew(site: Site, touch: str) -> None:
    plan(site)
    at = BEFORE
    if touch == "started":
        Milking.objects.filter(slot=1).update(state=MilkingState.STARTED)
    elif touch == "reported":
        visit = visit_of("1")
        visit.actual = {"called": visit.called_at.isoformat()}
        visit.save()
    else:
        at = FIVE
    kept = list(PenVisit.objects.filter(milking__slot=1).values())
    Pen.objects.filter(place__key="pen-1").update(n_cows=100)
    plan(site, at=at)
    assert list(PenVisit.objects.filter(milking__slot=1).values()) == kept
    assert visit_of("1", slot=2).n_cows == 100


def test_milking_waits_for_the_wash_of_the_one_before(site: Site) -> None:
    Pen.objects.filter(place__key="pen-2").update(n_cows=4500)  # 450 min more at 6 s a cow
    plan(site, days=2)
    for earlier, later in pairwise(Milking.objects.all()):
        assert later.starts_at >= earlier.wash_until
    assert Milking.objects.get(slot=2, local_date=MONDAY).starts_at > utc("2026-06-01 19:00")


def test_first_milking_of_a_planning_waits_for_the_wash_of_the_day_before(site: Site) -> None:
    Pen.objects.filter(place__key="pen-2").update(n_cows=4500)
    plan(site)
    over = Milking.objects.get(slot=3).wash_until
    plan(site, from_on=MONDAY + timedelta(days=1))
    assert over > utc("2026-06-02 11:00")
    assert Milking.objects.get(slot=1, local_date=MONDAY + timedelta(days=1)).starts_at == over


def test_site_without_parlor_or_pens_has_no_milkings() -> None:
    bare = make_site("bare")
    assert plan(bare).timetable.n_milkings_made == 0
    make_parlor(bare, starts_local=("05:00",))
    assert plan(bare).timetable.n_milkings_made == 0


# The two odd nights -----------------------------------------------------------------------------
# US law (15 U.S.C. 260a as amended by the Energy Policy Act of 2005, section 110; from memory):
# clocks go forward at 2:00 on the second Sunday of March and back at 2:00 on the first Sunday of
# November. Mountain time is UTC-7, in summer UTC-6.


def starts_around(slot_local: str, first: date) -> list[datetime]:
    site = make_site()
    make_parlor(site, starts_local=(slot_local,))
    make_pen(site)
    for at in (first - timedelta(days=3), first - timedelta(days=2)):  # planned on two days
        moment = datetime(at.year, at.month, at.day, 12, tzinfo=UTC)
        plan(site, days=3, from_on=first, at=moment)
    assert len(set(Milking.objects.values_list("local_date", "slot"))) == Milking.objects.count()
    return list(Milking.objects.values_list("starts_at", flat=True))


def test_milking_in_the_spring_gap_is_held_once_an_hour_later_by_the_wall() -> None:
    assert starts_around("02:30", date(2026, 3, 7)) == [
        utc("2026-03-07 09:30"),
        utc("2026-03-08 09:30"),  # shown as 03:30: 02:30 does not exist
        utc("2026-03-09 08:30"),
    ]


def test_milking_in_the_autumn_fold_is_held_once_the_first_time() -> None:
    assert starts_around("01:30", date(2026, 10, 31)) == [
        utc("2026-10-31 07:30"),
        utc("2026-11-01 07:30"),  # the clock shows 01:30 again an hour later
        utc("2026-11-02 08:30"),
    ]


def test_two_starts_that_the_gap_lays_on_one_instant_follow_each_other() -> None:
    site = make_site()
    make_parlor(site, starts_local=("02:30", "03:30"))
    make_pen(site)
    plan(site, from_on=date(2026, 3, 8), at=utc("2026-03-01 12:00"))
    first, second = Milking.objects.all()
    assert first.starts_at == utc("2026-03-08 09:30")
    assert second.starts_at == first.wash_until


# What happens -----------------------------------------------------------------------------------


def test_late_start_moves_that_milking_and_no_other(site: Site, lead: Actor) -> None:
    plan(site)
    before, version = dict(PenVisit.objects.values_list("pk", "first_on_at")), site_version(site.pk)
    others = list(PenVisit.objects.exclude(milking__slot=1).order_by("pk").values())
    milking = Milking.objects.get(slot=1)
    at = FIVE + minutes(20)
    start_milking(site_id=site.pk, milking_id=milking.pk, at=at, by=lead, received_at=at)
    milking.refresh_from_db()
    assert (milking.state, milking.starts_at) == (MilkingState.STARTED, at)
    moved = PenVisit.objects.filter(milking=milking)
    assert {v.first_on_at - before[v.pk] for v in moved} == {minutes(20)}
    assert list(PenVisit.objects.exclude(milking__slot=1).order_by("pk").values()) == others
    assert topics(site, version) == [
        ("milking.reported", str(visit_of("1").pk)),
        ("milking.started", str(milking.pk)),
        ("visit.retimed", str(visit_of("1").pk)),
        ("visit.retimed", str(visit_of("2").pk)),
    ]


def test_starting_twice_changes_nothing(site: Site, lead: Actor) -> None:
    plan(site)
    milking = Milking.objects.get(slot=1)
    for at in (FIVE, FIVE + minutes(3)):
        start_milking(site_id=site.pk, milking_id=milking.pk, at=at, by=lead, received_at=at)
    milking.refresh_from_db()
    assert milking.starts_at == FIVE


def test_report_moves_what_follows_and_leaves_what_was(site: Site, lead: Actor) -> None:
    plan(site)
    first, version = visit_of("1"), site_version(site.pk)
    second = visit_of("2")
    report(second, "first_on", second.first_on_at + minutes(15), lead)
    moved = visit_of("2")
    assert moved.first_back_at - second.first_back_at == minutes(15)
    assert moved.windows.get().closes_at == moved.first_back_at
    assert visit_of("1").called_at == first.called_at
    assert ("visit.retimed", str(first.pk)) not in topics(site, version)
    assert ("visit.retimed", str(second.pk)) in topics(site, version)


def test_report_within_a_second_retimes_nothing(site: Site, lead: Actor) -> None:
    plan(site)
    visit, version = visit_of("1"), site_version(site.pk)
    report(visit, "first_on", visit.first_on_at + timedelta(seconds=1), lead)
    assert "visit.retimed" not in {topic for topic, _ in topics(site, version)}
    assert visit_of("1").actual


def test_report_says_who_and_when(site: Site, lead: Actor) -> None:
    plan(site)
    visit = visit_of("1")
    report(visit, "called", visit.called_at, lead)
    change = Change.objects.get(topic="milking.reported")
    assert change.detail == {
        "moment": "called",
        "happened_at": visit.called_at.isoformat(),
        "by": lead.pk,
    }


def test_same_report_again_changes_nothing(site: Site, lead: Actor) -> None:
    plan(site)
    visit = visit_of("1")
    report(visit, "called", visit.called_at + minutes(4), lead)
    rows, version = rows_of(site), site_version(site.pk)
    report(visit, "called", visit.called_at + minutes(4), lead)
    assert (rows_of(site), site_version(site.pk)) == (rows, version)


def test_corrected_report_counts_as_if_it_had_been_the_first(site: Site, lead: Actor) -> None:
    plan(site)
    visit = visit_of("1")
    report(visit, "called", visit.called_at + minutes(40), lead)
    report(visit, "called", visit.called_at, lead, late=minutes(50))
    assert visit_of("1").first_on_at == visit.first_on_at
    assert visit_of("2").first_on_at == FIVE + minutes(30)


def test_pen_milked_out_of_turn_takes_the_place_that_it_took(site: Site, lead: Actor) -> None:
    plan(site)
    report(visit_of("2"), "first_on", FIVE, lead)
    report(visit_of("1"), "first_on", FIVE + minutes(31), lead)
    order = PenVisit.objects.filter(milking__slot=1).order_by("position")
    assert list(order.values_list("pen__place__key", flat=True)) == ["pen-2", "pen-1"]
    milking = Milking.objects.get(slot=1)
    assert (milking.starts_at, milking.ends_at) == (FIVE, FIVE + minutes(31 + 30 + 8))


REFUSED = [
    ("milked", minutes(0), minutes(0), UnknownMomentError),
    ("called", minutes(0), minutes(-6), TimeInFutureError),
    ("called", timedelta(hours=-13), timedelta(hours=20), OtherVisitError),
    ("first_on", timedelta(hours=13), minutes(0), OtherVisitError),
    ("called", minutes(30), minutes(0), VisitOrderError),  # after the first cow was out
    ("last_out", minutes(-30), minutes(60), VisitOrderError),  # before the first cow was out
]


@pytest.mark.parametrize(("moment", "shift", "late", "error"), REFUSED)
def test_report_that_cannot_be_is_refused_and_changes_nothing(
    site: Site,
    lead: Actor,
    moment: str,
    shift: timedelta,
    late: timedelta,
    error: type[DomainError],
) -> None:
    plan(site)
    visit = visit_of("1")
    report(visit, "first_out", visit.first_out_at, lead)
    rows, version = rows_of(site), site_version(site.pk)
    at = getattr(visit, f"{moment}_at", FIVE) + shift
    with pytest.raises(error):
        report(visit, moment, at, lead, late=late)
    assert (rows_of(site), site_version(site.pk)) == (rows, version)


def test_refused_order_names_pen_moments_and_local_times(site: Site, lead: Actor) -> None:
    plan(site)
    visit = visit_of("1")
    report(visit, "first_out", FIVE, lead)
    with pytest.raises(VisitOrderError) as refusal:
        report(visit, "called", FIVE + minutes(1), lead)
    for part in ("Pen pen-1", "called", "5:01:00 am", "first cow out", "5:00:00 am"):
        assert part in str(refusal.value)


def test_phone_clock_may_run_a_little_ahead(site: Site, lead: Actor) -> None:
    plan(site)
    visit = visit_of("1")
    report(visit, "called", visit.called_at, lead, late=minutes(-4))
    assert "called" in visit_of("1").actual


def test_ended_milking_ends_when_its_last_cow_left_the_deck(site: Site, lead: Actor) -> None:
    plan(site)
    milking = Milking.objects.get(slot=1)
    start_milking(site_id=site.pk, milking_id=milking.pk, at=FIVE, by=lead, received_at=FIVE)
    over = FIVE + minutes(60)  # eight minutes before it was expected
    for at in (over, over + minutes(5)):
        end_milking(site_id=site.pk, milking_id=milking.pk, at=at, by=lead, received_at=at)
    milking.refresh_from_db()
    assert (milking.state, milking.ends_at) == (MilkingState.ENDED, over)
    assert milking.wash_until == over + minutes(45)
    last = visit_of("2")
    assert last.last_back_at == over + timedelta(minutes=3, seconds=38)
    assert [topic for topic, _ in topics(site)].count("milking.ended") == 1


def test_last_cow_back_is_reported_after_the_end(site: Site, lead: Actor) -> None:
    plan(site)
    milking = Milking.objects.get(slot=1)
    start_milking(site_id=site.pk, milking_id=milking.pk, at=FIVE, by=lead, received_at=FIVE)
    over = FIVE + minutes(68)
    end_milking(site_id=site.pk, milking_id=milking.pk, at=over, by=lead, received_at=over)
    report(visit_of("2"), "last_back", over + minutes(9), lead)
    assert visit_of("2").last_back_at == over + minutes(9)
    milking.refresh_from_db()
    assert (milking.state, milking.ends_at) == (MilkingState.ENDED, over)


def test_pen_cannot_step_on_after_its_milking_ended(site: Site, lead: Actor) -> None:
    plan(site)
    milking = Milking.objects.get(slot=1)
    start_milking(site_id=site.pk, milking_id=milking.pk, at=FIVE, by=lead, received_at=FIVE)
    over = FIVE + minutes(68)
    end_milking(site_id=site.pk, milking_id=milking.pk, at=over, by=lead, received_at=over)
    with pytest.raises(VisitOrderError, match="other pens"):
        report(visit_of("1"), "first_on", over + minutes(10), lead)


def test_pen_that_is_called_early_waits_for_the_wash_before(site: Site, lead: Actor) -> None:
    Pen.objects.filter(place__key="pen-2").update(n_cows=4500)
    plan(site)
    over = Milking.objects.get(slot=1).wash_until
    visit = visit_of("1", slot=2)
    report(visit, "called", over - minutes(40), lead)
    assert visit_of("1", slot=2).first_on_at == over


def test_milking_cannot_end_before_it_started_or_before_its_cows_were_on(
    site: Site, lead: Actor
) -> None:
    plan(site)
    milking = Milking.objects.get(slot=1)
    with pytest.raises(MilkingStateError):
        end_milking(site_id=site.pk, milking_id=milking.pk, at=FIVE, by=lead, received_at=FIVE)
    start_milking(site_id=site.pk, milking_id=milking.pk, at=FIVE, by=lead, received_at=FIVE)
    early = FIVE + minutes(5)  # the deck turns in 8: nobody who stepped on is off yet
    with pytest.raises(VisitOrderError):
        end_milking(site_id=site.pk, milking_id=milking.pk, at=early, by=lead, received_at=early)


def test_ended_milking_is_not_started_again(site: Site, lead: Actor) -> None:
    plan(site)
    milking = Milking.objects.get(slot=1)
    Milking.objects.filter(pk=milking.pk).update(state=MilkingState.ENDED)
    with pytest.raises(MilkingStateError):
        start_milking(site_id=site.pk, milking_id=milking.pk, at=FIVE, by=lead, received_at=FIVE)


def test_milking_that_runs_over_pushes_the_next_at_the_next_planning(
    site: Site, lead: Actor
) -> None:
    plan(site)
    at = utc("2026-06-01 18:00")  # 12:00, seven hours late: pen 2 steps on
    report(visit_of("2"), "first_on", at, lead)
    next_start = utc("2026-06-01 19:00")
    assert Milking.objects.get(slot=2).starts_at == next_start
    plan(site, at=at)
    over = Milking.objects.get(slot=1).wash_until
    assert over > next_start
    assert Milking.objects.get(slot=2).starts_at == over


# Flush runs -------------------------------------------------------------------------------------


def test_flush_runs_follow_the_visits_and_leave_room_for_the_release(
    site: Site, lead: Actor
) -> None:
    pen = make_pen(site, "3", return_mode=ReturnMode.GATE_HELD, return_hold_min=20)
    alley = make_alley(site, pen=pen)
    make_bed_group(pen, alley=alley)
    make_flush_timer(alley, make_tank(site))
    assert plan(site).flushes.n_runs_made == 3
    run = FlushRun.objects.get(natural_key="flush-alley-1/2026-06-01/1")
    assert run.ends_at == visit_of("3").windows.get().usable_until - minutes(3)
    visit = visit_of("3")
    report(visit, "first_on", visit.first_on_at + minutes(17), lead)
    moved = FlushRun.objects.get(pk=run.pk)
    assert moved.starts_at - run.starts_at == minutes(17)
    assert FlushRun.objects.count() == 3


# Other sites ------------------------------------------------------------------------------------


def test_strangers_site_is_neither_planned_nor_reported_on(site: Site, lead: Actor) -> None:
    other = make_site("other-farm")
    make_parlor(other, starts_local=("05:00",))
    make_pen(other)
    plan(other)
    plan(site)
    milking = Milking.objects.get(site=other)
    visit = milking.visits.get()
    rows = rows_of(other)
    ids: dict[str, Any] = {"site_id": site.pk, "at": FIVE, "by": lead, "received_at": FIVE}
    with pytest.raises(NotFoundError):
        start_milking(milking_id=milking.pk, **ids)
    with pytest.raises(NotFoundError):
        end_milking(milking_id=milking.pk, **ids)
    with pytest.raises(NotFoundError):
        record_visit_time(visit_id=visit.pk, moment="called", **ids)
    assert rows_of(other) == rows


# The run ----------------------------------------------------------------------------------------


def test_run_keeps_two_weeks_planned(site: Site, time_machine: TimeMachineFixture) -> None:
    time_machine.move_to(BEFORE, tick=False)
    assert KINDS["rounds.plan"].apply is tasks.plan
    run = TaskRun.objects.create(
        site=site, kind="rounds.plan", dedupe_key="now", due_at=BEFORE, created_at=BEFORE
    )
    assert perform(run.pk)
    dates = set(Milking.objects.values_list("local_date", flat=True))
    assert dates == {date(2026, 5, 31) + timedelta(days=d) for d in range(15)}
