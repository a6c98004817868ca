"""What each kind of event does: reads its payload and calls one verb of a room below."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rest_framework import serializers

from crews.people.services import set_language
from equipment.attachments.models import SubjectKind
from equipment.attachments.services import attach
from equipment.flushing.services import put_lock, take_off_lock
from equipment.machines.services import add_reading, report_defect, submit_check
from equipment.site.callers import Caller
from equipment.site.models import Event, Language
from equipment.site.restfields import FiniteField, KeyField
from schedules.rounds.clock import MOMENTS
from schedules.rounds.services import record_visit_time
from schedules.sand.services import add_moisture_test
from schedules.work.models import Outcome
from schedules.work.progress import (
    add_loads,
    finish_work,
    report_problem,
    start_work,
    undo_report,
)
from schedules.work.telling import Teller

from .registry import Payload, Result, handles, handles_many, machine_of, who


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
    """Something is wrong somewhere, or with a machine; photos and voice notes that show it."""

    text = serializers.CharField(max_length=300)
    place = KeyField(required=False, allow_null=True)
    machine = KeyField(required=False, allow_null=True)
    is_safety = serializers.BooleanField(default=False)
    attachments = serializers.ListField(child=serializers.UUIDField(), max_length=10, default=list)


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


@handles("start", WorkPayload)
def _start(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    machine = machine_of(caller, p.get("machine"))
    order = start_work(work_order_id=p["work_order"], machine=machine, **who(caller, event))
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
        machine=machine_of(caller, p.get("machine")),
        **who(caller, event),
    )
    return {"status": order.status, "outcome": order.outcome}


@handles_many("load", WorkPayload)
def _loads(caller: Caller, events: Sequence[Event], payloads: list[Payload]) -> list[Result]:
    named = {p.get("machine") for p in payloads}
    machines, by = {pk: machine_of(caller, pk) for pk in named}, caller.actor
    loads = [
        (p["work_order"], Teller(by, event.happened_at, event, machines[p.get("machine")]))
        for event, p in zip(events, payloads, strict=True)
    ]
    counted = add_loads(site_id=caller.site.pk, loads=loads)
    return [{"loads": n} for _order, n in counted]


@handles("undo", UndoPayload)
def _undo(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    order = undo_report(work_order_id=p["work_order"], **who(caller, event))
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
    machine = machine_of(caller, p.get("machine"))
    if machine is not None:
        defect = report_defect(
            site_id=caller.site.pk,
            machine_id=machine.pk,
            text=p["text"],
            is_safety=p["is_safety"],
            by=caller.actor,
            at=event.happened_at,
        )
        _show(caller, event, p, SubjectKind.DEFECT, defect.pk)
        return {"defect": defect.pk}
    problem = report_problem(
        place_id=p.get("place"),
        text=p["text"],
        is_safety=p["is_safety"],
        **who(caller, event),
    )
    _show(caller, event, p, SubjectKind.PROBLEM, problem.pk)
    return {"problem": problem.pk}


def _show(caller: Caller, event: Event, p: Payload, kind: SubjectKind, subject_id: int) -> None:
    ids = p["attachments"]
    attach(attachment_ids=ids, subject_kind=kind, subject_id=subject_id, **who(caller, event))


@handles("moisture_test", MoisturePayload)
def _moisture(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    test = add_moisture_test(
        batch_id=p["batch"],
        moisture_frac=p["moisture_frac"],
        basis=p["basis"],
        n_spots=p["n_spots"],
        depth_m=p.get("depth_m"),
        **who(caller, event),
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


@handles_many("language", LanguagePayload)
def _language(caller: Caller, events: Sequence[Event], payloads: list[Payload]) -> list[Result]:
    """The last one counts."""
    set_language(
        site_id=caller.site.pk,
        by=caller.actor,
        language=Language(payloads[-1]["language"]),
        at=events[-1].received_at,
    )
    return [{"language": p["language"]} for p in payloads]
