"""Reads about workers and what they may do."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date

from django.db.models import Q, QuerySet
from django.db.models.functions import Coalesce

from equipment.site.models import Actor

from .models import WorkerSkill


def languages_of(site_id: int, actor_ids: Collection[int]) -> dict[int, str]:
    """Languages in which people write, by their actors; without those nobody knows: 1 query."""
    rows = Actor.objects.filter(site_id=site_id, pk__in=actor_ids)
    told = rows.annotate(speaks=Coalesce("worker__language", "user__language"))
    return {pk: speaks for pk, speaks in told.values_list("pk", "speaks") if speaks}


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


def skills_between(site_id: int, from_on: date, until_on: date) -> QuerySet[WorkerSkill]:
    """Skills held on any of the days, with person and skill, people gone since too: 1 query."""
    rows = WorkerSkill.objects.filter(site_id=site_id, from_on__lt=until_on)
    held = rows.filter(Q(until_on=None) | Q(until_on__gt=from_on))
    return held.select_related("worker", "skill")
