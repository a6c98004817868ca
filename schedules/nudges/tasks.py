"""Runs that nudge phones. Without a key there are none."""

from __future__ import annotations

import logging
from datetime import UTC, datetime, timedelta
from typing import Any

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind

from .models import Subscription
from .sending import EndpointError, PushFailedError, is_on, send
from .services import note_sent, notice

log = logging.getLogger(__name__)
GONE_BY_RULE = 410  # an endpoint that leads where none may is treated as gone
LATER = (408, 425, 429)


@run_kind("nudges.notice", queue="notify", every=timedelta(minutes=1) if is_on() else None)
def look_for_news(run: TaskRun, prepared: Any) -> None:
    """Look once a minute who has something to see that they do not know of."""
    if run.site_id is not None:
        notice(site_id=run.site_id, at=datetime.now(UTC))


def post(run: TaskRun) -> tuple[Subscription, int] | None:
    """Send the nudge, outside of any transaction; a service that is away is tried again."""
    row = Subscription.objects.filter(
        id=run.args["to"], ended_at=None, device__revoked_at=None
    ).first()
    if row is None or not is_on():
        return None
    try:
        status = send(row.endpoint, row.p256dh, row.auth)
    except EndpointError as error:
        log.warning("phone %s is nudged no more: its endpoint %s", row.device_id, error)
        return row, GONE_BY_RULE
    if status in LATER or status >= 500:
        raise PushFailedError(f"the push service answers {status}")
    if status >= 300:
        log.warning("a nudge to phone %s was answered %s", row.device_id, status)
    return row, status


@run_kind("nudges.send", queue="notify", lease_s=120, prepare=post)
def note(run: TaskRun, prepared: tuple[Subscription, int] | None) -> None:
    """Keep what came of it."""
    if prepared is not None:
        row, status = prepared
        note_sent(subscription=row, status=status, at=datetime.now(UTC))
