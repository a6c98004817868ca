"""What one person's phone carries: the next 36 hours of work and what it needs."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db.models import Max

from crews.people.models import Worker
from equipment.flushing.queries import isolated_places, open_locks
from equipment.machines.models import CheckItem, Machine, MeterReading
from equipment.site.callers import Caller
from equipment.site.models import HoldSubject, Place, PlaceKind, Site
from equipment.site.queries import open_holds, place_name, site_version
from schedules.dayplan.models import Claim
from schedules.dayplan.queries import claims_shown
from schedules.rounds.models import PenVisit
from schedules.sand.queries import bays_with_batches, free_pile_places
from schedules.work.models import Status, WorkOrder
from schedules.work.queries import waiting_reasons

GOES_TO = {"spread": PlaceKind.BAY, "piled": PlaceKind.PILE_PLACE, "bedded": PlaceKind.PEN}
BACK, AHEAD = timedelta(hours=12), timedelta(hours=36)


def parcel_for(caller: Caller, worker: Worker, now: datetime) -> dict[str, Any]:
    """All that one worker's phone shows, in the worker's language: 29 queries at most."""
    language = caller.language
    return {
        "now": now,
        "version": site_version(caller.site.pk),
        "worker": {"id": worker.pk, "name": worker.name, "language": language},
        "jobs": _jobs(caller.site, worker, now, language),
        "machines": _machines(caller.site),
        "checks": _checks(caller.site, language),
        "places": _lockable_places(caller.site, language),
        "sand_places": _sand_places(caller.site, language),
        "locks": _locks(caller, language),
        "visits": _visits(caller.site, now, language),
    }


def _jobs(site: Site, worker: Worker, now: datetime, language: str) -> list[dict[str, Any]]:
    claims = (
        Claim.objects.filter(site=site, worker=worker, span__overlap=(now - BACK, now + AHEAD))
        .select_related(
            "assignment__work_order__place",
            "assignment__work_order__standing_order",
            "assignment__work_order__place__bedgroup",
        )
        .order_by("span")
    )
    orders = [claim.assignment.work_order for claim in claims]
    machines = _machines_of([claim.assignment_id for claim in claims])
    waits = waiting_reasons(site.pk, [o.pk for o in orders if o.status == Status.NEEDS_ACTION])
    locked = _locked_by(worker, orders, now)
    return [
        {
            **_job(site, claim.assignment.work_order, language),
            "is_locked": claim.assignment.work_order.place_id in locked,
            "planned_start": claim.span.lower,
            "planned_end": claim.span.upper,
            "machine": machines.get(claim.assignment_id),
            "waiting_on": [
                {"code": w.code, "name": w.name}
                for w in waits.get(claim.assignment.work_order_id, [])
            ],
        }
        for claim in claims
    ]


def _locked_by(worker: Worker, orders: list[WorkOrder], now: datetime) -> set[int]:
    """Places of work that the worker's own locks keep water from: everyone puts on their own."""
    places = {o.place_id for o in orders if o.standing_order and o.standing_order.needs_lock}
    owner_id = worker.actor_id
    return isolated_places(worker.site_id, places, since=now, until=now, owner_id=owner_id)


def _machines_of(assignment_ids: list[int]) -> dict[int, dict[str, Any]]:
    rows = (
        claims_shown()
        .filter(assignment_id__in=assignment_ids, machine__isnull=False)
        .select_related("machine")
    )
    return {
        row.assignment_id: {"id": row.machine.pk, "name": row.machine.name}
        for row in rows
        if row.machine is not None
    }


def _job(site: Site, order: WorkOrder, language: str) -> dict[str, Any]:
    rule = order.standing_order
    beds = getattr(order.place, "bedgroup", None)
    return {
        "id": order.pk,
        "title": _said(order.title, language),
        "place": place_name(site, order.place, language),
        "place_id": order.place_id,
        "amount": order.amount,
        "n_stalls": beds.n_stalls if beds else None,
        "starts_after": order.starts_after,
        "due_at": order.due_at,
        "status": order.status,
        "outcome": order.outcome,
        "n_left": order.n_left,
        "loads": order.loads,
        "counts_loads": order.batch_step == "bedded" or order.place.kind == PlaceKind.LANE,
        "goes_to": _goes_to(order),
        "batch": order.batch_id,
        "how": _said(rule.how, language) if rule else "",
        "caution": _said(rule.caution, language) if rule else "",
        "needs_lock": bool(rule and rule.needs_lock),
    }


