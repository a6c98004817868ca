"""Services by the meter of a machine."""

from datetime import date, timedelta
from typing import Any

import pytest

from equipment.machines.models import Machine, MeterReading, ServiceItem, ServiceRecord
from equipment.site.models import Site
from schedules.work.models import (
    Outcome,
    StandingOrder,
    Trigger,
    WorkOrder,
)
from schedules.work.reconcile import Counts
from tests.factories import (
    make_actor,
    make_machine,
    make_standing_order,
    utc,
)

from .passes import NOW, open_order, run_at

pytestmark = pytest.mark.django_db


def _read(machine: Machine, days_ago: float, meter_h: float) -> None:
    MeterReading.objects.create(
        site=machine.site,
        machine=machine,
        read_at=NOW - timedelta(days=days_ago),
        meter_h=meter_h,
        by=make_actor(machine.site, f"reader-{meter_h}"),
    )


@pytest.fixture
def loader(site: Site) -> Machine:
    """Runs 10 h a day; its oil is due at 2,250 h, in five days."""
    machine = make_machine(site)
    for days_ago in range(20, -1, -5):
        _read(machine, days_ago, 2200 - 10 * days_ago)
    item = ServiceItem.objects.create(
        site=site,
        key="oil",
        name="Oil",
        title={"en": "Change the oil"},
        machine_kind=machine.kind,
        every_h=250,
        duration_min=150,
        skill="mechanic",
    )
    _record(machine, item, 20, cycle=1)
    return machine


def _record(machine: Machine, item: ServiceItem, days_ago: float, cycle: int) -> None:
    ServiceRecord.objects.create(
        site=machine.site,
        machine=machine,
        item=item,
        cycle=cycle,
        done_at=NOW - timedelta(days=days_ago),
        meter_h=2000,
        by=make_actor(machine.site, f"mechanic-{cycle}"),
    )


def _service(site: Site, **rule: Any) -> StandingOrder:
    return make_standing_order(
        site,
        "service",
        trigger=Trigger.METER,
        rule=rule,
        target={},
        duration={"from_service_item": True, "base_min": 10},
        machine_kinds=["loader"],
    )


def test_a_service_is_made_so_many_days_before_the_meter_is_there(
    site: Site, loader: Machine
) -> None:
    _service(site, due_within_d=5)
    run_at(site)
    order = open_order()
    assert (order.natural_key, order.cycle) == ("loader-1/oil/2", 2)
    assert (order.for_machine_id, order.place_id) == (loader.pk, loader.home_id)
    assert order.local_date == date(2026, 3, 9)
    assert order.due_at == utc("2026-03-10 06:00")  # the end of that day
    assert (order.title, order.skill, order.duration_min) == (
        {"en": "Change the oil"},
        "mechanic",
        160,
    )
    assert order.machine_kinds == []  # the machine stands still for it


def test_a_service_further_off_is_not_made_yet(site: Site, loader: Machine) -> None:
    _service(site, due_within_d=4)
    assert run_at(site) == Counts()
    assert run_at(site, NOW + timedelta(days=1)).n_made == 1


def test_harder_use_moves_the_service(site: Site, loader: Machine) -> None:
    _service(site, due_within_d=5)
    run_at(site)
    _read(loader, -1, 2230)
    assert run_at(site, NOW + timedelta(days=1)).n_moved == 1
    assert open_order().local_date == date(2026, 3, 7)


def test_an_overdue_service_stays_due(site: Site, loader: Machine) -> None:
    _service(site, due_within_d=5)
    run_at(site)
    for days in range(6, 40, 5):
        run_at(site, NOW + timedelta(days=days))
        assert open_order().due_at > NOW + timedelta(days=days)


def test_a_service_record_closes_its_order_and_asks_for_the_next_cycle(
    site: Site, loader: Machine
) -> None:
    _service(site, due_within_d=5)
    run_at(site)
    _record(loader, ServiceItem.objects.get(), 0, cycle=2)
    run_at(site)
    order = WorkOrder.objects.get()
    assert (order.outcome, order.ended_at) == (Outcome.DONE, NOW)
    assert order.ended_by is not None
    assert order.ended_by.key == "mechanic-2"


def test_only_the_items_and_kinds_named_are_serviced(site: Site, loader: Machine) -> None:
    _service(site, due_within_d=5, service_items=["grease"])
    assert run_at(site) == Counts()
    StandingOrder.objects.update(
        trigger_rule={"due_within_d": 5, "machine_kinds": ["truck"], "service_items": ["oil"]}
    )
    assert run_at(site) == Counts()
