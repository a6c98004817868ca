"""Reads of handovers and of the walk-round."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from typing import Any

from equipment.site.models import Language, Site
from equipment.site.queries import place_name

from .models import Handover, SafetyItem, WalkLine


def latest_handovers(site_id: int) -> list[Handover]:
    """Give each crew's latest handover: 1 query."""
    rows = Handover.objects.filter(site_id=site_id).select_related("crew", "by", "taken_by")
    return list(rows.order_by("crew_id", "-made_at", "-id").distinct("crew_id"))


def open_safety_items(site_id: int) -> dict[int, list[SafetyItem]]:
    """Give what each crew carries on, the oldest first: 1 query."""
    found: dict[int, list[SafetyItem]] = defaultdict(list)
    rows = SafetyItem.objects.filter(site_id=site_id, closed_at=None).select_related("raised_by")
    for item in rows.order_by("raised_at", "id"):
        found[item.crew_id].append(item)
    return found


def handover_documents(site: Site) -> dict[str, dict[str, Any]]:
    """Each crew's latest handover as phones carry it, by the crew's key: 2 queries."""
    items = open_safety_items(site.pk)
    return {
        str(handover.crew_id): _handover(handover, items.get(handover.crew_id, []))
        for handover in latest_handovers(site.pk)
    }


def _handover(handover: Handover, items: list[SafetyItem]) -> dict[str, Any]:
    return {
        "id": handover.pk,
        "made_at": _instant(handover.made_at),
        "by": handover.by.name,
        "left": handover.left,
        "broken": handover.broken,
        "watch": handover.watch,
        "first": handover.first,
        "safety": [
            {
                "id": item.pk,
                "text": item.text,
                "by": item.raised_by.name,
                "at": _instant(item.raised_at),
            }
            for item in items
        ],
        "taken_at": _instant(handover.taken_at),
        "taken_by": handover.taken_by.name if handover.taken_by else None,
    }


def walk_documents(site: Site) -> dict[str, dict[str, Any]]:
    """Lines of the walk-round as phones carry them, by their keys, in walking order: 1 query."""
    lines = WalkLine.objects.filter(site=site, retired_at=None).select_related("stand")
    return {
        str(line.pk): {
            "place_id": line.stand_id,
            "place": {code: place_name(site, line.stand, code) for code in Language.values},
            "text": {code: line.text.get(code) or line.name for code in Language.values},
            "order": line.position,
        }
        for line in lines.order_by("position", "id")
    }


def _instant(at: datetime | None) -> str | None:
    """Write an instant as the API does: RFC 3339, UTC."""
    return at.isoformat().replace("+00:00", "Z") if at else None
