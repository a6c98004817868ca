"""Reads of what waits for a lead: events that were refused, work orders that ask."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import Prefetch, QuerySet

from equipment.site.models import Event, EventState
from schedules.work.models import Report, WorkOrder


def refused_events(site_id: int) -> QuerySet[Event]:
    """Events that were refused and nobody has looked at, however old: 1 query."""
    rows = Event.objects.filter(site_id=site_id, state=EventState.REFUSED, looked_at=None)
    return rows.select_related("actor").order_by("received_at", "pk")


def asking_orders(site_id: int) -> QuerySet[WorkOrder]:
    """Work orders that wait for a decision, with what was said of them: 2 queries."""
    said = Prefetch("reports", Report.objects.select_related("by", "event"))
    rows = WorkOrder.objects.filter(site_id=site_id).exclude(needs_decision="")
    near = rows.select_related("place").prefetch_related(said)
    return near.order_by("updated_at", "pk")


def orders_named(site_id: int, ids: Collection[int]) -> dict[int, WorkOrder]:
    """Work orders by their keys, with their places: 1 query."""
    rows = WorkOrder.objects.filter(site_id=site_id, pk__in=ids).select_related("place")
    return {order.pk: order for order in rows}
