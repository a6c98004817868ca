"""Work orders made exactly once, moved and taken back with their cause."""

from datetime import date, datetime, timedelta

import pytest

from equipment.barns.models import BedGroup
from equipment.parlor.models import Parlor
from equipment.site.models import Change, PlaceKind, Site
from equipment.site.queries import site_version
from schedules.rounds.models import PenVisit
from schedules.work.models import LateRule, Outcome, Report, Status, Trigger, WorkOrder
from schedules.work.produce import materialise
from schedules.work.reconcile import Counts
from tests.factories import (
    make_actor,
    make_alley,
    make_bed_group,
    make_milking,
    make_parlor,
    make_pen,
    make_site,
    make_standing_order,
    make_visit,
    utc,
)

NOW = utc("2026-03-04 12:00")  # 05:00 in Denver, a Wednesday

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def parlor(site: Site) -> Parlor:
    return make_parlor(site)


def _run(site: Site, now: datetime = NOW, days: int = 14) -> Counts:
    return materialise(site_id=site.pk, now=now, days=days)


def _keys() -> list[str]:
    return sorted(WorkOrder.objects.values_list("natural_key", flat=True))


def _only() -> WorkOrder:
    return WorkOrder.objects.get()


def _visit_of(parlor: Parlor, first_out: str = "2026-03-04 14:00") -> tuple[PenVisit, BedGroup]:
    """One pen of one bed group, milked once."""
    pen = make_pen(parlor.site)
    beds = make_bed_group(pen, n_stalls=100)
    milking = make_milking(parlor, utc(first_out))
    return make_visit(milking, pen, first_out_at=utc(first_out)), beds


# --- calendar


