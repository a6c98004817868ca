"""Where machines stand and what their buckets last touched, by the work they were last on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models.functions import Coalesce

from schedules.work.models import Report, StandingOrder, Status, WorkOrder

from .calc import resources as r
from .models import Claim

LOOK_BACK = timedelta(days=7)  # a machine not moved for a week stands at home


@dataclass(frozen=True, slots=True)
class LastUse:
    """The place of the last work; None: at home. The bucket: None where none is known."""

    place_id: int | None = None
    bucket: r.Bucket | None = None


def bucket_of(rule: StandingOrder | None) -> r.Bucket | None:
    """Say what a bucket touches: clean sand where the rule asks a clean one, else no matter."""
    if rule is None or not rule.machine_kinds:
        return None
    return r.Bucket.CLEAN if rule.needs_clean_bucket else r.Bucket.DIRTY


def last_uses(site_id: int, now: datetime) -> dict[int, LastUse]:
    """Give each machine's last use of the past week, by machine id: 3 queries.

    What people said they ran counts as much as what the plan gave them; the later one stands.
    """
    since = now - LOOK_BACK
    said = Report.objects.filter(site_id=site_id, machine__isnull=False, at__gt=since)
    given = (
        Claim.objects.filter(site_id=site_id, machine__isnull=False)
        .exclude(assignment__work_order__status__in=[Status.NEEDS_ACTION, Status.CANCELLED])
        .annotate(
            at=Coalesce("assignment__work_order__ended_at", "assignment__work_order__started_at")
        )
        .filter(at__gt=since)
    )
    newest: dict[int, tuple[datetime, int]] = {}
    for rows, order in ((said, "work_order_id"), (given, "assignment__work_order_id")):
        last = rows.order_by("machine_id", "-at").distinct("machine_id")
        for machine_id, at, order_id in last.values_list("machine_id", "at", order):
            newest[machine_id] = max((at, order_id), newest.get(machine_id, (at, order_id)))
    orders = WorkOrder.objects.select_related("standing_order").in_bulk(
        [order_id for _at, order_id in newest.values()]
    )
    return {machine_id: _use(orders[order_id]) for machine_id, (_at, order_id) in newest.items()}


def _use(order: WorkOrder) -> LastUse:
    return LastUse(order.place_id, bucket_of(order.standing_order))
