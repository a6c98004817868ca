"""A site's day as one report: the clock, the work, and what is left out, with its reasons."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from equipment.site.models import Site
from schedules.rounds.models import BedWindow, Milking, PenVisit
from schedules.rounds.queries import milkings_of_day
from schedules.work.models import Outcome, Status, WorkOrder

from .models import Assignment
from .queries import BedShare, assignment_of, bed_share, orders_between

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class DayReport:
    """What `manage.py day` prints; `assigned` comes in the order in which it begins."""

    site: Site
    on: date
    milkings: list[Milking]
    assigned: list[tuple[WorkOrder, Assignment]]
    unassigned: list[WorkOrder]
    n_orders: int
    n_closed: int
    beds: BedShare

    def as_document(self) -> Row:
        """Give the report as one JSON-ready document of codes, keys, names and numbers."""
        return {
            "schema": "penround/day-report/2",
            "site": self.site.slug,
            "on": self.on,
            "milkings": [_milking(self.site, m) for m in self.milkings],
            "visits": [_visit(self.site, m, v) for m in self.milkings for v in m.visits.all()],
            "assigned": [_given(self.site, *given) for given in self.assigned],
            "unassigned": [_left(self.site, order) for order in self.unassigned],
            "n_orders": self.n_orders,
            "n_closed": self.n_closed,
            "beds": {**asdict(self.beds), "done_or_assigned_frac": self.beds.share},
        }


def day_report(site: Site, on: date, start: datetime, end: datetime) -> DayReport:
    """Put a local day together: 7 queries."""
    orders = list(orders_between(site.pk, start, end))
    given = [(o, a) for o in orders if (a := assignment_of(o)) is not None]
    return DayReport(
        site=site,
        on=on,
        milkings=list(milkings_of_day(site.pk, on)),
        assigned=sorted(given, key=lambda pair: (pair[1].starts_at, pair[0].pk)),
        unassigned=[
            o for o in orders if o.status == Status.NEEDS_ACTION and assignment_of(o) is None
        ],
        n_orders=len(orders),
        n_closed=sum(o.status in (Status.COMPLETED, Status.CANCELLED) for o in orders),
        beds=bed_share(orders),
    )


def _local(site: Site, at: datetime) -> str:
    return at.astimezone(site.zone).isoformat(timespec="seconds")


def _milking(site: Site, milking: Milking) -> Row:
    return {
        "slot": milking.slot,
        "state": milking.state,
        "starts_at": _local(site, milking.starts_at),
        "ends_at": _local(site, milking.ends_at),
        "wash_until": _local(site, milking.wash_until),
    }


def _visit(site: Site, milking: Milking, visit: PenVisit) -> Row:
    return {
        "milking": milking.slot,
        "pen": visit.pen.place.key,
        "called_at": _local(site, visit.called_at),
        "first_out_at": _local(site, visit.first_out_at),
        "last_out_at": _local(site, visit.last_out_at),
        "first_on_at": _local(site, visit.first_on_at),
        "first_back_at": _local(site, visit.first_back_at),
        "last_back_at": _local(site, visit.last_back_at),
        "cost_cow_h": visit.cost_cow_h,
        "windows": [_window(site, w) for w in visit.windows.all()],
    }


def _window(site: Site, window: BedWindow) -> Row:
    return {
        "beds": window.bed_group.place.key,
        "usable_from": _local(site, window.usable_from),
        "usable_until": _local(site, window.usable_until),
        "usable_min": (window.usable_until - window.usable_from).total_seconds() / 60,
    }


def _base(site: Site, order: WorkOrder) -> Row:
    return {
        "id": order.pk,
        "natural_key": order.natural_key,
        "place": order.place.key,
        "due_at": _local(site, order.due_at),
        "priority": order.priority,
        "state": Outcome(order.outcome).value if order.outcome else order.status,
    }


def _given(site: Site, order: WorkOrder, assignment: Assignment) -> Row:
    claims = list(assignment.claims.all())
    return {
        **_base(site, order),
        "starts_at": _local(site, assignment.starts_at),
        "ends_at": _local(site, assignment.ends_at),
        "people": [c.worker.name for c in claims if c.worker],
        "machine": next((c.machine.name for c in claims if c.machine), None),
        "is_by_hand": assignment.is_by_hand,
    }


def _left(site: Site, order: WorkOrder) -> Row:
    left_out = getattr(order, "unassigned", None)
    return {**_base(site, order), "reasons": left_out.reasons if left_out else []}
