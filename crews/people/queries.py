"""Reads about workers and what they may do."""

from collections import defaultdict
from datetime import date

from django.db.models import Q, QuerySet

from .models import Leave, Worker, WorkerSkill


def workers_of(site_id: int) -> QuerySet[Worker]:
    """Workers not retired, with crew and actor: 1 query."""
    return (
        Worker.objects.filter(site_id=site_id, retired_at=None)
        .select_related("crew", "actor")
        .order_by("name")
    )


def skills_on(site_id: int, day: date) -> dict[int, set[str]]:
    """Skill keys each worker holds on a day: 1 query."""
    held: dict[int, set[str]] = defaultdict(set)
    rows = WorkerSkill.objects.filter(site_id=site_id, from_on__lte=day).filter(
        Q(until_on=None) | Q(until_on__gt=day)
    )
    for worker_id, key in rows.values_list("worker_id", "skill__key"):
        held[worker_id].add(key)
    return held


def skills_expiring(site_id: int, day: date, until: date) -> QuerySet[WorkerSkill]:
    """Skills that run out in [day, until): 1 query."""
    return (
        WorkerSkill.objects.filter(site_id=site_id, until_on__gte=day, until_on__lt=until)
        .select_related("worker", "skill")
        .order_by("until_on")
    )


def leave_on(site_id: int, day: date) -> dict[int, Leave]:
    """Leave that covers a day, by worker: 1 query."""
    rows = Leave.objects.filter(site_id=site_id, from_on__lte=day, until_on__gt=day)
    return {row.worker_id: row for row in rows}
