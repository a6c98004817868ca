"""Each look finds its matter in a small farm, and is quiet without it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crews.people.models import Skill, Worker
from crews.roster.models import Presence, Shift, ShiftDemand, ShiftPattern
from equipment.barns.models import Pen
from equipment.basins.models import BasinOutlook
from equipment.machines.models import Machine, MachineKind
from equipment.machines.services import start_repair
from equipment.sandyard.models import SandPractice
from equipment.site.models import Actor, HoldSubject, Site
from equipment.site.services import put_hold
from schedules.alerts.basins import answer_basin, look_for_basins
from schedules.alerts.beds import answer_beds, look_for_beds
from schedules.alerts.drivers import answer_drivers, look_for_drivers
from schedules.alerts.found import Found
from schedules.alerts.machines import answer_machine, look_for_machines
from schedules.alerts.models import AlertKind, AnswerCode
from schedules.alerts.sand import answer_sand, look_for_sand
from schedules.dayplan.models import Assignment, Claim
from schedules.outlook.models import OutlookPractice
from schedules.sand.models import Batch, DryForecast, Stage
from schedules.sand.services import bed_pens
from schedules.work.models import Status, WorkOrder
from tests.equipment.basins.test_records import make_fleet, make_weather
from tests.factories import (
    make_actor,
    make_basin,
    make_batch,
    make_bay,
    make_bed_group,
    make_machine,
    make_milking,
    make_parlor,
    make_pen,
    make_shift,
    make_site,
    make_visit,
    make_work_order,
    make_worker,
    utc,
)

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")  # 5:00 am in Denver
HOUR, MINUTE, DAY = timedelta(hours=1), timedelta(minutes=1), timedelta(days=1)


def codes(answers: Any) -> list[AnswerCode]:
    return [answer.code for answer in answers]


def n_queries(look: Callable[[], object]) -> int:
    with CaptureQueriesContext(connection) as queries:
        look()
    return len(queries)


# Beds -------------------------------------------------------------------------------------------


class Milking:
    """A pen of two rows that is called in a quarter of an hour, and somebody on shift."""

    def __init__(self) -> None:
        self.site: Site = make_site()
        self.pen = make_pen(self.site)
        self.rows = [make_bed_group(self.pen, key) for key in ("a", "b")]
        self.worker: Worker = make_worker(self.site, skills=("beds",))
        make_shift(self.worker, NOW - HOUR)
        milking = make_milking(make_parlor(self.site), NOW)
        self.visit = make_visit(milking, self.pen, first_out_at=NOW + 17 * MINUTE)
        self.orders = [self._order(n) for n in range(2)]

    def _order(self, n: int) -> WorkOrder:
        window = self.visit.windows.get(bed_group=self.rows[n])
        return make_work_order(
            self.site,
            f"groom/{n}",
            place=self.rows[n].place,
            visit=self.visit,
            starts_after=window.usable_from,
            due_at=window.usable_until,
            duration_min=6,
            skill="beds",
        )

    def give(self, order: WorkOrder, starts_at: datetime) -> None:
        span = (starts_at, starts_at + order.duration_min * MINUTE)
        row = Assignment.objects.create(
            site=self.site, work_order=order, starts_at=span[0], ends_at=span[1]
        )
        Claim.objects.create(site=self.site, assignment=row, worker=self.worker, span=span)

    def give_both(self) -> None:
        opens = self.orders[0].starts_after
        for n, order in enumerate(self.orders):
            self.give(order, opens + 6 * n * MINUTE)

    def look(self) -> list[Found]:
        return look_for_beds(self.site.pk, NOW)


@pytest.fixture
def milking() -> Milking:
    return Milking()


def test_beds_that_somebody_does_in_time_are_quiet(milking: Milking) -> None:
    milking.give_both()
    assert milking.look() == []


def test_rows_that_nobody_has_are_told_with_when_to_begin(milking: Milking) -> None:
    milking.give(milking.orders[0], milking.orders[0].starts_after)

    [found] = milking.look()

    assert found.kind == AlertKind.BEDS
    assert found.place_id == milking.pen.pk
    assert found.subject == f"visit-{milking.visit.pk}"
    assert found.facts["nobody"] == [milking.orders[1].pk]
    assert found.facts["n_stalls"] == 100
    assert found.due_at == milking.orders[1].due_at - 6 * MINUTE


def test_what_would_help_is_found_by_a_solve(milking: Milking) -> None:
    """One person has the time for both rows; with nobody else on shift one is missing."""
    milking.give(milking.orders[0], milking.orders[0].starts_after)
    other = milking.orders[1]
    WorkOrder.objects.filter(pk=other.pk).update(n_people=2)
    [found] = milking.look()

    answers = answer_beds(milking.site.pk, found, NOW)

    assert codes(answers)[0] == AnswerCode.ONE_MORE_PERSON
    assert answers[0].facts["work_order"] == other.pk
    assert codes(answers)[-1] == AnswerCode.LEAVE_STALLS


def test_work_under_way_that_runs_over_gives_way_to_cows_or_leaves_stalls(
    milking: Milking,
) -> None:
    milking.give_both()
    late = milking.orders[1]
    WorkOrder.objects.filter(pk=late.pk).update(
        status=Status.IN_PROCESS, started_at=late.due_at - 3 * MINUTE
    )

    [found] = milking.look()

    assert (found.facts["over_min"], found.facts["n_stalls"], found.facts["nobody"]) == (3, 50, [])
    answers = answer_beds(milking.site.pk, found, NOW)
    assert codes(answers) == [AnswerCode.COWS_LATER, AnswerCode.LEAVE_STALLS]
    assert answers[0].facts == {"later_min": 3}


def test_cows_wait_no_longer_than_the_farms_limit_and_not_once_they_come(
    milking: Milking,
) -> None:
    """Away 55 min of 60: five more may be, not six."""
    milking.give_both()
    late, back_at = milking.orders[1], milking.visit.first_back_at
    for over_min, may_wait in ((5, True), (6, False)):
        WorkOrder.objects.filter(pk=late.pk).update(
            status=Status.IN_PROCESS, started_at=late.due_at - (6 - over_min) * MINUTE
        )
        [found] = milking.look()
        assert found.facts["over_min"] == over_min
        answers = answer_beds(milking.site.pk, found, NOW)
        assert (AnswerCode.COWS_LATER in codes(answers)) == may_wait
        assert AnswerCode.COWS_LATER not in codes(answer_beds(milking.site.pk, found, back_at))


def test_work_that_ends_in_time_is_quiet_to_its_last_minute(milking: Milking) -> None:
    milking.give_both()
    last = milking.orders[1]
    WorkOrder.objects.filter(pk=milking.orders[0].pk).delete()
    WorkOrder.objects.filter(pk=last.pk).update(
        status=Status.IN_PROCESS, started_at=last.due_at - 6 * MINUTE
    )
    for minutes in range(6):
        assert look_for_beds(milking.site.pk, last.due_at - (6 - minutes) * MINUTE) == []


def test_work_that_should_have_ended_is_stated_anew_every_five_minutes_alone(
    milking: Milking,
) -> None:
    milking.give_both()
    late = milking.orders[1]
    WorkOrder.objects.filter(pk=late.pk).update(
        status=Status.IN_PROCESS, started_at=late.due_at - 6 * MINUTE
    )
    at = [late.due_at + n * MINUTE for n in (1, 2, 3, 4, 8)]

    told = [look_for_beds(milking.site.pk, one)[0].facts["over_min"] for one in at]

    assert told == [4, 4, 4, 9, 9]


def test_beds_are_no_matter_once_the_cows_are_back_or_far_ahead(milking: Milking) -> None:
    assert look_for_beds(milking.site.pk, milking.visit.last_back_at) == []
    assert look_for_beds(milking.site.pk, NOW - 5 * HOUR) == []


def test_look_at_beds_takes_the_same_queries_for_many_pens(milking: Milking) -> None:
    few = n_queries(milking.look)
    for key in ("2", "3", "4"):
        pen = make_pen(milking.site, key)
        beds = make_bed_group(pen, f"{key}-a")
        visit = make_visit(milking.visit.milking, pen, first_out_at=NOW + HOUR)
        make_work_order(milking.site, f"groom/{key}", place=beds.place, visit=visit,
                        starts_after=NOW + HOUR, due_at=NOW + HOUR + 20 * MINUTE)  # fmt: skip
    assert len(milking.look()) == 4
    assert n_queries(milking.look) == few <= 5


# Machines ---------------------------------------------------------------------------------------


@pytest.fixture
def loader() -> Machine:
    return make_machine(make_site(), "loader-1")


def job(site: Site, key: str, *kinds: MachineKind, hours: float = 2, **facts: Any) -> WorkOrder:
    starts_after = NOW + hours * HOUR
    return make_work_order(
        site, key, machine_kinds=list(kinds), starts_after=starts_after, duration_min=90, **facts
    )


def down(machine: Machine, **more: Any) -> None:
    by: Actor = Actor.objects.filter(site=machine.site).first() or make_actor(machine.site)
    start_repair(
        site_id=machine.site_id, machine_id=machine.pk, cause="hose", by=by, at=NOW, **more
    )


def test_machine_in_use_or_out_without_work_is_quiet(loader: Machine) -> None:
    job(loader.site, "turn/1", MachineKind.LOADER)
    assert look_for_machines(loader.site_id, NOW) == []

    WorkOrder.objects.update(machine_kinds=[])
    down(loader)
    assert look_for_machines(loader.site_id, NOW) == []


def test_machine_that_is_out_while_work_waits_for_its_kind_is_told(loader: Machine) -> None:
    first = job(loader.site, "turn/1", MachineKind.LOADER, hours=5)
    job(loader.site, "turn/2", MachineKind.LOADER, hours=30)
    job(loader.site, "turn/3", MachineKind.LOADER, hours=24 * 8)  # after the week
    down(loader)

    [found] = look_for_machines(loader.site_id, NOW)

    assert found.facts == {
        "machine": loader.pk,
        "name": loader.name,
        "kind": "loader",
        "n_jobs": 2,
        "hours": 3.0,
    }
    assert found.due_at == first.starts_after
    answers = answer_machine(loader.site_id, found, NOW)
    assert codes(answers) == [AnswerCode.REPAIR, AnswerCode.HIRE_MACHINE]


def test_machine_of_the_kind_or_of_another_that_may_do_it_stands_in(loader: Machine) -> None:
    job(loader.site, "turn/1", MachineKind.LOADER, MachineKind.SKID_LOADER)
    down(loader)
    assert len(look_for_machines(loader.site_id, NOW)) == 1

    make_machine(loader.site, "skid-1", kind=MachineKind.SKID_LOADER)
    assert look_for_machines(loader.site_id, NOW) == []


def test_named_stand_in_counts_while_it_is_in_use(loader: Machine) -> None:
    job(loader.site, "turn/1", MachineKind.LOADER)
    truck = make_machine(loader.site, "truck-1", kind=MachineKind.TRUCK)
    down(loader, substitute_id=truck.pk)
    assert look_for_machines(loader.site_id, NOW) == []

    put_hold(
        site_id=loader.site_id,
        subject_kind=HoldSubject.MACHINE,
        subject_id=truck.pk,
        reason="brakes",
        by=Actor.objects.filter(site=loader.site)[0],
        at=NOW,
    )
    assert [f.facts["machine"] for f in look_for_machines(loader.site_id, NOW)] == [loader.pk]


def test_figures_of_a_machine_stay_while_its_day_goes_by(loader: Machine) -> None:
    first = job(loader.site, "turn/1", MachineKind.LOADER, hours=2)
    job(loader.site, "turn/2", MachineKind.LOADER, hours=8)
    down(loader)
    [before] = look_for_machines(loader.site_id, NOW)

    WorkOrder.objects.filter(pk=first.pk).update(status=Status.CANCELLED, outcome="missed")
    [after] = look_for_machines(loader.site_id, NOW + 5 * HOUR)

    assert after.facts == before.facts
    assert after.due_at > before.due_at


# Drivers ----------------------------------------------------------------------------------------


@pytest.fixture
def day() -> ShiftPattern:
    """Tomorrow's day shift asks for one who may drive the loader; ana may, and has no shift."""
    site = make_site()
    make_machine(site, driver_skill="loader")
    pattern = ShiftPattern.objects.create(
        site=site, key="day", name="Day", starts_local=time(5), duration_min=480
    )
    make_worker(site, "ana", skills=("loader",))
    skill = Skill.objects.get(site=site, key="loader")
    ShiftDemand.objects.create(
        site=site, pattern=pattern, skill=skill, local_date=date(2026, 3, 5), target=1
    )
    return pattern


