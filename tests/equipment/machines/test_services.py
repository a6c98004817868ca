"""Machines: questioned readings, services with their next date, looks round, repairs, holds."""

from collections.abc import Mapping
from datetime import timedelta
from decimal import Decimal

import pytest

from equipment.errors import CheckAnswersError, MachineStateError, ReadingQuestionedError
from equipment.machines.models import (
    CheckItem,
    Defect,
    Machine,
    MachineKind,
    MeterReading,
    Repair,
    ServiceItem,
    Verdict,
)
from equipment.machines.queries import machine_views, usable_machine_ids
from equipment.machines.services import (
    add_reading,
    close_defect,
    end_repair,
    record_service,
    report_defect,
    start_repair,
    submit_check,
)
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Change, Hold, Site
from tests.factories import make_actor, make_machine, make_site, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def mia(site: Site) -> Actor:
    return make_actor(site, "mia")


@pytest.fixture
def loader(site: Site, mia: Actor) -> Machine:
    machine = make_machine(site, "loader-1", kind=MachineKind.LOADER)
    for day in range(30, 0, -1):
        MeterReading.objects.create(
            site=site,
            machine=machine,
            read_at=NOW - timedelta(days=day),
            meter_h=1000 + 8 * (30 - day),
            by=mia,
        )
    return machine


@pytest.fixture
def oil(site: Site) -> ServiceItem:
    return ServiceItem.objects.create(
        site=site,
        key="svc-250",
        name="250 h",
        machine_kind=MachineKind.LOADER,
        every_h=250,
        duration_min=150,
        skill="mechanic",
    )


def _read(machine: Machine, by: Actor, meter_h: float, **more: object) -> MeterReading:
    return add_reading(
        site_id=machine.site_id,
        machine_id=machine.pk,
        meter_h=meter_h,
        read_at=NOW,
        by=by,
        **more,  # type: ignore[arg-type]
    ).reading


def test_a_plain_reading_is_taken_and_told_upward(loader: Machine, mia: Actor) -> None:
    reading = _read(loader, mia, 1240)
    assert reading.question == ""
    assert Change.objects.get(topic="reading.added").subject_id == str(loader.pk)


def test_the_same_reading_again_changes_nothing(loader: Machine, mia: Actor) -> None:
    assert _read(loader, mia, 1240).pk == _read(loader, mia, 1240).pk
    assert MeterReading.objects.filter(machine=loader).count() == 31


@pytest.mark.parametrize(("meter_h", "code"), [(1200.0, "backwards"), (1300.0, "jump")])
def test_an_odd_reading_is_asked_back_and_taken_with_a_reason(
    loader: Machine, mia: Actor, meter_h: float, code: str
) -> None:
    # trade-values 9.1: backwards, or more than 24 h per elapsed day, is questioned, not accepted.
    with pytest.raises(ReadingQuestionedError) as refused:
        _read(loader, mia, meter_h)
    assert refused.value.errors[0].code == code
    assert MeterReading.objects.filter(machine=loader).count() == 30
    assert _read(loader, mia, meter_h, reason="Looked twice").question == code


def test_a_new_meter_may_start_low(loader: Machine, mia: Actor) -> None:
    assert _read(loader, mia, 3, is_new_meter=True).question == ""
    assert machine_views(loader.site_id)[0].last is not None


def test_the_due_date_follows_from_recent_use(
    loader: Machine, mia: Actor, oil: ServiceItem
) -> None:
    # 250 h from 1,000 h; at 1,232 h on 3 March and 8 h a day, 18 h are left: 2.25 days, so 5 March.
    due = machine_views(loader.site_id)[0].dues[0].due
    assert due.left_h == pytest.approx(18)
    assert due.due_on is not None
    assert due.due_on.isoformat() == "2026-03-05"


def test_a_service_is_recorded_with_its_next_due(
    loader: Machine, mia: Actor, oil: ServiceItem
) -> None:
    done = record_service(
        site_id=loader.site_id,
        machine_id=loader.pk,
        item_id=oil.pk,
        done_at=NOW,
        meter_h=1240,
        by=mia,
        minutes=150,
        parts="filter",
        cost=Decimal("180.00"),
    )
    assert done.record.cycle == 1
    assert done.next_due.due.left_h == pytest.approx(250)
    change = Change.objects.get(topic="service.recorded")
    assert change.detail == {"item": oil.pk, "cycle": 1}


