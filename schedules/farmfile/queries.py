"""Reads of the farm's facts as the file has them, and of what people changed of them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import IntegerField, QuerySet, Subquery

from equipment.site.farmrows import Farm
from equipment.site.models import Place, Site
from equipment.site.queries import place_name

from .models import FarmEdit


class _Count(Subquery):
    template = "(SELECT count(*) FROM (%(subquery)s) counted)"
    output_field = IntegerField()


def n_in_use(farm: Farm) -> dict[str, int]:
    """Give how many entries of each section are in use: 1 query."""
    counts = {
        f"n_{name}": _Count(section.rows.in_use(farm, section).values("pk"))
        for name, section in farm.sections.items()
    }
    found: Any = Site.objects.filter(pk=farm.site.pk).values(**counts).get()
    return {name: found[f"n_{name}"] for name in farm.sections}


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