def test_shift_without_who_may_drive_is_told_and_who_could_come(day: ShiftPattern) -> None:
    [found] = look_for_drivers(day.site_id, NOW)

    assert found.due_at == utc("2026-03-05 12:00")
    assert (found.facts["n_needed"], found.facts["n_there"]) == (1, 0)
    answers = answer_drivers(day.site_id, found, NOW)
    ana = Worker.objects.get(key="ana")
    assert codes(answers) == [AnswerCode.CALL_IN, AnswerCode.HIRE_DRIVER]
    assert answers[0].facts["worker"] == ana.pk


def test_shift_with_who_may_drive_is_quiet_until_they_are_sick(day: ShiftPattern) -> None:
    make_shift(Worker.objects.get(key="ana"), utc("2026-03-05 12:00"), pattern=day)
    assert look_for_drivers(day.site_id, NOW) == []

    Shift.objects.update(presence=Presence.SICK)
    [found] = look_for_drivers(day.site_id, NOW)
    assert codes(answer_drivers(day.site_id, found, NOW)) == [AnswerCode.HIRE_DRIVER]


def test_who_would_rest_too_little_is_not_named(day: ShiftPattern) -> None:
    night = ShiftPattern.objects.create(
        site=day.site, key="night", name="Night", starts_local=time(21), duration_min=480
    )
    ana = Worker.objects.get(key="ana")
    make_shift(ana, utc("2026-03-05 04:00"), pattern=night, local_date=date(2026, 3, 4))

    [found] = look_for_drivers(day.site_id, NOW)

    assert codes(answer_drivers(day.site_id, found, NOW)) == [AnswerCode.HIRE_DRIVER]


