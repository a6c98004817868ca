"""Reads about machines: meters, what is due, who is down. Fixed numbers of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from equipment.site.calc.local_time import local_date_of
from equipment.site.models import HoldSubject, Site
from equipment.site.queries import open_holds

from .calc import meter, service_due, use
from .models import Defect, Machine, MeterReading, Repair, ServiceItem, ServiceRecord

DUE_SOON_H = 50.0
DUE_SOON_D = 7
Row = TypeVar("Row", ServiceRecord, Defect)


@dataclass(frozen=True, slots=True)
class ItemDue:
    """One service item of one machine, and when it is next due."""

    item: ServiceItem
    due: service_due.ServiceDue

    @property
    def is_over(self) -> bool:
        """Whether its hours have run out."""
        return self.due.left_h is not None and self.due.left_h <= 0


@dataclass(frozen=True, slots=True)
class MachineView:
    """A machine with all that a page or a plan asks about it."""

    machine: Machine
    last: MeterReading | None
    use: use.DailyUse | None
    dues: tuple[ItemDue, ...]
    holds: tuple[str, ...]
    defects: tuple[Defect, ...]
    repair: Repair | None

    @property
    def is_usable(self) -> bool:
        """Whether nothing takes it out of use."""
        return not self.holds and self.repair is None


def machines_of(site_id: int) -> QuerySet[Machine]:
    """Machines not retired: 1 query."""
    return (
        Machine.objects.filter(site_id=site_id, retired_at=None)
        .select_related("home")
        .order_by("kind", "name")
    )


def series_of(readings: Iterable[MeterReading]) -> meter.MeterSeries:
    """Make the meter series of one machine's readings, given in order of time."""
    return meter.MeterSeries(
        tuple(meter.Reading(r.read_at, r.meter_h, r.is_new_meter) for r in readings)
    )


def readings_by_machine(site_id: int) -> dict[int, list[MeterReading]]:
    """All readings of a site by machine, in order of time: 1 query."""
    found: dict[int, list[MeterReading]] = defaultdict(list)
    for reading in MeterReading.objects.filter(site_id=site_id).order_by("read_at"):
        found[reading.machine_id].append(reading)
    return found


def items_for(machine: Machine, items: Iterable[ServiceItem]) -> list[ServiceItem]:
    """Pick the service items that apply to a machine: its own, and those of its kind."""
    return [
        item
        for item in items
        if item.machine_id == machine.pk
        or (item.machine_id is None and item.machine_kind == machine.kind)
    ]


def state_of(
    item: ServiceItem,
    series: meter.MeterSeries,
    records: Sequence[ServiceRecord],
    zone: ZoneInfo,
) -> service_due.ServiceState:
    """Give an item's state from the machine's meter and its records of that item."""
    began = series.kept[0]
    done = [
        service_due.ServicePoint(
            local_date_of(record.done_at, zone), series.total_h_at(record.done_at)
        )
        for record in records
        if record.item_id == item.pk
    ]
    return service_due.ServiceState(
        service_due.ServiceItem(item.key, item.every_h, item.every_d, item.first_at_h),
        service_due.ServicePoint(local_date_of(began.at, zone), series.totals_h[0]),
        tuple(done),
    )


def dues_of(
    machine: Machine,
    readings: Sequence[MeterReading],
    items: Iterable[ServiceItem],
    records: Sequence[ServiceRecord],
    zone: ZoneInfo,
) -> list[ItemDue]:
    """Say when each service of a machine is due, soonest first; nothing before a reading."""
    if not readings:
        return []
    series = series_of(readings)
    now = service_due.ServicePoint(local_date_of(series.kept[-1].at, zone), series.totals_h[-1])
    recent = use.recent_use(series)
    dues = [
        ItemDue(item, service_due.service_due(state_of(item, series, records, zone), now, recent))
        for item in items_for(machine, items)
    ]
    return sorted(dues, key=lambda d: (d.due.due_on or date.max, d.item.key))


def machine_views(site_id: int, machine_id: int | None = None) -> list[MachineView]:
    """All machines (or one) as pages and plans see them: 8 queries."""
    zone = Site.objects.get(id=site_id).zone
    machines = machines_of(site_id)
    if machine_id is not None:
        machines = machines.filter(id=machine_id)
    readings = readings_by_machine(site_id)
    items = list(ServiceItem.objects.filter(site_id=site_id, retired_at=None))
    records = _grouped(ServiceRecord.objects.filter(site_id=site_id).order_by("done_at"))
    holds = defaultdict(list)
    for hold in open_holds(site_id, HoldSubject.MACHINE):
        holds[hold.subject_id].append(hold.reason)
    defects = _grouped(
        Defect.objects.filter(site_id=site_id, closed_at=None)
        .select_related("reported_by")
        .order_by("reported_at")
    )
    repairs = {
        repair.machine_id: repair
        for repair in Repair.objects.filter(site_id=site_id, down_until=None).select_related(
            "substitute", "reported_by"
        )
    }
    return [
        MachineView(
            machine=machine,
            last=readings[machine.pk][-1] if readings.get(machine.pk) else None,
            use=use.recent_use(series_of(readings.get(machine.pk, []))),
            dues=tuple(
                dues_of(
                    machine,
                    readings.get(machine.pk, []),
                    items,
                    records.get(machine.pk, []),
                    zone,
                )
            ),
            holds=tuple(holds.get(machine.pk, ())),
            defects=tuple(defects.get(machine.pk, ())),
            repair=repairs.get(machine.pk),
        )
        for machine in machines
    ]


def _grouped(rows: Iterable[Row]) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        found[row.machine_id].append(row)
    return found


def usable_machine_ids(site_id: int, at: datetime) -> set[int]:
    """Machines that nothing takes out of use at an instant: 3 queries. Never shown wrong."""
    held = set(open_holds(site_id, HoldSubject.MACHINE).values_list("subject_id", flat=True))
    down = set(
        Repair.objects.filter(site_id=site_id, down_from__lte=at, down_until=None).values_list(
            "machine_id", flat=True
        )
    )
    ids = Machine.objects.filter(site_id=site_id, retired_at=None).values_list("id", flat=True)
    return set(ids) - held - down
