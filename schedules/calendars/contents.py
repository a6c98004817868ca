"""What stands in each kind of calendar, in words: shifts, jobs, services due, batches drying."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from crews.roster.models import WORKING, Shift
from equipment.machines.queries import machine_views
from equipment.site.calc.local_time import resolve
from equipment.site.models import Site
from equipment.site.queries import current_language, place_name
from schedules.dayplan.queries import assignment_of, claims_shown
from schedules.sand.models import DryForecast
from schedules.work.models import Status, WorkOrder
from schedules.work.queries import say_amount, say_title

from .models import Calendar, CalendarKind

BACK, AHEAD = timedelta(days=14), timedelta(days=60)


@dataclass(frozen=True, slots=True)
class Item:
    """One event: when, what, where. Days without a time of day have dates; the end is exclusive."""

    key: str
    start: datetime | date
    end: datetime | date
    summary: str
    location: str = ""
    description: str = ""

    def body(self) -> dict[str, str]:
        """Give what is kept of it; what differs is a change."""
        return {
            "start": self.start.isoformat(),
            "end": self.end.isoformat(),
            "summary": self.summary,
            "location": self.location,
            "description": self.description,
        }

    def ends_at(self, site: Site) -> datetime:
        """Give the instant at which it is over."""
        if isinstance(self.end, datetime):
            return self.end
        return resolve(datetime.combine(self.end, time()), site.zone)


def items_of(calendar: Calendar, now: datetime) -> list[Item]:
    """Give what stands in a calendar from two weeks ago to two months ahead: up to 13 queries."""
    found = CONTENTS[CalendarKind(calendar.kind)](calendar, now - BACK, now + AHEAD)
    return [item for item in found if item.ends_at(calendar.site) > now - BACK]


def _of_worker(calendar: Calendar, since: datetime, until: datetime) -> Iterator[Item]:
    shifts = Shift.objects.filter(
        worker=calendar.worker, presence__in=WORKING, ends_at__gt=since, starts_at__lt=until
    )
    for shift in shifts.select_related("pattern").order_by("starts_at"):
        words = _("Shift: %s") % shift.pattern.name
        yield Item(f"shift-{shift.pk}", shift.starts_at, shift.ends_at, words)
    yield from _jobs(calendar.site, Q(worker_id=calendar.worker_id), since, until)


def _of_crew(calendar: Calendar, since: datetime, until: datetime) -> Iterator[Item]:
    yield from _jobs(calendar.site, Q(worker__crew_id=calendar.crew_id), since, until)


def _of_machine(calendar: Calendar, since: datetime, until: datetime) -> Iterator[Item]:
    yield from _jobs(calendar.site, Q(machine_id=calendar.machine_id), since, until)
    for view in machine_views(calendar.site_id, calendar.machine_id):
        for due in view.dues:
            if due.due.due_on is not None:
                title = due.item.title.get(current_language()) or due.item.name
                yield _whole_day(
                    f"service-{due.item.pk}-{due.due.cycle}",
                    due.due.due_on,
                    _("Service due: %s") % title,
                    view.machine.name,
                )


def _jobs(site: Site, whose: Q, since: datetime, until: datetime) -> Iterator[Item]:
    """Give work that is planned or was done, one event for each work order: 2 queries."""
    rows = (
        claims_shown()
        .filter(whose, site=site, span__overlap=(since, until))
        .select_related("assignment__work_order__place", "assignment__work_order__standing_order")
        .order_by("span", "id")
    )
    orders = {row.assignment.work_order_id: row for row in rows}
    things = _people_and_machines(row.assignment_id for row in orders.values())
    for claim in orders.values():
        order = claim.assignment.work_order
        if order.status != Status.CANCELLED:
            with_whom = things[claim.assignment_id]
            yield _job(site, order, claim.span.lower, claim.span.upper, with_whom)


def _people_and_machines(assignment_ids: Iterable[int]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = defaultdict(list)
    rows = claims_shown().filter(assignment_id__in=list(assignment_ids), place=None)
    for row in rows.select_related("worker", "machine").order_by("machine_id", "worker_id"):
        thing = row.worker or row.machine
        if thing is not None and thing.name not in found[row.assignment_id]:
            found[row.assignment_id].append(thing.name)
    return found


def _job(
    site: Site, order: WorkOrder, start: datetime, end: datetime, with_whom: list[str]
) -> Item:
    rule = order.standing_order
    how, caution = (_said(rule.how), _said(rule.caution)) if rule else ("", "")
    lines = [say_amount(order), ", ".join(with_whom), how, caution]
    return Item(
        key=f"work-{order.pk}",
        start=start,
        end=end,
        summary=say_title(order),
        location=place_name(site, order.place, current_language()),
        description="\n".join(line for line in lines if line),
    )


def _said(texts: dict[str, str]) -> str:
    return texts.get(current_language()) or texts.get("en") or ""


def _of_pad(calendar: Calendar, since: datetime, until: datetime) -> Iterator[Item]:
    """Give work on the pad and its bays, planned or only due, and when batches should be dry."""
    here = Q(place_id=calendar.pad_id) | Q(place__bay__pad_id=calendar.pad_id)
    orders = WorkOrder.objects.filter(
        here, site=calendar.site, due_at__gt=since, starts_after__lt=until
    ).exclude(status=Status.CANCELLED)
    chosen = list(
        orders.select_related("place", "standing_order", "assignment").order_by("due_at", "id")
    )
    given = {order.pk: assignment_of(order) for order in chosen}
    things = _people_and_machines(one.pk for one in given.values() if one)
    for order in chosen:
        one = given[order.pk]
        span = (one.starts_at, one.ends_at) if one else (order.starts_after, order.due_at)
        yield _job(calendar.site, order, *span, things[one.pk] if one else [])
    yield from _drying(calendar)


def _drying(calendar: Calendar) -> Iterator[Item]:
    """Give the day by which each batch on the pad is as likely dry as not: 1 query."""
    latest = (
        DryForecast.objects.filter(batch__place__bay__pad_id=calendar.pad_id)
        .filter(site=calendar.site, batch__ended_at=None)
        .select_related("batch__place")
        .order_by("batch_id", "-made_at", "-id")
        .distinct("batch_id")
    )
    for forecast in latest:
        place = forecast.batch.place
        if forecast.dry_on_p50 is not None and place is not None:
            where = place_name(calendar.site, place, current_language())
            words = _("Batch %d expected dry") % forecast.batch.number
            yield _whole_day(f"dry-{forecast.batch_id}", forecast.dry_on_p50, words, where)


def _whole_day(key: str, on: date, summary: str, location: str) -> Item:
    return Item(key, on, on + timedelta(days=1), summary, location)


Contents = Callable[[Calendar, datetime, datetime], Iterator[Item]]
CONTENTS: dict[CalendarKind, Contents] = {
    CalendarKind.WORKER: _of_worker,
    CalendarKind.CREW: _of_crew,
    CalendarKind.MACHINE: _of_machine,
    CalendarKind.PAD: _of_pad,
}


def subject_of(calendar: Calendar) -> Any:
    """Give the person, crew, machine or place that a calendar is about."""
    if calendar.kind == CalendarKind.PAD:
        return calendar.pad.place if calendar.pad else None
    return getattr(calendar, calendar.kind)
