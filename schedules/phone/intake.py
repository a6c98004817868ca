"""Events from phones (and from the desk's own forms): taken once, in order, each answered.

One transaction an event: the event row is written first, its effect stands in a savepoint, the
answer is stored beside it. A refusal rolls back the effect alone and is the answer. A repeat
gets the stored answer (reliability R13, R14).
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from crews.devices.models import Device
from equipment.site.callers import Caller
from equipment.site.errors import DomainError
from equipment.site.models import Event, EventState
from equipment.site.writes import site_write

from .handlers import HANDLERS

MAX_EVENTS = 50
OLDEST = timedelta(days=180)  # what a phone may have kept, by the shapes we still take (R20)


@dataclass(frozen=True, slots=True)
class Told:
    """One event as it came in, its shape already checked."""

    id: uuid.UUID
    kind: str
    payload: dict[str, Any]
    client_at: datetime
    seq: int | None = None
    schema_version: int = 1


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one event: applied, refused, or to be sent again (`gap`)."""

    id: uuid.UUID
    state: str
    code: str = ""
    detail: str = ""
    expected_seq: int | None = None
    result: dict[str, Any] | None = None


def take_events(*, caller: Caller, events: Sequence[Told], received_at: datetime) -> list[Answer]:
    """Take up to 50 events of one caller in the order given; one bad event blocks no other."""
    return [_take(caller, told, received_at) for told in events]


def _take(caller: Caller, told: Told, received_at: datetime) -> Answer:
    with site_write(caller.site.pk, received_at) as write:
        device = _locked_device(caller)
        event = Event.objects.filter(id=told.id).first()
        is_new = event is None
        if event is None:
            if (out_of_order := _order_fault(device, told)) is not None:
                return out_of_order
            event, is_new = _write_event(caller, device, told, received_at)
        if is_new:
            _apply(caller, event)
            write.touch()
        _count(device, told, received_at)
    return _answer_of(event) if is_new else _stored_answer(caller, event)


def _locked_device(caller: Caller) -> Device | None:
    """Lock the phone's row: its events are taken one after another, whoever sends them."""
    if caller.device_id is None:
        return None
    return Device.objects.select_for_update(no_key=True).get(id=caller.device_id)


def _count(device: Device | None, told: Told, received_at: datetime) -> None:
    """Move the phone's sequence on; whatever came of an event, its number is used."""
    if device is None:
        return
    if told.seq == device.last_seq + 1:
        device.last_seq = told.seq
    device.last_seen_at = received_at
    device.save(update_fields=["last_seq", "last_seen_at"])


def _stored_answer(caller: Caller, stored: Event) -> Answer:
    """Give a person's own event its first answer, from a phone paired anew as well."""
    if stored.site_id != caller.site.pk or stored.actor_id != caller.actor.pk:
        return Answer(stored.id, "refused", "event_id_used", _("This event id is another's."))
    return _answer_of(stored)


def _order_fault(device: Device | None, told: Told) -> Answer | None:
    """Say what is wrong with the sequence number; None when it is the next one."""
    if device is None:
        return None
    expected = device.last_seq + 1
    if told.seq == expected:
        return None
    if told.seq is None:
        words = _("A phone's events carry its sequence number.")
        return Answer(told.id, "refused", "seq_missing", words, expected)
    if told.seq < expected:
        words = _("This sequence number was used before.")
        return Answer(told.id, "refused", "seq_used", words, expected)
    return Answer(told.id, "gap", "gap", _("Send the events before this one first."), expected)


def _write_event(
    caller: Caller, device: Device | None, told: Told, received_at: datetime
) -> tuple[Event, bool]:
    """Write the event down; one that came by another way meanwhile is given as it stands."""
    facts = {
        "site": caller.site,
        "actor": caller.actor,
        "device_key": caller.device_id,
        "device_seq": told.seq if device else None,
        "kind": told.kind,
        "schema_version": told.schema_version,
        "payload": told.payload,
        "client_at": told.client_at,
        "happened_at": _bounded(device, told.client_at, received_at),
        "received_at": received_at,
        "state": EventState.APPLIED,
    }
    return Event.objects.get_or_create(id=told.id, defaults=facts)


def _bounded(device: Device | None, client_at: datetime, received_at: datetime) -> datetime:
    """A phone's clock is evidence: not before its last event, not after we heard (R18)."""
    earliest = received_at - OLDEST
    if device is not None:
        said = Event.objects.filter(site_id=device.site_id, device_key=device.pk)
        last = said.order_by("-device_seq").values_list("happened_at", flat=True).first()
        earliest = max(earliest, last or earliest)
    return min(max(client_at, earliest), received_at)


def _apply(caller: Caller, event: Event) -> None:
    """Do what the event says in a savepoint; a refusal undoes that alone and becomes the answer."""
    try:
        with site_write(caller.site.pk, event.received_at):  # joins the open one: a savepoint
            handler = HANDLERS.get(event.kind)
            if handler is None:
                raise UnknownKindError(_("This kind of event is not known here: update the page."))
            event.answer = {"result": handler(caller, event)}
    except DomainError as error:
        event.state = EventState.REFUSED
        event.answer = {"code": error.code, "detail": error.detail}
    event.save(update_fields=["state", "answer"])


class UnknownKindError(DomainError):
    """An event kind this server has no handler for."""

    code = "unknown_kind"


def _answer_of(event: Event) -> Answer:
    answer = event.answer
    return Answer(
        event.id,
        event.state,
        answer.get("code", ""),
        answer.get("detail", ""),
        result=answer.get("result"),
    )
