"""Reads of the ground floor that pages and API share."""

from collections.abc import Collection
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.utils.translation import get_language

from .looks import once_a_look
from .models import (
    Change,
    ChangeCursor,
    Event,
    EventState,
    Hold,
    HoldSubject,
    Membership,
    Place,
    Site,
    SiteVersion,
    User,
)

DEFAULT_WORDS: dict[str, dict[str, str]] = {
    "en": {
        "site": "Site",
        "parlor": "Parlor",
        "pen": "Pen",
        "bed_group": "Beds",
        "alley": "Alley",
        "tank": "Flush tank",
        "lane": "Sand lane",
        "slab": "Drain slab",
        "pad": "Pad",
        "bay": "Bay",
        "pile_place": "Pile",
        "basin": "Basin",
        "shop": "Shop",
        "yard": "Yard",
        "field": "Field",
        "machine": "Machine",
        "batch": "Batch",
        "crew": "Crew",
        "pens": "Pens",
        "pads": "Pads",
        "machines": "Machines",
        "batches": "Batches",
        "basins": "Basins",
        "fields": "Fields",
    },
    "es": {
        "site": "Sitio",
        "parlor": "Sala",
        "pen": "Corral",
        "bed_group": "Camas",
        "alley": "Pasillo",
        "tank": "Tanque de lavado",
        "lane": "Canal de arena",
        "slab": "Plancha de escurrido",
        "pad": "Patio",
        "bay": "Tramo",
        "pile_place": "Montón",
        "basin": "Pila de sólidos",
        "shop": "Taller",
        "yard": "Patio de máquinas",
        "field": "Campo",
        "machine": "Máquina",
        "batch": "Lote",
        "crew": "Cuadrilla",
        "pens": "Corrales",
        "pads": "Patios",
        "machines": "Máquinas",
        "batches": "Lotes",
        "basins": "Pilas de sólidos",
        "fields": "Campos",
    },
}
SINGULAR = {
    "pens": "pen",
    "pads": "pad",
    "machines": "machine",
    "batches": "batch",
    "basins": "basin",
    "fields": "field",
}


def current_language() -> str:
    """Give the two letters of the language that this thread speaks."""
    return (get_language() or "en")[:2]


def word(site: Site, language: str, noun: str) -> str:
    """Give the farm's own word for a noun, else the trade's usual one. No query.

    A farm that renames a thing and gives no plural has its one word for both.
    """
    usual = DEFAULT_WORDS.get(language, DEFAULT_WORDS["en"])
    own = site.words.get(language, {})
    return str(own.get(noun) or own.get(SINGULAR.get(noun, "")) or usual.get(noun) or noun)


def words_of(site: Site, language: str) -> dict[str, str]:
    """Give the farm's word for every noun it may name. No query."""
    return {noun: word(site, language, noun) for noun in DEFAULT_WORDS["en"]}


def place_name(site: Site, place: Place, language: str) -> str:
    """Name a place as its people do: the farm's word and its label. No query."""
    return f"{word(site, language, place.kind)} {place.label}".strip()


def sites_of(user: User) -> QuerySet[Site]:
    """Sites an account belongs to: 1 query."""
    return Site.objects.filter(
        id__in=Membership.objects.filter(user=user).values("site_id")
    ).order_by("name")


@once_a_look
def site_of(site_id: int) -> Site:
    """Give a site by its key: 1 query."""
    return Site.objects.get(pk=site_id)


def site_version(site_id: int) -> int:
    """Give the count of the site's committed changes: 1 query."""
    return SiteVersion.objects.values_list("version", flat=True).get(site_id=site_id)


def open_holds(site_id: int, subject_kind: HoldSubject) -> QuerySet[Hold]:
    """Holds not yet cleared, of one kind of thing: 1 query."""
    return Hold.objects.filter(
        site_id=site_id, subject_kind=subject_kind, cleared_at__isnull=True
    ).select_related("put_by")


def held_since(subject_kind: HoldSubject, since: datetime) -> QuerySet[Hold, Any]:
    """Keys of things whose holds were put or cleared since: a query to be part of another."""
    return Hold.objects.filter(subject_kind=subject_kind, changed_at__gte=since).values(
        "subject_id"
    )


def unread_changes(site_id: int, consumer: str) -> tuple[list[Change], ChangeCursor]:
    """Changes an upper room has not read, in order, and its locked cursor: 2 queries.

    The cursor row is locked until the caller's transaction ends, so that two runs of one
    consumer never read the same changes.
    """
    ChangeCursor.objects.get_or_create(site_id=site_id, consumer=consumer)
    cursor = ChangeCursor.objects.select_for_update(no_key=True).get(
        site_id=site_id, consumer=consumer
    )
    changes = Change.objects.filter(site_id=site_id, version__gt=cursor.version)
    return list(changes.order_by("version", "id")), cursor


def events_that_made(
    site_id: int, kind: str, key: str, ids: Collection[int], since: datetime
) -> dict[int, UUID]:
    """Give the event that made each of some rows, as its answer names them under a key: 1 query.

    Only events received since a moment are looked at; what was typed at the desk has none.
    """
    rows = Event.objects.filter(
        site_id=site_id,
        kind=kind,
        state=EventState.APPLIED,
        received_at__gte=since,
        **{f"answer__result__{key}__in": list(ids)},
    )
    return {answer["result"][key]: pk for pk, answer in rows.values_list("pk", "answer")}
