"""Which scopes of documents a caller may read: what one has a right to see, and no more."""

from dataclasses import dataclass
from datetime import UTC, datetime

from django.utils.translation import gettext as _

from crews.devices.models import Device
from crews.devices.services import heard
from crews.errors import NotPairedError
from crews.people.models import Crew, Worker
from equipment.site.callers import Caller
from equipment.site.errors import NotFoundError
from equipment.site.models import LEADS as WHO_LEAD
from equipment.site.models import Membership, Role

from .documents import LEADS, SHOP, SITE, crew_scope, worker_scope


@dataclass(frozen=True, slots=True)
class Reader:
    """Who reads: the person whose phone it is (nobody's where several share it), and what."""

    worker_id: int | None
    scopes: tuple[str, ...]


def reader_of(caller: Caller) -> Reader:
    """Say who the caller is now and which scopes are theirs, in order: 3 queries at most.

    Person, crew and role are as they stand at this moment: the caller may have waited.

    Raises
    ------
    NotPairedError
        A phone whose access was taken away while it waited.
    NotFoundError
        An account that belongs to the site no more.
    """
    if caller.crew_id is not None:
        return _sharers(caller, caller.crew_id)
    worker, role = _person(caller)
    found = {SITE}
    if worker is not None:
        found.add(worker_scope(worker.pk))
        if worker.crew_id is not None:
            found.add(crew_scope(worker.crew_id))
    if role in WHO_LEAD:
        found |= {LEADS, SHOP}
        crews = Crew.objects.filter(site=caller.site, retired_at=None)
        found |= {crew_scope(pk) for pk in crews.values_list("pk", flat=True)}
    elif role == Role.MECHANIC:
        found.add(SHOP)
    return Reader(worker.pk if worker else None, tuple(sorted(found)))


def _sharers(caller: Caller, crew_id: int) -> Reader:
    _phone(caller.device_id or 0)
    workers = Worker.objects.filter(site=caller.site, crew_id=crew_id, retired_at=None)
    own = map(worker_scope, workers.values_list("pk", flat=True))
    return Reader(None, tuple(sorted({SITE, crew_scope(crew_id), *own})))


def _person(caller: Caller) -> tuple[Worker | None, str]:
    if caller.device_id is not None and (worker := _phone(caller.device_id).worker) is not None:
        return worker, worker.role
    own = Membership.objects.filter(site=caller.site, user=caller.actor.user_id)
    if (role := own.values_list("role", flat=True).first()) is None:
        raise NotFoundError(_("There is no such site, or you do not belong to it."))
    mine = Worker.objects.filter(site=caller.site, actor=caller.actor, retired_at=None)
    return mine.first(), role


def _phone(device_id: int) -> Device:
    theirs = Device.objects.filter(worker__retired_at=None, crew__retired_at=None)
    phones = theirs.filter(pk=device_id, revoked_at=None)
    device = phones.select_related("worker").first()
    if device is None:
        raise NotPairedError(_("This phone is not paired any more. Pair it again."))
    heard(device, datetime.now(UTC))
    return device
