"""The plan in the database: put in place, broken, by hand; nobody and nothing in two places."""

from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from crews.people.models import Worker
from crews.roster.models import Presence, Shift, ShiftPattern
from equipment.barns.models import Pen
from equipment.machines.models import Machine, MachineKind
from equipment.site.errors import NotFoundError, StaleError
from equipment.site.models import Actor, Change, HoldSubject, PlaceKind, Site
from equipment.site.services import put_hold
from schedules.dayplan.byhand import reassign, take_off
from schedules.dayplan.models import Assignment, Claim, PlanRun, Unassigned
from schedules.dayplan.queries import bed_share, orders_between
from schedules.dayplan.services import drop_broken, plan_day, put_plan, solve_site
from schedules.errors import AlreadyBookedError, CannotAssignError
from schedules.work.models import Outcome, Status, WorkOrder
from tests.factories import (
    make_actor,
    make_bed_group,
    make_machine,
    make_pen,
    make_place,
    make_site,
    make_worker,
    utc,
)

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")
HOUR = timedelta(hours=1)
MINUTE = timedelta(minutes=1)


class Morning:
    """A pen with two rows of beds, two people and a skid loader, from noon UTC on."""

    def __init__(self) -> None:
        self.site: Site = make_site()
        self.lead: Actor = make_actor(self.site, "lead")
        self.yard = make_place(self.site, "yard", PlaceKind.YARD)
        self.pen: Pen = make_pen(self.site)
        self.rows = [make_bed_group(self.pen, key) for key in ("a", "b")]
        self.pattern = ShiftPattern.objects.create(
            site=self.site, key="day", name="Day", starts_local=time(5), duration_min=480
        )
        self.ana, self.ben = (self._worker(key) for key in ("ana", "ben"))
        self.skid: Machine = make_machine(self.site, "skid-1", kind=MachineKind.SKID_LOADER)

    def _worker(self, key: str) -> Worker:
        worker = make_worker(self.site, key)
        Shift.objects.create(
            site=self.site,
            worker=worker,
            pattern=self.pattern,
            local_date=date(2026, 3, 4),
            starts_at=NOW,
            ends_at=NOW + 8 * HOUR,
        )
        return worker

    def order(self, key: str, **facts: Any) -> WorkOrder:
        usual: dict[str, Any] = {
            "title": {"en": "Groom"},
            "place": self.rows[0].place,
            "local_date": date(2026, 3, 4),
            "starts_after": NOW + HOUR,
            "due_at": NOW + 2 * HOUR,
            "duration_min": 20,
            "updated_at": NOW,
        }
        return WorkOrder.objects.create(site=self.site, natural_key=key, **usual | facts)

    def give(self, order: WorkOrder, worker: Worker, **more: Any) -> Assignment:
        usual: dict[str, Any] = {"machine_id": None, "starts_at": NOW + HOUR}
        return reassign(
            site_id=self.site.pk,
            work_order_id=order.pk,
            worker_ids=[worker.pk],
            by=self.lead,
            at=NOW,
            **usual | more,
        )

    def plan(self, at: datetime = NOW) -> PlanRun:
        return plan_day(site_id=self.site.pk, at=at, seconds=0.1)


@pytest.fixture
def morning() -> Morning:
    return Morning()


def _who(order: WorkOrder) -> set[int | None]:
    claims = Claim.objects.filter(assignment__work_order=order, worker__isnull=False)
    return {claim.worker_id for claim in claims}


def test_every_order_gets_somebody_inside_its_window(morning: Morning) -> None:
    orders = [morning.order(f"o{n}") for n in range(4)]
    run = morning.plan()
    assert (run.n_assigned, run.n_unassigned) == (4, 0)
    for order in orders:
        a = Assignment.objects.get(work_order=order)
        assert order.starts_after <= a.starts_at < a.ends_at <= order.due_at


def test_what_does_not_fit_is_listed_with_its_reason(morning: Morning) -> None:
    order = morning.order("long", duration_min=90)
    morning.plan()
    left = Unassigned.objects.get(work_order=order)
    assert left.reasons[0]["code"] == "window_too_short"
    assert left.reasons[0]["facts"]["needs_min"] == 90


