"""What a lead makes at the desk of an event that was refused: as they do it on a phone."""

from __future__ import annotations

import uuid
from datetime import datetime

from equipment.site.callers import Caller
from equipment.site.models import Event, EventState
from equipment.site.writes import site_write
from schedules.phone.registry import perform


def settle_event(
    *, caller: Caller, event_id: uuid.UUID, answer: str, at: datetime
) -> dict[str, str]:
    """Take a refused event after all, or leave it, by a lead; the first answer stands.

    The decision is kept as an event of the lead's own. Where the told cannot count now either,
    its refusal is raised and nothing is kept: it still waits, and the lead has read why.
    """
    with site_write(caller.site.pk, at) as write:
        decision = Event(
            id=uuid.uuid4(),
            site_id=caller.site.pk,
            actor=caller.actor,
            kind="settle",
            payload={"event": str(event_id), "answer": answer},
            happened_at=at,
            client_at=at,
            received_at=at,
            state=EventState.APPLIED,
        )
        [result] = perform(caller, [decision])
        if result:
            decision.answer = {"result": result}
            write.answered(decision)
    return result
