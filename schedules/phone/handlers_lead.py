"""Events of leads and the shop: decided, answered, given, parked; levels; and one's own PIN."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from crews.devices.services import reset_pin, set_pin
from equipment.basins.services import record_level
from equipment.machines.services import close_defect, locked_machine
from equipment.site.callers import Caller
from equipment.site.errors import InvalidInputError, NotFoundError
from equipment.site.models import LEADS, SHOP, Event, EventState, HoldSubject
from equipment.site.restfields import FiniteField, KeyField
from equipment.site.services import put_hold
from equipment.site.writes import site_write
from schedules.dayplan.byhand import reassign
from schedules.dayplan.queries import assignment_of, with_claims
from schedules.work.decisions import answer_problem, settle_decision
from schedules.work.models import WorkOrder

from .documents_work import COUNT, LEAVE
from .registry import Payload, handles, own_worker, perform
from .tellers import teller_of_stored

SECRET = r"^[A-Za-z0-9+/_=-]{16,88}$"  # noqa: S105  hexadecimal or base64 (RFC 4648)


class LevelPayload(serializers.Serializer[Any]):
    """The depth read at a basin's marker."""

    basin = KeyField()
    level_m = FiniteField(min_value=0, max_value=30)


class HoldPayload(serializers.Serializer[Any]):
    """A machine that nobody is to run, and why."""

    machine = KeyField()
    cause = serializers.CharField(max_length=300)


class SettlePayload(serializers.Serializer[Any]):
    """What a lead makes of an event that was refused, or of a work order that waits on them."""

    event = serializers.UUIDField(required=False, allow_null=True)
    work_order = KeyField(required=False, allow_null=True)
    answer = serializers.ChoiceField(choices=[COUNT, LEAVE])


class AnswerPayload(serializers.Serializer[Any]):
    """What was done about a problem at a place, or a defect of a machine."""

    problem = KeyField(required=False, allow_null=True)
    defect = KeyField(required=False, allow_null=True)
    text = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class GivePayload(serializers.Serializer[Any]):
    """A work order and who is to have it; of several people, whom they stand in for.

    `version` is the work order's as the lead saw it.
    """

    work_order = KeyField()
    worker = KeyField()
    instead_of = KeyField(required=False, allow_null=True)
    version = KeyField(required=False, allow_null=True)


class PinPayload(serializers.Serializer[Any]):
    """What the person's own PIN hashes to (PBKDF2, RFC 8018, HMAC-SHA-256)."""

    salt = serializers.RegexField(SECRET)
    iterations = serializers.IntegerField(min_value=10_000, max_value=10_000_000)
    hash = serializers.RegexField(SECRET)


class ResetPinPayload(serializers.Serializer[Any]):
    """Whose PIN is to be forgotten."""

    worker = KeyField()


@handles("level", LevelPayload)
def _level(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    reading = record_level(
        site_id=caller.site.pk,
        basin_id=p["basin"],
        depth_m=p["level_m"],
        by=caller.actor,
        at=event.happened_at,
    )
    return {"level": reading.pk}


@handles("hold", HoldPayload)
def _hold(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    caller.require(*SHOP)
    machine = locked_machine(caller.site.pk, p["machine"])
    hold = put_hold(
        site_id=caller.site.pk,
        subject_kind=HoldSubject.MACHINE,
        subject_id=machine.pk,
        reason=p["cause"],
        by=caller.actor,
        at=event.happened_at,
    )
    return {"hold": hold.pk}


@handles("settle", SettlePayload)
def _settle(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    caller.require(*LEADS)
    named = [name for name in ("event", "work_order") if p.get(name)]
    if len(named) != 1:
        raise InvalidInputError(_("Name either the event or the work order."))
    is_counted = p["answer"] == COUNT
    if named == ["event"]:
        return _settle_event(caller, event, str(p["event"]), is_counted=is_counted)
    order = settle_decision(
        site_id=caller.site.pk,
        work_order_id=p["work_order"],
        accept=is_counted,
        by=caller.actor,
        at=event.happened_at,
    )
    return {"status": order.status, "outcome": order.outcome}


def _settle_event(caller: Caller, event: Event, asked: str, *, is_counted: bool) -> dict[str, Any]:
    """Take a refused event after all, or leave it; the first answer stands."""
    rows = Event.objects.select_for_update(of=("self",), no_key=True).select_related("actor")
    stored = rows.filter(site=caller.site, pk=asked, state=EventState.REFUSED).first()
    if stored is None:
        rows = Event.objects.filter(site=caller.site, pk=asked, looked_at__isnull=False)
        if rows.exists():
            return {}
        raise NotFoundError(_("There is no such event here that waits for an answer."))
    if stored.looked_at is not None:
        return {}
    with site_write(caller.site.pk, event.received_at) as write:
        if is_counted:
            [result] = perform(teller_of_stored(caller.site, stored), [stored])
            stored.state, stored.answer = EventState.APPLIED, {"result": result}
            write.answered(stored)
        Event.objects.filter(pk=stored.pk).update(looked_at=event.received_at)
    return {"state": stored.state}


@handles("answer_problem", AnswerPayload)
def _answer(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    who: dict[str, Any] = {"site_id": caller.site.pk, "by": caller.actor, "at": event.happened_at}
    if p.get("defect"):
        caller.require(*SHOP)
        return {"defect": close_defect(defect_id=p["defect"], **who).pk}
    caller.require(*LEADS)
    if not p.get("problem"):
        raise InvalidInputError(_("Name either the problem or the defect."))
    return {"problem": answer_problem(problem_id=p["problem"], answer=p["text"], **who).pk}


@handles("give", GivePayload)
def _give(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    caller.require(*LEADS)
    orders = with_claims(WorkOrder.objects.filter(site=caller.site, pk=p["work_order"]))
    order = orders.first()
    if order is None:
        raise NotFoundError(_("There is no such work order here."))
    row = assignment_of(order)
    claims = list(row.claims.all()) if row else []
    people = [claim.worker_id for claim in claims if claim.worker_id]
    machine_id = next((claim.machine_id for claim in claims if claim.machine_id), None)
    planned = row.starts_at if row else order.starts_after
    given = reassign(
        site_id=caller.site.pk,
        work_order_id=order.pk,
        worker_ids=_team(people, p["worker"], p.get("instead_of"), order.n_people),
        machine_id=machine_id,
        starts_at=max(planned, event.received_at),
        by=caller.actor,
        at=event.received_at,
        version=p.get("version"),
    )
    return {"starts_at": given.starts_at.isoformat()}


def _team(people: list[int], worker_id: int, instead_of: int | None, n_people: int) -> list[int]:
    """Put a person into a team: instead of whom the lead named, else of whoever is one too many."""
    others = [pk for pk in people if pk not in (worker_id, instead_of)]
    return [*others, worker_id][-max(n_people, 1) :]


@handles("set_pin", PinPayload)
def _set_pin(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    set_pin(
        site_id=caller.site.pk,
        worker=own_worker(caller),
        salt=p["salt"],
        iterations=p["iterations"],
        digest=p["hash"],
        at=event.received_at,
    )
    return {}


@handles("reset_pin", ResetPinPayload)
def _reset_pin(caller: Caller, event: Event, p: Payload) -> dict[str, Any]:
    caller.require(*LEADS)
    reset_pin(site_id=caller.site.pk, worker_id=p["worker"], at=event.received_at)
    return {}