def test_a_held_machine_is_on_no_plan_and_its_work_loses_it(morning: Morning) -> None:
    order = morning.order("skid", machine_kinds=["skid_loader"])
    morning.plan()
    assert Claim.objects.filter(machine=morning.skid).count() == 1
    put_hold(
        site_id=morning.site.pk,
        subject_kind=HoldSubject.MACHINE,
        subject_id=morning.skid.pk,
        reason="brakes",
        by=morning.lead,
        at=NOW,
    )
    drop_broken(site_id=morning.site.pk, at=NOW)
    assert not Claim.objects.filter(machine=morning.skid).exists()
    morning.plan()
    codes = [r["code"] for r in Unassigned.objects.get(work_order=order).reasons]
    assert "machines_held" in codes


def test_a_plan_solved_before_a_hold_does_not_bring_the_machine_back(morning: Morning) -> None:
    morning.order("skid", machine_kinds=["skid_loader"])
    solved = solve_site(morning.site.pk, NOW, 0.1)
    put_hold(
        site_id=morning.site.pk,
        subject_kind=HoldSubject.MACHINE,
        subject_id=morning.skid.pk,
        reason="brakes",
        by=morning.lead,
        at=NOW,
    )
    put_plan(site_id=morning.site.pk, solved=solved, at=NOW)
    assert not Claim.objects.filter(machine=morning.skid).exists()
    assert Unassigned.objects.get().reasons[0]["code"] == "moved_meanwhile"


def test_somebody_called_in_sick_has_no_work_left(morning: Morning) -> None:
    orders = [morning.order(f"o{n}") for n in range(2)]
    morning.plan()
    Shift.objects.filter(worker=morning.ana).update(presence=Presence.SICK)
    drop_broken(site_id=morning.site.pk, at=NOW)
    assert not Claim.objects.filter(worker=morning.ana).exists()
    morning.plan()
    assert [_who(o) for o in orders] == [{morning.ben.pk}] * 2


def test_work_under_way_stays_with_its_people_through_a_new_plan(morning: Morning) -> None:
    order = morning.order("o")
    morning.plan()
    before = Assignment.objects.get(work_order=order)
    WorkOrder.objects.filter(pk=order.pk).update(status=Status.IN_PROCESS)
    morning.plan(NOW + HOUR)
    assert Assignment.objects.get(work_order=order).pk == before.pk


def test_work_done_before_its_planned_time_keeps_nobody(morning: Morning) -> None:
    early = morning.order("early")
    morning.give(early, morning.ana)
    WorkOrder.objects.filter(pk=early.pk).update(
        status=Status.COMPLETED, outcome=Outcome.DONE, started_at=NOW, ended_at=NOW
    )
    Shift.objects.filter(worker=morning.ben).update(presence=Presence.SICK)
    orders = [morning.order(f"o{n}") for n in range(3)]
    morning.plan()
    assert [_who(o) for o in orders] == [{morning.ana.pk}] * 3
    assert _who(early) == {morning.ana.pk}  # the record of who had it
    _check_now()


def test_work_begun_early_keeps_its_people_from_its_real_start(morning: Morning) -> None:
    begun = morning.order("begun", duration_min=30)
    morning.give(begun, morning.ana, starts_at=NOW + HOUR)
    WorkOrder.objects.filter(pk=begun.pk).update(
        status=Status.IN_PROCESS, started_at=NOW + 10 * MINUTE
    )
    wanted = morning.order("wanted", starts_after=NOW, duration_min=10)
    with pytest.raises(AlreadyBookedError, match="Groom"):
        morning.give(wanted, morning.ana, starts_at=NOW + 35 * MINUTE)
    morning.give(wanted, morning.ana, starts_at=NOW + HOUR)  # which its plan would have taken
    problem = solve_site(morning.site.pk, NOW + 20 * MINUTE, 0.1).facts.problem
    locked = {job.id: job.locked for job in problem.jobs}[str(begun.pk)]
    assert locked is not None
    assert (locked.start, locked.end) == (NOW + 10 * MINUTE, NOW + 40 * MINUTE)
    late = solve_site(morning.site.pk, NOW + 50 * MINUTE, 0.1).facts.problem
    [locked] = [job.locked for job in late.jobs if job.id == str(begun.pk)]
    assert locked is not None
    assert locked.end == NOW + 51 * MINUTE
    _check_now()


