"""Reads of the day's plan that pages, API and the day's report share."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Prefetch, QuerySet

from equipment.site.models import PlaceKind
from schedules.work.models import Outcome, Status, WorkOrder

from .models import Assignment, Claim, PlanRun


def claims_prefetch() -> Prefetch[str]:
    """Fetch an order's assignment with its people and machine: 2 queries."""
    claims = Prefetch(
        "claims", queryset=Claim.objects.select_related("worker__crew", "machine").order_by("id")
    )
    return Prefetch(
        "assignment", queryset=Assignment.objects.select_related("by").prefetch_related(claims)
    )


def with_claims(orders: QuerySet[WorkOrder]) -> QuerySet[WorkOrder]:
    """Work orders with who has them, or why nobody does: 3 queries."""
    return orders.select_related("unassigned").prefetch_related(claims_prefetch())


def orders_between(site_id: int, start: datetime, end: datetime) -> QuerySet[WorkOrder]:
    """Work orders whose window meets a span, with who, what and why not: 3 queries.

    What is no longer needed is left out; it stands in the history.
    """
    return (
        with_claims(
            WorkOrder.objects.filter(site_id=site_id, due_at__gt=start, starts_after__lt=end)
        )
        .exclude(outcome=Outcome.NOT_NEEDED)
        .select_related("place__parent", "standing_order")
        .order_by("due_at", "priority", "id")
    )


def assignment_of(order: WorkOrder) -> Assignment | None:
    """Give the order's assignment when it has one; it was fetched with the order."""
    return getattr(order, "assignment", None)


def span_taken(assignment: Assignment, now: datetime) -> tuple[datetime, datetime]:
    """Say when an assignment's people and things are taken: as planned, or as it really began.

    Work under way is taken to last its minutes from its start, and a minute more when it is late.
    """
    order = assignment.work_order
    if order.status != Status.IN_PROCESS or order.started_at is None:
        return assignment.starts_at, assignment.ends_at
    ends_at = order.started_at + timedelta(minutes=order.duration_min)
    return order.started_at, max(ends_at, now + timedelta(minutes=1))


def latest_plan(site_id: int) -> PlanRun | None:
    """Newest plan of the site, without its documents: 1 query."""
    return (
        PlanRun.objects.filter(site_id=site_id)
        .defer("problem", "solution")
        .order_by("-made_at", "-id")
        .first()
    )


@dataclass(frozen=True, slots=True)
class BedShare:
    """How many rows of beds are to be groomed in a span, and how many are or will be."""

    n_due: int
    n_done: int
    n_assigned: int

    @property
    def share(self) -> float:
        """Done or assigned over due; 1 when none is due."""
        return (self.n_done + self.n_assigned) / self.n_due if self.n_due else 1.0


def bed_share(orders: list[WorkOrder], kind: str = PlaceKind.BED_GROUP) -> BedShare:
    """Count the visits' bed work of orders already fetched."""
    beds = [o for o in orders if o.place.kind == kind and o.visit_id is not None]
    done = sum(o.outcome == Outcome.DONE for o in beds)
    given = sum(
        o.status in (Status.NEEDS_ACTION, Status.IN_PROCESS) and assignment_of(o) is not None
        for o in beds
    )
    return BedShare(len(beds), done, given)
