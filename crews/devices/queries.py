"""Reads about paired phones."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import DateTimeField, OuterRef, Subquery

from equipment.site.models import Event

from .models import Device


@dataclass(frozen=True, slots=True)
class PairedPhone:
    """One phone: whose it is, when it last asked for anything, and what it told last.

    `told_at` is when its last word came in, `word_of` when that word was said on the phone.
    """

    device_id: int
    owner: str
    is_shared: bool
    heard_at: datetime
    is_heard: bool
    n_told: int
    told_at: datetime | None
    word_of: datetime | None


def paired_phones(site_id: int) -> list[PairedPhone]:
    """Phones that have access, the longest silent first: 1 query.

    One that was never heard of counts from its pairing. `heard_at` is right to five minutes.
    """
    last = Event.objects.filter(site_id=site_id, device_key=OuterRef("pk")).order_by("-device_seq")
    rows = (
        Device.objects.filter(
            site_id=site_id, revoked_at=None, worker__retired_at=None, crew__retired_at=None
        )
        .select_related("worker", "crew")
        .annotate(
            told_at=Subquery(last.values("received_at")[:1], output_field=DateTimeField()),
            word_of=Subquery(last.values("happened_at")[:1], output_field=DateTimeField()),
        )
    )
    found = [
        PairedPhone(
            device_id=row.pk,
            owner=str(row.worker or row.crew),
            is_shared=row.crew_id is not None,
            heard_at=row.last_seen_at or row.paired_at,
            is_heard=row.last_seen_at is not None,
            n_told=row.last_seq,
            told_at=row.told_at,
            word_of=row.word_of,
        )
        for row in rows
    ]
    return sorted(found, key=lambda phone: (phone.heard_at, phone.device_id))
