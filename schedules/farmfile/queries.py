"""Reads of the farm's facts as the file has them, and of what people changed of them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import Exists, F, IntegerField, OuterRef, Q, QuerySet, Subquery

from crews.people.models import WorkerSkill
from equipment.machines.models import Machine
from equipment.site.calc.local_time import local_date_of
from equipment.site.farmrows import Farm
from equipment.site.models import Place, Site
from equipment.site.queries import place_name
from schedules.dayplan.models import PlanRun
from schedules.rounds.models import Milking
from schedules.work.models import StandingOrder, Trigger

from .guide import Facts, WorkFacts
from .models import FarmEdit


class _Count(Subquery):
    template = "(SELECT count(*) FROM (%(subquery)s) counted)"
    output_field = IntegerField()


def _counts(farm: Farm) -> dict[str, Any]:
    """Count the entries of each section that are in use."""
    return {
        f"n_{name}": _Count(section.rows.in_use(farm, section).values("pk"))
        for name, section in farm.sections.items()
    }


def guide_facts(farm: Farm, language: str) -> Facts:
    """Give what a first day's plan rests on: 2 queries."""
    of_site = {"site": OuterRef("pk")}
    plans = PlanRun.objects.filter(**of_site)
    today = local_date_of(farm.at, farm.site.zone)
    is_held = Q(until_on=None) | Q(until_on__gt=today)
    holders = WorkerSkill.objects.filter(is_held, worker__retired_at=None, **of_site)
    machines = Machine.objects.filter(retired_at=None, **of_site)
    found: Any = (
        Site.objects.filter(pk=farm.site.pk)
        .values(
            has_milking=Exists(Milking.objects.filter(ends_at__gte=farm.at, **of_site)),
            has_given=Exists(plans.filter(n_assigned__gt=0)),
            n_nobody=Subquery(plans.order_by("-made_at", "-pk").values("n_unassigned")[:1]),
            held=ArraySubquery(holders.values(of=F("skill__key")).distinct()),
            kinds=ArraySubquery(machines.values(of=F("kind")).distinct()),
            **_counts(farm),
        )
        .get()
    )
    n_nobody = found["n_nobody"] or 0
    return Facts(
        n_in_use={name: found[f"n_{name}"] for name in farm.sections},
        work=_work_facts(farm.site.pk, language),
        skills_held=set(found["held"]),
        machine_kinds=set(found["kinds"]),
        has_milking=found["has_milking"],
        plan=(int(found["has_given"]), n_nobody) if found["has_given"] or n_nobody else None,
    )


def _work_facts(site_id: int, language: str) -> list[WorkFacts]:
    orders = StandingOrder.objects.filter(site_id=site_id, retired_at=None).order_by("key")
    return [
        WorkFacts(
            title=title.get(language) or next(iter(title.values()), ""),
            is_at_visit=trigger == Trigger.PEN_VISIT,
            skill=skill,
            machine_kinds=tuple(kinds),
        )
        for title, trigger, skill, kinds in orders.values_list(
            "title", "trigger", "skill", "machine_kinds"
        )
    ]


def last_edits(site_id: int, n: int) -> QuerySet[FarmEdit]:
    """Give what people changed last, the newest first, with whether it was undone: 1 query."""
    edits = FarmEdit.objects.filter(site_id=site_id).select_related("by", "undone_by")
    return edits.order_by("-made_at", "-pk")[:n]


def last_edit_of(site_id: int, section: str, key: str) -> FarmEdit | None:
    """Give who changed an entry last, so far as it was done here: 1 query."""
    asked = [{"section": section, "key": key}]
    edits = FarmEdit.objects.filter(site_id=site_id, entries__contains=asked)
    return edits.select_related("by").order_by("-made_at", "-pk").first()


def names_in(farm: Farm, sections: Iterable[str], language: str) -> dict[str, dict[str, str]]:
    """Give what people call the entries in use of some sections, by key: 1 query each, at most."""
    places: list[Place] | None = None
    names: dict[str, dict[str, str]] = {}
    for name in sections:
        section = farm.sections[name]
        if section.is_placed:
            if places is None:
                found = Place.objects.filter(site=farm.site, retired_at=None)
                places = list(found.order_by("kind", "key"))
            kinds = None if name == "places" else section.place_kinds
            names[name] = {
                place.key: call_place(farm.site, place, language)
                for place in places
                if kinds is None or place.kind in kinds
            }
        else:
            model: Any = section.rows.model
            rows = model.objects.filter(site=farm.site, retired_at=None).order_by("name", "key")
            names[name] = dict(rows.values_list("key", "name"))
    return names


def call_place(site: Site, place: Place, language: str) -> str:
    """Name a place; one without a label by its key, so that two are told apart."""
    name = place_name(site, place, language)
    return name if place.label else f"{name} ({place.key})"
