"""Events from phones (and from the desk's own forms): taken once, in order, each answered.

One transaction a call: each event's effect, its row with the answer, and the phone's count commit
together or not at all. A refusal undoes the effect of its event alone and is the answer. A repeat
gets the stored answer (reliability R13, R14).
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import InterfaceError, OperationalError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, override
from psycopg.errors import DeadlockDetected, UniqueViolation

from crews.devices.models import Device
from crews.errors import NotPairedError
from crews.people.models import Worker
from equipment.site.callers import Caller
from equipment.site.errors import DomainError
from equipment.site.models import Event, EventState
from equipment.site.queries import site_version
from equipment.site.writes import SiteWrite, UndoneError, site_write

from . import handlers, handlers_lead, handlers_more  # noqa: F401  each registers its kinds
from .registry import IN_RUNS, perform
from .tellers import teller_of

log = logging.getLogger(__name__)

MAX_EVENTS = 50
# Trouble of the database's, and refusals of a whole call: the same events may be sent again.
NOT_THE_EVENTS = (OperationalError, InterfaceError, DomainError)
FAILED = gettext_noop("Penround failed at this. Your lead sees it and can enter it by hand.")
CAME_BEFORE = """
    SELECT * FROM equipment_event WHERE id = ANY(%s) OR id = (
        SELECT id FROM equipment_event WHERE site_id = %s AND device_key = %s
        ORDER BY device_seq DESC LIMIT 1)
"""
OLDEST = timedelta(days=180)  # what a phone may have kept, by the shapes we still take (R20)


class FailedError(DomainError):
    """We broke at an event: the fault is ours, and its words are kept."""

    code = "failed"


@dataclass(frozen=True, slots=True)
class Told:
    """One event as it came in, its shape already checked."""

    id: uuid.UUID
    kind: str
    payload: dict[str, Any]
    client_at: datetime
    seq: int | None = None
    schema_version: int = 1
    worker: int | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one event: applied, refused, or to be sent again (`gap`).

    `version` is the site's with this event in it: documents of that version show its effect.
    """

    id: uuid.UUID
    state: str
    code: str = ""
    detail: str = ""
    expected_seq: int | None = None
    result: dict[str, Any] | None = None
    version: int | None = None


def take_events(*, caller: Caller, events: Sequence[Told], received_at: datetime) -> list[Answer]:
    """Take up to 50 events of one caller in the order given; one bad event blocks no other.

    One transaction for all: first as a whole, since refusals are rare; where one was refused,
    each with a savepoint; where another transaction was in the way, one by one.
    """
    for whole in (True, False):
        try:
            return _take(caller, events, received_at, whole=whole)
        except UndoneError:
            continue
        except Exception as error:
            if not _is_in_the_way(error) and isinstance(error, NOT_THE_EVENTS):
                raise
            break
    return [_take_alone(caller, told, received_at) for told in events]


def _is_in_the_way(error: Exception) -> bool:
    """Whether another transaction brought the same event, or held what this one waited for."""
    return isinstance(error.__cause__, UniqueViolation | DeadlockDetected)


def _take_alone(caller: Caller, told: Told, received_at: datetime) -> Answer:
    """Take one event; where we fail at it, it is kept refused and blocks no later one (R14)."""
    try:
        [answer] = _take(caller, [told], received_at)
    except NOT_THE_EVENTS:
        raise
    except Exception:
        came_meanwhile = Event.objects.filter(id=told.id).exists()
        if not came_meanwhile:
            log.exception("event %s of kind %s failed", told.id, told.kind)
        failed = None if came_meanwhile else FailedError(_(FAILED))
        [answer] = _take(caller, [told], received_at, failed=failed)
    return answer


def _take(
    caller: Caller,
    events: Sequence[Told],
    received_at: datetime,
    *,
    whole: bool = False,
    failed: DomainError | None = None,
) -> list[Answer]:
    """Take events in one transaction: some queries for all, and what the verb of each takes."""
    with site_write(caller.site.pk, received_at, whole=whole) as write:
        batch = Batch(caller, received_at, _locked_device(caller), failed)
        batch.look([told.id for told in events])
        taken = [batch.take(told, write) for told in events]
        batch.close_run(write)
        batch.count()
    return [answer or _answer_of(event) for answer, event in taken]


