"""Machines out of use that work waits for and nothing stands in for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q

from equipment.machines.models import Machine, Repair
from equipment.machines.queries import usable_machine_ids
from equipment.site.calc.local_time import local_date_of
from equipment.site.queries import site_of
from schedules.work.models import Outcome, WorkOrder
from schedules.work.queries import OPEN

from .found import Answer, Found
from .models import AlertKind, AnswerCode

AHEAD = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Waiting:
    """Work of the week from today on that asks for a kind of machine and is not done.

    Whole days are counted, what was missed too, so that figures stay while a day goes by.
    """

    n_jobs: int = 0
    minutes: float = 0.0
    first_open_at: datetime | None = None

    def with_one(self, order: Mapping[str, Any], now: datetime) -> Waiting:
        """Add a work order."""
        is_open = order["status"] in OPEN and order["due_at"] > now
        starts = [self.first_open_at, order["starts_after"] if is_open else None]
        return Waiting(
            self.n_jobs + 1,
            self.minutes + order["duration_min"],
            min((at for at in starts if at is not None), default=None),
        )


def look_for_machines(site_id: int, now: datetime) -> list[Found]:
    """Find each machine that is out while work of the coming week asks for its kind alone: 5
    queries, 2 where none is out.

    Work that may be done with a machine of another kind waits only where none of these is in use.
    """
    machines = Machine.objects.filter(site_id=site_id, retired_at=None).order_by("pk")
    usable_ids = usable_machine_ids(site_id)
    every = list(machines)
    out = [machine for machine in every if machine.pk not in usable_ids]
    if not out:
        return []
    usable = {machine.kind for machine in every if machine.pk in usable_ids}
    waits = _waiting(site_id, now, usable)
    stood_in = _stood_in(site_id, usable_ids)
    return [
        Found(
            kind=AlertKind.MACHINE,
            subject=f"machine-{machine.pk}",
            place_id=machine.home_id,
            due_at=waiting.first_open_at,
            facts={
                "machine": machine.pk,
                "name": machine.name,
                "kind": machine.kind,
                "n_jobs": waiting.n_jobs,
                "hours": round(waiting.minutes / 60, 1),
            },
        )
        for machine in out
        if machine.pk not in stood_in
        and (waiting := waits.get(machine.kind)) is not None
        and waiting.first_open_at is not None
    ]


def _waiting(site_id: int, now: datetime, usable: set[str]) -> dict[str, Waiting]:
    """Work of the week that no machine in use can do, by each kind asked for: 2 queries."""
    today = local_date_of(now, site_of(site_id).zone)
    rows = WorkOrder.objects.filter(
        site_id=site_id, local_date__gte=today, local_date__lt=today + AHEAD, for_machine=None
    ).filter(Q(status__in=OPEN) | Q(outcome=Outcome.MISSED))
    found: dict[str, Waiting] = {}
    rows = rows.exclude(machine_kinds=[])
    for order in rows.values("machine_kinds", "duration_min", "starts_after", "due_at", "status"):
        if not usable.intersection(order["machine_kinds"]):
            for kind in order["machine_kinds"]:
                found[kind] = found.get(kind, Waiting()).with_one(order, now)
    return found


def _stood_in(site_id: int, usable_ids: set[int]) -> set[int]:
    """Machines under repair whose stand-in is in use: 1 query."""
    rows = Repair.objects.filter(site_id=site_id, down_until=None, substitute__isnull=False)
    return {
        machine_id
        for machine_id, substitute_id in rows.values_list("machine_id", "substitute_id")
        if substitute_id in usable_ids
    }


def answer_machine(_site_id: int, found: Found, _now: datetime) -> list[Answer]:
    """Put it right by the first job, or bring another here by then."""
    facts = {**_named(found), "by": found.due_at.isoformat()}
    return [
        Answer(AnswerCode.REPAIR, facts),
        Answer(AnswerCode.HIRE_MACHINE, {**facts, "kind": found.facts["kind"]}),
    ]


def _named(found: Found) -> dict[str, object]:
    return {"machine": found.facts["machine"], "name": found.facts["name"]}
