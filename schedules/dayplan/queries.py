"""Reads of the day's plan that pages, API and the day's report share."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Prefetch, Q, QuerySet

from equipment.machines.queries import out_of_use
from equipment.site.models import PlaceKind
from schedules.work.models import Outcome, Status, WorkOrder

from .models import Assignment, Claim, PlanPractice, PlanRun
from .told import net_changes


def claims_shown() -> QuerySet[Claim]:
    """Who and what is on work, without the machines taken out of use since it was planned.

    From the moment of the hold such a machine is on no work to come, whenever the plan gets round
    to it; a service is work on the machine itself.
    """
    to_come = Q(
        assignment__work_order__status=Status.NEEDS_ACTION,
        assignment__work_order__for_machine=None,
    )
    return Claim.objects.exclude(to_come & out_of_use("machine_id"))


def claims_prefetch() -> Prefetch[str]:
    """Fetch an order's assignment with its people and machine: 2 queries."""
    rows = claims_shown().select_related("worker__crew", "machine").order_by("id")
    return Prefetch(
        "assignment",
        queryset=Assignment.objects.select_related("by").prefetch_related(Prefetch("claims", rows)),
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


def span_taken(
    order: WorkOrder, assignment: Assignment | None, now: datetime
) -> tuple[datetime, datetime]:
    """Say when an order's people and things are taken: as planned, or as it really began.

    Work under way is taken to last its minutes from its start, and a minute more when it is late.
    """
    planned = (assignment.starts_at, assignment.ends_at) if assignment else None
    if order.status != Status.IN_PROCESS and planned:
        return planned
    starts_at = order.started_at or (planned[0] if planned else now)
    ends_at = starts_at + timedelta(minutes=order.duration_min)
    return starts_at, max(ends_at, now + timedelta(minutes=1))


def practice_of(site_id: int) -> PlanPractice:
    """What the farm's plan weighs, its own figures or the usual ones: 1 query."""
    found = PlanPractice.objects.filter(site_id=site_id).first()
    return found or PlanPractice(site_id=site_id)


def latest_plan(site_id: int) -> PlanRun | None:
    """Newest plan of the site, without its documents: 1 query."""
    return (
        PlanRun.objects.filter(site_id=site_id)
        .defer("problem", "solution")
        .order_by("-made_at", "-id")
        .first()
    )


def plans_of_day(site_id: int, start: datetime, end: datetime) -> QuerySet[PlanRun]:
    """Plans made in a span, the newest first, without their documents."""
    plans = PlanRun.objects.filter(site_id=site_id, made_at__gte=start, made_at__lt=end)
    return plans.defer("problem", "solution").order_by("-made_at", "-id")


def changes_since(site_id: int, since: datetime) -> list[dict[str, Any]]:
    """Sum what the plans made since then changed, by what people knew before: 1 query."""
    plans = PlanRun.objects.filter(site_id=site_id, made_at__gt=since).order_by("made_at", "id")
    return net_changes(plans.values_list("changes", flat=True))


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
