"""Reads about machines: meters, what is due, who is down. Fixed numbers of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q, QuerySet

from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Hold, HoldSubject, Site
from equipment.site.queries import site_of

from .calc import meter, service_due, use
from .calc.downtime import Span
from .histories import meter_histories
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
    series: meter.MeterSeries,
    items: Iterable[ServiceItem],
    records: Sequence[ServiceRecord],
    zone: ZoneInfo,
    *,
    recent: use.DailyUse | None,
) -> list[ItemDue]:
    """Say when each service of a machine is due, soonest first; nothing before a reading."""
    if not series.kept:
        return []
    now = service_due.ServicePoint(local_date_of(series.kept[-1].at, zone), series.totals_h[-1])
    dues = [
        ItemDue(item, service_due.service_due(state_of(item, series, records, zone), now, recent))
        for item in items_for(machine, items)
    ]
    return sorted(dues, key=lambda d: (d.due.due_on or date.max, d.item.key))


def holds_and_repairs(site_id: int) -> tuple[list[Hold], list[Repair]]:
    """All there ever were of machines, in order: 2 queries."""
    holds = Hold.objects.filter(site_id=site_id, subject_kind=HoldSubject.MACHINE)
    repairs = Repair.objects.filter(site_id=site_id).select_related("substitute", "reported_by")
    return list(holds.order_by("put_at", "id")), list(repairs.order_by("down_from", "id"))


def laid_up_spans(holds: Iterable[Hold], repairs: Iterable[Repair]) -> dict[int, list[Span]]:
    """When each machine was on hold or under repair, now included."""
    found: dict[int, list[Span]] = defaultdict(list)
    for hold in holds:
        found[hold.subject_id].append(Span(hold.put_at, hold.cleared_at))
    for repair in repairs:
        found[repair.machine_id].append(Span(repair.down_from, repair.down_until))
    return found


def machine_views(site_id: int, machine_id: int | None = None) -> list[MachineView]:
    """All machines (or one) as pages and plans see them: 8 queries, 9 after a new reading."""
    zone = site_of(site_id).zone
    machines = machines_of(site_id)
    if machine_id is not None:
        machines = machines.filter(id=machine_id)
    defects = _grouped(
        Defect.objects.filter(site_id=site_id, closed_at=None)
        .select_related("reported_by")
        .order_by("reported_at")
    )
    return _views(site_id, zone, machines, defects)


def machines_ahead(site: Site) -> list[MachineView]:
    """All machines, what is due on them and what holds them; defects left out: 6 queries, 7 after
    a new reading.
    """
    return _views(site.pk, site.zone, machines_of(site.pk), {})


def _views(
    site_id: int,
    zone: ZoneInfo,
    machines: Iterable[Machine],
    defects: Mapping[int, Sequence[Defect]],
) -> list[MachineView]:
    """Put machines together with what is due and what holds them: 5 queries besides theirs."""
    histories = meter_histories(site_id)
    items = list(ServiceItem.objects.filter(site_id=site_id, retired_at=None))
    records = _grouped(ServiceRecord.objects.filter(site_id=site_id).order_by("done_at"))
    all_holds, all_repairs = holds_and_repairs(site_id)
    laid_up = laid_up_spans(all_holds, all_repairs)
    holds = defaultdict(list)
    for hold in all_holds:
        if hold.cleared_at is None:
            holds[hold.subject_id].append(hold.reason)
    repairs = {r.machine_id: r for r in all_repairs if r.down_until is None}

    def view_of(machine: Machine) -> MachineView:
        history = histories.get(machine.pk)
        series = history.series if history else meter.MeterSeries(())
        recent = history.recent_use(laid_up.get(machine.pk, ())) if history else None
        done = records.get(machine.pk, [])
        return MachineView(
            machine=machine,
            last=history.last if history else None,
            use=recent,
            dues=tuple(dues_of(machine, series, items, done, zone, recent=recent)),
            holds=tuple(holds.get(machine.pk, ())),
            defects=tuple(defects.get(machine.pk, ())),
            repair=repairs.get(machine.pk),
        )

    return [view_of(machine) for machine in machines]


def _grouped(rows: Iterable[Row]) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        found[row.machine_id].append(row)
    return found


def out_of_use(machine_ref: str) -> Q:
    """Say in a query that a machine, named by the field that refers to it, is held or down."""
    held = Hold.objects.filter(
        subject_kind=HoldSubject.MACHINE, subject_id=OuterRef(machine_ref), cleared_at=None
    )
    down = Repair.objects.filter(machine_id=OuterRef(machine_ref), down_until=None)
    return Q(Exists(held)) | Q(Exists(down))


def usable_machine_ids(site_id: int) -> set[int]:
    """Machines that nothing takes out of use: 1 query. Never shown wrong."""
    machines = Machine.objects.filter(site_id=site_id, retired_at=None)
    return set(machines.exclude(out_of_use("pk")).values_list("id", flat=True))


def services_between(site_id: int, start: datetime, end: datetime) -> QuerySet[ServiceRecord]:
    """Services done in a span, with machine, item and who: 1 query."""
    rows = ServiceRecord.objects.filter(site_id=site_id, done_at__gte=start, done_at__lt=end)
    return rows.select_related("machine", "item", "by")
