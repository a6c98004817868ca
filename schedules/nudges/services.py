"""Which phones are nudged, and when: a job that comes next unforeseen, a matter to look at."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from crews.devices.models import Device
from equipment.site.errors import InvalidInputError, NotFoundError
from equipment.site.models import LEADS, Event, EventState
from equipment.site.runs import enqueue
from equipment.site.writes import site_write
from schedules.dayplan.models import Claim
from schedules.work.models import Status, WorkOrder

from .models import Subscription
from .sending import GONE, EndpointError, PushFailedError, checked, is_on

AHEAD = timedelta(hours=36)  # as far as phones carry jobs
MOVED = timedelta(minutes=10)  # a start that moves less is no news
OPEN = (Status.NEEDS_ACTION, Status.IN_PROCESS)


def subscribe(
    *, site_id: int, device_id: int, endpoint: str, p256dh: str, auth: str, at: datetime
) -> Subscription:
    """Nudge a phone from now on, at the address its browser gave. Another takes its place.

    What the phone shows at this moment is known to it.
    """
    try:
        checked(endpoint)
    except EndpointError as error:
        raise InvalidInputError(_("Nudges go to public https addresses alone.")) from error
    except PushFailedError as error:
        raise InvalidInputError(_("Nudges cannot be sent to this address now.")) from error
    with site_write(site_id, at):
        device = Device.objects.filter(site_id=site_id, id=device_id, revoked_at=None).first()
        if device is None:
            raise NotFoundError(_("There is no such phone here."))
        return Subscription.objects.update_or_create(
            site_id=site_id,
            device=device,
            defaults={
                "endpoint": endpoint,
                "p256dh": p256dh,
                "auth": auth,
                "made_at": at,
                "ended_at": None,
                "known": {"jobs": _jobs_ahead(device, at), "looks": _looks(device)},
            },
        )[0]


def unsubscribe(*, site_id: int, device_id: int, at: datetime) -> None:
    """Nudge a phone no more. Twice changes nothing."""
    with site_write(site_id, at):
        Subscription.objects.filter(site_id=site_id, device_id=device_id).delete()


def notice(*, site_id: int, at: datetime) -> int:
    """Look what each phone does not know yet, and write down a nudge where there is something.

    Some 4 queries a phone. Gives how many are nudged.
    """
    if not is_on():
        return 0
    rows = Subscription.objects.select_for_update(of=("self",), no_key=True).filter(
        site_id=site_id, ended_at=None, device__revoked_at=None
    )
    n_nudged = 0
    with site_write(site_id, at):
        for row in rows.select_related("device__worker").order_by("id"):
            jobs, looks = _jobs_ahead(row.device, at), _looks(row.device)
            is_news = _is_news(row.known, jobs, looks)
            row.known = {"jobs": _known_jobs(row.known.get("jobs", {}), jobs), "looks": looks}
            row.save(update_fields=["known"])
            if is_news:
                key = f"{row.pk}:{at.isoformat()}"
                enqueue("nudges.send", key=key, at=at, site_id=site_id, args={"to": row.pk})
                n_nudged += 1
    return n_nudged


def _is_news(known: dict[str, Any], jobs: dict[str, str], looks: list[str]) -> bool:
    """Whether the next job of somebody was not foreseen, or a matter came."""
    before = known.get("jobs", {})
    first = next(iter(jobs), None)
    is_new_job = first is not None and _is_unforeseen(before, first, jobs[first])
    return is_new_job or bool(set(looks) - set(known.get("looks", [])))


def _is_unforeseen(before: dict[str, str], order: str, start: str) -> bool:
    if order not in before:
        return True
    return abs(datetime.fromisoformat(start) - datetime.fromisoformat(before[order])) > MOVED


def _known_jobs(before: dict[str, str], jobs: dict[str, str]) -> dict[str, str]:
    """Keep the start that was told until it moves for good, so that small steps add up."""
    return {
        order: start if _is_unforeseen(before, order, start) else before[order]
        for order, start in jobs.items()
    }


def _jobs_ahead(device: Device, at: datetime) -> dict[str, str]:
    """Give the open jobs of whoever uses the phone, each with its start, the next one first."""
    rows = Claim.objects.filter(
        site_id=device.site_id,
        span__overlap=(at, at + AHEAD),
        assignment__work_order__status__in=OPEN,
    )
    if device.worker is not None:
        rows = rows.filter(worker=device.worker)
    else:
        rows = rows.filter(worker__crew=device.crew, worker__retired_at=None)
    spans = rows.order_by("span", "id").values_list("assignment__work_order_id", "span")
    found: dict[str, str] = {}
    for order_id, span in spans:
        found.setdefault(str(order_id), span.lower.isoformat())
    return found


def _looks(device: Device) -> list[str]:
    """Give what a lead must decide; nothing on the phones of others."""
    if device.worker is None or device.worker.role not in LEADS:
        return []
    refused = Event.objects.filter(
        site_id=device.site_id, state=EventState.REFUSED, looked_at=None
    ).order_by("-received_at")[:200]
    asked = WorkOrder.objects.filter(site_id=device.site_id).exclude(needs_decision="")
    return sorted(
        [str(pk) for pk in refused.values_list("pk", flat=True)]
        + [f"work-{pk}" for pk in asked.values_list("pk", flat=True)]
    )


def note_sent(*, subscription: Subscription, status: int, at: datetime) -> None:
    """Write down what the push service said; one that is gone ends the subscription."""
    with site_write(subscription.site_id, at):
        rows = Subscription.objects.filter(
            id=subscription.pk, endpoint=subscription.endpoint, ended_at=None
        )
        if status in GONE:
            rows.update(ended_at=at)
        elif status < 300:
            rows.update(nudged_at=at)
