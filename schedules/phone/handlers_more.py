"""Events of photos, services, walk-rounds and handovers."""

from __future__ import annotations

from typing import Any

from django.db.models import Model
from django.utils.translation import gettext as _
from rest_framework import serializers

from equipment.attachments.models import SubjectKind
from equipment.attachments.services import attach
from equipment.machines.models import Defect, Machine
from equipment.machines.services import record_service
from equipment.site.callers import Caller
from equipment.site.errors import NotFoundError
from equipment.site.models import LEADS, SHOP, Event, Place
from equipment.site.restfields import FiniteField, KeyField
from schedules.handover.models import MAX_LINES, MAX_NOTE, MAX_TEXT
from schedules.handover.services import hand_over, take_handover, walk
from schedules.work.models import Problem, WorkOrder

from .registry import Payload, handles, machine_of, who

# What a photo may be about, and where that is found.
SUBJECTS: dict[str, tuple[SubjectKind, type[Model]]] = {
    "work_order": (SubjectKind.WORK_ORDER, WorkOrder),
    "machine": (SubjectKind.MACHINE, Machine),
    "place": (SubjectKind.PLACE, Place),
    "problem": (SubjectKind.PROBLEM, Problem),
    "defect": (SubjectKind.DEFECT, Defect),
}


class PhotoPayload(serializers.Serializer[Any]):
    """A photo or voice note, and the one thing that it is about."""

    attachment = serializers.UUIDField()
    work_order = KeyField(required=False)
    machine = KeyField(required=False)
    place = KeyField(required=False)
    problem = KeyField(required=False)
    defect = KeyField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for one subject."""
        if len(attrs) != 2:
            raise serializers.ValidationError(
                _("Name one of work_order, machine, place, problem or defect.")
            )
        return attrs


class ServicePayload(serializers.Serializer[Any]):
    """A service done on a machine; an odd reading comes again with a reason."""

    machine = KeyField()
    item = KeyField()
    meter_h = FiniteField(min_value=0, max_value=200_000)
    minutes = serializers.IntegerField(min_value=0, max_value=100_000, default=0)
    parts = serializers.CharField(max_length=300, allow_blank=True, default="")
    reason = serializers.CharField(max_length=300, allow_blank=True, default="")


class Lines(serializers.ListField):
    """One box of a handover."""

    def __init__(self, **kwargs: Any) -> None:
        child = serializers.CharField(max_length=MAX_TEXT, allow_blank=True)
        super().__init__(child=child, max_length=MAX_LINES, default=list, **kwargs)


class HandOverPayload(serializers.Serializer[Any]):
    """What a crew leaves; `safety` is new, `closed` are keys of safety items that are no more."""

    crew = KeyField()
    left = Lines()
    broken = Lines()
    watch = Lines()
    first = Lines()
    safety = Lines()
    closed = serializers.ListField(child=KeyField(), max_length=100, default=list)


class TakeHandoverPayload(serializers.Serializer[Any]):
    """Names the handover that is taken on."""

    handover = KeyField()


class WalkPayload(serializers.Serializer[Any]):
    """What was found at a line of the walk-round."""

    line = KeyField()
    ok = serializers.BooleanField()
    text = serializers.CharField(max_length=MAX_NOTE, allow_blank=True, default="")
    attachments = serializers.ListField(child=serializers.UUIDField(), max_length=10, default=list)


@handles("photo", PhotoPayload)
def _photo(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    attachment_id = p.pop("attachment")
    [(name, subject_id)] = p.items()
    kind, model = SUBJECTS[name]
    if not model._default_manager.filter(site=caller.site, pk=subject_id).exists():
        raise NotFoundError(_("There is nothing of that number here."))
    attach(
        attachment_ids=[attachment_id],
        subject_kind=kind,
        subject_id=subject_id,
        **who(caller, event),
    )
    return {}


@handles("service", ServicePayload)
def _service(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    caller.require(*SHOP)
    machine_of(caller, p["machine"])
    done = record_service(
        site_id=caller.site.pk,
        machine_id=p["machine"],
        item_id=p["item"],
        done_at=event.happened_at,
        meter_h=p["meter_h"],
        by=caller.actor,
        minutes=p["minutes"],
        parts=p["parts"],
        reason=p["reason"],
        now=event.received_at,
    )
    due = done.next_due.due
    return {
        "service": done.record.pk,
        "next_due_on": due.due_on.isoformat() if due.due_on else None,
        "left_h": due.left_h,
    }


@handles("hand_over", HandOverPayload)
def _hand_over(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    caller.require(*LEADS)
    handover = hand_over(crew_id=p.pop("crew"), **p, **who(caller, event))
    return {"handover": handover.pk}


@handles("take_handover", TakeHandoverPayload)
def _take_handover(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    caller.require(*LEADS)
    taken = take_handover(
        site_id=caller.site.pk,
        handover_id=p["handover"],
        by=caller.actor,
        at=event.happened_at,
    )
    return {"taken_by": taken.taken_by.name if taken.taken_by else ""}


@handles("walk", WalkPayload)
def _walk(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    answer = walk(line_id=p["line"], ok=p["ok"], text=p["text"], **who(caller, event))
    if answer.problem_id is None:
        return {"problem": None}
    attach(
        attachment_ids=p["attachments"],
        subject_kind=SubjectKind.PROBLEM,
        subject_id=answer.problem_id,
        **who(caller, event),
    )
    return {"problem": answer.problem_id}
