"""What every verb about machines stands on."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext as _

from equipment.machines.models import (
    Machine,
)
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, HoldSubject
from equipment.site.services import put_hold


def locked_machine(site_id: int, machine_id: int) -> Machine:
    """Give a machine of the site, locked (FOR NO KEY UPDATE) for the caller's transaction."""
    machine = (
        Machine.objects.select_for_update(of=("self",), no_key=True)
        .filter(site_id=site_id, id=machine_id, retired_at=None)
        .first()
    )
    if machine is None:
        raise NotFoundError(_("There is no such machine here."))
    return machine


def hold_machine(machine: Machine, reason: str, by: Actor, at: datetime) -> None:
    put_hold(
        site_id=machine.site_id,
        subject_kind=HoldSubject.MACHINE,
        subject_id=machine.pk,
        reason=reason,
        by=by,
        at=at,
    )