def _goes_to(order: WorkOrder) -> str:
    """Kind of place to ask for; work in a pen beds that pen."""
    kind = GOES_TO.get(order.batch_step, "")
    return "" if kind == order.place.kind else kind


def _said(texts: dict[str, str], language: str) -> str:
    return texts.get(language) or texts.get("en") or ""


def _machines(site: Site) -> list[dict[str, Any]]:
    held = {hold.subject_id for hold in open_holds(site.pk, HoldSubject.MACHINE)}
    last = dict(
        MeterReading.objects.filter(site=site)
        .values_list("machine_id")
        .annotate(newest=Max("read_at"))
    )
    hours = {
        (r.machine_id, r.read_at): r.meter_h
        for r in MeterReading.objects.filter(site=site, read_at__in=list(last.values()))
    }
    return [
        {
            "id": m.pk,
            "name": m.name,
            "kind": m.kind,
            "is_held": m.pk in held,
            "meter_h": hours.get((m.pk, last[m.pk])) if m.pk in last else None,
            "read_at": last.get(m.pk),
        }
        for m in Machine.objects.filter(site=site, retired_at=None).order_by("name")
    ]


def _checks(site: Site, language: str) -> list[dict[str, Any]]:
    return [
        {
            "id": item.pk,
            "kind": item.machine_kind,
            "text": _said(item.text, language),
            "is_safety": item.is_safety,
        }
        for item in CheckItem.objects.filter(site=site, retired_at=None)
    ]


def _sand_places(site: Site, language: str) -> list[dict[str, Any]]:
    """Where sand can be brought: free bays, piles that take more, pens. 3 queries."""
    bays = [bay.place for bay, batch in bays_with_batches(site.pk) if batch is None]
    piles = [pile.place for pile in free_pile_places(site.pk)]
    pens = Place.objects.filter(site=site, kind=PlaceKind.PEN, retired_at=None).order_by("key")
    return [
        {"id": p.pk, "kind": p.kind, "name": place_name(site, p, language)}
        for p in (*bays, *piles, *pens)
    ]


def _lockable_places(site: Site, language: str) -> list[dict[str, Any]]:
    kinds = [PlaceKind.ALLEY, PlaceKind.LANE, PlaceKind.TANK, PlaceKind.BASIN, PlaceKind.PEN]
    places = Place.objects.filter(site=site, kind__in=kinds, retired_at=None).order_by(
        "kind", "key"
    )
    return [{"id": p.pk, "kind": p.kind, "name": place_name(site, p, language)} for p in places]


def _locks(caller: Caller, language: str) -> list[dict[str, Any]]:
    return [
        {
            "id": lock.pk,
            "place": place_name(caller.site, lock.place, language),
            "owner": lock.owner.name,
            "on_at": lock.on_at,
            "is_mine": lock.owner_id == caller.actor.pk,
        }
        for lock in open_locks(caller.site.pk)
    ]


def _visits(site: Site, now: datetime, language: str) -> list[dict[str, Any]]:
    """Pen visits of the next hours, so that a worker can say where the cows are."""
    visits = (
        PenVisit.objects.filter(
            site=site,
            last_back_at__gt=now - timedelta(hours=1),
            called_at__lt=now + timedelta(hours=12),
        )
        .select_related("pen__place")
        .order_by("called_at")
    )
    return [
        {
            "id": v.pk,
            "pen": place_name(site, v.pen.place, language),
            "called_at": v.called_at,
            "last_out_at": v.last_out_at,
            "first_back_at": v.first_back_at,
            "last_back_at": v.last_back_at,
            "said": sorted(v.actual),
        }
        for v in visits
    ]
