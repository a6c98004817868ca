"""Work that was done without its work order: a service record or a batch's step closes it.

Mechanics record a service, people tell of sand on the sand page; the work order that asked for it
is then done, by the same person at the same time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from equipment.machines.models import ServiceRecord
from equipment.site.models import Actor
from equipment.site.writes import SiteWrite
from schedules.sand.models import BatchStep, MoistureTest

from .calc.reports import Said
from .followers import follow, follower_ids
from .models import Question, Status, WorkOrder
from .telling import Teller, lock_orders, save_state, say, write_down

LOOK_BACK = timedelta(days=3)  # an older step without a work order had none
EARLY = timedelta(hours=12)  # a step done so long before its window opens is still that step
SAME_STEP = {"picked_up": "piled"}  # the bay's batch is picked up where the pile's is piled
OPEN = (Status.NEEDS_ACTION, Status.IN_PROCESS)


@dataclass(frozen=True, slots=True)
class Done:
    """Something done to a batch, as its own room wrote it down."""

    batch_id: int
    step: str
    by: Actor
    at: datetime


def close_recorded(write: SiteWrite, now: datetime) -> int:
    """Close the open work orders that a record says are done; 4 queries when there is none."""
    return _close_services(write) + _close_steps(write, now)


def _close_services(write: SiteWrite) -> int:
    open_services = list(
        WorkOrder.objects.filter(site_id=write.site_id, status__in=OPEN, service_item__isnull=False)
    )
    machines = {order.for_machine_id for order in open_services}
    records = ServiceRecord.objects.filter(machine__in=machines).select_related("by")
    by_key: dict[tuple[int | None, int | None, int | None], ServiceRecord] = {
        (r.machine_id, r.item_id, r.cycle): r for r in records
    }
    n_closed = 0
    for order in open_services:
        record = by_key.get((order.for_machine_id, order.service_item_id, order.cycle))
        if record is not None:
            n_closed += _close(write, order.pk, record.by, record.done_at)
    return n_closed


def _close_steps(write: SiteWrite, now: datetime) -> int:
    rows = list(
        WorkOrder.objects.filter(
            site_id=write.site_id, batch__isnull=False, due_at__gt=now - LOOK_BACK
        )
        .exclude(batch_step="")
        .order_by("starts_after", "pk")
    )
    told = {(row.batch_id, row.batch_step, row.ended_at) for row in rows}
    waiting = [row for row in rows if row.status in OPEN or _waits_for_lead(row)]
    n_closed = 0
    for done in _steps_done({row.batch_id for row in waiting if row.batch_id}, now):
        if (done.batch_id, done.step, done.at) in told:
            continue
        fitting = [row for row in waiting if _fits(row, done)]
        if fitting:
            waiting.remove(fitting[0])
            n_closed += _close(write, fitting[0].pk, done.by, done.at)
    return n_closed


def _steps_done(batch_ids: set[int], now: datetime) -> Iterable[Done]:
    since = now - LOOK_BACK
    steps = BatchStep.objects.filter(batch__in=batch_ids, at__gte=since).select_related("by")
    tests = MoistureTest.objects.filter(batch__in=batch_ids, taken_at__gte=since)
    found = [
        Done(step.batch_id, SAME_STEP.get(step.kind, step.kind), step.by, step.at) for step in steps
    ]
    found += [
        Done(test.batch_id, "tested", test.by, test.taken_at) for test in tests.select_related("by")
    ]
    return sorted(found, key=lambda done: done.at)


def _waits_for_lead(row: WorkOrder) -> bool:
    """Whether a worker's word on a decision stands open, which a lead may take on the sand page."""
    return row.needs_decision == Question.RELEASE_NEEDS_LEAD


def _fits(row: WorkOrder, done: Done) -> bool:
    is_it = (row.batch_id, row.batch_step) == (done.batch_id, done.step)
    return is_it and row.starts_after - EARLY <= done.at


def _close(write: SiteWrite, work_order_id: int, by: Actor, at: datetime) -> int:
    ids = [work_order_id, *follower_ids(work_order_id)]
    order = lock_orders(write.site_id, ids, work_order_id)
    if order.status in OPEN:
        say(write, order, Said.DONE, Teller(by, at))
        follow(write, order)
        return 1
    if _waits_for_lead(order):
        write_down(order, Said.ACCEPTED, Teller(by, at))
        order.needs_decision = ""
        save_state(write, order, Said.ACCEPTED)
    return 0
