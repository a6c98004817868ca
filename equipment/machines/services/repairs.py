"""Unplanned repairs: down, stand-in, back in service by a named person."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from equipment.errors import (
    CostError,
    MachineStateError,
)
from equipment.machines.models import (
    Machine,
    Repair,
)
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, HoldSubject
from equipment.site.queries import open_holds
from equipment.site.services import clear_hold
from equipment.site.writes import site_write

from .common import hold_machine, locked_machine


def start_repair(
    *,
    site_id: int,
    machine_id: int,
    cause: str,
    by: Actor,
    at: datetime,
    substitute_id: int | None = None,
) -> Repair:
    """Record that a machine went down, with its stand-in when there is one; it is held at once."""
    with site_write(site_id, at):
        machine = locked_machine(site_id, machine_id)
        if Repair.objects.filter(machine=machine, down_until=None).exists():
            raise MachineStateError(_("%s is down already.") % machine.name)
        substitute = _substitute(machine, substitute_id)
        repair = Repair.objects.create(
            site_id=site_id,
            machine=machine,
            down_from=at,
            cause=cause,
            substitute=substitute,
            reported_by=by,
        )
        hold_machine(machine, cause[:300], by, at)
    return repair


def _substitute(machine: Machine, substitute_id: int | None) -> Machine | None:
    if substitute_id is None:
        return None
    if substitute_id == machine.pk:
        raise MachineStateError(_("A machine cannot stand in for itself."))
    return locked_machine(machine.site_id, substitute_id)


def end_repair(
    *,
    site_id: int,
    repair_id: int,
    by: Actor,
    at: datetime,
    parts: str = "",
    cost: Decimal = Decimal(0),
) -> Repair:
    """Return a machine to service, by a named person: the repair ends, its hold is cleared."""
    if cost < 0:
        raise CostError(_("Cost cannot be below zero."))
    with site_write(site_id, at) as write:
        repair = (
            Repair.objects.select_for_update(no_key=True)
            .filter(site_id=site_id, id=repair_id)
            .first()
        )
        if repair is None:
            raise NotFoundError(_("There is no such repair here."))
        if repair.down_until is not None:
            return repair
        repair.down_until, repair.cleared_by = at, by
        repair.parts, repair.cost = parts, cost
        repair.save(update_fields=["down_until", "cleared_by", "parts", "cost"])
        _clear_repair_hold(repair, by, at)
        write.touch()
    return repair


def _clear_repair_hold(repair: Repair, by: Actor, at: datetime) -> None:
    holds = open_holds(repair.site_id, HoldSubject.MACHINE).filter(
        subject_id=repair.machine_id, reason=repair.cause[:300]
    )
    for hold in holds:
        clear_hold(site_id=repair.site_id, hold_id=hold.pk, by=by, at=at, note=_("Repaired"))
