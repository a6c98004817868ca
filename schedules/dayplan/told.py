"""What people know of a plan, and what of it changed: the documents that a plan keeps."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from .calc.diff import PlanChange, diff_plans
from .calc.solution import Assignment as Planned
from .models import Assignment

TOLD_FROM_MIN = 5  # a start moved by less is nobody's news; common practice, no source


def as_planned(row: Assignment) -> Planned:
    """Give an assignment, fetched with its claims, as the plan's own record. No query."""
    claims = sorted(row.claims.all(), key=lambda claim: claim.pk)
    machines = [str(claim.machine_id) for claim in claims if claim.machine_id is not None]
    return Planned(
        job=str(row.work_order_id),
        people=tuple(str(claim.worker_id) for claim in claims if claim.worker_id is not None),
        machine=next(iter(machines), None),
        start=row.starts_at,
        end=row.ends_at,
    )


def to_document(given: Planned) -> dict[str, Any]:
    """Write down who has a work order, with what and when, by the numbers of the rows."""
    return {
        "work_order": int(given.job),
        "workers": [int(person) for person in given.people],
        "machine": int(given.machine) if given.machine else None,
        "starts_at": given.start.isoformat(),
        "ends_at": given.end.isoformat(),
    }


def from_document(document: dict[str, Any]) -> Planned:
    """Read what `to_document` wrote."""
    return Planned(
        job=str(document["work_order"]),
        people=tuple(str(worker) for worker in document["workers"]),
        machine=str(document["machine"]) if document["machine"] else None,
        start=datetime.fromisoformat(document["starts_at"]),
        end=datetime.fromisoformat(document["ends_at"]),
    )


def changes_between(old: Iterable[Planned], new: Iterable[Planned]) -> list[dict[str, Any]]:
    """List the work that two plans give otherwise, each with before, after and who must know."""
    return [_document_of(c) for c in diff_plans(old, new, tolerance_min=TOLD_FROM_MIN)]


def net_changes(steps: Iterable[Iterable[dict[str, Any]]]) -> list[dict[str, Any]]:
    """Sum the changes of plans that followed each other: the first before, the last after."""
    before: dict[int, Planned | None] = {}
    after: dict[int, Planned | None] = {}
    for changes in steps:
        for change in changes:
            job = change["work_order"]
            before.setdefault(job, _read(change.get("before")))
            after[job] = _read(change.get("after"))
    return changes_between(
        [given for given in before.values() if given], [given for given in after.values() if given]
    )


def _read(document: dict[str, Any] | None) -> Planned | None:
    return from_document(document) if document else None


def _document_of(change: PlanChange) -> dict[str, Any]:
    return {
        "work_order": int(change.job),
        "kind": change.kind,
        "workers": sorted(int(person) for person in change.people),
        "before": to_document(change.before) if change.before else None,
        "after": to_document(change.after) if change.after else None,
    }