def test_skill_that_no_machine_asks_for_is_not_a_drivers(day: ShiftPattern) -> None:
    Machine.objects.update(driver_skill="other")
    assert look_for_drivers(day.site_id, NOW) == []


def test_shift_that_has_just_begun_can_still_get_somebody(day: ShiftPattern) -> None:
    begun, over = utc("2026-03-05 13:00"), utc("2026-03-05 16:30")
    assert len(look_for_drivers(day.site_id, begun)) == 1
    assert look_for_drivers(day.site_id, over) == []


# Basins -----------------------------------------------------------------------------------------


def test_basin_that_cannot_be_cleaned_in_time_is_told_with_when_to_begin() -> None:
    site = make_site()
    basins = [
        make_basin(site, f"basin-{n}", pair="west", fills=n == 1, weep_frac_d=0, open_frac=0)
        for n in (1, 2)
    ]
    make_weather(site, rain_mm=10)
    make_fleet(site)
    BasinOutlook.objects.create(
        site=site, basin=basins[0], made_at=NOW, line_on=date(2026, 3, 9), clean_d=6
    )
    BasinOutlook.objects.create(
        site=site, basin=basins[1], made_at=NOW, line_on=date(2026, 9, 1), clean_d=6
    )

    [found] = look_for_basins(site.pk, NOW)

    assert found.place_id == basins[0].pk
    assert found.due_at == utc("2026-03-03 14:00")  # 7:00 am in Denver, six days before the line
    answers = answer_basin(site.pk, found, NOW)
    assert codes(answers) == []


