"""The plan in the database: put in place, broken, by hand; nobody and nothing in two places."""

from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from crews.people.models import Skill, Worker, WorkerSkill
from crews.roster.models import Presence, Shift, ShiftPattern
from crews.roster.services import call_in_sick
from equipment.barns.models import BedGroup, Pen
from equipment.flushing.models import FlushRun
from equipment.machines.models import Machine, MachineKind
from equipment.site.errors import NotFoundError, StaleError
from equipment.site.models import Actor, Change, HoldSubject, PlaceKind, Site
from equipment.site.services import put_hold
from schedules.dayplan.build import build_day
from schedules.dayplan.byhand import reassign, take_off
from schedules.dayplan.calc.resources import Bucket
from schedules.dayplan.models import Assignment, Claim, PlanPractice, PlanRun, Unassigned
from schedules.dayplan.queries import assignment_of, bed_share, orders_between, with_claims
from schedules.dayplan.services import drop_broken, plan_day, put_plan, solve_site
from schedules.errors import AlreadyBookedError, CannotAssignError
from schedules.work.models import Dependency, Outcome, Status, Trigger, WorkOrder
from schedules.work.progress import start_work
from tests.factories import (
    make_actor,
    make_alley,
    make_bed_group,
    make_flush_timer,
    make_lane,
    make_machine,
    make_milking,
    make_parlor,
    make_pen,
    make_place,
    make_shift,
    make_site,
    make_standing_order,
    make_tank,
    make_visit,
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
        return self.give_all(order, [worker], **more)

    def give_all(self, order: WorkOrder, workers: list[Worker], **more: Any) -> Assignment:
        usual: dict[str, Any] = {"machine_id": None, "starts_at": NOW + HOUR}
        return reassign(
            site_id=self.site.pk,
            work_order_id=order.pk,
            worker_ids=[worker.pk for worker in workers],
            by=self.lead,
            at=NOW,
            **usual | more,
        )

    def hold(self, kind: HoldSubject, pk: int) -> None:
        put_hold(
            site_id=self.site.pk,
            subject_kind=kind,
            subject_id=pk,
            reason="not fit",
            by=self.lead,
            at=NOW,
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
    morning.hold(HoldSubject.MACHINE, morning.skid.pk)
    drop_broken(site_id=morning.site.pk, at=NOW)
    assert not Claim.objects.filter(machine=morning.skid).exists()
    morning.plan()
    codes = [r["code"] for r in Unassigned.objects.get(work_order=order).reasons]
    assert "machines_held" in codes


def test_a_plan_solved_before_a_hold_does_not_bring_the_machine_back(morning: Morning) -> None:
    morning.order("skid", machine_kinds=["skid_loader"])
    solved = solve_site(morning.site.pk, NOW, 0.1)
    morning.hold(HoldSubject.MACHINE, morning.skid.pk)
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


def test_somebody_called_in_sick_loses_by_hand_work_too_whatever_they_do_tomorrow(
    morning: Morning,
) -> None:
    order = morning.order("o")
    morning.give(order, morning.ana)
    make_shift(morning.ana, NOW + 24 * HOUR)
    later = morning.order("later", starts_after=NOW + 24 * HOUR, due_at=NOW + 25 * HOUR)
    morning.give(later, morning.ana, starts_at=NOW + 24 * HOUR)
    call_in_sick(site_id=morning.site.pk, worker_id=morning.ana.pk, at=NOW)
    drop_broken(site_id=morning.site.pk, at=NOW)
    assert not Assignment.objects.filter(work_order=order).exists()
    assert Assignment.objects.filter(work_order=later).exists()


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


def test_whoever_began_it_is_at_work_with_the_machine_they_said(morning: Morning) -> None:
    order = morning.order("o", machine_kinds=["skid_loader"])
    other = make_machine(morning.site, "skid-2", kind=MachineKind.SKID_LOADER)
    morning.give(order, morning.ana, machine_id=morning.skid.pk)
    start_work(
        site_id=morning.site.pk,
        work_order_id=order.pk,
        by=morning.ben.actor,
        at=NOW + HOUR,
        machine=other,
    )
    [job] = solve_site(morning.site.pk, NOW + HOUR + MINUTE, 0.1).facts.problem.jobs
    assert job.locked is not None
    assert (job.locked.people, job.locked.machine) == ((str(morning.ben.pk),), str(other.pk))


def test_work_begun_that_nobody_was_given_keeps_whoever_began_it(morning: Morning) -> None:
    begun = morning.order("begun", duration_min=50)
    start_work(site_id=morning.site.pk, work_order_id=begun.pk, by=morning.ana.actor, at=NOW + HOUR)
    orders = [morning.order(f"o{n}", starts_after=NOW + HOUR) for n in range(3)]
    morning.plan(NOW + HOUR + MINUTE)
    ana = Claim.objects.filter(worker=morning.ana, assignment__work_order__in=orders)
    assert all(claim.span.lower >= NOW + HOUR + 50 * MINUTE for claim in ana)


def test_a_dirty_bucket_is_washed_also_when_the_dirty_work_is_done(morning: Morning) -> None:
    clean = make_standing_order(
        morning.site, "clean", needs_clean_bucket=True, machine_kinds=["skid_loader"]
    )
    dirty = make_standing_order(morning.site, "dirty", machine_kinds=["skid_loader"])
    first = morning.order("d", standing_order=dirty, machine_kinds=["skid_loader"])
    morning.give(first, morning.ana, machine_id=morning.skid.pk)
    WorkOrder.objects.filter(pk=first.pk).update(
        status=Status.COMPLETED, outcome=Outcome.DONE, started_at=NOW, ended_at=NOW + 10 * MINUTE
    )
    wanted = morning.order(
        "c", standing_order=clean, machine_kinds=["skid_loader"], starts_after=NOW
    )
    now = NOW + 12 * MINUTE
    [skid] = solve_site(morning.site.pk, now, 0.1).facts.problem.machines
    assert (skid.last_bucket, skid.start_place) == (Bucket.DIRTY, first.place.key)
    morning.plan(now)
    assert Assignment.objects.get(work_order=wanted).starts_at >= now + 15 * MINUTE  # the wash


def test_a_held_machine_is_shown_on_no_work_to_come_from_that_moment(morning: Morning) -> None:
    order = morning.order("o", machine_kinds=["skid_loader"])
    morning.plan()
    morning.hold(HoldSubject.MACHINE, morning.skid.pk)
    row = with_claims(WorkOrder.objects.filter(pk=order.pk)).get()
    given = assignment_of(row)
    assert given is not None
    assert [claim.machine for claim in given.claims.all() if claim.machine] == []
    WorkOrder.objects.filter(pk=order.pk).update(status=Status.IN_PROCESS)
    row = with_claims(WorkOrder.objects.filter(pk=order.pk)).get()
    given = assignment_of(row)
    assert given is not None  # what runs is a fact
    assert [claim.machine for claim in given.claims.all() if claim.machine] == [morning.skid]


@pytest.mark.parametrize(
    ("facts", "machine", "words"),
    [
        ({"n_people": 2}, False, "It takes 2 people together; you named 1"),
        ({"skill": "loader"}, False, "Ana is not qualified for it: Loader"),
        ({"machine_kinds": ["loader"]}, False, "cannot be done by hand: name one of Loader"),
        ({"machine_kinds": ["loader"]}, True, "another machine: one of Loader"),
        ({"machine_kinds": ["skid_loader"]}, True, "may drive that machine: Skid"),
    ],
)
def test_by_hand_too_the_hard_rules_hold_and_are_named(
    morning: Morning, facts: dict[str, Any], machine: bool, words: str
) -> None:
    for key in ("loader", "skid"):
        Skill.objects.create(site=morning.site, key=key, name=key.capitalize())
    Machine.objects.filter(pk=morning.skid.pk).update(driver_skill="skid")
    order = morning.order("o", **facts)
    with pytest.raises(CannotAssignError, match=words):
        morning.give(order, morning.ana, machine_id=morning.skid.pk if machine else None)
    assert not Assignment.objects.exists()


def test_by_hand_the_hard_rules_hold_for_what_the_plan_cannot_ask_for_too(
    morning: Morning,
) -> None:
    Skill.objects.create(site=morning.site, key="loader", name="Loader")
    far = NOW + 48 * HOUR
    first = morning.order("first", starts_after=far, due_at=far + HOUR)
    order = morning.order("o", skill="loader")
    Dependency.objects.create(site=morning.site, work_order=order, on=first)
    with pytest.raises(CannotAssignError, match="Ana is not qualified for it: Loader"):
        morning.give(order, morning.ana)
    WorkOrder.objects.filter(pk=order.pk).update(skill="")
    assert morning.give(order, morning.ana).is_by_hand


def test_by_hand_a_service_needs_its_own_machine_and_says_which(morning: Morning) -> None:
    order = morning.order("service", for_machine=morning.skid)
    with pytest.raises(CannotAssignError, match=f"name one of {morning.skid.name}"):
        morning.give(order, morning.ana)


def test_by_hand_whoever_may_drive_drives(morning: Morning) -> None:
    skill = Skill.objects.create(site=morning.site, key="skid", name="Skid")
    WorkerSkill.objects.create(
        site=morning.site, worker=morning.ben, skill=skill, from_on=date(2026, 1, 1)
    )
    Machine.objects.filter(pk=morning.skid.pk).update(driver_skill="skid")
    order = morning.order("o", n_people=2, machine_kinds=["skid_loader"])
    given = morning.give_all(
        order, [morning.ana, morning.ben], machine_id=morning.skid.pk, starts_at=NOW + HOUR
    )
    first = given.claims.filter(worker__isnull=False).order_by("id")[0]
    assert first.worker == morning.ben


def test_by_hand_nobody_is_put_into_a_flush_or_a_held_pen(morning: Morning) -> None:
    water = Water(morning)
    order = morning.order("scrape", place=water.alley.place)
    with pytest.raises(CannotAssignError, match="a flush runs"):
        morning.give(order, morning.ana)
    morning.hold(HoldSubject.PEN, morning.pen.pk)
    with pytest.raises(CannotAssignError, match="The pen is held"):
        morning.give(morning.order("groom"), morning.ana)


class Water:
    """A tank, an alley of the pen and the lane it drains to, with a flush of an hour at one."""

    def __init__(self, morning: Morning) -> None:
        self.lane, self.tank = make_lane(morning.site), make_tank(morning.site)
        self.alley = make_alley(morning.site, pen=morning.pen, drains_to=self.lane.place)
        self.run = FlushRun.objects.create(
            site=morning.site,
            timer=make_flush_timer(self.alley, self.tank, times_local=("06:00",)),
            alley=self.alley,
            natural_key="run",
            starts_at=NOW + HOUR,
            ends_at=NOW + 2 * HOUR,
            volume_m3=10,
        )


def test_nobody_is_planned_where_a_flush_comes_by(morning: Morning) -> None:
    water = Water(morning)
    places = (water.tank.place, water.alley.place, water.lane.place)
    orders = [morning.order(place.key, place=place) for place in places]
    morning.plan()
    reasons = [Unassigned.objects.get(work_order=order).reasons[0] for order in orders]
    assert [(r["code"], r["facts"]["whys"]) for r in reasons] == [
        ("place_blocked", ["flush_runs"])
    ] * 3


@pytest.mark.parametrize("n_alleys", [1, 2])
def test_a_machine_in_a_pen_keeps_out_of_the_alley_where_another_grooms(
    morning: Morning, n_alleys: int
) -> None:
    alleys = [make_alley(morning.site, f"alley-{n}", pen=morning.pen) for n in range(n_alleys)]
    BedGroup.objects.filter(pk=morning.rows[0].pk).update(alley=alleys[0])
    make_machine(morning.site, "skid-2", kind=MachineKind.SKID_LOADER)
    wide = {"machine_kinds": ["skid_loader"], "duration_min": 45}
    morning.order("groom", place=morning.rows[0].place, **wide)
    morning.order("bring", place=morning.pen.place, **wide)
    assert morning.plan().n_assigned == n_alleys


def test_a_flush_is_watched_while_it_runs_from_beside_the_alley(morning: Morning) -> None:
    water = Water(morning)
    rule = make_standing_order(
        morning.site,
        "watch",
        trigger_rule={
            "rrule": "FREQ=DAILY",
            "at_local": "06:00",
            "from_on": "2026-03-01",
            "window_h": 4,
            "during": "flush",
        },
    )
    facts: dict[str, Any] = {"standing_order": rule, "place": water.alley.place, "duration_min": 5}
    seen = morning.order("seen", **facts, due_at=NOW + 4 * HOUR)
    missed = morning.order("missed", **facts, starts_after=NOW + 3 * HOUR, due_at=NOW + 4 * HOUR)
    morning.plan()
    planned = Assignment.objects.get(work_order=seen)
    assert water.run.starts_at <= planned.starts_at < planned.ends_at <= water.run.ends_at
    left = Unassigned.objects.get(work_order=missed)
    assert left.reasons == [{"code": "no_flush_in_window", "facts": {}}]


def test_beds_behind_a_gate_need_somebody_at_the_gate(morning: Morning) -> None:
    """Nobody is in the beds when the first cow would walk in and the gate is let go (1)."""
    gate = _gate(morning, skill="cattle")
    row = morning.order("row", visit=gate.visit)
    morning.plan()
    left_out = Unassigned.objects.values_list("work_order_id", flat=True)
    assert set(left_out) == {gate.pk, row.pk}
    WorkOrder.objects.filter(pk=gate.pk).update(skill="")
    morning.plan()
    assert Assignment.objects.count() == 2


def test_beds_close_when_the_first_cow_comes_where_the_gate_cannot_be_held(
    morning: Morning,
) -> None:
    first_back_at = NOW + 90 * MINUTE
    gate = _gate(morning, starts_after=first_back_at)
    tomorrow = morning.order("before", starts_after=NOW + 30 * HOUR, due_at=NOW + 31 * HOUR)
    Dependency.objects.create(site=morning.site, work_order=gate, on=tomorrow)
    row = morning.order("row", visit=gate.visit)
    problem = solve_site(morning.site.pk, NOW, 0.1).facts.problem
    assert {job.id: job.windows[0].end for job in problem.jobs}[str(row.pk)] == first_back_at


def _gate(morning: Morning, **facts: Any) -> WorkOrder:
    """Give the work of holding the gate at a visit, in the last half hour of the window."""
    rule = make_standing_order(
        morning.site,
        "gate",
        trigger=Trigger.PEN_VISIT,
        trigger_rule={"within": "gate", "length_min": 30},
    )
    milking = make_milking(make_parlor(morning.site), NOW)
    visit = make_visit(milking, morning.pen, first_out_at=NOW + 5 * HOUR)
    usual = {"starts_after": NOW + 90 * MINUTE, "place": morning.pen.place, "priority": 1}
    return morning.order("gate", standing_order=rule, visit=visit, **usual | facts)


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


def test_a_start_in_the_minute_in_which_it_is_planned_means_the_planned_one(
    morning: Morning,
) -> None:
    order = morning.order("o")
    planned = NOW + HOUR + timedelta(minutes=1, seconds=40)
    morning.give(order, morning.ana, starts_at=planned)

    row = morning.give(order, morning.ben, starts_at=planned.replace(second=0))

    assert row.starts_at == planned


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
    with pytest.raises(AlreadyBookedError, match=r"^Ana is taken from .* am to .* am: Groom Beds"):
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
    morning.hold(HoldSubject.MACHINE, morning.skid.pk)
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


def test_a_new_plan_says_what_changed_and_who_must_be_told(morning: Morning) -> None:
    order = morning.order("one")
    [change] = morning.plan().changes
    [assignment] = Assignment.objects.all()
    [had_it] = assignment.claims.filter(worker__isnull=False)
    assert had_it.worker_id is not None
    has_it = {
        "work_order": order.pk,
        "workers": [had_it.worker_id],
        "machine": None,
        "starts_at": assignment.starts_at.isoformat(),
        "ends_at": assignment.ends_at.isoformat(),
    }
    assert (change["kind"], change["workers"]) == ("added", [had_it.worker_id])
    assert (change["before"], change["after"]) == (None, has_it)
    assert morning.plan().changes == []
    Shift.objects.filter(worker_id=had_it.worker_id).update(presence="sick")
    [change] = morning.plan().changes
    assert (change["work_order"], change["kind"]) == (order.pk, "reassigned")
    assert change["before"] == has_it
    assert change["workers"] == sorted([morning.ana.pk, morning.ben.pk])


def test_what_was_taken_off_before_a_plan_is_told_with_it(morning: Morning) -> None:
    order = morning.order("one")
    morning.plan()
    [had_it] = _who(order)
    assert had_it is not None
    call_in_sick(site_id=morning.site.pk, worker_id=had_it, at=NOW)
    assert drop_broken(site_id=morning.site.pk, at=NOW) > 0
    assert not Assignment.objects.exists()

    [change] = morning.plan().changes

    assert (change["kind"], change["before"]["workers"]) == ("reassigned", [had_it])
    assert set(change["workers"]) == {morning.ana.pk, morning.ben.pk}
    assert morning.plan().changes == []


def test_what_stays_as_it_is_is_not_written_anew(morning: Morning) -> None:
    for n in range(4):
        morning.order(f"o{n}")
    morning.plan()
    before = set(Assignment.objects.values_list("pk", flat=True))

    late = morning.order("late")
    morning.plan()

    assert before <= set(Assignment.objects.values_list("pk", flat=True))
    assert Assignment.objects.filter(work_order=late).exists()


def test_a_plan_keeps_how_likely_tight_work_ends_in_time(morning: Morning) -> None:
    tight = morning.order("tight", duration_min=58)
    easy = morning.order("easy", duration_min=5)

    chances = morning.plan().chances

    assert 0.4 < chances[str(tight.pk)] < 0.8  # 60 minutes for 58
    assert str(easy.pk) not in chances


@pytest.mark.parametrize(("chance", "slack_min"), [(0.9, 5.28), (0.99, 11.0), (0.5, 0.0)])
def test_the_slack_that_the_farm_wants_is_priced(
    morning: Morning, chance: float, slack_min: float
) -> None:
    """Of 20 minutes that vary by a fifth: quantiles of the log-normal, scipy.stats.lognorm."""
    order = morning.order("one")
    morning.order("tight", duration_min=58, place=morning.rows[1].place)
    PlanPractice.objects.create(site=morning.site, keep_chance_frac=chance, slack_price=0.25)

    one, tight = build_day(morning.site.pk, NOW).problem.jobs

    assert one.due_at is not None
    assert (order.due_at - one.due_at) / MINUTE == pytest.approx(slack_min, abs=0.2)
    assert one.late_per_min == 0.25
    assert tight.due_at == order.due_at - (2 * MINUTE if slack_min else 0 * MINUTE)


def test_what_the_farm_file_says_is_what_the_plan_weighs(morning: Morning) -> None:
    PlanPractice.objects.create(site=morning.site, change_price=7, overtime_price=0)

    weights = build_day(morning.site.pk, NOW).problem.weights

    assert (weights.change_per_job, weights.overtime_per_min, weights.off_crew_per_job) == (7, 0, 5)


def who_before_and_after(change: dict[str, Any]) -> tuple[list[int] | None, list[int] | None]:
    before, after = change["before"], change["after"]
    return before and before["workers"], after and after["workers"]


def test_what_is_given_by_hand_is_told_like_any_change(morning: Morning) -> None:
    order = morning.order("one")
    first = plan_day(site_id=morning.site.pk, at=NOW, seconds=0.1)
    had = order.assignment.claims.get(worker__isnull=False).worker_id
    assert had is not None
    other = morning.ben if had == morning.ana.pk else morning.ana

    morning.give(order, other)
    morning.give(order, other, starts_at=NOW + HOUR + 10 * MINUTE)  # of two the last counts
    told = plan_day(site_id=morning.site.pk, at=NOW, seconds=0.1)
    again = plan_day(site_id=morning.site.pk, at=NOW, seconds=0.1)

    assert [who_before_and_after(change) for change in first.changes] == [(None, [had])]
    assert [who_before_and_after(change) for change in told.changes] == [([had], [other.pk])]
    assert told.changes[0]["workers"] == sorted([had, other.pk])
    assert again.changes == []


def test_what_nobody_had_and_is_given_by_hand_is_told_once(morning: Morning) -> None:
    order = morning.order("one")
    morning.give(order, morning.ana)

    told = plan_day(site_id=morning.site.pk, at=NOW, seconds=0.1)

    assert [who_before_and_after(change) for change in told.changes] == [(None, [morning.ana.pk])]
    assert (told.n_assigned, told.n_unassigned) == (1, 0)


def test_who_is_taken_off_by_hand_is_told(morning: Morning) -> None:
    order = morning.order("one")
    morning.give(order, morning.ana)
    plan_day(site_id=morning.site.pk, at=NOW, seconds=0.1)

    take_off(site_id=morning.site.pk, work_order_id=order.pk, at=NOW)
    Shift.objects.filter(worker=morning.ana).delete()
    told = plan_day(site_id=morning.site.pk, at=NOW, seconds=0.1)

    changes = [who_before_and_after(change) for change in told.changes]
    assert changes == [([morning.ana.pk], [morning.ben.pk])]


def test_a_plan_keeps_the_seed_it_was_found_with(morning: Morning) -> None:
    morning.order("one")
    solved = solve_site(morning.site.pk, NOW, 0.1, seed=77)

    put_plan(site_id=morning.site.pk, solved=solved, at=NOW)

    assert PlanRun.objects.get().seed == 77
