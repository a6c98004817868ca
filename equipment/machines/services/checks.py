"""Looks round before starting, and defects."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from equipment.errors import (
    CheckAnswersError,
)
from equipment.machines.calc import prestart
from equipment.machines.models import (
    CheckItem,
    Defect,
    Machine,
    PrestartCheck,
    Verdict,
)
from equipment.site.calc.refusal import RefusedValueError
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor
from equipment.site.writes import site_write

from .common import hold_machine, locked_machine


def submit_check(
    *,
    site_id: int,
    machine_id: int,
    answers: Sequence[Mapping[str, Any]],
    by: Actor,
    at: datetime,
) -> PrestartCheck:
    """Judge a look round before starting; each fault becomes a defect, a verdict `park` a hold.

    `answers` are of the form {"item": id, "ok": bool, "can_work": bool, "note": str}.
    """
    with site_write(site_id, at) as write:
        machine = locked_machine(site_id, machine_id)
        items = list(
            CheckItem.objects.filter(
                site_id=site_id, machine_kind=machine.kind, retired_at=None
            ).order_by("position")
        )
        judged = _judge(items, answers)
        check = PrestartCheck.objects.create(
            site_id=site_id,
            machine=machine,
            by=by,
            at=at,
            answers=[dict(a) for a in answers],
            verdict=Verdict(judged.verdict.value),
        )
        _note_faults(machine, items, judged, by=by, at=at)
        write.touch()
    return check


def _judge(
    items: Sequence[CheckItem], answers: Sequence[Mapping[str, Any]]
) -> prestart.PrestartVerdict:
    given = {
        str(a["item"]): prestart.Answer(bool(a["ok"]), bool(a.get("can_work", True)))
        for a in answers
    }
    asked = [prestart.CheckItem(str(item.pk), item.is_safety) for item in items]
    try:
        return prestart.prestart_verdict(asked, given)
    except RefusedValueError as error:
        raise CheckAnswersError(
            _("The look round is not complete: each line needs its answer, and no other.")
        ) from error


def _note_faults(
    machine: Machine,
    items: Sequence[CheckItem],
    judged: prestart.PrestartVerdict,
    *,
    by: Actor,
    at: datetime,
) -> None:
    texts = {str(item.pk): item for item in items}
    for key in judged.faults:
        item = texts[key]
        Defect.objects.create(
            site_id=machine.site_id,
            machine=machine,
            text=_("Not as it should be: %s") % (item.text.get("en") or item.name),
            is_safety=item.is_safety,
            reported_by=by,
            reported_at=at,
        )
    if judged.verdict == prestart.Verdict.PARK:
        hold_machine(machine, _("Failed the look round before starting"), by, at)


def report_defect(
    *, site_id: int, machine_id: int, text: str, is_safety: bool, by: Actor, at: datetime
) -> Defect:
    """Report something wrong with a machine; one that could hurt someone takes it out of use."""
    with site_write(site_id, at) as write:
        machine = locked_machine(site_id, machine_id)
        defect = Defect.objects.create(
            site_id=site_id,
            machine=machine,
            text=text,
            is_safety=is_safety,
            reported_by=by,
            reported_at=at,
        )
        if is_safety:
            hold_machine(machine, text[:300], by, at)
        write.touch()
    return defect


def close_defect(*, site_id: int, defect_id: int, by: Actor, at: datetime) -> Defect:
    """Say that a defect was put right. The hold it may have caused is cleared apart, by name."""
    with site_write(site_id, at) as write:
        defect = (
            Defect.objects.select_for_update(no_key=True)
            .filter(site_id=site_id, id=defect_id)
            .first()
        )
        if defect is None:
            raise NotFoundError(_("There is no such defect here."))
        if defect.closed_at is None:
            defect.closed_at, defect.closed_by = at, by
            defect.save(update_fields=["closed_at", "closed_by"])
            write.touch()
    return defect
