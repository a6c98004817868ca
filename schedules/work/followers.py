"""Work that follows other work moves, or goes, when that is over."""

from __future__ import annotations

from equipment.site.services import service_actor
from equipment.site.writes import SiteWrite

from .models import Cause, Dependency, Outcome, Status, Trigger, WorkOrder
from .triggers.after import span_after


def follower_ids(work_order_id: int) -> list[int]:
    """Work orders that wait on this one: 1 query."""
    rows = Dependency.objects.filter(on_id=work_order_id, work_order__status=Status.NEEDS_ACTION)
    return list(rows.values_list("work_order_id", flat=True))


def follow(write: SiteWrite, leader: WorkOrder) -> None:
    """Re-time the untouched work that follows one just closed; it goes when that was not done.

    The caller holds the locks of leader and followers, taken in the order of their keys.
    """
    if leader.status not in (Status.COMPLETED, Status.CANCELLED):
        return
    followers = WorkOrder.objects.filter(
        needs__on=leader,
        status=Status.NEEDS_ACTION,
        standing_order__trigger=Trigger.AFTER,
    ).select_related("standing_order")
    for row in followers:
        if leader.status == Status.CANCELLED:
            _take_back(write, row)
        else:
            _retime(row, leader)
        row.version += 1
        row.updated_at = write.at
        row.save()
        write.change("work.made", dates=[str(row.local_date)])


def _retime(row: WorkOrder, leader: WorkOrder) -> None:
    assert row.standing_order is not None  # the query asks for its trigger
    span = span_after(row.standing_order, leader)
    row.starts_after, row.due_at = span.start, span.end


def _take_back(write: SiteWrite, row: WorkOrder) -> None:
    row.status, row.outcome, row.reason = Status.CANCELLED, Outcome.NOT_NEEDED, Cause.LEADER_GONE
    row.ended_at, row.ended_by = write.at, service_actor(row.site_id)