@dataclass
class Batch:
    """What the events of one call share: who tells them, and how far their phone has come.

    Events of a kind that is done in runs wait in `run` for those that follow and are alike.
    """

    caller: Caller
    received_at: datetime
    device: Device | None
    failed: DomainError | None = None  # that we broke at it before: nothing is tried again
    known: dict[uuid.UUID, Event] = field(default_factory=dict)
    earliest: datetime = field(init=False)  # `look` finds it
    run: list[Event] = field(default_factory=list)
    run_of: int | None = None  # the worker whom its events name
    is_overtaken: bool = False  # one before was sent under a wrong number, and comes again

    def look(self, ids: list[uuid.UUID]) -> None:
        """Find the events that came before, and when the phone's last one happened: 1 query.

        None of these happened before that one, or longer ago than phones may keep one.
        """
        device_id = self.device.pk if self.device else None
        found = list(Event.objects.raw(CAME_BEFORE, [ids, self.caller.site.pk, device_id]))
        asked = set(ids)
        self.known = {event.pk: event for event in found if event.pk in asked}
        own = [e for e in found if self.device is not None and e.device_key == self.device.pk]
        last = max(own, key=lambda e: e.device_seq or 0, default=None)
        oldest = self.received_at - OLDEST
        self.earliest = max(oldest, last.happened_at) if last else oldest

    def take(self, told: Told, write: SiteWrite) -> tuple[Answer | None, Event]:
        """Do what an event says and have it written down; one that came before is answered.

        What a run says is done when it is closed: its answer stands in the event then.
        """
        stored = self.known.get(told.id)
        if stored is not None:
            self._move_on(told)
            is_of_this_call = stored._state.adding
            return (None if is_of_this_call else _stored_answer(self.caller, stored)), stored
        if (fault := _order_fault(self.device, told, is_overtaken=self.is_overtaken)) is not None:
            self.is_overtaken |= told.seq is not None
            return fault, Event(id=told.id)
        if not self._goes_on(told):
            self.close_run(write)
            self.run_of = told.worker
        event = _event(self.caller, self.device, told, self.received_at, self.earliest)
        self.run.append(event)
        write.answered(event)
        self.known[told.id] = event
        self.earliest = event.happened_at
        self._move_on(told)
        return None, event

    def _goes_on(self, told: Told) -> bool:
        """Whether an event belongs to the run that waits."""
        alike = bool(self.run) and (self.run[0].kind, self.run_of) == (told.kind, told.worker)
        return alike and told.kind in IN_RUNS

    def close_run(self, write: SiteWrite) -> None:
        """Do what the events that wait say."""
        if self.run:
            self._apply(self.run, write)
        self.run = []

    def _apply(self, run: list[Event], write: SiteWrite) -> None:
        """Do what a run says; where it is refused, in parts: each refusal undoes its event alone.

        Whose word it is, is asked for each part: one before may have changed their language.
        """
        teller, refusal = teller_of(self.caller, self.device, self.run_of)
        refusal = self.failed or refusal
        for event in run:
            event.actor = teller.actor
        with override(teller.language):
            try:
                if refusal is not None:
                    raise refusal
                results = perform(teller, run)
            except DomainError as error:
                if write.broken:  # all of it will be undone
                    raise UndoneError from error
                if len(run) == 1 or refusal is not None:
                    _refuse(run, error)
                    return
            else:
                for event, result in zip(run, results, strict=True):
                    event.answer = {"result": result}
                return
        half = len(run) // 2
        self._apply(run[:half], write)
        self._apply(run[half:], write)

    def _move_on(self, told: Told) -> None:
        """Move the phone's sequence on; whatever came of an event, its number is used."""
        if self.device is not None and told.seq == self.device.last_seq + 1:
            self.device.last_seq = told.seq

    def count(self) -> None:
        """Keep how far the phone has come, and that it was heard: 1 query."""
        if self.device is not None:
            facts = {"last_seq": self.device.last_seq, "last_seen_at": self.received_at}
            Device.objects.filter(pk=self.device.pk).update(**facts)


def _locked_device(caller: Caller) -> Device | None:
    """Lock the phone's row: its events are taken one after another, whoever sends them.

    Access that was taken away ends at once, also in the midst of what a phone sends.
    """
    if caller.device_id is None:
        return None
    rows = Device.objects.select_for_update(no_key=True).filter(id=caller.device_id)
    device = rows.filter(revoked_at=None).first()
    if device is None:
        raise NotPairedError(_("This phone is not paired any more. Pair it again."))
    return device


def _stored_answer(caller: Caller, stored: Event) -> Answer:
    """Give a person's own event its first answer, from a phone paired anew as well."""
    is_own = stored.actor_id == caller.actor.pk or _is_of_crew(caller, stored)
    if stored.site_id != caller.site.pk or not is_own:
        return Answer(stored.id, "refused", "event_id_used", _("This event id is another's."))
    return _answer_of(stored)


def _is_of_crew(caller: Caller, stored: Event) -> bool:
    """Whether a crew's shared phone asks, and it was told there, or one of the crew told it.

    Who told it there may work elsewhere by now: it is the crew's phone that must hear.
    """
    if caller.crew_id is None:
        return False
    of_crew = {"crew_id": caller.crew_id}
    told_there = Device.objects.filter(pk=stored.device_key or 0, **of_crew)
    return (
        told_there.exists() or Worker.objects.filter(actor_id=stored.actor_id, **of_crew).exists()
    )


def _order_fault(device: Device | None, told: Told, *, is_overtaken: bool) -> Answer | None:
    """Say what is wrong with the sequence number; None when it is the next one.

    Behind an event that was sent under a wrong number none is taken: it was said later.
    """
    if device is None:
        return None
    expected = device.last_seq + 1
    if told.seq == expected and not is_overtaken:
        return None
    if told.seq is None:
        words = _("A phone's events carry its sequence number.")
        return Answer(told.id, "refused", "seq_missing", words, expected)
    if told.seq < expected:
        words = _("This sequence number was used before.")
        return Answer(told.id, "refused", "seq_used", words, expected)
    return Answer(told.id, "gap", "gap", _("Send the events before this one first."), expected)


def _event(
    caller: Caller, device: Device | None, told: Told, received_at: datetime, not_before: datetime
) -> Event:
    """Write an event as a row, its teller still to be said; a phone's clock is evidence (R18)."""
    return Event(
        id=told.id,
        site_id=caller.site.pk,
        device_key=caller.device_id,
        device_seq=told.seq if device else None,
        kind=told.kind,
        schema_version=told.schema_version,
        payload=told.payload,
        client_at=told.client_at,
        happened_at=min(max(told.client_at, not_before), received_at),
        received_at=received_at,
        state=EventState.APPLIED,
    )


def _refuse(events: list[Event], error: DomainError) -> None:
    for event in events:
        event.state = EventState.REFUSED
        event.answer = {"code": error.code, "detail": error.detail}


def _answer_of(event: Event) -> Answer:
    answer = event.answer
    return Answer(
        event.id,
        event.state,
        answer.get("code", ""),
        answer.get("detail", ""),
        result=answer.get("result"),
        version=event.version if event.version is not None else site_version(event.site_id),
    )
