"""What each kind of event does: reads its payload and calls one verb of a room below."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from crews.people.models import Worker
from crews.people.services import set_language
from equipment.flushing.services import put_lock, take_off_lock
from equipment.machines.models import Machine
from equipment.machines.services import add_reading, report_defect, submit_check
from equipment.site.callers import Caller
from equipment.site.errors import FieldFault, InvalidInputError, NotFoundError
from equipment.site.models import Event, Language
from equipment.site.restfields import FiniteField, KeyField
from schedules.rounds.clock import MOMENTS
from schedules.rounds.services import record_visit_time
from schedules.sand.services import add_moisture_test
from schedules.work.models import Outcome
from schedules.work.progress import (
    add_load,
    finish_work,
    report_problem,
    start_work,
    undo_report,
)

Handler = Callable[[Caller, Event], dict[str, Any]]
HANDLERS: dict[str, Handler] = {}
Payload = dict[str, Any]


class WorkPayload(serializers.Serializer[Any]):
    """Names a work order, and the machine it is done with."""

    work_order = KeyField()
    machine = KeyField(required=False, allow_null=True)


class DonePayload(WorkPayload):
    """Done; for a step of sand also where it went: a bay, a pile place or a pen."""

    to_place = KeyField(required=False, allow_null=True)


class PartPayload(WorkPayload):
    """Part of it was done; `n_left` is what was not."""

    n_left = serializers.IntegerField(min_value=1, max_value=100_000)
    reason = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class CouldNotPayload(WorkPayload):
    """It could not be done, and why."""

    reason = serializers.CharField(max_length=300)


class ReadingPayload(serializers.Serializer[Any]):
    """What an hour meter shows; a questioned one comes again with a reason."""

    machine = KeyField()
    meter_h = FiniteField(min_value=0, max_value=200_000)
    is_new_meter = serializers.BooleanField(default=False)
    reason = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class CheckAnswer(serializers.Serializer[Any]):
    """One line of a look round."""

    item = KeyField()
    ok = serializers.BooleanField()
    can_work = serializers.BooleanField(required=False, default=True)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class CheckPayload(serializers.Serializer[Any]):
    """A look round before a machine starts."""

    machine = KeyField()
    answers = CheckAnswer(many=True, allow_empty=False)


class LockOnPayload(serializers.Serializer[Any]):
    """A lock put on by the person exposed."""

    place = KeyField()
    what = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class LockOffPayload(serializers.Serializer[Any]):
    """A lock taken off by its owner."""

    lock = KeyField()


class ProblemPayload(serializers.Serializer[Any]):
    """Something is wrong somewhere, or with a machine."""

    text = serializers.CharField(max_length=300)
    place = KeyField(required=False, allow_null=True)
    machine = KeyField(required=False, allow_null=True)
    is_safety = serializers.BooleanField(default=False)


class MoisturePayload(serializers.Serializer[Any]):
    """A moisture test; the basis is always stated."""

    batch = KeyField()
    moisture_frac = FiniteField(min_value=0, max_value=0.9)
    basis = serializers.ChoiceField(choices=["wb", "db"])
    n_spots = serializers.IntegerField(min_value=1, max_value=50, default=1)
    depth_m = FiniteField(min_value=0, max_value=3, required=False, allow_null=True)


class PenTimePayload(serializers.Serializer[Any]):
    """Where a pen's cows are in its visit."""

    visit = KeyField()
    moment = serializers.ChoiceField(choices=list(MOMENTS))


class UndoPayload(serializers.Serializer[Any]):
    """Takes back the person's own last word on a work order."""

    work_order = KeyField()


class LanguagePayload(serializers.Serializer[Any]):
    """The language the person chose on the phone."""

    language = serializers.ChoiceField(choices=Language.choices)


PAYLOADS: dict[str, type[serializers.Serializer[Any]]] = {}


def handles(
    kind: str, shape: type[serializers.Serializer[Any]]
) -> Callable[[Callable[[Caller, Event, Payload], dict[str, Any]]], Handler]:
    """Register a handler; its payload is checked against `shape` first."""

    def register(do: Callable[[Caller, Event, Payload], dict[str, Any]]) -> Handler:
        def handler(caller: Caller, event: Event) -> dict[str, Any]:
            return do(caller, event, _checked(shape, event.payload))

        PAYLOADS[kind] = shape
        HANDLERS[kind] = handler
        return handler

    return register


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


def _machine(caller: Caller, machine_id: int | None) -> Machine | None:
    if machine_id is None:
        return None
    machine = Machine.objects.filter(site=caller.site, id=machine_id).first()
    if machine is None:
        raise NotFoundError(_("There is no such machine here."))
    return machine