def test_work_taken_back_is_given_anew(morning: Morning) -> None:
    order = morning.order("o")
    given = morning.give(order, morning.ana)
    WorkOrder.objects.filter(pk=order.pk).update(status=Status.IN_PROCESS, started_at=NOW)
    morning.plan()
    WorkOrder.objects.filter(pk=order.pk).update(status=Status.NEEDS_ACTION, started_at=None)
    morning.plan()
    anew = Assignment.objects.get(work_order=order)
    assert (anew.pk == given.pk, anew.is_by_hand) == (False, False)
    assert all(claim.is_binding for claim in anew.claims.all())


def test_a_lead_gives_work_by_hand_and_the_plan_keeps_it(morning: Morning) -> None:
    order = morning.order("o")
    given = morning.give(order, morning.ben, starts_at=NOW + HOUR + 30 * timedelta(minutes=1))
    morning.plan()
    kept = Assignment.objects.get(work_order=order)
    assert (kept.pk, kept.is_by_hand) == (given.pk, True)
    assert Change.objects.filter(topic="plan.by_hand").exists()


def test_a_start_in_the_minute_in_which_the_window_opens_means_its_opening(
    morning: Morning,
) -> None:
    opens_at = NOW + HOUR + timedelta(seconds=41)
    order = morning.order("o", starts_after=opens_at)
    assert morning.give(order, morning.ana, starts_at=NOW + HOUR).starts_at == opens_at
    drop_broken(site_id=morning.site.pk, at=NOW)
    assert Assignment.objects.filter(work_order=order, is_by_hand=True).exists()


def test_by_hand_too_nothing_lies_outside_its_window(morning: Morning) -> None:
    order = morning.order("o")
    for minutes in (-10, 45):
        with pytest.raises(CannotAssignError, match="20 min and must lie between"):
            morning.give(order, morning.ana, starts_at=NOW + HOUR + timedelta(minutes=minutes))


@pytest.mark.parametrize(
    ("clock_h", "span"), [(12, "6:00 am and 7:00 am"), (24, "06:00 and 07:00")]
)
def test_the_window_is_said_by_the_clock_of_the_site(
    morning: Morning, clock_h: int, span: str
) -> None:
    Site.objects.filter(pk=morning.site.pk).update(clock_h=clock_h)
    order = morning.order("o", duration_min=90)
    with pytest.raises(CannotAssignError, match=span):
        morning.give(order, morning.ana)


def test_taking_it_off_lets_the_plan_choose_again(morning: Morning) -> None:
    order = morning.order("o")
    morning.give(order, morning.ben)
    take_off(site_id=morning.site.pk, work_order_id=order.pk, at=NOW)
    assert not Assignment.objects.filter(work_order=order).exists()
    morning.plan()
    assert not Assignment.objects.get(work_order=order).is_by_hand


def test_nobody_is_given_two_things_at_once_and_the_clash_is_named(morning: Morning) -> None:
    one, two = morning.order("one"), morning.order("two")
    morning.give(one, morning.ana)
    with pytest.raises(AlreadyBookedError, match="^Ana is taken from .* am to .* am: Groom Beds"):
        morning.give(two, morning.ana, starts_at=NOW + HOUR + timedelta(minutes=19))
    assert not Assignment.objects.filter(work_order=two).exists()
    morning.give(two, morning.ana, starts_at=NOW + HOUR + timedelta(minutes=20))