# Sand -------------------------------------------------------------------------------------------


@pytest.fixture
def yard() -> Site:
    """1 t a day of 100 stalls, 4 t released, none on its way."""
    site = make_site()
    make_bed_group(make_pen(site))
    SandPractice.objects.create(site=site, use_kg_stall_d=10, safety_stock_kg=0)
    OutlookPractice.objects.create(site=site, buy_lead_d=3, truck_kg=24_000)
    make_batch(site, Stage.RELEASED, at=NOW - DAY, dry_kg=4_000)
    return site


def test_sand_without_a_batch_on_its_way_is_to_be_bought(yard: Site) -> None:
    """4 t last four days; below nothing on the fifth, ordered three days before."""
    [found] = look_for_sand(yard.pk, NOW)

    assert found.facts["needed_on"] == "2026-03-08"
    assert found.due_at == utc("2026-03-05 14:00")
    assert found.facts["batch"] is None
    [buy] = answer_sand(yard.pk, found, NOW)  # a fifth less sand would be far from enough
    assert buy.code == AnswerCode.BUY_SAND
    assert buy.facts["n_trucks"] * 24_000 >= found.facts["short_kg"]
    assert buy.facts["late_d"] == 0


def test_less_sand_is_an_answer_up_to_a_fifth(yard: Site) -> None:
    [found] = look_for_sand(yard.pk, NOW)
    for use_frac, is_offered in ((0.2, True), (0.21, False)):
        facts = {**found.facts, "use_frac": use_frac}
        answers = answer_sand(yard.pk, replace(found, facts=facts), NOW)
        assert (AnswerCode.USE_LESS in codes(answers)) == is_offered


