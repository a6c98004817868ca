"""Meter readings, and services recorded by them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from equipment.errors import (
    CostError,
    ReadingQuestionedError,
)
from equipment.machines.calc import meter
from equipment.machines.calc.use import recent_use
from equipment.machines.histories import series_of
from equipment.machines.models import (
    Machine,
    MeterReading,
    ServiceItem,
    ServiceRecord,
)
from equipment.machines.queries import ItemDue, dues_of, holds_and_repairs, laid_up_spans
from equipment.site.errors import FieldFault, NotFoundError
from equipment.site.models import Actor, Event, Site
from equipment.site.writes import site_write

from .common import locked_machine


@dataclass(frozen=True, slots=True)
class AddedReading:
    """A reading, and the service items it shows to be due."""

    reading: MeterReading
    due_items: tuple[ServiceItem, ...]


def add_reading(
    *,
    site_id: int,
    machine_id: int,
    meter_h: float,
    read_at: datetime,
    by: Actor,
    now: datetime | None = None,
    is_new_meter: bool = False,
    reason: str = "",
    source: str = "person",
    event: Event | None = None,
) -> AddedReading:
    """Add what an hour meter showed; an odd figure is refused until it comes with a reason.

    A figure sent again for the same instant changes nothing. Readings may come late and out of
    order. Tells upper rooms (`reading.added`).
    """
    with site_write(site_id, now or read_at) as write:
        machine = locked_machine(site_id, machine_id)
        earlier = list(MeterReading.objects.filter(machine=machine).order_by("read_at"))
        same = next((r for r in earlier if r.read_at == read_at), None)
        if same is not None and same.meter_h == meter_h:
            return AddedReading(same, ())
        new = meter.Reading(read_at, meter_h, is_new_meter)
        question = _question(earlier, new, now or read_at)
        if same is not None or (question and not reason.strip()):
            raise _questioned(machine, earlier, meter_h, question or meter.Question.DUPLICATE)
        reading = MeterReading.objects.create(
            site_id=site_id,
            machine=machine,
            read_at=read_at,
            meter_h=meter_h,
            is_new_meter=is_new_meter,
            source=source,
            by=by,
            event=event,
            question=question or "",
            reason=reason,
        )
        write.change("reading.added", machine.pk)
        due = _due_now(machine)
    return AddedReading(reading, tuple(d.item for d in due))


def _question(
    earlier: Sequence[MeterReading], new: meter.Reading, now: datetime
) -> meter.Question | None:
    asked = meter.questions_about(series_of(earlier), new, now)
    return asked[0] if asked else None


def _questioned(
    machine: Machine,
    earlier: Sequence[MeterReading],
    meter_h: float,
    question: meter.Question,
) -> ReadingQuestionedError:
    """Say what is odd, against what, and what to do."""
    last = earlier[-1].meter_h if earlier else 0.0
    words = {
        meter.Question.BACKWARDS: _("%(new)s h is below the last figure, %(last)s h."),
        meter.Question.JUMP: _("%(new)s h is more than a day holds since the last, %(last)s h."),
        meter.Question.TOO_OLD: _("%(new)s h was read too long ago; the last is %(last)s h."),
        meter.Question.IN_FUTURE: _("%(new)s h is dated later than now; the last is %(last)s h."),
        meter.Question.DUPLICATE: _("%(new)s h: another figure stands for that moment already."),
    }
    said = words[question] % {"new": f"{meter_h:,.1f}", "last": f"{last:,.1f}"}
    todo = _("Look again; if it is right, send it with the reason (or say it is a new meter).")
    fault = FieldFault("/meter_h", str(question), said)
    return ReadingQuestionedError(f"{machine.name}: {said} {todo}", [fault])


def _due_now(machine: Machine) -> list[ItemDue]:
    site = Site.objects.get(id=machine.site_id)
    items = ServiceItem.objects.filter(site=site, retired_at=None)
    return [due for due in _dues(machine, items, site) if due.is_over]


def _dues(machine: Machine, items: Iterable[ServiceItem], site: Site) -> list[ItemDue]:
    series = series_of(MeterReading.objects.filter(machine=machine).order_by("read_at"))
    records = list(ServiceRecord.objects.filter(machine=machine).order_by("done_at"))
    laid_up = laid_up_spans(*holds_and_repairs(site.pk)).get(machine.pk, ())
    recent = recent_use(series, laid_up)
    return dues_of(machine, series, items, records, site.zone, recent=recent)


@dataclass(frozen=True, slots=True)
class RecordedService:
    """A service record, and when the item is next due."""

    record: ServiceRecord
    next_due: ItemDue


def record_service(
    *,
    site_id: int,
    machine_id: int,
    item_id: int,
    done_at: datetime,
    meter_h: float,
    by: Actor,
    minutes: int = 0,
    parts: str = "",
    cost: Decimal = Decimal(0),
    note: str = "",
    reason: str = "",
    now: datetime | None = None,
) -> RecordedService:
    """Record that a service was done, with its reading; gives the next due date.

    The reading is checked like any other. The cycle number is the next of its item, so the work
    order of that cycle is closed by whoever reads `service.recorded`.
    """
    if minutes < 0 or cost < 0:
        raise CostError(_("Minutes and cost cannot be below zero."))
    with site_write(site_id, now or done_at) as write:
        machine = locked_machine(site_id, machine_id)
        item = _item_of(machine, item_id)
        add_reading(
            site_id=site_id,
            machine_id=machine_id,
            meter_h=meter_h,
            read_at=done_at,
            by=by,
            now=now,
            reason=reason,
            source="service",
        )
        record = ServiceRecord.objects.create(
            site_id=site_id,
            machine=machine,
            item=item,
            cycle=ServiceRecord.objects.filter(machine=machine, item=item).count() + 1,
            done_at=done_at,
            meter_h=meter_h,
            minutes=minutes,
            parts=parts,
            cost=cost,
            note=note,
            by=by,
        )
        write.change("service.recorded", machine.pk, item=item.pk, cycle=record.cycle)
    return RecordedService(record, _next_due(machine, item))


def _item_of(machine: Machine, item_id: int) -> ServiceItem:
    item = ServiceItem.objects.filter(site_id=machine.site_id, id=item_id, retired_at=None).first()
    fits = item and (
        item.machine_id == machine.pk
        or (item.machine_id is None and item.machine_kind == machine.kind)
    )
    if item is None or not fits:
        raise NotFoundError(_("%s has no such service item.") % machine.name)
    return item


def _next_due(machine: Machine, item: ServiceItem) -> ItemDue:
    site = Site.objects.get(id=machine.site_id)
    return next(due for due in _dues(machine, [item], site) if due.item == item)