def _who(caller: Caller, event: Event) -> dict[str, Any]:
    """Give the keyword arguments every verb takes: site, who, when, by which event."""
    return {
        "site_id": caller.site.pk,
        "by": caller.actor,
        "at": event.happened_at,
        "event": event,
    }


@handles("start", WorkPayload)
def _start(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    machine = _machine(caller, p.get("machine"))
    order = start_work(work_order_id=p["work_order"], machine=machine, **_who(caller, event))
    return {"status": order.status}


@handles("done", DonePayload)
def _done(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    return _finish(caller, event, p, Outcome.DONE)


@handles("part", PartPayload)
def _part(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    return _finish(caller, event, p, Outcome.PART)


@handles("could_not", CouldNotPayload)
def _could_not(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    return _finish(caller, event, p, Outcome.COULD_NOT)


def _finish(caller: Caller, event: Event, p: Payload, outcome: Outcome) -> dict[str, Any]:
    order = finish_work(
        work_order_id=p["work_order"],
        outcome=outcome,
        n_left=p.get("n_left"),
        reason=p.get("reason", ""),
        to_place_id=p.get("to_place"),
        machine=_machine(caller, p.get("machine")),
        **_who(caller, event),
    )
    return {"status": order.status, "outcome": order.outcome}


@handles("load", WorkPayload)
def _load(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    machine = _machine(caller, p.get("machine"))
    order = add_load(work_order_id=p["work_order"], machine=machine, **_who(caller, event))
    return {"loads": order.loads}


@handles("undo", UndoPayload)
def _undo(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    order = undo_report(work_order_id=p["work_order"], **_who(caller, event))
    return {"status": order.status}


@handles("reading", ReadingPayload)
def _reading(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    added = add_reading(
        site_id=caller.site.pk,
        machine_id=p["machine"],
        meter_h=p["meter_h"],
        is_new_meter=p["is_new_meter"],
        reason=p["reason"],
        read_at=event.happened_at,
        now=event.received_at,
        by=caller.actor,
        event=event,
    )
    return {"reading": added.reading.pk, "due": [item.key for item in added.due_items]}


@handles("check", CheckPayload)
def _check(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    check = submit_check(
        site_id=caller.site.pk,
        machine_id=p["machine"],
        answers=[dict(a) for a in p["answers"]],
        by=caller.actor,
        at=event.happened_at,
    )
    return {"verdict": check.verdict}


@handles("lock_on", LockOnPayload)
def _lock_on(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    lock = put_lock(
        site_id=caller.site.pk,
        place_id=p["place"],
        what=p["what"],
        by=caller.actor,
        at=event.happened_at,
        received_at=event.received_at,
    )
    return {"lock": lock.pk}


@handles("lock_off", LockOffPayload)
def _lock_off(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    lock = take_off_lock(
        site_id=caller.site.pk,
        lock_id=p["lock"],
        by=caller.actor,
        at=event.happened_at,
        received_at=event.received_at,
    )
    return {"lock": lock.pk}


@handles("problem", ProblemPayload)
def _problem(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    machine = _machine(caller, p.get("machine"))
    if machine is not None:
        defect = report_defect(
            site_id=caller.site.pk,
            machine_id=machine.pk,
            text=p["text"],
            is_safety=p["is_safety"],
            by=caller.actor,
            at=event.happened_at,
        )
        return {"defect": defect.pk}
    problem = report_problem(place_id=p.get("place"), text=p["text"], **_who(caller, event))
    return {"problem": problem.pk}


@handles("moisture_test", MoisturePayload)
def _moisture(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    test = add_moisture_test(
        batch_id=p["batch"],
        moisture_frac=p["moisture_frac"],
        basis=p["basis"],
        n_spots=p["n_spots"],
        depth_m=p.get("depth_m"),
        **_who(caller, event),
    )
    return {"test": test.pk}


@handles("pen_time", PenTimePayload)
def _pen_time(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    record_visit_time(
        site_id=caller.site.pk,
        visit_id=p["visit"],
        moment=p["moment"],
        at=event.happened_at,
        by=caller.actor,
        received_at=event.received_at,
    )
    return {}


@handles("language", LanguagePayload)
def _language(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    worker = worker_of(caller)
    if worker is None:
        raise NotFoundError(_("This account is no worker of the site: pair a phone."))
    set_language(
        site_id=caller.site.pk,
        worker_id=worker.pk,
        language=Language(p["language"]),
        at=event.received_at,
    )
    return {"language": p["language"]}


def worker_of(caller: Caller) -> Worker | None:
    """Give the worker behind a caller: 1 query."""
    return Worker.objects.filter(site=caller.site, actor=caller.actor).first()
