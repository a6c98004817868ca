"""Whose word an event is: the phone's own person, or whoever picked their name on a shared phone.

A name on a shared phone guards against mix-ups, not against thieves: whoever picks a lead's name
there has a worker's role at this door. Each event keeps the phone that it came from.
"""

from __future__ import annotations

from dataclasses import replace

from django.utils.translation import gettext as _

from crews.devices.models import Device
from crews.people.models import Worker
from equipment.site.callers import Caller
from equipment.site.errors import DomainError
from equipment.site.models import Event, Role, Site

MOST = {Role.MECHANIC: Role.MECHANIC}  # what a name picked on a shared phone may be


class WorkerMissingError(DomainError):
    """An event of a shared phone that says nobody's name."""

    code = "worker_missing"


class WorkerNotHereError(DomainError):
    """A name that may not tell anything on this phone."""

    code = "worker_not_here"


def teller_of(
    caller: Caller, device: Device | None, worker_id: int | None
) -> tuple[Caller, DomainError | None]:
    """Give whose word it is, and why it is refused where nobody may say it: 1 query at most."""
    is_shared = device is not None and device.crew_id is not None
    if worker_id is None:
        if not is_shared:
            return caller, None
        return caller, WorkerMissingError(_("Say who you are: pick your name first."))
    worker = _worker(caller, device, worker_id)
    if worker is None:
        return caller, WorkerNotHereError(_("This person does not work with this phone."))
    if not is_shared:
        return caller, None
    role = MOST.get(Role(worker.role), Role.WORKER)
    return replace(caller, role=role, actor=worker.actor, language=worker.language), None


def _worker(caller: Caller, device: Device | None, worker_id: int) -> Worker | None:
    rows = Worker.objects.filter(site=caller.site, pk=worker_id, retired_at=None)
    if device is not None and device.crew_id is not None:
        rows = rows.filter(crew_id=device.crew_id)
    else:
        rows = rows.filter(actor=caller.actor)
    return rows.select_related("actor").first()


def teller_of_stored(site: Site, event: Event) -> Caller:
    """Give whose word an event was that is taken up again, as they stand now: 2 queries."""
    worker = Worker.objects.filter(site=site, actor=event.actor, retired_at=None).first()
    if worker is None:
        return Caller(site, Role.WORKER, event.actor, site.language, event.device_key)
    shared_phones = Device.objects.filter(site=site, crew__isnull=False)
    shared = event.device_key is not None and shared_phones.filter(pk=event.device_key).exists()
    role = MOST.get(Role(worker.role), Role.WORKER) if shared else worker.role
    return Caller(site, role, event.actor, worker.language, event.device_key)
