"""Standing orders changed by hand: what they made and nobody touched is made anew."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from equipment.machines.models import MachineKind
from equipment.site.errors import FieldFault, NotFoundError, StaleError
from equipment.site.models import Actor, Place
from equipment.site.writes import site_write
from schedules.errors import NothingLearnedError, StandingOrderError

from .models import StandingOrder, Trigger
from .produce import materialise, take_turn
from .reconcile import Counts
from .rules import Fault, check_chain, check_documents
from .work_content import content_of, rounded

EDITABLE = (
    "name",
    "title",
    "trigger_rule",
    "target",
    "duration",
    "skill",
    "machine_kinds",
    "attachment_kind",
    "n_people",
    "priority",
    "effort",
    "is_daylight_only",
    "needs_lock",
    "needs_clean_bucket",
    "late_rule",
    "how",
    "caution",
    "retired_at",
)
DOCUMENTS = (
    "title",
    "trigger_rule",
    "target",
    "duration",
    "machine_kinds",
    "how",
    "caution",
)


def edit_standing_order(
    *,
    site_id: int,
    standing_order_id: int,
    changes: Mapping[str, Any],
    by: Actor,
    at: datetime,
    version: int | None = None,
) -> Counts:
    """Change a standing order and make its untouched coming work anew; says how much.

    `version` is the standing order's, as whoever changes it read it.

    The trigger itself stays: another trigger is another standing order. Work under way or closed
    keeps what it was made with. Refused with every fault: unknown fields, documents that cannot be.
    """
    with site_write(site_id, at) as write:
        take_turn(site_id)
        rows = StandingOrder.objects.select_for_update(no_key=True).filter(site_id=site_id)
        order = rows.filter(pk=standing_order_id).first()
        if order is None:
            raise NotFoundError(_("There is no standing order %d here.") % standing_order_id)
        if version is not None and order.version != version:
            raise StaleError(_("The standing order changed since you read it. Read it again."))
        _refuse_unknown(changes)
        differing = {k: v for k, v in changes.items() if getattr(order, k) != v}
        if not differing:
            return Counts()
        for name, value in differing.items():
            setattr(order, name, value)
        _refuse_faulty(order)
        order.version += 1
        order.save()
        write.change("standing_order.edited", order.pk, fields=sorted(differing), by=by.name)
        return materialise(site_id=site_id, now=at, standing_order_ids=[order.pk])


def take_over_content(
    *, site_id: int, standing_order_id: int, by: Actor, at: datetime, version: int | None = None
) -> tuple[StandingOrder, Counts]:
    """Put what done work takes into the standing order's duration, as an edit by hand would.

    The base, the people and all else stay; so does the record, and another edit undoes it. Gives
    the standing order as it is now. Refused: nothing learned, and what an edit refuses.
    """
    found = content_of(site_id, standing_order_id, at)
    if found is None:
        raise NotFoundError(_("There is no standing order %d here.") % standing_order_id)
    order = found.order
    if version is not None and order.version != version:
        raise StaleError(_("The standing order changed since you read it. Read it again."))
    if found.learned is None:
        raise NothingLearnedError(_("Too little work was done to learn from."))
    counts = edit_standing_order(
        site_id=site_id,
        standing_order_id=standing_order_id,
        changes={"duration": {**order.duration, found.key: rounded(found.learned.value)}},
        by=by,
        at=at,
        version=order.version,
    )
    order.refresh_from_db()
    return order, counts


def _refuse_unknown(changes: Mapping[str, Any]) -> None:
    unknown = sorted(set(changes) - set(EDITABLE))
    if unknown:
        faults = [FieldFault(f"/{name}", "unknown", _("cannot be edited")) for name in unknown]
        raise StandingOrderError(_("It has fields that cannot be edited."), faults)


def _refuse_faulty(order: StandingOrder) -> None:
    faults = [*_plain_faults(order), *(_as_field_fault(fault) for fault in _document_faults(order))]
    if faults:
        detail = "; ".join(f"{fault.pointer}: {fault.detail}" for fault in faults)
        raise StandingOrderError(_("The standing order cannot be so: %s") % detail, faults)


def _plain_faults(order: StandingOrder) -> list[FieldFault]:
    found = []
    try:
        order.clean_fields(exclude=DOCUMENTS)
        order.validate_constraints()
    except ValidationError as error:
        for name, messages in error.message_dict.items():
            found += [FieldFault(f"/{name}", "invalid", message) for message in messages]
    kinds = order.machine_kinds
    if not isinstance(kinds, list) or not set(map(str, kinds)) <= set(MachineKind.values):
        words = _("Give a list of: %s.") % ", ".join(MachineKind.values)
        found.append(FieldFault("/machine_kinds", "invalid", words))
    for name in ("title", "how", "caution"):
        if not _is_words(getattr(order, name)):
            words = _("Give a text by language, such as en.")
            found.append(FieldFault(f"/{name}", "invalid", words))
    return found


def _is_words(value: Any) -> bool:
    return isinstance(value, dict) and all(isinstance(text, str) for text in value.values())


def _document_faults(order: StandingOrder) -> list[Fault]:
    """Faults of the three documents, and of the chain it stands in: 2 queries."""
    known: dict[str, list[str]] = defaultdict(list)
    places = Place.objects.filter(site=order.site_id, retired_at=None)
    for kind, key in places.values_list("kind", "key"):
        known[kind].append(key)
    faults = check_documents(
        trigger=order.trigger,
        trigger_rule=order.trigger_rule,
        target=order.target,
        duration=order.duration,
        known_places=known,
    )
    if order.trigger == Trigger.AFTER and not faults:
        faults += [f for f in _chain_faults(order) if f.path == order.key]
    return faults


def _chain_faults(order: StandingOrder) -> Iterator[Fault]:
    others = StandingOrder.objects.filter(site=order.site_id).exclude(pk=order.pk)
    rows = [*others, order]
    after = {
        row.key: row.trigger_rule["standing_order"] for row in rows if row.trigger == Trigger.AFTER
    }
    return check_chain(after, {row.key for row in rows})


def _as_field_fault(fault: Fault) -> FieldFault:
    pointer = "/" + fault.path.replace(".", "/")
    return FieldFault(pointer, "invalid", f"{fault.reason}. {fault.remedy}")