def test_a_daily_rule_makes_one_a_day_for_two_weeks_ahead(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    counts = _run(site)
    first = date(2026, 3, 4)
    days = [first + timedelta(days=n) for n in range(14)]
    assert _keys() == [f"check/pen-1/{day}/0" for day in days]
    assert counts == Counts(n_made=14)


def test_a_second_run_changes_nothing_and_tells_nothing(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    _run(site)
    version = site_version(site.pk)
    assert _run(site) == Counts()
    assert site_version(site.pk) == version


def test_what_was_made_is_told_with_its_days(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    _run(site, days=2)
    change = Change.objects.get()
    assert (change.topic, change.detail) == ("work.made", {"dates": ["2026-03-04", "2026-03-05"]})


def test_the_window_opens_at_the_local_hour_and_lasts_elapsed_hours(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    _run(site, days=1)
    order = _only()
    assert order.starts_after == utc("2026-03-04 13:00")  # 06:00, seven hours behind UTC
    assert order.due_at == utc("2026-03-04 17:00")


def test_work_is_for_the_places_named_else_for_all_of_the_kind(site: Site) -> None:
    for number in "123":
        make_pen(site, number)
    two = {"kind": "pen", "keys": ["pen-1", "pen-3"]}
    make_standing_order(site, "some", trigger=Trigger.CALENDAR, target=two)
    make_standing_order(site, "all", trigger=Trigger.CALENDAR)
    _run(site, days=1)
    day = "2026-03-04/0"
    assert _keys() == [
        *(f"all/pen-{n}/{day}" for n in "123"),
        *(f"some/pen-{n}/{day}" for n in "13"),
    ]


def test_spring_night_work_in_the_gap_comes_once_an_hour_later(site: Site) -> None:
    """US rule (Energy Policy Act of 2005, section 110): 8 March 2026, 02:00 becomes 03:00."""
    make_pen(site)
    make_standing_order(site, "night", trigger=Trigger.CALENDAR, rule={"at_local": "02:30"})
    _run(site, utc("2026-03-07 00:00"), days=3)
    starts = WorkOrder.objects.order_by("starts_after").values_list("starts_after", flat=True)
    assert list(starts) == [
        utc("2026-03-07 09:30"),
        utc("2026-03-08 09:30"),  # 03:30 on the wall
        utc("2026-03-09 08:30"),
    ]


def test_autumn_night_work_in_the_doubled_hour_comes_once(site: Site) -> None:
    """US rule: 1 November 2026, 02:00 becomes 01:00 again; the first 01:30 is meant."""
    make_pen(site)
    make_standing_order(site, "night", trigger=Trigger.CALENDAR, rule={"at_local": "01:30"})
    _run(site, utc("2026-10-31 00:00"), days=3)
    starts = WorkOrder.objects.order_by("starts_after").values_list("starts_after", flat=True)
    assert list(starts) == [
        utc("2026-10-31 07:30"),
        utc("2026-11-01 07:30"),
        utc("2026-11-02 08:30"),
    ]


def test_a_longer_look_later_adds_only_what_is_new(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    _run(site)
    assert _run(site, NOW + timedelta(days=1)).n_made == 1


def test_a_shorter_look_takes_nothing_back(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    _run(site)
    assert _run(site, days=3) == Counts()


# --- late


def test_late_work_is_recorded_as_missed(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    _run(site, days=1)
    after = utc("2026-03-04 17:00")
    assert _run(site, after, days=0).n_missed == 1
    order = _only()
    assert (order.status, order.outcome) == (Status.CANCELLED, Outcome.MISSED)
    assert order.ended_at == after


def test_work_that_may_be_done_late_is_due_again_until_the_next_turn(site: Site) -> None:
    make_pen(site)
    late = LateRule.RUN_ONCE
    make_standing_order(site, "check", trigger=Trigger.CALENDAR, late_rule=late)
    _run(site, days=2)
    _run(site, utc("2026-03-04 18:30"), days=1)
    today, tomorrow = WorkOrder.objects.order_by("natural_key")
    assert today.status == Status.NEEDS_ACTION
    assert today.due_at == utc("2026-03-04 21:00")  # four hours more
    _run(site, utc("2026-03-05 13:00"), days=1)
    today.refresh_from_db()
    assert today.outcome == Outcome.MISSED
    assert tomorrow.status == Status.NEEDS_ACTION


def test_the_due_time_of_late_work_moves_once_a_window_not_with_every_tick(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR, late_rule=LateRule.RUN_ONCE)
    _run(site, days=1)
    assert _run(site, utc("2026-03-04 17:10"), days=1).n_moved == 1
    assert _run(site, utc("2026-03-04 20:50"), days=1) == Counts()


@pytest.mark.parametrize(
    ("late_rule", "n_missed", "n_open"), [("record_missed", 3, 0), ("run_once", 2, 1)]
)
def test_an_outage_leaves_no_hole(site: Site, late_rule: str, n_missed: int, n_open: int) -> None:
    """Made one day ahead, then nothing for three days: each day missed, or the last done late."""
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR, late_rule=late_rule)
    _run(site, days=1)
    _run(site, utc("2026-03-07 12:00"), days=0)
    missed = WorkOrder.objects.filter(outcome=Outcome.MISSED).count()
    past = WorkOrder.objects.filter(status=Status.NEEDS_ACTION, local_date__lt="2026-03-07")
    assert (missed, past.count()) == (n_missed, n_open)
    assert WorkOrder.objects.count() == 3


def test_a_new_standing_order_does_not_begin_with_misses(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)  # from_on is weeks ago
    _run(site, utc("2026-03-04 20:00"), days=1)
    assert _keys() == ["check/pen-1/2026-03-05/0"]


def test_a_window_that_reaches_past_midnight_is_still_open(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR, rule={"at_local": "22:00"})
    _run(site, utc("2026-03-05 08:30"), days=0)  # 01:30 of the next day in Denver
    assert _keys() == ["check/pen-1/2026-03-04/0"]


# --- pen visits


def test_a_milking_that_goes_on_past_midnight_still_has_its_work(parlor: Parlor) -> None:
    pen = make_pen(parlor.site)
    make_bed_group(pen)
    milking = make_milking(parlor, utc("2026-03-05 04:00"), slot=3)  # 21:00 of the 4th
    make_visit(milking, pen, first_out_at=utc("2026-03-05 07:30"))  # 00:30 of the 5th
    make_standing_order(parlor.site)
    _run(parlor.site, utc("2026-03-05 07:20"), days=1)
    assert _keys() == ["groom/pen-1-beds-a/2026-03-04/3"]


def test_grooming_falls_in_the_usable_window_of_its_beds(parlor: Parlor) -> None:
    visit, _beds = _visit_of(parlor)
    duration = {"base_min": 5, "per_stall_min": 0.1}
    make_standing_order(parlor.site, "groom", duration=duration, n_people=2)
    _run(parlor.site)
    order = _only()
    assert order.natural_key == "groom/pen-1-beds-a/2026-03-04/1"
    assert (order.starts_after, order.due_at) == (utc("2026-03-04 14:05"), utc("2026-03-04 14:19"))
    assert (order.visit_id, order.duration_min) == (visit.pk, 10)
    assert order.amount == "stalls:100"


@pytest.mark.parametrize(
    ("rule", "kind", "starts", "ends"),
    [
        ({"within": "usable"}, "bed_group", 5, 19),
        ({"within": "empty"}, "bed_group", 4, 20),
        ({"within": "away"}, "bed_group", 0, 55),
        ({"within": "usable"}, "pen", 5, 19),
        ({"within": "empty"}, "pen", 4, 20),
        ({"within": "before", "length_min": 20}, "pen", -22, -2),
        ({"within": "gate", "length_min": 6}, "pen", 14, 20),
        ({"within": "after", "length_min": 20}, "pen", 55, 75),
    ],
)
def test_each_window_of_a_visit(
    parlor: Parlor, rule: dict[str, object], kind: str, starts: int, ends: int
) -> None:
    visit, _beds = _visit_of(parlor)
    make_standing_order(parlor.site, rule=rule, target={"kind": kind})
    _run(parlor.site)
    order = _only()
    minutes = [(t - visit.first_out_at) / timedelta(minutes=1) for t in _span(order)]
    assert minutes == [starts, ends]


def _span(order: WorkOrder) -> tuple[datetime, datetime]:
    return order.starts_after, order.due_at


def test_work_on_a_pen_has_from_its_first_rows_opening_to_its_last_rows_closing(
    parlor: Parlor,
) -> None:
    visit, _beds = _visit_of(parlor)
    far = make_bed_group(visit.pen, "b")
    visit.windows.create(
        site=parlor.site,
        bed_group=far,
        opens_at=visit.last_out_at,
        closes_at=utc("2026-03-04 14:40"),
        usable_from=utc("2026-03-04 14:05"),
        usable_until=utc("2026-03-04 14:38"),
    )
    make_standing_order(parlor.site, target={"kind": "pen"})
    _run(parlor.site)
    assert _only().due_at == utc("2026-03-04 14:38")


def test_work_in_an_alley_has_only_while_all_rows_along_it_are_empty(parlor: Parlor) -> None:
    visit, beds = _visit_of(parlor)
    alley = make_alley(parlor.site, pen=visit.pen)
    BedGroup.objects.filter(pk=beds.pk).update(alley=alley)
    far = make_bed_group(visit.pen, "b", alley=alley)
    visit.windows.create(
        site=parlor.site,
        bed_group=far,
        opens_at=visit.last_out_at,
        closes_at=utc("2026-03-04 14:40"),
        usable_from=utc("2026-03-04 14:06"),
        usable_until=utc("2026-03-04 14:38"),
    )
    make_standing_order(parlor.site, target={"kind": "alley"})
    _run(parlor.site)
    assert _span(_only()) == (utc("2026-03-04 14:06"), utc("2026-03-04 14:19"))


def test_a_window_that_never_opens_still_has_its_work_order(parlor: Parlor) -> None:
    """So that the board shows beds that cannot be done; a minute is too short to plan."""
    visit, _beds = _visit_of(parlor)
    visit.windows.update(usable_until=visit.first_out_at)
    make_standing_order(parlor.site)
    _run(parlor.site)
    assert _only().due_at - _only().starts_after == timedelta(minutes=1)


def test_only_the_milkings_named_make_work(parlor: Parlor) -> None:
    pen = make_pen(parlor.site)
    make_bed_group(pen)
    for slot, hour in ((1, 13), (2, 21)):
        at = utc(f"2026-03-04 {hour}:00")
        make_visit(make_milking(parlor, at, slot=slot), pen, first_out_at=at)
    make_standing_order(parlor.site, rule={"milkings": [2]})
    _run(parlor.site)
    assert _keys() == ["groom/pen-1-beds-a/2026-03-04/2"]


def test_a_moved_visit_moves_its_work(parlor: Parlor) -> None:
    visit, _beds = _visit_of(parlor)
    make_standing_order(parlor.site)
    _run(parlor.site)
    visit.windows.update(usable_from=utc("2026-03-04 14:25"), usable_until=utc("2026-03-04 14:39"))
    assert _run(parlor.site) == Counts(n_moved=1)
    order = _only()
    assert (order.due_at, order.version) == (utc("2026-03-04 14:39"), 2)


@pytest.mark.parametrize("status", [Status.IN_PROCESS, Status.COMPLETED])
def test_work_under_way_or_done_is_not_touched(parlor: Parlor, status: Status) -> None:
    visit, _beds = _visit_of(parlor)
    make_standing_order(parlor.site)
    _run(parlor.site)
    outcome = Outcome.DONE if status == Status.COMPLETED else ""
    WorkOrder.objects.update(status=status, outcome=outcome)
    visit.milking.delete()
    assert _run(parlor.site) == Counts()
    assert _only().due_at == utc("2026-03-04 14:19")


def test_work_whose_visit_is_gone_is_cancelled_and_comes_back_with_it(parlor: Parlor) -> None:
    visit, _beds = _visit_of(parlor)
    make_standing_order(parlor.site)
    _run(parlor.site)
    visit.milking.delete()
    assert _run(parlor.site) == Counts(n_cancelled=1)
    order = _only()
    assert (order.outcome, order.reason) == (Outcome.NOT_NEEDED, "visit_gone")
    at = utc("2026-03-04 15:00")
    make_visit(make_milking(parlor, at), visit.pen, first_out_at=at)
    assert _run(parlor.site) == Counts(n_revived=1)
    order.refresh_from_db()
    assert (order.status, order.outcome, order.ended_by) == (Status.NEEDS_ACTION, "", None)
    assert order.due_at == utc("2026-03-04 15:19")


def test_what_a_person_cancelled_stays_cancelled(parlor: Parlor) -> None:
    _visit_of(parlor)
    make_standing_order(parlor.site)
    _run(parlor.site)
    lead = make_actor(parlor.site, "lead")
    WorkOrder.objects.update(
        status=Status.CANCELLED, outcome=Outcome.NOT_NEEDED, ended_by=lead, ended_at=NOW
    )
    assert _run(parlor.site) == Counts()


def test_beds_nobody_came_to_are_missed_with_their_stalls_after_a_grace(parlor: Parlor) -> None:
    _visit_of(parlor)
    make_standing_order(parlor.site, duration={"per_stall_min": 0.1})
    _run(parlor.site)
    end = utc("2026-03-04 14:19")
    assert _run(parlor.site, end + timedelta(minutes=29)) == Counts()
    assert _run(parlor.site, end + timedelta(minutes=30)) == Counts(n_missed=1)
    order = _only()
    assert (order.outcome, order.n_left) == (Outcome.MISSED, 100)
    assert not Report.objects.exists()


def test_a_retired_standing_order_takes_its_coming_work_with_it(site: Site) -> None:
    make_pen(site)
    order = make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    _run(site)
    order.retired_at = NOW
    order.save()
    assert _run(site, days=1).n_cancelled == 14
    assert set(WorkOrder.objects.values_list("reason", flat=True)) == {"order_retired"}


def test_a_retired_place_takes_its_coming_work_with_it(site: Site) -> None:
    pen = make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    _run(site, days=3)
    pen.place.retired_at = NOW
    pen.place.save()
    assert _run(site).n_cancelled == 3


def test_another_sites_work_is_left_alone(site: Site) -> None:
    other = make_site("other")
    for farm in (site, other):
        make_pen(farm)
        make_standing_order(farm, "check", trigger=Trigger.CALENDAR)
    _run(site, days=1)
    assert list(WorkOrder.objects.values_list("site_id", flat=True)) == [site.pk]


def test_work_on_a_place_of_no_size_takes_its_base_minutes(site: Site) -> None:
    pen = make_pen(site)
    make_standing_order(site, "look", trigger=Trigger.CALENDAR, target={"kind": PlaceKind.PEN})
    _run(site, days=1)
    assert (_only().place_id, _only().duration_min) == (pen.pk, 5)
