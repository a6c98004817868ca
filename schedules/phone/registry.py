"""Which handler takes which kind of event, and what all of them use."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from crews.people.models import Worker
from equipment.machines.models import Machine
from equipment.site.callers import Caller
from equipment.site.errors import DomainError, FieldFault, InvalidInputError, NotFoundError
from equipment.site.models import Event
from equipment.site.writes import site_write

Payload = dict[str, Any]
Result = dict[str, Any]
Handler = Callable[[Caller, Sequence[Event]], list[Result]]
HANDLERS: dict[str, Handler] = {}
PAYLOADS: dict[str, type[serializers.Serializer[Any]]] = {}
IN_RUNS: set[str] = set()  # kinds of which several that follow one another are done at once


def handles(
    kind: str, shape: type[serializers.Serializer[Any]]
) -> Callable[[Callable[[Caller, Event, Payload], Result]], Handler]:
    """Register what is done at one event; its payload is checked against `shape` first."""

    def register(do: Callable[[Caller, Event, Payload], Result]) -> Handler:
        def handler(caller: Caller, events: Sequence[Event]) -> list[Result]:
            [event] = events
            return [do(caller, event, _checked(shape, event.payload))]

        PAYLOADS[kind] = shape
        HANDLERS[kind] = handler
        return handler

    return register


def handles_many(
    kind: str, shape: type[serializers.Serializer[Any]]
) -> Callable[[Callable[[Caller, Sequence[Event], list[Payload]], list[Result]]], Handler]:
    """Register what is done at a run: events of one kind, by one person, one after another.

    It comes to what the same events would come to one by one, or is refused as a whole: then it
    is tried in parts, down to the one event that is refused.
    """

    def register(do: Callable[[Caller, Sequence[Event], list[Payload]], list[Result]]) -> Handler:
        def handler(caller: Caller, events: Sequence[Event]) -> list[Result]:
            return do(caller, events, _checked_once(shape, [event.payload for event in events]))

        PAYLOADS[kind] = shape
        HANDLERS[kind] = handler
        IN_RUNS.add(kind)
        return handler

    return register


def _checked_once(
    shape: type[serializers.Serializer[Any]], payloads: Sequence[Payload]
) -> list[Payload]:
    """Check payloads; of those that are alike, one."""
    checked: dict[str, Payload] = {}
    for payload in payloads:
        if (text := repr(payload)) not in checked:
            checked[text] = _checked(shape, payload)
    return [checked[repr(payload)] for payload in payloads]


def _checked(shape: type[serializers.Serializer[Any]], payload: Payload) -> Payload:
    form = shape(data=payload)
    if not form.is_valid():
        faults = [
            FieldFault(f"/payload/{name}", "invalid", " ".join(str(m) for m in _flat(messages)))
            for name, messages in form.errors.items()
        ]
        first = f"{faults[0].pointer}: {faults[0].detail}"
        raise InvalidInputError(_("The event cannot be read: %s") % first, faults)
    return dict(form.validated_data)


def _flat(messages: Any) -> list[Any]:
    if isinstance(messages, list):
        return [m for message in messages for m in _flat(message)]
    if isinstance(messages, dict):
        return [m for message in messages.values() for m in _flat(message)]
    return [messages]


def machine_of(caller: Caller, machine_id: int | None) -> Machine | None:
    """Give the machine that an event names; None where it names none: 1 query."""
    if machine_id is None:
        return None
    machine = Machine.objects.filter(site=caller.site, id=machine_id).first()
    if machine is None:
        raise NotFoundError(_("There is no such machine here."))
    return machine


def who(caller: Caller, event: Event) -> dict[str, Any]:
    """Give the keyword arguments every verb takes: site, who, when, by which event."""
    return {
        "site_id": caller.site.pk,
        "by": caller.actor,
        "at": event.happened_at,
        "event": event,
    }


def worker_of(caller: Caller) -> Worker | None:
    """Give the worker behind a caller: 1 query."""
    return Worker.objects.filter(site=caller.site, actor=caller.actor).first()


def own_worker(caller: Caller) -> Worker:
    """Give the worker behind a caller; an account that is none is refused: 1 query."""
    worker = worker_of(caller)
    if worker is None:
        raise NotFoundError(_("This account is no worker of the site: pair a phone."))
    return worker


class UnknownKindError(DomainError):
    """An event kind this server has no handler for."""

    code = "unknown_kind"


def perform(teller: Caller, events: Sequence[Event]) -> list[Result]:
    """Do what events of one kind say, as one step that is done whole or not at all."""
    handler = HANDLERS.get(events[0].kind)
    if handler is None:
        raise UnknownKindError(_("This kind of event is not known here: update the page."))
    with site_write(events[0].site_id, events[0].received_at):  # joins the open one: a savepoint
        return handler(teller, events)
