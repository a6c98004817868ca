"""A site's day as one report: the clock, the work, and what is left out, with its reasons."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from equipment.site.models import Site
from equipment.site.queries import place_name
from schedules.rounds.models import PenVisit
from schedules.rounds.queries import milkings_of_day
from schedules.work.models import Outcome, Status, WorkOrder

from .queries import assignment_of, bed_share, orders_between

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class DayReport:
    """What `manage.py day` prints; `as_document` is the same as JSON."""

    on: date
    milkings: list[Row]
    visits: list[Row]
    assigned: list[Row]
    unassigned: list[Row]
    beds_share: float
    summary: list[str]

    def as_document(self) -> Row:
        """Give the report as one JSON-ready document."""
        return {"schema": "penround/day-report/1", **asdict(self)}


def day_report(site: Site, on: date, start: datetime, end: datetime) -> DayReport:
    """Put a local day together: 7 queries. Times are the site's own, HH:MM."""
    milkings = list(milkings_of_day(site.pk, on))
    orders = list(orders_between(site.pk, start, end))
    given = [o for o in orders if assignment_of(o) is not None]
    nobody = [o for o in orders if o.status == Status.NEEDS_ACTION and assignment_of(o) is None]
    beds = bed_share(orders)
    closed = sum(o.status in (Status.COMPLETED, Status.CANCELLED) for o in orders)
    return DayReport(
        on=on,
        milkings=[
            {
                "slot": m.slot,
                "starts": _clock(site, m.starts_at),
                "ends": _clock(site, m.ends_at),
                "wash_until": _clock(site, m.wash_until),
            }
            for m in milkings
        ],
        visits=[_visit(site, m.slot, v) for m in milkings for v in m.visits.all()],
        assigned=[
            _given(site, o)
            for o in sorted(given, key=lambda o: assignment_of(o).starts_at)  # type: ignore[union-attr]
        ],
        unassigned=[_left(site, o) for o in nobody],
        beds_share=beds.share,
        summary=[
            f"{len(orders)} work orders: {len(given)} assigned, {len(nobody)} nobody has, "
            f"{closed} closed.",
            f"Beds: {beds.n_due} rows due at milkings, {beds.n_done} done, "
            f"{beds.n_assigned} assigned: {beds.share:.1%}.",
        ],
    )


def _clock(site: Site, at: datetime) -> str:
    return at.astimezone(site.zone).strftime("%H:%M")


def _visit(site: Site, slot: int, visit: PenVisit) -> Row:
    return {
        "milking": slot,
        "pen": place_name(site, visit.pen.place, "en"),
        "called": _clock(site, visit.called_at),
        "first_out": _clock(site, visit.first_out_at),
        "last_out": _clock(site, visit.last_out_at),
        "first_on": _clock(site, visit.first_on_at),
        "first_back": _clock(site, visit.first_back_at),
        "last_back": _clock(site, visit.last_back_at),
        "cost_cow_h": visit.cost_cow_h,
        "windows": [
            {
                "beds": place_name(site, w.bed_group.place, "en"),
                "from": _clock(site, w.usable_from),
                "until": _clock(site, w.usable_until),
                "min": (w.usable_until - w.usable_from).total_seconds() / 60,
            }
            for w in visit.windows.all()
        ],
    }


def _base(site: Site, order: WorkOrder) -> Row:
    return {
        "id": order.pk,
        "title": order.title.get("en", ""),
        "place": place_name(site, order.place, "en"),
        "due": _clock(site, order.due_at),
        "priority": order.priority,
        "state": Outcome(order.outcome).value if order.outcome else order.status,
    }


def _given(site: Site, order: WorkOrder) -> Row:
    assignment = assignment_of(order)
    assert assignment is not None
    claims = list(assignment.claims.all())
    return {
        **_base(site, order),
        "start": _clock(site, assignment.starts_at),
        "end": _clock(site, assignment.ends_at),
        "people": [c.worker.name for c in claims if c.worker],
        "machine": next((c.machine.name for c in claims if c.machine), None),
        "is_by_hand": assignment.is_by_hand,
    }


def _left(site: Site, order: WorkOrder) -> Row:
    left_out = getattr(order, "unassigned", None)
    reasons = left_out.reasons if left_out else []
    return {**_base(site, order), "why": [str(r["code"]) for r in reasons], "reasons": reasons}
