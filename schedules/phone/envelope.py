"""What phones send: events in their envelope, whose payload the kind's own shape checks."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from rest_framework import serializers

from equipment.site.restfields import BIGGEST_KEY, KeyField, OffsetDateTimeField

from .intake import MAX_EVENTS, Told
from .registry import HANDLERS

MOST_VERSION = 100
ID = re.compile(r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
INSTANT = re.compile(  # RFC 3339, as phones write it
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?"
    r"(?:Z|[+-][0-9]{2}:[0-9]{2})"
)


class EventInput(serializers.Serializer[Any]):
    """One event: made on the phone, with the phone's own time and sequence."""

    id = serializers.UUIDField()
    kind = serializers.CharField(max_length=40)
    payload = serializers.DictField()
    client_at = OffsetDateTimeField()
    seq = serializers.IntegerField(
        min_value=1, max_value=BIGGEST_KEY, required=False, allow_null=True
    )
    schema_version = serializers.IntegerField(min_value=1, max_value=MOST_VERSION, default=1)
    worker = KeyField(
        required=False,
        allow_null=True,
        help_text="On a crew's shared phone: who picked their name.",
    )


class EventsInput(serializers.Serializer[Any]):
    """Up to 50 events, in the order they were made."""

    events = serializers.ListField(
        child=EventInput(), min_length=1, max_length=MAX_EVENTS, allow_empty=False
    )


def read_events(data: Any) -> list[Told]:
    """Check the body of a call; what is wrong with it, the serializer says.

    What is plainly in its shape does not go through the serializer: fifty events took it longer
    than all that is done with them.
    """
    plain = plain_events(data)
    if plain is not None:
        return plain
    form = EventsInput(data=data)
    form.is_valid(raise_exception=True)
    return [Told(**event) for event in form.validated_data["events"]]


def plain_events(data: Any) -> list[Told] | None:
    """Give what the serializer would; None where that is for it to decide."""
    events = data.get("events") if type(data) is dict else None
    if type(events) is not list or not 1 <= len(events) <= MAX_EVENTS:
        return None
    told = []
    for event in events:
        plain = _plain(event) if type(event) is dict else None
        if plain is None:
            return None
        told.append(plain)
    return told


def _plain(event: dict[str, Any]) -> Told | None:
    part: Callable[[str], Any] = event.get
    ours, kind, payload, at = part("id"), part("kind"), part("payload"), part("client_at")
    seq, worker, version = part("seq"), part("worker"), event.get("schema_version", 1)
    is_plain = (
        (type(ours) is str and ID.fullmatch(ours))
        and (type(kind) is str and kind in HANDLERS)
        and type(payload) is dict
        and (type(at) is str and INSTANT.fullmatch(at))
        and (seq is None or (type(seq) is int and 1 <= seq <= BIGGEST_KEY))
        and (worker is None or (type(worker) is int and 1 <= worker <= BIGGEST_KEY))
        and (type(version) is int and 1 <= version <= MOST_VERSION)
    )
    if not is_plain:
        return None
    try:
        client_at = datetime.fromisoformat(at).astimezone(UTC)
    except (ValueError, OverflowError):
        return None
    return Told(uuid.UUID(ours), kind, payload, client_at, seq, version, worker)