def test_a_service_of_another_kind_of_machine_is_not_there(
    site: Site, mia: Actor, oil: ServiceItem
) -> None:
    truck = make_machine(site, "truck-1", kind=MachineKind.TRUCK)
    with pytest.raises(NotFoundError):
        record_service(
            site_id=site.pk, machine_id=truck.pk, item_id=oil.pk, done_at=NOW, meter_h=1, by=mia
        )


@pytest.fixture
def lines(site: Site) -> list[CheckItem]:
    return [
        CheckItem.objects.create(
            site=site,
            key=key,
            name=key,
            machine_kind=MachineKind.LOADER,
            position=n,
            is_safety=is_safety,
            text={"en": f"{key} as it should be"},
        )
        for n, (key, is_safety) in enumerate([("brakes", True), ("lights", False)])
    ]


def _check(machine: Machine, by: Actor, *answers: Mapping[str, object]) -> str:
    return submit_check(
        site_id=machine.site_id, machine_id=machine.pk, answers=answers, by=by, at=NOW
    ).verdict


def test_a_failed_safety_line_takes_the_machine_out_at_once(
    loader: Machine, mia: Actor, lines: list[CheckItem]
) -> None:
    brakes, lights = (line.pk for line in lines)
    bad = {"item": brakes, "ok": False, "can_work": True}
    assert _check(loader, mia, bad, {"item": lights, "ok": True}) == Verdict.PARK
    assert Hold.objects.filter(subject_id=loader.pk, cleared_at=None).exists()
    assert loader.pk not in usable_machine_ids(loader.site_id)
    assert Defect.objects.get().is_safety


def test_a_small_fault_lets_it_run_with_care(
    loader: Machine, mia: Actor, lines: list[CheckItem]
) -> None:
    brakes, lights = (line.pk for line in lines)
    bad = {"item": lights, "ok": False, "can_work": True}
    assert _check(loader, mia, {"item": brakes, "ok": True}, bad) == Verdict.WITH_CARE
    assert loader.pk in usable_machine_ids(loader.site_id)


def test_a_look_round_with_a_line_missing_is_refused(
    loader: Machine, mia: Actor, lines: list[CheckItem]
) -> None:
    with pytest.raises(CheckAnswersError):
        _check(loader, mia, {"item": lines[0].pk, "ok": True})


def test_a_repair_holds_the_machine_until_a_named_person_returns_it(
    loader: Machine, mia: Actor
) -> None:
    ids = {"site_id": loader.site_id, "machine_id": loader.pk}
    repair = start_repair(**ids, cause="Hydraulic hose", by=mia, at=NOW)
    with pytest.raises(MachineStateError):
        start_repair(**ids, cause="Again", by=mia, at=NOW)
    assert loader.pk not in usable_machine_ids(loader.site_id)
    later = NOW + timedelta(hours=3)
    end_repair(site_id=loader.site_id, repair_id=repair.pk, by=mia, at=later)
    assert loader.pk in usable_machine_ids(loader.site_id)
    assert Repair.objects.get().cleared_by == mia


def test_a_machine_does_not_stand_in_for_itself(loader: Machine, mia: Actor) -> None:
    with pytest.raises(MachineStateError):
        start_repair(
            site_id=loader.site_id,
            machine_id=loader.pk,
            cause="x",
            by=mia,
            at=NOW,
            substitute_id=loader.pk,
        )


def test_a_defect_that_could_hurt_holds_and_closing_it_does_not_clear_the_hold(
    loader: Machine, mia: Actor
) -> None:
    defect = report_defect(
        site_id=loader.site_id,
        machine_id=loader.pk,
        text="Seat belt",
        is_safety=True,
        by=mia,
        at=NOW,
    )
    close_defect(site_id=loader.site_id, defect_id=defect.pk, by=mia, at=NOW)
    assert Hold.objects.get().cleared_at is None


def test_another_sites_machine_is_not_there(loader: Machine, mia: Actor) -> None:
    with pytest.raises(NotFoundError):
        add_reading(
            site_id=make_site("other").pk, machine_id=loader.pk, meter_h=1, read_at=NOW, by=mia
        )


def test_views_cost_the_same_queries_for_any_number_of_machines(
    site: Site,
    loader: Machine,
    django_assert_num_queries: pytest.FixtureRequest,
) -> None:
    for n in range(5):
        make_machine(site, f"more-{n}", kind=MachineKind.LOADER)
    with django_assert_num_queries(9):  # type: ignore[operator]  # new readings are there
        machine_views(site.pk)
    with django_assert_num_queries(8):  # type: ignore[operator]
        machine_views(site.pk)
