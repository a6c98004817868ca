"""By hand: a lead gives a work order to people and a machine; the plan keeps it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from crews.people.models import Worker
from crews.roster.queries import working_shifts
from equipment.machines.models import Machine
from equipment.machines.queries import usable_machine_ids
from equipment.site.clock import say_clock
from equipment.site.errors import NotFoundError, StaleError
from equipment.site.models import Actor, Site
from equipment.site.queries import current_language, place_name
from equipment.site.writes import site_write
from schedules.errors import AlreadyBookedError, CannotAssignError
from schedules.work.models import Status, WorkOrder
from schedules.work.queries import say_title

from .models import Assignment, Claim, Unassigned
from .queries import span_taken
from .refusals import team_or_refuse
from .services import claims_of, remember_order, unbind_claims


def reassign(
    *,
    site_id: int,
    work_order_id: int,
    worker_ids: Sequence[int],
    machine_id: int | None,
    starts_at: datetime,
    by: Actor,
    at: datetime,
    version: int | None = None,
) -> Assignment:
    """Give a work order to people and a machine by hand, from a time on; the plan keeps it.

    Refused when a person or the machine is on other work then (`already_booked`, naming it), is
    out of use, or not on shift, and where a hard rule of the plan is broken. `version` is the work
    order's, as the lead read it.
    """
    with site_write(site_id, at) as write:
        Site.objects.select_for_update(no_key=True).get(id=site_id)
        order = _open_order(site_id, work_order_id, version)
        workers = _find_workers(site_id, worker_ids)
        _refuse_unusable(site_id, machine_id)
        start, end = _span_in_window(order, _to_the_second(order, starts_at))
        remember_order(order)
        Assignment.objects.filter(work_order=order).delete()
        row = Assignment(
            site_id=site_id,
            work_order=order,
            starts_at=start,
            ends_at=end,
            is_by_hand=True,
            by=by,
        )
        _refuse_off_shift(site_id, workers, row)
        workers = team_or_refuse(order, workers, machine_id, (start, end), at)
        row.save()
        claims = claims_of(row, [w.pk for w in workers], machine_id, order)
        unbind_claims(site_id)
        _refuse_booked(site_id, claims, at)
        Claim.objects.bulk_create(claims)
        Unassigned.objects.filter(work_order=order).delete()
        _bump(order, at)
        write.change("plan.by_hand", order.pk)
    return row


def _to_the_second(order: WorkOrder, starts_at: datetime) -> datetime:
    """Give the planned start where it lies in the minute that was given, else what was given."""
    planned = (
        Assignment.objects.filter(work_order=order).values_list("starts_at", flat=True).first()
    )
    if planned is not None and starts_at <= planned < starts_at + timedelta(minutes=1):
        return planned
    return starts_at


def _span_in_window(order: WorkOrder, starts_at: datetime) -> tuple[datetime, datetime]:
    """Give start and end inside the order's window: cows and flushes keep to it, whoever decides.

    A start is given to the minute: one in the minute in which the window opens means its opening.
    """
    if starts_at < order.starts_after < starts_at + timedelta(minutes=1):
        starts_at = order.starts_after
    end = starts_at + timedelta(minutes=order.duration_min)
    if starts_at < order.starts_after or end > order.due_at:
        site = Site.objects.get(id=order.site_id)
        raise CannotAssignError(
            _("It takes %(needs).0f min and must lie between %(start)s and %(end)s.")
            % {
                "needs": order.duration_min,
                "start": say_clock(site, order.starts_after),
                "end": say_clock(site, order.due_at),
            }
        )
    return starts_at, end


def _open_order(site_id: int, work_order_id: int, version: int | None) -> WorkOrder:
    order = (
        WorkOrder.objects.select_for_update(of=("self",), no_key=True)
        .select_related("place")
        .filter(site_id=site_id, id=work_order_id)
        .first()
    )
    if order is None:
        raise NotFoundError(_("There is no such work order here."))
    if version is not None and order.version != version:
        raise StaleError(_("The work order changed since you read it. Read it again."))
    if order.status not in (Status.NEEDS_ACTION, Status.IN_PROCESS):
        raise CannotAssignError(_("The work order is closed: nobody can be given it."))
    return order


def _find_workers(site_id: int, worker_ids: Sequence[int]) -> list[Worker]:
    found = list(
        Worker.objects.filter(site_id=site_id, id__in=worker_ids, retired_at=None).order_by("id")
    )
    if not found or len(found) != len(set(worker_ids)):
        raise NotFoundError(_("Name at least one worker, each of this site."))
    return found


def _refuse_unusable(site_id: int, machine_id: int | None) -> None:
    if machine_id is None:
        return
    machine = Machine.objects.filter(site_id=site_id, id=machine_id, retired_at=None).first()
    if machine is None:
        raise NotFoundError(_("There is no such machine here."))
    if machine_id not in usable_machine_ids(site_id):
        raise CannotAssignError(
            _("%s is out of use. Choose another, or clear its hold first.") % machine.name
        )


def _refuse_off_shift(site_id: int, workers: Sequence[Worker], row: Assignment) -> None:
    on = {s.worker_id for s in working_shifts(site_id, row.starts_at, row.ends_at)}
    for worker in workers:
        if worker.pk not in on:
            raise CannotAssignError(_("%s is not on shift then.") % worker.name)


def _refuse_booked(site_id: int, claims: Sequence[Claim], at: datetime) -> None:
    """Name what stands in the way; the database's own rule is the last word."""
    for claim in claims:
        for taken in _others(site_id, claim):
            start, end = span_taken(taken.assignment.work_order, taken.assignment, at)
            if start < claim.span[1] and claim.span[0] < end:
                raise AlreadyBookedError(_clash(taken, start, end))


def _others(site_id: int, claim: Claim) -> QuerySet[Claim]:
    """Find the claims on the same thing that may stand in the way: binding, or under way."""
    running = Q(assignment__work_order__status=Status.IN_PROCESS)
    return Claim.objects.filter(
        running | Q(is_binding=True, span__overlap=claim.span), site_id=site_id, **_thing(claim)
    ).select_related("assignment__work_order__place", "worker", "machine", "place")


def _thing(claim: Claim) -> dict[str, int]:
    """Name the one thing a claim takes, as a filter."""
    taken = {
        "worker_id": claim.worker_id,
        "machine_id": claim.machine_id,
        "place_id": claim.place_id,
    }
    return {name: key for name, key in taken.items() if key is not None}


def _clash(taken: Claim, start: datetime, end: datetime) -> str:
    order = taken.assignment.work_order
    site = Site.objects.get(id=taken.site_id)
    language = current_language()
    place = taken.place and place_name(site, taken.place, language)
    return _("%(thing)s is taken from %(start)s to %(end)s: %(job)s %(place)s.") % {
        "thing": taken.worker or taken.machine or place,
        "start": say_clock(site, start),
        "end": say_clock(site, end),
        "job": say_title(order),
        "place": place_name(site, order.place, language),
    }


def take_off(*, site_id: int, work_order_id: int, at: datetime, version: int | None = None) -> None:
    """Take a work order from whoever has it by hand; the plan may give it to anybody again."""
    with site_write(site_id, at) as write:
        Site.objects.select_for_update(no_key=True).get(id=site_id)
        order = _open_order(site_id, work_order_id, version)
        remember_order(order)
        Assignment.objects.filter(work_order=order).delete()
        _bump(order, at)
        write.change("plan.by_hand", order.pk)


def _bump(order: WorkOrder, at: datetime) -> None:
    order.version += 1
    order.updated_at = at
    order.save(update_fields=["version", "updated_at"])
