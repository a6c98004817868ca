"""What the tests of triggers share: a moment, a pass over the standing orders, the rows it left."""

from datetime import datetime
from typing import Any

from equipment.site.models import Site
from schedules.work.models import Outcome, Status, WorkOrder
from schedules.work.produce import materialise
from schedules.work.reconcile import Counts
from tests.factories import utc

NOW = utc("2026-03-04 12:00")  # 05:00 in Denver


def run_at(site: Site, now: datetime = NOW, days: int = 14, **narrow: Any) -> Counts:
    return materialise(site_id=site.pk, now=now, days=days, **narrow)


def rows(**only: Any) -> list[WorkOrder]:
    return list(WorkOrder.objects.filter(**only).order_by("starts_after", "natural_key"))


def keys() -> list[str]:
    return [row.natural_key for row in rows()]


def open_order() -> WorkOrder:
    return WorkOrder.objects.get(status=Status.NEEDS_ACTION)


def close_order(row: WorkOrder, at: datetime, outcome: Outcome = Outcome.DONE) -> None:
    is_done = outcome in (Outcome.DONE, Outcome.PART)
    row.status = Status.COMPLETED if is_done else Status.CANCELLED
    row.outcome, row.ended_at = outcome, at
    row.save()
