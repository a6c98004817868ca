"""Machines out of use that work waits for and nothing stands in for."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta

from equipment.machines.models import Machine, Repair
from equipment.machines.queries import out_of_use
from schedules.work.models import WorkOrder
from schedules.work.queries import OPEN

from .found import Answer, Found
from .models import AlertKind, AnswerCode

AHEAD = timedelta(days=7)


def look_for_machines(site_id: int, now: datetime) -> list[Found]:
    """Find each machine that is out while work of the coming week asks for its kind alone: 3
    queries.

    Work that may be done with a machine of another kind waits only where none of these is in use.
    """
    machines = list(Machine.objects.filter(site_id=site_id, retired_at=None).order_by("pk"))
    out = set(
        Machine.objects.filter(out_of_use("pk"), site_id=site_id, retired_at=None).values_list(
            "pk", flat=True
        )
    )
    if not out:
        return []
    usable = {machine.kind for machine in machines if machine.pk not in out}
    waits = _waiting(site_id, now, usable)
    stood_in = _stood_in(site_id, out)
    return [
        Found(
            kind=AlertKind.MACHINE,
            subject=f"machine-{machine.pk}",
            place_id=machine.home_id,
            due_at=waits[machine.kind][0].starts_after,
            facts={
                "machine": machine.pk,
                "name": machine.name,
                "kind": machine.kind,
                "n_jobs": len(waits[machine.kind]),
                "hours": round(sum(order.duration_min for order in waits[machine.kind]) / 60, 1),
                "first": waits[machine.kind][0].pk,
            },
        )
        for machine in machines
        if machine.pk in out and machine.pk not in stood_in and waits[machine.kind]
    ]


def _waiting(site_id: int, now: datetime, usable: set[str]) -> dict[str, list[WorkOrder]]:
    """Open work of the week that no machine in use can do, by kind asked for: 1 query."""
    rows = WorkOrder.objects.filter(
        site_id=site_id, status__in=OPEN, due_at__gt=now, starts_after__lt=now + AHEAD
    ).exclude(machine_kinds=[])
    found: dict[str, list[WorkOrder]] = defaultdict(list)
    for order in rows.filter(for_machine=None).order_by("starts_after", "pk"):
        if not usable.intersection(order.machine_kinds):
            for kind in order.machine_kinds:
                found[kind].append(order)
    return found


def _stood_in(site_id: int, out: set[int]) -> set[int]:
    """Machines under repair whose stand-in is in use: 1 query."""
    rows = Repair.objects.filter(site_id=site_id, down_until=None, substitute__isnull=False)
    return {
        machine_id
        for machine_id, substitute_id in rows.values_list("machine_id", "substitute_id")
        if substitute_id not in out
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