def test_the_database_itself_refuses_a_person_in_two_places(morning: Morning) -> None:
    rows = [
        Assignment.objects.create(
            site=morning.site,
            work_order=morning.order(key),
            starts_at=NOW,
            ends_at=NOW + HOUR,
        )
        for key in ("one", "two")
    ]
    for row in rows:
        Claim.objects.create(
            site=morning.site, assignment=row, worker=morning.ana, span=(NOW, NOW + HOUR)
        )
    with pytest.raises(IntegrityError, match="worker_never_twice"):
        _check_now()
    Claim.objects.all().delete()  # or the test's own end would be refused too


def _check_now() -> None:
    """Check the deferred constraints here, not when the test's transaction ends."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


@pytest.mark.parametrize(
    "span",
    [
        (NOW, NOW),
        (None, NOW),
        (NOW, None),
        (NOW, datetime(2300, 1, 1, tzinfo=NOW.tzinfo)),
    ],
)
def test_the_database_refuses_empty_and_endless_spans(morning: Morning, span: Any) -> None:
    row = Assignment.objects.create(
        site=morning.site, work_order=morning.order("o"), starts_at=NOW, ends_at=NOW + HOUR
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        Claim.objects.create(site=morning.site, assignment=row, worker=morning.ana, span=span)


def test_the_database_refuses_another_sites_worker(morning: Morning) -> None:
    stranger = make_worker(make_site("other"), "zoe")
    row = Assignment.objects.create(
        site=morning.site, work_order=morning.order("o"), starts_at=NOW, ends_at=NOW + HOUR
    )
    Claim.objects.create(site=morning.site, assignment=row, worker=stranger, span=(NOW, NOW + HOUR))
    with pytest.raises(IntegrityError, match="same_site"):
        _check_now()
    Claim.objects.all().delete()  # or the test's own end would be refused too


def test_a_held_machine_and_a_worker_off_shift_are_refused_by_name(morning: Morning) -> None:
    order = morning.order("o")
    put_hold(
        site_id=morning.site.pk,
        subject_kind=HoldSubject.MACHINE,
        subject_id=morning.skid.pk,
        reason="brakes",
        by=morning.lead,
        at=NOW,
    )
    with pytest.raises(CannotAssignError, match="out of use"):
        morning.give(order, morning.ana, machine_id=morning.skid.pk)
    late = morning.order("late", starts_after=NOW + 30 * HOUR, due_at=NOW + 31 * HOUR)
    with pytest.raises(CannotAssignError, match="not on shift"):
        morning.give(late, morning.ana, starts_at=NOW + 30 * HOUR)


def test_a_closed_order_a_stale_version_and_a_stranger_are_refused(morning: Morning) -> None:
    order = morning.order("o")
    with pytest.raises(StaleError):
        morning.give(order, morning.ana, version=99)
    with pytest.raises(NotFoundError):
        morning.give(order, make_worker(make_site("other"), "zoe"))
    WorkOrder.objects.filter(pk=order.pk).update(status=Status.COMPLETED, outcome=Outcome.DONE)
    with pytest.raises(CannotAssignError):
        morning.give(order, morning.ana)


def test_a_window_that_moved_takes_the_assignment_with_it(morning: Morning) -> None:
    order = morning.order("o")
    morning.plan()
    WorkOrder.objects.filter(pk=order.pk).update(starts_after=NOW + 3 * HOUR, due_at=NOW + 4 * HOUR)
    drop_broken(site_id=morning.site.pk, at=NOW)
    assert not Assignment.objects.filter(work_order=order).exists()


def test_the_share_of_beds_counts_what_is_done_and_what_somebody_has(morning: Morning) -> None:
    morning.order("o1")
    morning.order("o2", duration_min=90)
    morning.plan()
    orders = list(orders_between(morning.site.pk, NOW, NOW + 8 * HOUR))
    share = bed_share(orders)
    assert (share.n_due, share.n_assigned) == (0, 0)  # neither belongs to a pen's visit


def test_a_list_costs_the_same_queries_for_any_number_of_orders(
    morning: Morning, django_assert_num_queries: Any
) -> None:
    for n in range(6):
        morning.order(f"o{n}")
    morning.plan()
    with django_assert_num_queries(3):
        list(orders_between(morning.site.pk, NOW, NOW + 8 * HOUR))