def test_sand_bedded_today_is_not_counted_twice(yard: Site) -> None:
    [before] = look_for_sand(yard.pk, NOW)
    batch, pen = Batch.objects.get(site=yard), Pen.objects.get(site=yard)
    by = Actor.objects.filter(site=yard)[0]
    bed_pens(site_id=yard.pk, batch_id=batch.pk, pen_ids=[pen.pk], dry_kg=1000, by=by, at=NOW)

    [after] = look_for_sand(yard.pk, NOW + HOUR)

    assert after.facts == before.facts


def test_batch_that_cures_past_its_day_is_the_matter(yard: Site) -> None:
    late = make_batch(
        yard, Stage.CURING, at=NOW - 50 * DAY, closed_at=NOW - 50 * DAY, dry_kg=900_000
    )
    [found] = look_for_sand(yard.pk, NOW)

    assert found.facts["batch"] == late.pk
    assert found.place_id == late.place_id
    gap_d = (date.fromisoformat(found.facts["ready_on"]) - date(2026, 3, 8)).days
    assert found.facts["gap_d"] == gap_d > 0


def test_sand_is_quiet_where_a_batch_is_ready_in_time_or_nothing_is_used(yard: Site) -> None:
    make_batch(yard, Stage.CURED, at=NOW, closed_at=NOW - 60 * DAY, dry_kg=900_000)
    assert look_for_sand(yard.pk, NOW) == []


def test_turning_more_is_named_where_it_closes_the_gap(yard: Site) -> None:
    bay = make_bay(yard)
    layer = make_batch(yard, Stage.DRYING, at=NOW - 5 * DAY, place=bay.place)
    forecast = DryForecast.objects.create(
        site=yard,
        batch=layer,
        made_at=NOW,
        n_members=20,
        dots=[""],
        et0_method="given",
        detail={"options": [{"code": "one_more_turn", "saved_d": [1, 4, 6], "turns_d": 3}]},
    )
    facts = {
        "batch": layer.pk,
        "gap_d": 4,
        "short_kg": 5000,
        "use_frac": 0.3,
        "truck_kg": 24_000,
        "needed_on": "2026-03-08",
        "late_d": 0,
        "ready_on": "2026-03-12",
    }
    found = Found(AlertKind.SAND, "batch-1", NOW, facts)

    assert codes(answer_sand(yard.pk, found, NOW))[1] == AnswerCode.TURN_MORE

    forecast.detail["options"][0]["saved_d"] = [0, 3, 5]
    forecast.save()
    assert AnswerCode.TURN_MORE not in codes(answer_sand(yard.pk, found, NOW))
